"""Strength criteria: worked examples of a textbook, and closed forms."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fem.evidence.nouns import CLOSED_FORM, Row
from fem.judging import strength as s
from fem.printing.field import Strength
from fem.printing.plan import in_layer_rotation
from fem.tensors import Array, pack_stress, stress_rotation

ZERO = np.zeros((1, 6))
STRESS = pack_stress(np.array([[10.0, 2.0, -1.0], [2.0, 5.0, 3.0], [-1.0, 3.0, 4.0]]))[None]
"""A stress [MPa] with all six components."""

KAW = "Kaw, Mechanics of Composite Materials, 2nd ed. (2006), examples 2.13 to 2.19"
TSAI_WU = "Tsai and Wu, J. Compos. Mater. 5 (1971) 58"
HILL = "Hill, Proc. R. Soc. A 193 (1948) 281"
HASHIN = "Hashin, J. Appl. Mech. 47 (1980) 329"


def layer(xt: float, xc: float, yt: float, yc: float, shear: float) -> Strength:
    """A layer whose out-of-plane strengths play no part in plane stress."""
    return Strength(np.array([xt, yt, 1e6]), np.array([xc, yc, 1e6]), np.array([1e6, 1e6, shear]))


T300 = layer(1500.0, 1500.0, 40.0, 246.0, 68.0)
GLASS = layer(1080.0, 620.0, 39.0, 128.0, 89.0)
"""E-glass in epoxy [MPa]."""
PRINTED = Strength(np.array([60.0, 35, 20]), np.array([70.0, 60, 60]), np.array([15.0, 16, 25]))


def hill_strength(x: float, y: float, z: float, shear: tuple[float, ...] | Array = (15.0, 16.0, 25.0)) -> Strength:
    """Equal strengths in tension and compression."""
    return Strength(np.array([x, y, z]), np.array([x, y, z]), np.array(shear))


def loaded_layer(angle: float) -> Array:
    """Stress (6,) in the axes of a layer at `angle` [degrees] under (sx, sy, txy) = (2, -3, 4)."""
    return stress_rotation(in_layer_rotation(angle)) @ pack_stress(
        np.array([[2.0, 4.0, 0.0], [4.0, -3.0, 0.0], [0.0, 0.0, 0.0]])
    )


def textbook() -> Iterator[Row]:
    """A layer of T300/5208 at 60 degrees."""
    local, how = loaded_layer(60), "reserve factor of a single layer"
    told = (
        ("maximum stress", 16.3263, s.max_stress_reserve(ZERO, local, T300)[0]),
        ("Tsai and Wu", 22.3887, s.tsai_wu_reserve(ZERO, local, T300)),
    )
    for words, published, computed in told:
        problem = f"Layer at 60° under three stresses: {words}"
        yield Row(problem, KAW, published, float(np.ravel(computed)[0]), "1", how, 1e-5, CLOSED_FORM)


OFF_AXIS = (
    (10, 520.437, 471.399),
    (15, 356.0, 303.880),
    (30, 156.0, 123.323),
    (45, 78.0, 70.9916),
    (60, 52.0, 50.2641),
    (90, 39.0, 39.0),
)


def off_axis() -> Iterator[Row]:
    """Strength [MPa] of E-glass in epoxy pulled off its fibres."""
    for angle, single, combined in OFF_AXIS:
        local = stress_rotation(in_layer_rotation(angle)) @ np.array([1.0, 0, 0, 0, 0, 0])
        told = (
            ("maximum stress", single, s.max_stress_reserve(ZERO, local, GLASS)[0]),
            ("Tsai and Wu", combined, s.tsai_wu_reserve(ZERO, local, GLASS)),
        )
        for words, published, computed in told:
            problem = f"E-glass in epoxy pulled at {angle}°, {words}: strength"
            how = "reserve factor of a single layer"
            yield Row(problem, TSAI_WU, published, float(np.ravel(computed)[0]), "MPa", how, 5e-6, CLOSED_FORM)


def in_space() -> Iterator[Row]:
    """Criteria for a stress with all six components."""
    unequal = hill_strength(60.0, 40.0, 25.0)
    null = np.array([64.80741, 45.82576, 34.64102, 0, 0, 0])
    between = Strength(PRINTED.tension, PRINTED.compression, np.array([15.0, 15, 25]))
    told = (
        ("von Mises stress", "von Mises (1913)", 8.544004, 60 / s.von_mises_reserve(ZERO, STRESS, 60.0), "MPa"),
        ("Hill", HILL, 3.918870, s.hill_reserve(ZERO, STRESS, unequal), "1"),
        ("Tsai and Wu", TSAI_WU, 2.770122, s.tsai_wu_reserve(ZERO, STRESS, PRINTED), "1"),
        ("Tsai and Wu, no square term", TSAI_WU, 0.539215, s.tsai_wu_reserve(ZERO, null, PRINTED), "1"),
        ("interlayer", HASHIN, 0.0844444**-0.5, s.interlayer_reserve(ZERO, STRESS, between), "1"),
    )
    for words, source, published, computed, unit in told:
        problem, how = f"Stress of six components: {words}", "criterion at a point"
        yield Row(problem, source, published, float(np.ravel(computed)[0]), unit, how, 2e-6, CLOSED_FORM)
