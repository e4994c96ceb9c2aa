"""A sharp right angle cut out of a solid: stress that grows without limit there, and its average over a length."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import gamma

import numpy as np

from fem.evidence.bricks import HIGH_Z, LOW_Z, block
from fem.evidence.distances import first_step
from fem.evidence.nouns import CLOSED_FORM, Row
from fem.evidence.small_parts import field, material, node_at, prescribe, solve, square_to
from fem.judging.corners import singular_exponent
from fem.judging.stress import recover_stress
from fem.part.tetmesh import TetMesh
from fem.printing.field import PrintedMaterial
from fem.tensors import Array, isotropic_stiffness

WILLIAMS = "Williams, J. Appl. Mech. 19 (1952) 526"
TAYLOR = f"{WILLIAMS}; Taylor, The Theory of Critical Distances (2007), chapter 3 (point method)"
GRADIENT = f"{WILLIAMS}, under the kernel K0 of Peerlings et al., IJNME 39 (1996) 3391"

E, NU = 1000.0, 0.3
FILLED = 1.5 * np.pi
"""The angle [rad] that the solid fills around the corner."""
EXPONENT = 0.5444837368
"""Stress goes like r^(l - 1): sin(l a) + l sin(a) = 0 with a = FILLED (WILLIAMS)."""
HALF = 6.0
"""Half the side [mm] of the square that the corner is cut out of."""


def _terms() -> tuple[float, float]:
    """How much of the bisector's hoop stress belongs to cos((l + 1) t) and cos((l - 1) t); the sides have none."""
    one = -np.cos((EXPONENT - 1) * FILLED / 2) / np.cos((EXPONENT + 1) * FILLED / 2)
    return float(one / (one + 1)), float(1 / (one + 1))


def stress_across(t: Array) -> Array:
    """Stress across the bisector at r = 1, an angle t from it, over that on it (WILLIAMS, the even field)."""
    n, (one, two) = EXPONENT, _terms()
    radial = -((n + 1) * one * np.cos((n + 1) * t) + (n - 3) * two * np.cos((n - 1) * t)) / (n + 1)
    hoop = one * np.cos((n + 1) * t) + two * np.cos((n - 1) * t)
    shear = ((n + 1) * one * np.sin((n + 1) * t) + (n - 1) * two * np.sin((n - 1) * t)) / (n + 1)
    return np.asarray(radial * np.sin(t) ** 2 + hoop * np.cos(t) ** 2 + shear * np.sin(2 * t))


def displacement(x: Array, y: Array) -> tuple[Array, Array]:
    """Displacement in plane strain around a corner at the origin that fills all but x, y < 0; the stress across the
    bisector is 1 MPa one millimetre from the corner on it (WILLIAMS)."""
    n, (one, two), kappa, shear = EXPONENT, _terms(), 3 - 4 * NU, E / 2 / (1 + NU)
    r, angle = np.hypot(x, y), np.arctan2(y, x)
    t = (angle - np.pi / 4 + np.pi) % (2 * np.pi) - np.pi
    size = r**n / (2 * shear * n * (n + 1))
    out = size * (-(n + 1) * one * np.cos((n + 1) * t) + (kappa - n) * two * np.cos((n - 1) * t))
    on = size * ((n + 1) * one * np.sin((n + 1) * t) + (kappa + n) * two * np.sin((n - 1) * t))
    return out * np.cos(angle) - on * np.sin(angle), out * np.sin(angle) + on * np.cos(angle)


def angle_mesh(edge: float, *, cells: int = 11) -> TetMesh:
    """A square with a quarter cut out, one brick thick, whose bricks at the corner have an `edge` [mm] and grow away
    from it, `cells` of them to each side."""
    half = first_step(edge / HALF, cells)(np.linspace(0, 1, cells + 1))
    axis = np.concatenate([-half[:0:-1], half])
    return block(
        (2 * cells, 2 * cells, 1),
        grade=(lambda _: axis, lambda _: axis),
        bend=lambda p: p * np.array([HALF, HALF, edge]),
        keep=lambda p: ~((p[:, 0] < 0) & (p[:, 1] < 0)),
    )


def solved(mesh: TetMesh, made: PrintedMaterial) -> Array:
    """Displacement (n, 3) [mm] of the square, its rim displaced as the exact field is."""
    x, y = mesh.nodes[:, 0], mesh.nodes[:, 1]
    exact = np.stack([*displacement(x, y), np.zeros_like(x)], axis=1)
    rim = np.flatnonzero(np.maximum(np.abs(x), np.abs(y)) > HALF - 1e-9)
    held = [prescribe(mesh, rim, exact, axes=(0, 1)), square_to(mesh, LOW_Z, HIGH_Z, name="flat")]
    return solve(mesh, field(mesh, made), held=held)[0]


def averaged(mesh: TetMesh, moved: Array, made: PrintedMaterial, *, length: float) -> float:
    """Stress [MPa] across the bisector in the corner, averaged over `length` [mm]."""
    stress = recover_stress(mesh, field(mesh, replace(made, length=length)), moved).node[node_at(mesh, (0, 0, 0))]
    return float((stress[0] + stress[1]) / 2 - stress[5])


def by_the_point(length: float, exponent: float = EXPONENT) -> float:
    """Stress [MPa] on the bisector, half a `length` [mm] from the corner."""
    return float((length / 2) ** (exponent - 1))


def by_the_gradient(length: float) -> float:
    """What an endlessly fine mesh averages to in the corner, s - (length / 2)^2 (s_xx + s_yy) = stress with a free
    border: its kernel there is K0(2 r / length), the same in all directions."""
    t = np.linspace(-FILLED / 2, FILLED / 2, 4001)
    around = float(np.trapezoid(stress_across(t), t) / FILLED)
    return by_the_point(length) * around * 2 ** (EXPONENT - 1) * gamma((1 + EXPONENT) / 2) ** 2


def right_angle() -> Iterator[Row]:
    """The corner on three meshes; its average, which settles, and its exponent."""
    made, length, sizes = material(isotropic_stiffness(E, NU)), 0.5, (0.25, 1.0)
    for edge in (0.25, 0.125, 0.0625):
        mesh = angle_mesh(edge)
        moved, how = solved(mesh, made), f"square of 12 mm, bricks of {edge} mm at the corner, rim displaced exactly"
        found = averaged(mesh, moved, made, length=length)
        problem = f"Right angle cut out, averaged over {length / edge:g} bricks: stress"
        point, exact = by_the_point(length), by_the_gradient(length)
        yield Row(f"{problem}, by the point", TAYLOR, point, found, "MPa", how, 0.1, CLOSED_FORM)
        yield Row(f"{problem}, by the kernel", GRADIENT, exact, found, "MPa", how, 0.07, CLOSED_FORM)
    short, long = (averaged(mesh, moved, made, length=size) for size in sizes)
    problem, by_size = "Right angle cut out: exponent", 1 - np.log(short / long) / np.log(sizes[1] / sizes[0])
    yield Row(
        f"{problem}, from averages over {sizes[0]:g} and {sizes[1]:g} mm", WILLIAMS, EXPONENT, by_size, "1", how, 0.03
    )
    by_energy = singular_exponent(mesh, field(mesh, made), moved, np.zeros(3), np.array([0.0, 0.0, 1.0]))
    yield Row(f"{problem}, from energies", WILLIAMS, EXPONENT, by_energy or 0.0, "1", how, 0.055)
