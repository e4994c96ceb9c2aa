"""A part printed another way up, and loaded with it, bears the same: x, upside down and askew against z."""

import numpy as np
import pytest
from helpers_fe import HIGH_X, LOW_X, block, field, group, material

from fem.loading.case import LoadCase
from fem.loading.force import ForceKeys
from fem.loading.kinds import load_of
from fem.loading.plan import LoadPlan
from fem.loading.supports import held_face
from fem.printing.body import printed_body
from fem.printing.filling import layer_grid
from fem.printing.plan import PrintPlan
from fem.printing.polymer import load_card
from fem.tensors import isotropic_stiffness, unit
from fem.zooming.cube import BodyOfBeads, Supported, solve_beads
from fem.zooming.judge import judge_case, weakest

SIZE, FORCE = np.array([8.0, 4.5, 3.0]), np.array([40.0, -9.0, 4.0])
ASKEW = unit((1.0, 2.0, -0.5)), unit((2.0, -1.0, 0.0))
TURNS = {
    "x": np.array([[0.0, 0, -1], [0, 1, 0], [1, 0, 0]]),
    "-z": np.diag([1.0, -1, -1]),
    "askew": np.array([ASKEW[1], np.cross(ASKEW[0], ASKEW[1]), ASKEW[0]]),
}
"""Rows: where the length, the width and up the build of the bar come to lie."""


def solved(turn, *, build=None):
    """The bar turned about, clamped at one end and pulled askew at the other: first bead, and displacements."""
    mesh = block((6, 3, 2), bend=lambda p: (p * SIZE) @ turn)
    up = turn[2] if build is None else build
    plan = PrintPlan(
        tuple(up), raster_zero=tuple(turn[0]), walls=2, covers=2, infill_pattern="gyroid", infill_density=0.4
    )
    made = printed_body(plan, card=load_card("pa12-cf"), state="dry")
    body = BodyOfBeads(mesh, "part", made)
    low, high = body.outline.box
    grid = layer_grid(body.outline, low=low - 0.07, high=high + 0.08, step=0.15)
    pull = LoadPlan("pull", "force", ForceKeys(tuple(FORCE @ turn)), "end", False)
    printed = field(mesh, material(isotropic_stiffness(1.0, 0.3)))  # a force asks nothing of it
    load = load_of(pull, mesh, printed, {"end": group(mesh, HIGH_X)})
    clamp = held_face(mesh, group(mesh, LOW_X), fixed=("x", "y", "z"), name="clamp")
    found = solve_beads(body, grid, loads={"pull": load}, supported=Supported((clamp,)), displacement=None)
    case = LoadCase("case", {"pull": 1.0}, {"pull": load})
    judged = judge_case(found, case, inner=np.ones(found.beads.zone.shape, dtype=bool))
    return weakest(judged, width=0.45), judged, found


@pytest.fixture(scope="module")
def upright():
    return solved(np.eye(3))


@pytest.mark.parametrize("name", TURNS)
def test_a_part_turned_with_its_build_direction_bears_the_same(upright, name):
    first, judged, found = solved(TURNS[name])
    told, before, there = upright
    assert first.reserve == pytest.approx(told.reserve, rel=0.01)
    for zone, least in told.by_zone.items():
        assert first.by_zone[zone] == pytest.approx(least, rel=0.02)
    assert (first.zone, first.mode) == (told.zone, told.mode)
    both = judged.beads.zone == before.beads.zone
    assert both.mean() > 0.999
    size = np.abs(there.units["pull"]).max()
    assert np.abs(found.units["pull"]).max() == pytest.approx(size, rel=0.005)


def test_a_part_turned_without_its_build_direction_does_not(upright):
    first, _, _ = solved(np.eye(3), build=(0.0, 1.0, 0.0))
    assert abs(first.reserve / upright[0].reserve - 1) > 0.03
