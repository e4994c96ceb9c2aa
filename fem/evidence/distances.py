"""Stress over a critical distance: how much a hole weakens by its size.

A hole is read at half the length from its edge (the point method), so the length is twice the d0 of the point stress
criterion; a laminate whose d0 is published is averaged over twice that.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import sqrt

import numpy as np

from fem.evidence.bricks import HIGH_X, HIGH_Z, LOW_Z, Bend, growing, ring
from fem.evidence.holes import Plane, kirsch, potentials, strip
from fem.evidence.laminates import T300, Constants, stack
from fem.evidence.nouns import CLOSED_FORM, Row
from fem.evidence.rounds import mirrored
from fem.evidence.small_parts import field, group, material, solve, square_to
from fem.judging.stress import recover_stress
from fem.loading.loads import force_load, spread
from fem.tensors import Array, engineering_constants, isotropic_stiffness, orthotropic_stiffness

WHITNEY = "Whitney and Nuismer, J. Compos. Mater. 8 (1974) 253"
KONISH = "Konish and Whitney, J. Compos. Mater. 9 (1975) 157; d0: Whitney and Nuismer, ibid. 8 (1974) 253"
CAMANHO = "Camanho, Maimí and Dávila, Compos. Sci. Technol. 67 (2007) 2715"

E, NU = 1000.0, 0.3


# ---- holes by their size


def point_stress(x: float, peak: float = 3.0) -> float:
    """Stress d0 beside a hole of radius R over the far one, x = R / (R + d0), `peak` at the edge (KONISH)."""
    return (2 + x**2 + 3 * x**4 - (peak - 3) * (5 * x**6 - 7 * x**8)) / 2


def average_stress(x: float) -> float:
    """Mean stress over a0 beside a hole over the far one, x = R / (R + a0), in an isotropic plate (WHITNEY)."""
    return (2 - x**2 - x**4) / (2 * (1 - x))


def first_step(step: float, cells: int) -> Bend:
    """Grid positions from 0 to 1 in `cells` steps, the first of them `step`, the others longer by one factor each."""
    from scipy.optimize import brentq

    def off(log: float) -> float:
        return float(np.expm1(log / cells) / np.expm1(log) - step)

    return growing(float(np.exp(brentq(off, 1e-6, 100.0))))


def hole(stiffness: Array, exact: Plane, *, length: float, cells: tuple[int, int] = (20, 12)) -> float:
    """Largest stress along the load beside a hole of radius one in an endless plate over the far one, averaged over
    `length`, on a quarter ring whose rim is loaded by the exact stress."""
    outer, step = max(8.0, 1 + 8 * length), min(length / 5, 0.08)
    grade = (first_step(step / (outer - 1), cells[0]), growing(1.0))
    mesh = ring((*cells, 1), 1.0, outer, min(0.3, max(length / 3, 0.05)), grade=grade)
    printed = field(mesh, replace(material(stiffness), length=length))

    def rim(x: Array, n: Array) -> Array:
        xx, yy, xy = exact(x[..., 0], x[..., 1])
        return np.stack([xx * n[..., 0] + xy * n[..., 1], xy * n[..., 0] + yy * n[..., 1], 0 * xx], axis=-1)

    loads = spread(mesh, mesh.triangles_of((HIGH_X,)), rim)
    held = [*mirrored(mesh), square_to(mesh, LOW_Z, HIGH_Z, name="flat")]
    found, _, _ = solve(mesh, printed, held=held, loads=loads)
    edge = np.abs(np.hypot(mesh.nodes[:, 0], mesh.nodes[:, 1]) - 1) < 1e-6
    return float(recover_stress(mesh, printed, found).node[edge, 0].max())


def size_effect() -> Iterator[Row]:
    """A hole in an endless isotropic plate, from one far larger than the length to one far smaller."""
    how = "quarter ring of 20 x 12 bricks, rim loaded by the exact stress"
    for length in (0.05, 0.2, 0.5, 1.0, 3.0, 20.0):
        found = hole(isotropic_stiffness(E, NU), kirsch, length=length)
        problem = f"Hole in a plate, averaged over {length:g} times its radius: stress beside it over the far stress"
        point = point_stress(1 / (1 + length / 2))
        source = f"{WHITNEY}, d0 half the length"
        yield Row(f"{problem}, by the point", source, point, found, "1", how, 0.02, CLOSED_FORM)
        if length <= 0.2:  # beyond, the mean over as much differs from the point half as far
            mean = average_stress(1 / (1 + length))
            yield Row(
                f"{problem}, by the mean", f"{WHITNEY}, a0 the length", mean, found, "1", how, 0.03, CLOSED_FORM
            )


# ---- laminates


GLASS: Constants = ((38.6, 8.27, 8.27), (0.26, 0.26, 0.45), (4.14, 4.14, 2.85))
"""Scotchply 1002: S. W. Tsai and H. T. Hahn (1980), from memory; as transversely isotropic."""
PUBLISHED_D0 = 1.02
"""d0 [mm] that Whitney and Nuismer give for laminates of T300/5208 and of Scotchply 1002 alike."""


def plane(constants: Constants, angles: tuple[int, ...]) -> tuple[Array, Plane, float]:
    """A laminate as a plate: its stiffness without Poisson's ratios through the thickness, the exact stress around a
    hole, and how large that is at the edge."""
    k = engineering_constants(stack(constants, angles).stiffness)
    e1, e2, nu, g = (float(k[name]) for name in ("E1", "E2", "nu12", "G12"))
    whole = orthotropic_stiffness((e1, e2, float(k["E3"])), (nu, 0.0, 0.0), (g, float(k["G13"]), float(k["G23"])))
    peak = 1 + sqrt(2 * (sqrt(e1 / e2) - nu) + e1 / g)
    return 1000 * whole, kirsch if abs(peak - 3) < 1e-6 else potentials((e1, e2, nu, g)), peak


def published_distance() -> Iterator[Row]:
    """Notched over unnotched strength of two laminates, by the formula with the published d0."""
    how = "quarter ring of 20 x 12 bricks, averaged over twice d0"
    laminates = (
        ("T300/5208, [0/±45/90]s", T300, (0, 45, -45, 90)),
        ("Scotchply 1002, [0/90]s", GLASS, (0, 90)),
    )
    for name, constants, angles in laminates:
        stiffness, exact, peak = plane(constants, angles)
        for radius in (1.27, 3.81, 12.7):
            published = 1 / point_stress(radius / (radius + PUBLISHED_D0), peak)
            found = 1 / hole(stiffness, exact, length=2 * PUBLISHED_D0 / radius)
            problem = f"{name}, hole of {radius} mm radius: strength over the plain one"
            yield Row(problem, KONISH, published, found, "1", how, 0.08, "formula with the published d0, from memory")


PLAIN, HOLES = 845.1, {2: 555.7, 4: 480.6, 6: 438.7, 8: 375.7, 10: 373.7}
"""Strength [MPa] of [90/0/45/-45]3s of IM7/8552: plain, and with a hole of some diameter [mm] in a strip six times as
wide (CAMANHO, from memory)."""
OF = 6
"""The hole [mm] that d0 is taken from."""


def width_factor(ratio: float) -> float:
    """How much larger the stress beside a hole is in a strip, d / W = `ratio`, than in an endless plate (isotropic;
    Peterson's Stress Concentration Factors)."""
    return (2 + (1 - ratio) ** 3) / (3 * (1 - ratio))


def distance_from(strength: float, *, diameter: float) -> float:
    """d0 [mm] for which the formula gives a measured `strength` over the plain one."""
    stress = 1 / strength / width_factor(1 / 6)
    square = (sqrt(1 + 12 * (2 * stress - 2)) - 1) / 6  # 3 x^4 + x^2 = 2 stress - 2
    return diameter / 2 * (1 / sqrt(square) - 1)


def in_a_strip(length: float, *, width: float, cells: tuple[int, int] = (16, 12)) -> float:
    """Largest stress along a pulled strip, `width` times as wide as its hole of radius one is, over the gross stress,
    averaged over `length`."""
    mesh = strip(width, cells=cells)
    shear = E / 2 / (1 + NU)
    made = material(orthotropic_stiffness((E,) * 3, (NU, 0.0, 0.0), (shear,) * 3))
    printed = field(mesh, replace(made, length=length))
    end = group(mesh, HIGH_X)
    loads = force_load(mesh, end, force=np.array([end.area, 0, 0]))
    held = [*mirrored(mesh), square_to(mesh, LOW_Z, HIGH_Z, name="flat")]
    found, _, _ = solve(mesh, printed, held=held, loads=loads)
    edge = np.abs(np.hypot(mesh.nodes[:, 0], mesh.nodes[:, 1]) - 1) < 1e-6
    return float(recover_stress(mesh, printed, found).node[edge, 0].max())


def measured() -> Iterator[Row]:
    """Strength with a hole of a laminate that was tested, its d0 from one of the holes."""
    how = "quarter strip of 16 x 12 bricks around the hole, averaged over twice d0"
    d0 = distance_from(HOLES[OF] / PLAIN, diameter=OF)
    for diameter, strength in HOLES.items():
        found = 1 / in_a_strip(4 * d0 / diameter, width=6.0)
        problem = (
            f"IM7/8552, [90/0/45/-45]3s, strip of {6 * diameter} mm, hole of {diameter} mm: strength over the plain"
        )
        note = f"measured, from memory; d0 = {d0:.2f} mm from the hole of {OF} mm"
        yield Row(problem, CAMANHO, strength / PLAIN, found, "1", how, 0.1, note)
