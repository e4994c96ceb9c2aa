"""Infill laid as in a part and computed box by box, against the cells that stand for it in homogenised parts.

Two computations that share neither mesh nor boundary: a cell's fitted hexahedra and smooth sheets, and boxes laid
layer by layer. Boxes here are coarse, so tolerances are loose; `studies/beads_against_cells.py` tells how near they
come when halved, and which side is right where they differ.
"""

import dataclasses

import numpy as np
import pytest
from helpers_lattice import (
    HEIGHT,
    ROOM,
    STRAINS,
    Period,
    fitting_density,
    lattice_body,
    strained,
    unit_load,
)

from fem.criteria.reserve import utilisation
from fem.printing.beads import WAYS, Grid
from fem.printing.infill.cell_strength import unit_states
from fem.printing.plan import in_layer_rotation
from fem.tensors import engineering_constants, stress_rotation
from fem.zooming.cube import Supported, solve_beads

MODULI = ("E1", "E2", "E3", "G12", "G13", "G23")
SIDE = {"woodpile": 0.1125, "grid": 0.1125}
"""Boxes of 0.15 mm, one a layer, but where notches in every layer ask for more: then two a layer."""
STIFF = {"woodpile": 0.25, "grid": 0.1, "triangle": 0.05, "honeycomb": 0.3, "gyroid": 0.08}
"""Thin walls that bend are too stiff in coarse boxes, and more so where boxes are filled in part: honeycomb."""
STRONG = {"woodpile": 0.1, "grid": 0.15, "triangle": 0.2, "honeycomb": 0.25, "gyroid": 0.06}
"""Cells mix the layers of a joint evenly; resolved layers do not share so well: grid, triangle, honeycomb."""


def period(pattern, **other):
    side = SIDE.get(pattern, 0.15)
    return Period(pattern, fitting_density(pattern, 0.3), side, 2 if side < 0.15 else 1, **other)


def moduli_ratio(solved, cell):
    found, told = (engineering_constants(c) for c in (solved.stiffness, cell.stiffness))
    return np.array([found[k] / told[k] for k in MODULI])


def strength_ratio(solved, cell):
    """First bead over the cell's, for each of nine mean stresses; shears in the worse of their ways."""
    told = np.concatenate([cell.strength_MPa[k] for k in ("tension", "compression", "shear")])
    both = np.array([[solved.first_bead(way * s)[0].reserve for way in (1, -1)] for s in unit_states()])
    return np.concatenate([both[:6, 0], both[6:].min(axis=1)]) / told


@pytest.mark.parametrize("pattern", ["woodpile", "grid", "triangle", "honeycomb", "gyroid"])
def test_a_lattice_of_beads_is_worth_what_its_cell_says(pattern):
    block = period(pattern)
    cell, solved = block.body.made.cell, block.solved
    assert solved.beads.beads.share[solved.inner].mean() / 255 == pytest.approx(cell.density, rel=0.03)
    assert np.abs(moduli_ratio(solved, cell) - 1).max() < STIFF[pattern]
    assert np.abs(strength_ratio(solved, cell) - 1).max() < STRONG[pattern]


def test_several_mean_stresses_at_once_fail_where_the_cell_says():
    block = period("gyroid")
    cell, solved, strength = block.body.made.cell, block.solved, block.body.strength
    chance = np.random.default_rng(5)
    limit = np.concatenate([cell.strength_MPa["tension"], cell.strength_MPa["shear"]])
    for _ in range(6):
        stress = chance.normal(size=6) * limit
        told = 1 / max(float(utilisation(p.to_bead @ stress, strength)) for p in cell.points)
        assert solved.first_bead(stress)[0].reserve == pytest.approx(told, rel=0.1)
    # Negative control: the worst bead of one component alone is another
    assert solved.first_bead(stress * [1, 0, 0, 0, 0, 0])[0].reserve > 1.2 * told


