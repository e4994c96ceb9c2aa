"""The solver of beads in boxes: against exact fields, a plain factorisation, and itself turned about."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from fem.printing.beads import AIR, CORE, COVER, WALL, WAYS, BeadMap, Grid
from fem.printing.infill.patterns import solid_at
from fem.printing.plan import in_layer_rotation
from fem.tensors import orthotropic_stiffness, strain_rotation
from fem.zooming.levels import Springs
from fem.zooming.system import BeadSystem
from fem.zooming.tables import bead_tables

BEAD: dict[str, Any] = {"E": (6000.0, 2500.0, 2000.0), "nu": (0.35, 0.35, 0.4), "G": (1200.0, 1000.0, 800.0)}
STEP = (0.15, 0.15, 0.1)


def solid(count: tuple[int, int, int], *, way: int = 11, per_layer: int = 2, share: int = 255) -> BeadMap:
    nx, ny, nz = count
    shape = (nz // per_layer, ny, nx)
    grid = Grid(np.zeros(3), np.array(STEP), count, per_layer, 0)
    full = np.full(shape, WALL, np.uint8)
    return BeadMap(
        grid, full, np.full(shape, share, np.uint8), np.full(shape, way, np.uint8), np.zeros(shape, np.uint16)
    )


def printed(n: int, *, shift: float = 0.0) -> BeadMap:
    """A corner of a print: four walls, five covers, a gyroid."""
    step, height = np.array([0.15, 0.15, 0.2]), 0.2
    layers = round(n * 0.15 / height)
    grid = Grid(np.zeros(3), step, (n, n, layers), 1, 0)
    z, y, x = np.meshgrid((np.arange(layers) + 0.5) * height, *[(np.arange(n) + 0.5) * 0.15] * 2, indexing="ij")
    places = np.stack([x + shift, y, z], axis=-1).reshape(-1, 3)
    core = solid_at("gyroid", places, density=0.4, bead_width=0.45, bead_height=height).reshape(x.shape)
    zone = np.where(core, CORE, AIR).astype(np.uint8)
    way = (np.floor(5 * x) % WAYS).astype(np.uint8)
    wall, cover = x < 1.8, z < 1.0
    zone[cover], way[cover] = COVER, np.where(np.floor(z[cover] / height) % 2 == 0, 18, 54)
    zone[wall], way[wall] = WALL, 36
    return BeadMap(
        grid, zone, np.where(zone < AIR, 255, 0).astype(np.uint8), way, np.zeros(zone.shape, dtype=np.uint16)
    )


def nodes_of(system: BeadSystem) -> Any:
    """Places (n, 3) of the nodes in boxes from the lowest corner."""
    k, j, i = np.nonzero(system.boxes.number >= 0)
    return np.stack([i, j, k], axis=1)


def sides(system: BeadSystem) -> Any:
    at = nodes_of(system)
    end = np.array(system.boxes.number.shape)[::-1] - 1
    return np.flatnonzero(((at == 0) | (at == end)).any(axis=1))


def whole_matrix(system: BeadSystem) -> Any:
    n = 3 * system.boxes.nodes
    return np.stack([system.product(column).ravel() for column in np.eye(n).reshape(n, -1, 3)], axis=1)


@pytest.mark.parametrize("count", [(13, 10, 14), (16, 16, 16), (5, 9, 2)])
def test_a_uniform_strain_is_exact_in_beads_laid_askew(count: tuple[int, int, int]) -> None:
    beads = solid(count)
    system = BeadSystem(beads, bead_tables(STEP, **BEAD))
    held = sides(system)
    system.support(held=held)
    gradient = np.random.default_rng(3).normal(size=(3, 3)) * 1e-3
    exact = nodes_of(system) * STEP @ gradient.T
    found = system.solve(np.zeros((1, system.boxes.nodes, 3)), moved=exact[held][None], tolerance=1e-11)
    assert np.abs(found.displacement[0] - exact).max() < 1e-9 * np.abs(exact).max()
    g = gradient
    strain = np.array([g[0, 0], g[1, 1], g[2, 2], g[1, 2] + g[2, 1], g[0, 2] + g[2, 0], g[0, 1] + g[1, 0]])
    own = orthotropic_stiffness(**BEAD) @ strain_rotation(in_layer_rotation(11 * 180 / WAYS)) @ strain
    stress = system.mean_stress(found.displacement[0])
    assert np.abs(stress - own).max() < 1e-8 * np.abs(own).max()
    # The same beads a quarter turn on would bear something else
    turned = orthotropic_stiffness(**BEAD) @ strain_rotation(in_layer_rotation(11 * 180 / WAYS + 90)) @ strain
    assert np.abs(stress - turned).max() > 0.1 * np.abs(own).max()


def test_pure_bending_is_exact() -> None:
    """A strain that varies linearly: e_xx = z / R of a bead along x, whose other strains follow without stress."""
    beads = solid((12, 8, 6), way=0)
    system = BeadSystem(beads, bead_tables(STEP, **BEAD))
    held = sides(system)
    system.support(held=held)
    (n12, n13, _), r = BEAD["nu"], 1000.0
    x, y, z = (nodes_of(system) * STEP).T
    exact = np.stack([x * z, -n12 * y * z, -(x**2) / 2 + n12 * y**2 / 2 - n13 * z**2 / 2], axis=1) / r
    found = system.solve(np.zeros((1, system.boxes.nodes, 3)), moved=exact[held][None], tolerance=1e-11)
    stress = system.mean_stress(found.displacement[0])
    middle = (np.repeat(np.arange(6), 96) + 0.5) * STEP[2]
    assert np.abs(stress[:, 0] - BEAD["E"][0] * middle / r).max() < 1e-8 * BEAD["E"][0] * middle.max() / r
    assert np.abs(stress[:, 1:]).max() < 1e-8 * np.abs(stress).max()


def test_the_answer_is_that_of_a_factorisation() -> None:
    system = BeadSystem(printed(8), bead_tables((0.15, 0.15, 0.2), **BEAD))
    at = nodes_of(system)
    chance = np.random.default_rng(1)
    held = np.flatnonzero(at[:, 2] == 0)
    loose = chance.choice(np.flatnonzero(at[:, 2] > 0), size=9, replace=False)
    root = chance.normal(size=(9, 3, 3))
    springs = Springs(np.sort(loose).astype(np.int64), 500 * root @ np.swapaxes(root, 1, 2))
    system.support(held=held, springs=springs)
    forces = chance.normal(size=(2, system.boxes.nodes, 3))
    moved = 1e-3 * chance.normal(size=(2, len(held), 3))
    found = system.solve(forces, moved=moved, tolerance=1e-10)
    matrix = whole_matrix(system)
    assert np.abs(matrix - matrix.T).max() < 1e-12 * np.abs(matrix).max()
    free = np.setdiff1d(np.arange(len(matrix)), (3 * held[:, None] + np.arange(3)).ravel())
    for column in range(2):
        exact = np.zeros((system.boxes.nodes, 3))
        exact[held] = moved[column]
        right = (forces[column].ravel() - matrix @ exact.ravel())[free]
        exact.reshape(-1)[free] = np.linalg.solve(matrix[np.ix_(free, free)], right)
        assert np.abs(found.displacement[column] - exact).max() < 1e-7 * np.abs(exact).max()
    # Without the springs the answer is another
    system.support(held=held)
    other = system.solve(forces, moved=moved).displacement
    assert np.abs(other - found.displacement).max() > 1e-2 * np.abs(found.displacement).max()


@pytest.mark.parametrize("n", [16, 27, 40, 54])
def test_iterations_do_not_grow_with_the_cube(n: int) -> None:
    system = BeadSystem(printed(n), bead_tables((0.15, 0.15, 0.2), **BEAD))
    held = sides(system)
    system.support(held=held)
    gradient = np.random.default_rng(0).normal(size=(2, 3, 3)) * 1e-3
    moved = np.einsum("kab,nb->kna", gradient, nodes_of(system)[held] * np.array([0.15, 0.15, 0.2]))
    found = system.solve(np.zeros((2, system.boxes.nodes, 3)), moved=moved)
    assert max(found.iterations) <= 12


def test_the_cycle_is_symmetric_and_positive() -> None:
    """Conjugate gradients need both of their preconditioner."""
    system = BeadSystem(printed(20), bead_tables((0.15, 0.15, 0.2), **BEAD))
    held = sides(system)
    system.support(held=held)
    cycle = system._cycle
    assert cycle is not None and len(cycle.levels) >= 3
    chance, free = np.random.default_rng(2), np.ones((system.boxes.nodes, 1))
    free[held] = 0

    def times(x: Any) -> Any:
        cycle.levels[0].residual[:] = x
        return cycle().astype(float).copy()

    a, b = ((chance.normal(size=(system.boxes.nodes, 3)) * free).ravel() for _ in range(2))
    image = times(a)
    assert a @ image > 0
    assert abs(b @ image - a @ times(b)) < 1e-4 * np.linalg.norm(a) * np.linalg.norm(image)


def test_half_filled_boxes_are_half_as_stiff_and_as_stressed() -> None:
    whole, half = (BeadSystem(solid((4, 4, 4), share=s), bead_tables(STEP, **BEAD)) for s in (255, 102))
    x = np.random.default_rng(4).normal(size=(whole.boxes.nodes, 3))
    assert np.allclose(half.product(x), 0.4 * whole.product(x), rtol=1e-12)
    assert np.allclose(half.mean_stress(x), whole.mean_stress(x), rtol=1e-12)


def test_air_takes_no_room() -> None:
    beads = printed(32)
    system = BeadSystem(beads, bead_tables((0.15, 0.15, 0.2), **BEAD))
    corners = int(np.prod([n + 1 for n in beads.grid.count]))
    bead = int((beads.share > 0).sum())
    assert bead < system.boxes.nodes < 0.9 * corners
    assert len(system.boxes.first) == bead
