"""Bars and beams: stretch, bending, shear, twist, own weight, warmth."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fem.evidence.bricks import HIGH_X, LOW_X, box
from fem.evidence.nouns import CLOSED_FORM, FROM_MEMORY, Row
from fem.evidence.small_parts import field, group, material, node_at, node_stress, on, pinned, prescribe, solve, still
from fem.loading.acceleration import acceleration_load
from fem.loading.loads import force_load, spread, wrench_load
from fem.loading.supports import held_face
from fem.loading.temperature_change import thermal_load
from fem.solving.equilibrium import Solution
from fem.tensors import Array, isotropic_stiffness, orthotropic_stiffness

Lengths = tuple[float, float, float]
Cells = tuple[int, int, int]

PRINTED = ((6000.0, 3000.0, 2000.0), (0.35, 0.40, 0.45), (1200.0, 800.0, 700.0))
"""E1, E2, E3, nu12, nu13, nu23, G12, G13, G23 [MPa] like those of a printed nylon with short carbon fibres."""
SLENDER = "MacNeal and Harder, Finite Elements in Analysis and Design 1 (1985) 3, table 3"
TIMOSHENKO = "Timoshenko, Phil. Mag. 41 (1921) 744; shear coefficient 5/6 of a rectangle"
LEKHNITSKII = "Lekhnitskii, Theory of Elasticity of an Anisotropic Body (1981), section 27"
GOODIER = "Timoshenko and Goodier, Theory of Elasticity, 3rd ed. (1970), section 109"


def cantilever(lengths: Lengths, cells: Cells, stiffness: Array, force: Array) -> tuple[Array, Solution]:
    """Mean displacement (3,) [mm] of the end face of a bar clamped at the other, along the force; the solution."""
    mesh = box(lengths, cells)
    printed = field(mesh, material(stiffness))
    clamp = held_face(mesh, group(mesh, LOW_X), fixed=("x", "y", "z"), name="clamp")
    loads = force_load(mesh, group(mesh, HIGH_X), force=np.asarray(force, dtype=float))
    found, _, solution = solve(mesh, printed, held=[clamp], loads=loads)
    work = (loads * found).sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        return work / np.asarray(force, dtype=float), solution


def end_rotation() -> float:
    """Rotation [rad] by work of the slender cantilever's end under a unit moment about its length."""
    mesh = box((6, 0.2, 0.1), (24, 4, 2))
    printed = field(mesh, material(isotropic_stiffness(1e7, 0.3)))
    clamp = held_face(mesh, group(mesh, LOW_X), fixed=("x", "y", "z"), name="clamp")
    end = group(mesh, HIGH_X)
    loads = wrench_load(mesh, end.triangles, force=np.zeros(3), moment=np.array([1.0, 0, 0]), at=end.centre)
    found, _, _ = solve(mesh, printed, held=[clamp], loads=loads, solver="direct")
    return float((loads * found).sum())


def slender() -> Iterator[Row]:
    """The straight cantilever 6 x 0.2 x 0.1, E = 1e7, nu = 0.3, under unit end loads."""
    known = (("along its length", 0, 3.0e-5), ("in its plane", 1, 0.1081), ("out of its plane", 2, 0.4321))
    for words, axis, published in known:
        found, _ = cantilever((6, 0.2, 0.1), (30, 2, 2), isotropic_stiffness(1e7, 0.3), np.eye(3)[axis])
        problem = f"Slender cantilever loaded {words}: end displacement"
        yield Row(problem, SLENDER, published, float(found[axis]), "mm", "30 x 2 x 2 bricks", 0.01, FROM_MEMORY)
    rotation, how = end_rotation(), "24 x 4 x 2 bricks; mean rotation by work"
    name = "Slender cantilever twisted: end rotation"
    note = f"{FROM_MEMORY}. It lies 6 % below the closed form of free warping (0.03411), which finer meshes approach"
    yield Row(name, SLENDER, 0.03208, rotation, "rad", how, 0.02, note)
    note = f"{CLOSED_FORM}, for ends that may warp; this end is clamped"
    yield Row(f"{name}, free warping", GOODIER, 0.03411, rotation, "rad", how, 0.02, note)


