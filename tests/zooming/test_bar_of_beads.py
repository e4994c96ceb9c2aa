"""A bar of walls, covers and a gyroid three ways: homogenised, a place of it in beads, and all of it in beads."""

import dataclasses

import numpy as np
import pytest
from helpers_bar import SIZE, solved_bar

from fem.printing.filling import layer_grid
from fem.zooming import cube
from fem.zooming.cube import Supported, solve_beads
from fem.zooming.judge import judge_case, weakest
from fem.zooming.whole import solve_whole, whole_grid

STEP = 0.15
"""Coarse boxes: cube and whole are laid alike, so that what they say may be compared."""
SIDE = 80 * STEP
"""Of the cube, about four cells of the infill."""


@pytest.fixture(scope="module")
def bar(tmp_path_factory):
    return solved_bar(tmp_path_factory.mktemp("bar"), mesh=2.0)


@pytest.fixture(scope="module")
def whole(bar):
    """All beads of the bar, judged case by case."""
    return beads_of(bar, whole_grid(bar[2], STEP), displacement=None)


def beads_of(bar, grid, *, displacement, phase=(0.0, 0.0, 0.0)):
    _, solved, body = bar
    (part,) = solved.parts
    loads = {k: load for case in part.cases.values() for k, load in case.loads.items() if k in case.factors}
    return solve_beads(body, grid, loads=loads, supported=part.supported, displacement=displacement, phase=phase)


def cube_grid(body):
    """A cube around the bar's middle whose boxes lie on those of the whole."""
    low = whole_grid(body, STEP).origin
    middle = np.array(SIZE) / 2
    first = low[:2] + np.round((middle[:2] - SIDE / 2 - low[:2]) / STEP) * STEP
    return layer_grid(body.outline, low=[*first, -1.0], high=[*(first + SIDE), SIZE[2] + 1.0], step=STEP)


def minima(bar, found, *, half=SIDE / 4):
    """The least reserve of each case within `half` [mm] of the bar's middle along it."""
    _, solved, body = bar
    grid = found.beads.grid
    x = grid.origin[0] + (np.arange(grid.count[0]) + 0.5) * grid.step[0]
    inner = np.broadcast_to(np.abs(x - SIZE[0] / 2) <= half, found.beads.zone.shape)
    (part,) = solved.parts
    out = {}
    for name, case in part.cases.items():
        judged = judge_case(found, case, inner=inner, rest=False)
        out[name] = weakest(judged, width=body.plan.bead_width).reserve
    return out


def apart(one, other):
    return max(abs(one[k] / other[k] - 1) for k in other)


def test_a_place_in_beads_says_what_the_whole_says_there(bar, whole):
    displacement = bar[1].parts[0].displacement
    grid = cube_grid(bar[2])
    all_of_it = minima(bar, whole)
    assert apart(minima(bar, beads_of(bar, grid, displacement=displacement)), all_of_it) < 0.05
    # Negative controls: the lattice laid otherwise in one of the two, cut faces that are held still, and a place
    # that bears what another bears
    shifted = beads_of(bar, grid, displacement=displacement, phase=(0.5, 0.25, 0.25))
    assert apart(minima(bar, shifted), all_of_it) > 0.05
    still = {k: 0.9 * u for k, u in displacement.items()}
    assert apart(minima(bar, beads_of(bar, grid, displacement=still)), all_of_it) > 0.05


def test_a_cut_face_left_free_bears_nothing(bar, whole, monkeypatch):
    _, solved, body = bar
    sides = cube.cut_sides

    def one_free(boxes, locator, fields):
        found = sides(boxes, locator, fields)
        corner = np.argwhere(boxes.number >= 0)
        along = corner[np.argsort(boxes.number[tuple(corner.T)])][:, 2]
        kept = along[found.node] < boxes.number.shape[2] - 1
        return dataclasses.replace(found, node=found.node[kept], displacement=found.displacement[:, kept])

    monkeypatch.setattr(cube, "cut_sides", one_free)
    free = beads_of(bar, cube_grid(body), displacement=solved.parts[0].displacement)
    assert apart(minima(bar, free), minima(bar, whole)) > 0.5


def test_beads_turned_a_quarter_or_missing_are_told_apart(bar, whole, monkeypatch):
    """Directions turned by 90 degrees, then a layer left out: neither passes for the bar."""
    displacement, grid = bar[1].parts[0].displacement, cube_grid(bar[2])
    all_of_it, fill = minima(bar, whole), cube.fill_grid

    def turned(*given, **named):
        beads = fill(*given, **named)
        return dataclasses.replace(beads, way=((beads.way.astype(int) + 36) % 144).astype(np.uint8))

    monkeypatch.setattr(cube, "fill_grid", turned)
    assert apart(minima(bar, beads_of(bar, grid, displacement=displacement)), all_of_it) > 0.2

    def gappy(*given, **named):
        beads = fill(*given, **named)
        share = beads.share.copy()
        share[grid.layers // 2, :, ::2] = 0
        return dataclasses.replace(beads, share=share)

    monkeypatch.setattr(cube, "fill_grid", gappy)
    assert apart(minima(bar, beads_of(bar, grid, displacement=displacement)), all_of_it) > 0.2


def test_the_homogenised_bar_is_as_stiff_as_its_beads(bar):
    ready, solved, body = bar
    found = solve_whole(body, whole_grid(body, STEP), parts=solved.parts, watched={"end": ready.groups["end"]})
    for name, along in (("tension", 0), ("bending", 2), ("torsion", 3)):
        told = solved.answers[name].findings
        moved = (*told.faces["end"].displacement_mm, *np.radians(told.faces["end"].rotation_deg))
        assert moved[along] == pytest.approx(found.cases[name].faces["end"][along], rel=0.05)
        assert told.strain_energy_mJ == pytest.approx(found.cases[name].energy, rel=0.05)


def test_all_supports_of_a_whole_are_those_of_the_part(bar, whole):
    """The forces of a case and what holds the boxes balance: what the clamp bears is the load."""
    _, solved, body = bar
    (part,) = solved.parts
    assert isinstance(part.supported, Supported)
    springs = whole.system.springs
    for name, force in (("tension", [500.0, 0, 0]), ("bending", [0, 0, -20.0])):
        moved = whole.combined(part.cases[name], (name,))[0]
        pull = np.einsum("sij,sj->i", springs.matrix, moved[springs.node].astype(float))
        assert pull @ body.axes == pytest.approx(force, abs=2e-3 * np.linalg.norm(force))
