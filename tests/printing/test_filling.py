"""Beads laid into boxes: how much of them there is where a plan leaves out walls or covers."""

import numpy as np
import pytest
from helpers_fe import box

from fem.printing.beads import AIR, CORE, COVER
from fem.printing.filling import beads_at, fill_grid, layer_grid
from fem.printing.plan import PrintPlan
from fem.printing.zones import Outline

LOW, HIGH = np.array([2.0, 2.0, 1.0]), np.array([12.0, 12.0, 4.0])


def laid(covers):
    """Zones and filled share of the middle of a box without walls, and the zones at single places there."""
    plan = PrintPlan((0, 0, 1), walls=0, covers=covers, infill_pattern="grid", infill_density=0.3)
    outline = Outline(box((14.0, 14.0, 5.0), (1, 1, 1)), body="part", plan=plan)
    beads = fill_grid(outline, layer_grid(outline, low=LOW, high=HIGH, step=0.1))
    places = np.random.default_rng(1).uniform(LOW, HIGH, (4000, 3))
    return beads, beads_at(outline, places)[0]


def test_a_print_without_covers_is_infill_all_through():
    beads, single = laid(0)
    assert set(np.unique(beads.zone)) == {CORE, AIR} == set(np.unique(single))
    assert beads.share.mean() / 255 == pytest.approx(0.3, rel=0.03)
    # Negative control: with covers, what lies near the top is none of it
    covered, _ = laid(10)
    assert (covered.zone[:5] == COVER).all() and (covered.zone[8] != COVER).all()