def energetic_deflection(lengths: Lengths, cells: Cells, stiffness: Array, force: float) -> float:
    """Twice the work over the force [mm], of a beam whose ends carry the stresses of beam theory."""
    length, width, height = lengths
    mesh = box(lengths, cells)
    printed = field(mesh, material(stiffness))
    inertia = width * height**3 / 12

    def ends(x: Array, n: Array) -> Array:
        z = x[..., 2] - height / 2
        shear = force / (2 * inertia) * (height**2 / 4 - z**2)
        stretch = -force * (length - x[..., 0]) * z / inertia
        return np.asarray(n[..., :1] * np.stack([stretch, 0 * z, shear], axis=-1))

    loads = spread(mesh, mesh.triangles_of((LOW_X, HIGH_X)), ends)
    pin = pinned(mesh, (0, 0, 0), (length, 0, 0), (0, width, 0))
    found, _, solution = solve(mesh, printed, held=[pin], loads=loads)
    assert np.abs(solution.support).max() < 1e-5 * force  # the ends balance one another
    return float((found * loads).sum()) / force


def with_shear() -> Iterator[Row]:
    """Deflection by bending and shear of an isotropic and of a short orthotropic cantilever."""
    how = "loaded by the stresses of beam theory, deflection by work; {} bricks"
    found = energetic_deflection((100, 10, 10), (20, 2, 4), isotropic_stiffness(2000, 0.3), 10.0)
    problem = "Cantilever 100 x 10 x 10, E = 2000: deflection with shear"
    yield Row(problem, TIMOSHENKO, 2.0156, found, "mm", how.format("20 x 2 x 4"), 0.002, CLOSED_FORM)
    found = energetic_deflection((40, 10, 10), (8, 3, 4), orthotropic_stiffness(*PRINTED), 100.0)
    problem = "Short orthotropic cantilever, G13 = 800: deflection with shear"
    yield Row(problem, TIMOSHENKO, 0.486667, found, "mm", how.format("8 x 3 x 4"), 0.01, CLOSED_FORM)


def own_weight() -> Iterator[Row]:
    """A bar that hangs: L = 1000, rho = 1.1e-9, g = 9810, E = 2000."""
    mesh = box((1000, 20, 20), (10, 1, 1))
    printed = field(mesh, material(isotropic_stiffness(2000, 0.0), density=1.1e-9))
    top = held_face(mesh, group(mesh, LOW_X), fixed=("x", "y", "z"), name="top")
    weight = acceleration_load(mesh, printed, field=np.array([9810.0, 0, 0]))
    found, _, _ = solve(mesh, printed, held=[top], loads=weight)
    stress = node_stress(mesh, printed, found)
    how, source = "10 x 1 x 1 bricks", "Gere and Timoshenko, Mechanics of Materials (1997), section 2.3"
    tip, root = node_at(mesh, (1000, 0, 0)), node_at(mesh, (0, 0, 0))
    yield Row(
        "Bar under its own weight: elongation",
        *(source, 2.69775e-3, float(found[tip, 0]), "mm", how, 1e-5, CLOSED_FORM),
    )
    yield Row(
        "Bar under its own weight: stress at the top",
        *(source, 0.010791, float(stress[root, 0]), "MPa", how, 1e-4, CLOSED_FORM),
    )


