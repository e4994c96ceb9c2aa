"""Beads of an infill of less quality: softer by it, stressed by it, and as near to failure under the same strain."""

from dataclasses import replace

import numpy as np
import pytest
from helpers_fe import box
from helpers_lattice import corners_of, strained, unit_load

from fem.loading.case import LoadCase
from fem.printing.beads import CORE, WALL
from fem.printing.body import printed_body
from fem.printing.filling import fill_grid, layer_grid
from fem.printing.plan import PrintPlan
from fem.printing.polymer import load_card
from fem.zooming.cube import BodyOfBeads, SolvedBeads
from fem.zooming.judge import judge_case
from fem.zooming.system import BeadSystem
from fem.zooming.whole import _Weak

SIZE, Q = (12.0, 12.0, 2.0), 0.8
PLAN = PrintPlan((0, 0, 1), walls=2, covers=0, infill_pattern="grid", infill_density=0.4)
STRAIN = (0.0, 0.0, 0.004, 0.002, 0.0, 0.0)


def strained_beads(quality):
    """All beads of a block under one mean strain, which every box then has: beads all alike up the build."""
    made = printed_body(replace(PLAN, infill_quality=quality), card=load_card("pa12-cf"), state="dry")
    body = BodyOfBeads(box(SIZE, (1, 1, 1)), "part", made)
    grid = layer_grid(body.outline, low=[0, 0, 0], high=list(SIZE), step=0.15)
    beads = fill_grid(body.outline, grid)
    system = BeadSystem(beads, body.tables(grid.step), core=body.core_quality)
    moved = strained(corners_of(system, grid)[1], STRAIN)
    return SolvedBeads(body, beads, system, {"pull": moved}, {"pull": 0.0}, 0), moved


CASE = LoadCase("pulled", {"pull": 1.0}, {"pull": unit_load("pull", 1)})


def test_stiffness_and_stress_scale_in_the_infill_alone():
    (sound, moved), (poor, _) = strained_beads(1.0), strained_beads(Q)
    share, zone = sound.beads.share.astype(float), sound.beads.zone
    walls, core = share[zone == WALL].sum(), share[zone == CORE].sum()
    assert core > 0.2 * walls
    energy = [each.system.strain_energy(moved, 0.0) for each in (sound, poor)]
    # Under a strain up the build and between layers all beads hold nearly the same energy
    assert energy[1] / energy[0] == pytest.approx((walls + Q * core) / (walls + core), rel=0.01)
    assert poor.system.mass(1e-9).sum() == pytest.approx(sound.system.mass(1e-9).sum(), rel=1e-9)
    inner = np.ones(zone.shape, dtype=bool)
    judged = [judge_case(each, CASE, inner=inner) for each in (sound, poor)]
    there = ~np.isnan(judged[0].reserve)
    for number, factor in ((WALL, 1.0), (CORE, Q)):
        mine = there & (zone == number)
        assert judged[1].stress[mine] == pytest.approx(factor * judged[0].stress[mine], rel=1e-5, abs=1e-5)
        # The same strain takes the same share of a strength that fell with the stiffness
        assert judged[1].reserve[mine] == pytest.approx(judged[0].reserve[mine], rel=1e-5)


def test_a_whole_part_is_judged_alike():
    for quality in (1.0, Q):
        beads, _ = strained_beads(quality)
        judged = judge_case(beads, CASE, inner=np.ones(beads.beads.zone.shape, dtype=bool))
        weak = _Weak(beads)
        from fem.zooming.judge import layer_stress

        for layer in range(beads.beads.grid.layers):
            here = layer_stress(beads, layer)
            permanent, growing = here.of(beads, CASE, CASE.permanent), here.of(beads, CASE, CASE.growing)
            weak.take(layer, here.row, here.column, permanent, growing)
        for number in (WALL, CORE):
            least = np.nanmin(judged.reserve[beads.beads.zone == number])
            assert weak.least[number] == pytest.approx(least, rel=1e-5)
