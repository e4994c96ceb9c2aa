"""Thick cylinders and spheres: pressure, warmth, a cavity."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fem.evidence.bricks import (
    ABOVE,
    BELOW,
    CUT_U,
    CUT_V,
    HIGH_Y,
    HIGH_Z,
    LOW_X,
    LOW_Y,
    LOW_Z,
    RIM,
    block,
    ring,
    shell,
)
from fem.evidence.nouns import CLOSED_FORM, Row
from fem.evidence.small_parts import field, group, material, node_at, node_stress, solve, square_to
from fem.loading.loads import pressure_load, spread
from fem.loading.supports import Held
from fem.loading.temperature_change import thermal_load
from fem.part.tetmesh import TetMesh
from fem.tensors import Array, isotropic_stiffness

LAME = "Lamé; Timoshenko and Goodier, Theory of Elasticity, 3rd ed. (1970), sections 28 and 136"
CAVITY = "Goodier (1933); Timoshenko and Goodier, section 137: (27 - 15 nu) / (2 (7 - 5 nu))"
LE11 = "benchmark LE11, The Standard NAFEMS Benchmarks, TNSB rev. 3 (1990)"


def mirrored(mesh: TetMesh) -> list[Held]:
    """The two cut planes of a quarter ring, held square to themselves."""
    return [square_to(mesh, LOW_Y, name="cut y"), square_to(mesh, HIGH_Y, name="cut x")]


def thick_cylinder(*, plane_strain: bool, poisson: float = 0.35) -> tuple[TetMesh, Array, Array]:
    """Mesh, displacement and stress of a ring of radii 10 and 20 under an inner pressure of 10; E = 2000."""
    mesh = ring((8, 12, 1), 10, 20, 2)
    printed = field(mesh, material(isotropic_stiffness(2000, poisson)))
    flat = square_to(mesh, LOW_Z, *((HIGH_Z,) if plane_strain else ()), name="flat")
    loads = pressure_load(mesh, group(mesh, LOW_X), pressure=10.0)
    found, _, _ = solve(mesh, printed, held=[*mirrored(mesh), flat], loads=loads)
    return mesh, found, node_stress(mesh, printed, found)


def cylinder() -> Iterator[Row]:
    """The thick cylinder in plane strain and with free ends."""
    how = "quarter ring of 8 x 12 x 1 bricks with curved sides"
    mesh, moved, stress = thick_cylinder(plane_strain=True)
    for r, hoop, move in ((10, 16.6667, 0.09675), (15, 9.25926, 0.070125), (20, 6.66667, 0.0585)):
        at = node_at(mesh, (r, 0, 0))
        told = (
            ("hoop stress", hoop, stress[at, 1], "MPa", 0.015),
            ("displacement", move, moved[at, 0], "mm", 5e-4),
        )
        for words, published, computed, unit, allowed in told:
            problem = f"Thick cylinder, plane strain, r = {r}: {words}"
            yield Row(problem, LAME, published, float(computed), unit, how, allowed, CLOSED_FORM)
    axial = float(stress[node_at(mesh, (15, 0, 0)), 2])
    yield Row("Thick cylinder, plane strain: axial stress", LAME, 2.33333, axial, "MPa", how, 0.03, CLOSED_FORM)
    mesh, moved, _ = thick_cylinder(plane_strain=False)
    for r, published in ((10, 0.1008333), (20, 0.0666667)):
        problem = f"Thick cylinder, ends free, r = {r}: displacement"
        computed = float(moved[node_at(mesh, (r, 0, 0)), 0])
        yield Row(problem, LAME, published, computed, "mm", how, 5e-4, CLOSED_FORM)


def eighth(mesh: TetMesh) -> list[Held]:
    """The three cut planes of an eighth of a ball."""
    return [square_to(mesh, face, name=f"cut {axis}") for axis, face in zip("xyz", (CUT_U, CUT_V, RIM), strict=True)]


def sphere() -> Iterator[Row]:
    """A thick ball of radii 10 and 20 under an inner pressure of 10; E = 2000, nu = 0.35."""
    mesh = shell(8, 7, inner=10, outer=20)
    printed = field(mesh, material(isotropic_stiffness(2000, 0.35)))
    loads = pressure_load(mesh, group(mesh, BELOW), pressure=10.0)
    moved, _, _ = solve(mesh, printed, held=eighth(mesh), loads=loads)
    stress = node_stress(mesh, printed, moved)
    how = "eighth of a ball, 64 x 7 prisms with curved sides"
    for r, hoop, move in ((10, 7.142857, 0.04071429), (20, 2.142857, 0.01392857)):
        at = node_at(mesh, (r, 0, 0))
        problem = f"Thick sphere under pressure, r = {r}: hoop stress"
        yield Row(problem, LAME, hoop, float(stress[at, 1]), "MPa", how, 0.02, CLOSED_FORM)
        problem = f"Thick sphere under pressure, r = {r}: displacement"
        yield Row(problem, LAME, move, float(moved[at, 0]), "mm", how, 1e-3, CLOSED_FORM)


def cavity_factor(poisson: float, *, outer: float = 8.0) -> float:
    """Stress at the equator of a cavity of radius one in a large ball pulled along z by one."""
    mesh = shell(9, 10, inner=1.0, outer=outer)
    printed = field(mesh, material(isotropic_stiffness(1000, poisson)))
    far = mesh.triangles_of((ABOVE,))
    loads = spread(mesh, far, lambda x, n: np.stack([0 * n[..., 2], 0 * n[..., 2], n[..., 2]], axis=-1))
    moved, _, _ = solve(mesh, printed, held=eighth(mesh), loads=loads)
    stress = node_stress(mesh, printed, moved)
    return float((stress[node_at(mesh, (1, 0, 0)), 2] + stress[node_at(mesh, (0, 1, 0)), 2]) / 2)


def cavity() -> Iterator[Row]:
    """A spherical cavity in a large body."""
    how = "eighth of a ball of 8 cavity radii, 81 x 10 prisms"
    for poisson, published in ((0.2, 2.0), (0.35, 2.071429)):
        problem = f"Spherical cavity, nu = {poisson}: stress factor"
        yield Row(problem, CAVITY, published, cavity_factor(poisson), "1", how, 0.02, CLOSED_FORM)


def _outline(t: Array, corners: tuple[tuple[float, float], ...], arcs: int, radius: float) -> Array:
    """Points (n, 2) at t in 0..1 on an outline in four equal strips, of which the first `arcs` lie on a circle."""
    k = np.minimum((4 * t).astype(int), 3)
    share = 4 * t - k
    a, b = np.array(corners)[k], np.array(corners)[k + 1]
    straight = a + (b - a) * share[:, None]
    first, last = np.arctan2(a[:, 1], a[:, 0]), np.arctan2(b[:, 1], b[:, 0])
    angle = first + (last - first) * share
    round_ = radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    return np.where((k < arcs)[:, None], round_, straight)


def taper(cells: tuple[int, int, int], *, sector: float = 0.3) -> TetMesh:
    """A sector [rad] of the cylinder that tapers into a sphere: across, along and around."""
    s, c = np.sin, np.cos
    turn = np.pi / 8
    inner = ((1.0, 0.0), (c(turn), s(turn)), (0.5**0.5, 0.5**0.5), (0.7071, 1.39), (0.7071, 1.79))
    outer = ((1.4, 0.0), (1.4 * c(np.pi / 6), 0.7), (1.1062, 1.045), (1.0, 1.39), (1.0, 1.79))

    def bend(p: Array) -> Array:
        low, high = _outline(p[:, 2], inner, 2, 1.0), _outline(p[:, 2], outer, 1, 1.4)
        r, z = (low + (high - low) * p[:, :1]).T
        angle = (p[:, 1] - 0.5) * sector
        return np.stack([r * np.cos(angle), r * np.sin(angle), z], axis=1)

    return block(cells, bend=bend)


def warm_taper(cells: tuple[int, int, int] = (10, 2, 40)) -> float:
    """Axial stress at A, inside on the lower end, when T = r + z."""
    mesh = taper(cells)
    printed = field(mesh, material(isotropic_stiffness(210e3, 0.3), expansion=[2.3e-4] * 3 + [0] * 3))
    middle = mesh.nodes[mesh.tets[:, :4]].mean(axis=1)
    warmer = np.hypot(middle[:, 0], middle[:, 1]) + middle[:, 2]
    held = [square_to(mesh, LOW_Y, HIGH_Y, name="cuts"), square_to(mesh, LOW_Z, HIGH_Z, name="ends")]
    loads = thermal_load(mesh, printed, temperature_change=warmer)
    moved, _, _ = solve(mesh, printed, held=held, loads=loads)
    stress = node_stress(mesh, printed, moved, temperature_change=warmer)
    return float(stress[node_at(mesh, (1, 0, 0)), 2])


def solid_of_revolution() -> Iterator[Row]:
    """The solid cylinder, taper and sphere that warm unevenly."""
    how = "sector of 10 x 2 x 40 bricks; even temperature in each tetrahedron"
    yield Row("Cylinder, taper and sphere that warm: axial stress at A", LE11, -105.0, warm_taper(), "MPa", how, 0.02)
