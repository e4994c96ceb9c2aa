"""Patch tests: fields that second-order tetrahedra must reproduce exactly, whatever the mesh."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from fem.evidence.beams import PRINTED, bending
from fem.evidence.bricks import HIGH_X, LOW_X, block, box, brick_tets, mesh_from
from fem.evidence.nouns import CLOSED_FORM, Row
from fem.evidence.small_parts import (
    boundary,
    field,
    group,
    material,
    node_at,
    node_stress,
    on,
    pinned,
    prescribe,
    solve,
)
from fem.loading.loads import force_load
from fem.part.tetmesh import TetMesh
from fem.printing.plan import in_layer_rotation
from fem.tensors import Array, isotropic_stiffness, orthotropic_stiffness, pack_strain, rotate_stiffness

INNER = {
    (0, 0, 0): (0.249, 0.342, 0.192),
    (1, 0, 0): (0.826, 0.288, 0.288),
    (1, 1, 0): (0.850, 0.649, 0.263),
    (0, 1, 0): (0.273, 0.750, 0.230),
    (0, 0, 1): (0.320, 0.186, 0.643),
    (1, 0, 1): (0.677, 0.305, 0.683),
    (1, 1, 1): (0.788, 0.693, 0.644),
    (0, 1, 1): (0.165, 0.745, 0.702),
}
"""Corners of the seven bricks inside the unit cube."""
PATCH = "MacNeal and Harder, Finite Elements in Analysis and Design 1 (1985) 3, figure 2"
JONES = "Jones, Mechanics of Composite Materials, 2nd ed. (1999), eqs 2.97"
BENT = "Lekhnitskii, Theory of Elasticity of an Anisotropic Body (1981), section 13"


def seven_bricks() -> TetMesh:
    """The patch: a unit cube of seven distorted bricks, each of six tetrahedra."""
    lattice = [(i, j, k) for i in (0, 1) for j in (0, 1) for k in (0, 1)]
    number = {(*at, depth): 8 * depth + lattice.index(at) for at in lattice for depth in (0, 1)}
    corners = np.array([*lattice, *(INNER[at] for at in lattice)], dtype=float)
    tets = brick_tets(lambda i, j, k: number[i, j, k, 1])
    for axis in range(3):
        for side in (0, 1):

            def corner(a: int, b: int, depth: int, axis: int = axis, side: int = side) -> int:
                at: list[Any] = [a, b]
                at.insert(axis, side)
                return number[at[0], at[1], at[2], depth]

            tets += brick_tets(corner)
    return mesh_from(corners, np.array(tets), face_of=lambda t: 0)


def shaken(
    cells: tuple[int, int, int], lengths: tuple[float, float, float], *, amount: float, seed: int = 4
) -> TetMesh:
    """A box with straight sides whose inner corners are out of place."""

    def displacement(points: Array) -> Array:
        inside = np.all((points > 0) & (points < 1), axis=1)
        jitter = np.random.default_rng(seed).uniform(-amount, amount, points.shape) / np.array(cells)
        return np.asarray((points + jitter * inside[:, None]) * np.array(lengths))

    return block(cells, displacement=displacement)


def rotation(seed: int) -> Array:
    """Some rotation (3, 3)."""
    q, _ = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))
    return np.asarray(q * np.sign(np.linalg.det(q)))


def farthest(values: Array, published: float) -> float:
    """Of all values the one farthest from the published."""
    flat = np.ravel(values)
    return float(flat[np.abs(flat - published).argmax()])


def unit_patch() -> Iterator[Row]:
    """Unit strain 1e-3 in all six components, E = 1e6, nu = 0.25: stress 2000 and 400 everywhere."""
    mesh = seven_bricks()
    printed = field(mesh, material(isotropic_stiffness(1e6, 0.25)))
    exact = 1e-3 * mesh.nodes @ (np.ones((3, 3)) + np.eye(3)) / 2
    found, _, _ = solve(mesh, printed, held=[prescribe(mesh, boundary(mesh), exact)])
    stress = node_stress(mesh, printed, found)
    how = "seven distorted bricks of six tetrahedra; the node farthest off"
    for words, part, published in (("normal", stress[:, :3], 2000.0), ("shear", stress[:, 3:], 400.0)):
        problem = f"Patch of seven bricks: {words} stress"
        yield Row(problem, PATCH, published, farthest(part, published), "MPa", how, 1e-6)


def turned_patch() -> Iterator[Row]:
    """A uniform strain in an orthotropic material that lies askew."""
    mesh = shaken((3, 3, 3), (10, 8, 6), amount=0.25)
    stiffness = rotate_stiffness(orthotropic_stiffness(*PRINTED), rotation(11))
    printed = field(mesh, material(stiffness))
    slope = np.random.default_rng(5).normal(size=(3, 3)) * 1e-3
    exact = mesh.nodes @ slope.T
    found, _, _ = solve(mesh, printed, held=[prescribe(mesh, boundary(mesh), exact)])
    stress = node_stress(mesh, printed, found)
    published = stiffness @ pack_strain((slope + slope.T) / 2)
    how = "3 x 3 x 3 distorted bricks; the node farthest off"
    for name, c in (("xx", 0), ("yy", 1), ("xy", 5)):
        problem = f"Patch of an orthotropic material askew: stress {name}"
        one = float(published[c])
        yield Row(problem, "Hooke's law", one, farthest(stress[:, c], one), "MPa", how, 1e-6, CLOSED_FORM)


def pure_bending() -> Iterator[Row]:
    """M = 1000 N mm on 10 x 10: kappa = M / (E1 I) = 2e-4; deflection -1 at x = 100, largest stress 6."""
    mesh, found, stress = bent_bar(nu12=0.35, nu13=0.40)
    how = "6 x 2 x 2 distorted bricks, ends held, sides free"
    told = (
        ("deflection", -1.0, found[node_at(mesh, (100, 5, 5)), 1], "mm"),
        ("anticlastic displacement", -2.0e-3, found[node_at(mesh, (100, 10, 10)), 2], "mm"),
        ("largest stress", 6.0, stress[node_at(mesh, (0, 10, 5)), 0], "MPa"),
    )
    for words, published, computed, unit in told:
        problem = f"Orthotropic bar in pure bending: {words}"
        yield Row(problem, BENT, published, float(computed), unit, how, 1e-5, CLOSED_FORM)


def bent_bar(*, nu12: float, nu13: float) -> tuple[TetMesh, Array, Array]:
    """Mesh, displacement and stress of the bar whose ends are bent for a material of these Poisson's ratios."""
    mesh = shaken((6, 2, 2), (100, 10, 10), amount=0.2)
    printed = field(mesh, material(orthotropic_stiffness(*PRINTED)))
    exact = bending(mesh.nodes - [0, 5, 5], kappa=2e-4, nu12=nu12, nu13=nu13)
    # Only the two ends are held: the sides are free, and must come out free of stress
    found, _, _ = solve(mesh, printed, held=[prescribe(mesh, on(mesh, LOW_X, HIGH_X), exact)])
    return mesh, found, node_stress(mesh, printed, found)