def changed(pattern, change):
    """A period with its beads changed, solved."""

    class Changed(Period):
        def filled(self, grid):
            return change(super().filled(grid))

    block = period(pattern)
    return block.body.made.cell, Changed(pattern, block.density, block.side, block.per_layer).solved


def test_beads_turned_by_a_quarter_are_not_the_cells():
    def turned(beads):
        return dataclasses.replace(beads, way=((beads.way.astype(int) + WAYS // 2) % WAYS).astype(np.uint8))

    cell, solved = changed("gyroid", turned)
    assert np.abs(moduli_ratio(solved, cell) - 1).max() > 2 * STIFF["gyroid"]
    assert np.abs(strength_ratio(solved, cell) - 1).max() > 2 * STRONG["gyroid"]


def test_a_layer_that_is_hardly_laid_is_found():
    def gappy(beads):
        share = beads.share.copy()
        share[5] //= 4
        return dataclasses.replace(beads, share=share)

    cell, solved = changed("gyroid", gappy)
    assert np.abs(moduli_ratio(solved, cell) - 1).max() > STIFF["gyroid"]


def test_smaller_boxes_bring_walls_that_bend_nearer_to_the_cell():
    """The shear of a grid in the layer is bending of its walls; boxes filled in part widen them."""
    density = fitting_density("grid", 0.3)
    off = {}
    for side in (0.1125, 0.05625):
        block = Period("grid", density, side, 1, phase=(0.01, 0.01, 0.0))
        off[side] = moduli_ratio(block.solved, block.body.made.cell)[MODULI.index("G12")] - 1
    assert 0 < off[0.05625] < 0.5 * off[0.1125]


def block_of_gyroid(*, high_x=ROOM):
    """Three periods along each axis in a body whose sides are strained evenly; `high_x` how far the body goes on
    beyond the block."""
    density, side, many = fitting_density("gyroid", 0.3), 0.2, 48
    wide = many * side
    size = (ROOM + wide + high_x, 2 * ROOM + wide, wide + 12 * HEIGHT)
    body = lattice_body("gyroid", density, size=size)
    grid = Grid(np.array([ROOM, ROOM, 6 * HEIGHT]), np.full(3, side), (many, many, many), 1, 6)
    nodes = body.mesh.nodes
    loads = {k: unit_load(k, len(nodes)) for k in STRAINS}
    moved = {k: strained(nodes, e) for k, e in zip(STRAINS, np.eye(6), strict=True)}
    found = solve_beads(body, grid, loads=loads, supported=Supported(), displacement=moved)
    return found, Period("gyroid", density, side, 1).solved.stiffness


def inner_stress(found):
    """Mean stress (6, 6) [MPa, print axes] of the middle one of three periods, air included, a column a strain."""
    many = found.beads.grid.count[0] // 3
    at = np.argwhere(found.system.filled > 0)
    inner = ((at >= many) & (at < 2 * many)).all(axis=1)
    back = np.linalg.inv([stress_rotation(in_layer_rotation(180 * w / WAYS)) for w in range(WAYS)])
    weight, way = found.system.boxes.share[inner] / 255, found.system.way[inner] % WAYS
    columns = []
    for name in STRAINS:
        stress = np.einsum("vij,vj->vi", back[way], found.system.mean_stress(found.units[name])[inner])
        columns.append(weight @ stress / many**3)
    return np.stack(columns, axis=1)


def test_the_middle_of_a_block_of_cells_is_as_stiff_as_an_endless_one():
    """Even strain on the cut faces stiffens the periods beside them, and hardly the one in the middle."""
    found, endless = block_of_gyroid()
    assert np.abs(inner_stress(found) - endless).max() < 0.05 * np.diag(endless).max()
    assert np.diag(inner_stress(found)) == pytest.approx(np.diag(endless), rel=0.05)


def test_a_block_with_a_cut_face_left_free_is_not():
    found, endless = block_of_gyroid(high_x=0.0)
    assert inner_stress(found)[0, 0] < 0.7 * endless[0, 0]