def warm_bar() -> Iterator[Row]:
    """A bar between rigid walls that warms by 40 K: sigma = -E alpha dT."""
    mesh = box((60, 10, 10), (4, 2, 2))
    printed = field(mesh, material(isotropic_stiffness(2000, 0.3), expansion=[1.2e-4] * 3 + [0] * 3))
    warmer = np.full(len(mesh.tets), 40.0)
    ends = still(mesh, on(mesh, LOW_X, HIGH_X), axes=(0,), name="ends")
    pin = pinned(mesh, (0, 0, 0), (60, 0, 0), (0, 10, 0))
    loads = thermal_load(mesh, printed, temperature_change=warmer)
    found, _, _ = solve(mesh, printed, held=[ends, pin], loads=loads)
    stress = node_stress(mesh, printed, found, temperature_change=warmer)
    worst = stress[np.abs(stress[:, 0] + 9.6).argmax(), 0]
    source = "Gere and Timoshenko, Mechanics of Materials (1997), section 2.5"
    how = "4 x 2 x 2 bricks; the node farthest off"
    yield Row(
        "Bar between rigid walls, 40 K warmer: stress", source, -9.6, float(worst), "MPa", how, 1e-6, CLOSED_FORM
    )


def bending(nodes: Array, *, kappa: float, nu12: float, nu13: float) -> Array:
    """Displacement (n, 3) of a bar in pure bending with its material's axes along its own.

    Source: S. G. Lekhnitskii, Theory of Elasticity of an Anisotropic Body (1981), section 13.
    """
    x, y, z = nodes.T
    return np.stack(
        [kappa * x * y, -kappa / 2 * (x**2 + nu12 * y**2 - nu13 * z**2), -nu13 * kappa * y * z],
        axis=1,
    )


def twisted(width: float, height: float, gxy: float, gxz: float) -> tuple[float, float]:
    """G J [N mm^2] from the moment that turns one end of a bar whose ends may warp, and its largest shear stress over
    that moment [1/mm^3], in the middle of the longer side (along y).
    """
    length, angle = 10.0, 0.01
    mesh = box((length, width, height), (1, 8, 8))
    printed = field(mesh, material(orthotropic_stiffness(*PRINTED[:2], (gxy, gxz, 700))))
    off = mesh.nodes - [0, width / 2, height / 2]
    turn = angle * off[:, 0] / length
    given = np.stack([np.zeros(len(off)), -turn * off[:, 2], turn * off[:, 1]], axis=1)
    ends = on(mesh, LOW_X, HIGH_X)
    middle = np.array([node_at(mesh, (0, width / 2, height / 2))])
    held = [prescribe(mesh, ends, given, axes=(1, 2)), prescribe(mesh, middle, given, axes=(0,), name="middle")]
    found, _, solution = solve(mesh, printed, held=held, solver="direct")
    far = off[:, 0] > length / 2
    moment = float(np.cross(off[far], solution.support[far]).sum(axis=0)[0])
    side = node_at(mesh, (length / 2, width / 2, height))
    shear = abs(float(node_stress(mesh, printed, found)[side, 5]))
    return moment * length / angle, shear / moment


# Sides along y and z [mm], Gxy and Gxz [MPa], G J [N mm^2]
TWISTS = (
    ("square, even shear moduli", 10, 10, 1000, 1000, 1405770.1, GOODIER),
    ("square, Gxy = 1200, Gxz = 800", 10, 10, 1200, 800, 1351469.9, LEKHNITSKII),
    ("20 x 10, Gxy = 1200, Gxz = 800", 20, 10, 1200, 800, 4948573.7, LEKHNITSKII),
)


def torsion() -> Iterator[Row]:
    """Torsional stiffness of rectangular bars by Saint-Venant's series."""
    how = "8 x 8 bricks over the section, ends free to warp"
    for words, width, height, gxy, gxz, published, source in TWISTS:
        stiffness, shear = twisted(width, height, gxy, gxz)
        problem = f"Torsional stiffness of a bar ({words})"
        yield Row(problem, source, published, stiffness, "N mm²", how, 0.004, CLOSED_FORM)
        if gxy == gxz:
            problem = "Largest shear stress of a twisted square bar, over T / b³"
            yield Row(problem, GOODIER, 1 / 0.20817, shear * width**3, "1", how, 0.03, CLOSED_FORM)
