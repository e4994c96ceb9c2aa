"""Strength criteria: worked examples of a textbook, and closed forms."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fem.criteria.reserve import phase_reserve
from fem.criteria.strength import Strength
from fem.evidence.nouns import CLOSED_FORM, Row
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


def reserve_by(criterion: str, stress: Array, strength: Strength) -> float:
    """Reserve factor of a stress (6,) [MPa] that grows from nothing, by one criterion.

    Errors: ValueError where the criterion is not admissible for these strengths.
    """
    found = phase_reserve(ZERO, np.reshape(stress, (1, 6)), strength).criteria[criterion]
    if found is None:
        raise ValueError(f"{criterion} is not admissible for these strengths")
    return float(found[0])


def loaded_layer(angle: float) -> Array:
    """Stress (6,) in the axes of a layer at `angle` [degrees] under (sx, sy, txy) = (2, -3, 4)."""
    return stress_rotation(in_layer_rotation(angle)) @ pack_stress(
        np.array([[2.0, 4.0, 0.0], [4.0, -3.0, 0.0], [0.0, 0.0, 0.0]])
    )


def textbook() -> Iterator[Row]:
    """A layer of T300/5208 at 60 degrees."""
    local, how = loaded_layer(60), "reserve factor of a single layer"
    for words, key, published in (
        ("maximum stress", "maximum_stress", 16.3263),
        ("Tsai and Wu", "tsai_wu", 22.3887),
    ):
        problem = f"Layer at 60° under three stresses: {words}"
        yield Row(problem, KAW, published, reserve_by(key, local, T300), "1", how, 1e-5, CLOSED_FORM)


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
    how = "reserve factor of a single layer"
    for angle, single, combined in OFF_AXIS:
        local = stress_rotation(in_layer_rotation(angle)) @ np.array([1.0, 0, 0, 0, 0, 0])
        told = (("maximum stress", "maximum_stress", single), ("Tsai and Wu", "tsai_wu", combined))
        for words, key, published in told:
            problem = f"E-glass in epoxy pulled at {angle}°, {words}: strength"
            yield Row(problem, TSAI_WU, published, reserve_by(key, local, GLASS), "MPa", how, 5e-6, CLOSED_FORM)


NULL = np.array([64.80741, 45.82576, 34.64102, 0, 0, 0])
"""Where the quadratic term of Tsai and Wu vanishes for PRINTED."""


def in_space() -> Iterator[Row]:
    """Criteria for a stress with all six components."""
    metal = Strength(yield_stress=60.0)
    between = Strength(PRINTED.tension, PRINTED.compression, np.array([15.0, 15, 25]))
    mises = 60 / reserve_by("von_mises", STRESS, metal)
    told = (
        ("von Mises stress", "von Mises (1913)", 8.544004, mises, "MPa"),
        ("Hill", HILL, 3.918870, reserve_by("hill", STRESS, hill_strength(60.0, 40.0, 25.0)), "1"),
        ("Tsai and Wu", TSAI_WU, 2.770122, reserve_by("tsai_wu", STRESS, PRINTED), "1"),
        ("Tsai and Wu, no square term", TSAI_WU, 0.539215, reserve_by("tsai_wu", NULL, PRINTED), "1"),
        ("interlayer", HASHIN, 0.0844444**-0.5, reserve_by("interlayer", STRESS, between), "1"),
    )
    for words, source, published, computed, unit in told:
        problem, how = f"Stress of six components: {words}", "criterion at a point"
        yield Row(problem, source, published, computed, unit, how, 2e-6, CLOSED_FORM)
