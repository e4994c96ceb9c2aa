"""Which of the calculated numbers a collapse strength is, and interlayer tension by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fem.evidence.collapse import BEAD
from fem.evidence.lattices import PLAIN
from fem.printing.infill import collapse
from fem.printing.infill.bead_mean import Places
from fem.printing.infill.collapse import BRITTLE, CellRecipe, Collapse, collapse_strengths, collapse_under, torn
from fem.printing.infill.limit_load import LimitLoads

GRID = CellRecipe("grid", 0.3, 0.45, 0.2, **PLAIN, strength=BEAD)


def test_what_parts_layers_is_tension_with_the_shears_beside_it():
    # 33 over 19, 23 over 12, 13 over 15 [MPa], the root of their squares' sum; the second piece feels half of it
    stress = np.zeros((2, 6, 7))
    stress[0, :, :6], stress[1, :, :6] = np.eye(6), np.eye(6) / 2
    found = Places(np.zeros(2, int), np.zeros(2, int), np.zeros((2, 3)), stress)
    states = np.array(
        [[50.0, 30, 9.5, 6, 0, 20], [0, 0, 9.5, 0, 5, 0], [0, 0, 1e-3, 6, 5, 0], [0, 0, -9.5, 12, 15, 0]]
    )
    exact = [math.sqrt(0.5), math.hypot(0.5, 1 / 3), math.sqrt(1 / 4 + 1 / 9), 0.0]
    assert torn(found, states, strength=BEAD) == pytest.approx(exact, rel=1e-6)


def test_standing_walls_part_at_their_share_of_interlayer_tension(tmp_path):
    """Pulled up the build, walls that cross at right angles hold each other from narrowing: with the beads' little
    Poisson's ratios that moves no more than some per cent of density times interlayer tension."""
    found = collapse_under(GRID, np.array([[0, 0, 1.0, 0, 0, 0]]), cache=tmp_path)
    assert found.brittle[0] == pytest.approx(0.3 * 19.0, rel=0.05)


def limits(monkeypatch, lower, upper):
    """Bounds as limit analysis would tell them, one for each state."""
    told = lambda *_, **__: LimitLoads(np.array(lower), np.array(upper), 20)  # noqa: E731
    monkeypatch.setattr(collapse, "limit_loads", told)


def test_the_bound_from_below_is_the_strength(monkeypatch, tmp_path):
    limits(monkeypatch, [2.0, 3.0], [2.5, 3.3])
    monkeypatch.setattr(collapse, "torn", lambda *_, **__: np.array([0.25, 1.0]))
    for _ in range(2):  # solved, then as it was kept
        found = collapse_under(GRID, np.eye(6)[:2], cache=tmp_path)
        assert (found.factor.tolist(), found.above.tolist()) == ([2.0, 3.0], [2.5, 3.3])
        assert found.brittle.tolist() == [4.0, 1.0]
        assert found.decides.tolist() == [2.0, 1.0] and found.modes[1] == BRITTLE
        assert found.gap == pytest.approx(0.25)


def test_of_the_two_ways_of_a_shear_the_worse_counts(monkeypatch):
    both = np.array([9.0, 8, 7, 6, 5, 4, 3.0, 2.0, 1.0, 2.5, 2.2, 1.0])
    made = Collapse(both, 1.02 * both, np.where(np.arange(12) == 10, 1.5, np.inf))
    monkeypatch.setattr(collapse, "collapse_under", lambda *_, **__: made)
    fine = LimitLoads(np.array([8.1, 4.0, 1.0]), np.zeros(3), 20)  # a tenth less in tension 1
    monkeypatch.setattr(collapse, "_limits", lambda *_, **__: fine)
    found = collapse_strengths(GRID)
    assert found.MPa.tolist() == [9, 8, 7, 6, 5, 4, 2.5, 1.5, 1]
    assert [mode == BRITTLE for mode in found.modes] == [k == 7 for k in range(9)]
    assert found.mesh_change == pytest.approx(0.1) and found.gap == pytest.approx(0.02)