# E1, E2 [MPa], nu12, G12 [MPa]; angle [degrees]; Ex [GPa], nu_xy, eta = S16/S11
OFF_AXIS = (
    ("T300/5208", (181e3, 10.3e3, 0.28, 7.17e3), 30, (28.78011, 0.22672, -1.35145)),
    ("T300/5208", (181e3, 10.3e3, 0.28, 7.17e3), 60, (12.41812, 0.09783, -0.40157)),
    ("printed nylon", (6e3, 3e3, 0.35, 1.2e3), 15, (5.22540, 0.37558, -0.46285)),
    ("printed nylon", (6e3, 3e3, 0.35, 1.2e3), 45, (3.28767, 0.36986, -0.27397)),
)


def pulled_off_axis(constants: tuple[float, float, float, float], angle: float) -> tuple[float, float, float]:
    """Ex [MPa], nu_xy and eta_xy,x of a coupon whose beads lie at `angle`, pulled by its ends and free to shear."""
    e1, e2, n12, g12 = constants
    own = orthotropic_stiffness((e1, e2, e2), (n12, n12, 0.3), (g12, g12, 0.4 * e2))
    mesh = box((20, 10, 4), (3, 2, 2))
    printed = field(mesh, material(rotate_stiffness(own, in_layer_rotation(angle))))
    pull = force_load(mesh, group(mesh, HIGH_X), force=np.array([200.0, 0, 0]))
    pull += force_load(mesh, group(mesh, LOW_X), force=np.array([-200.0, 0, 0]))
    found, _, _ = solve(mesh, printed, held=[pinned(mesh, (0, 0, 0), (20, 0, 0), (0, 10, 0))], loads=pull)
    slope = np.linalg.lstsq(np.column_stack([np.ones(len(found)), mesh.nodes]), found, rcond=None)[0][1:]
    fitted = found[0] + (mesh.nodes - mesh.nodes[0]) @ slope
    assert np.abs(fitted - found).max() < 1e-7 * np.abs(found).max()  # strain is uniform
    exx, eyy, gxy = slope[0, 0], slope[1, 1], slope[0, 1] + slope[1, 0]
    return 5.0 / exx, -eyy / exx, gxy / exx


def off_axis() -> Iterator[Row]:
    """Tension off the axes of the material, on a coupon that is free to shear."""
    for name, constants, angle, published in OFF_AXIS:
        ex, nu, eta = pulled_off_axis(constants, angle)
        found = zip(("Ex", "nu_xy", "eta"), ("GPa", "1", "1"), (ex / 1e3, nu, eta), published, strict=True)
        for key, unit, computed, known in found:
            problem = f"Coupon of {name} pulled at {angle}°: {key}"
            yield Row(problem, JONES, known, float(computed), unit, "3 x 2 x 2 bricks", 5e-5, CLOSED_FORM)
