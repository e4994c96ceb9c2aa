"""Both strengths of an infill in a case: which counts, where, and what is told of it."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from fem.evidence.collapse import BEAD
from fem.evidence.lattices import PLAIN
from fem.judging.infill import _of_growing, _with_collapse, _without_interlayer, decided_by_infill, infill_cautions
from fem.judging.infill_findings import COLLAPSE, InfillFindings
from fem.judging.reserve import InfillReserve
from fem.printing.infill.cell import infill_cell
from fem.printing.infill.collapse import BRITTLE, DUCTILE, CellRecipe, Collapse, collapse_under
from fem.printing.infill.flatness import contact_angle, flatter_share
from fem.printing.plan import PrintPlan

SIZE = {"bead_width": 0.45, "bead_height": 0.20}


def told(**changed):
    given = {
        "first_bead": 2.0,
        "mode": "combined stress (Tsai–Wu)",
        "at_mm": (1.0, 2.0, 3.0),
        "mean_stress_MPa": (1.0,) * 6,
        "compressed": False,
        "collapse": 3.0,
        "collapse_mode": DUCTILE,
        "collapse_at_mm": (4.0, 5.0, 6.0),
        "collapse_band": (3.0, 3.1),
        "ratio": 1.5,
        "places": 3,
        "decides": COLLAPSE,
    }
    return InfillFindings(**(given | changed))


@pytest.fixture
def case():
    """Findings of a case whose infill fails first, as the tests of deciding have them."""
    from fem.judging.findings import CaseFindings, Reserve

    reserve = Reserve(
        minimum=2.0, mode="combined stress (Tsai–Wu)", zone="core", phase="wall at 0 deg", body="bar", face="",
        at_mm=(1.0, 2.0, 3.0), singular=False, nonsingular_minimum=2.0, criteria={},
        by_zone={"core": 2.0, "wall": 5.0},
    )  # fmt: skip
    names = ("applied_N", "applied_Nmm", "reaction_N", "maximum_displacement_at_mm")
    zero = dict.fromkeys(names, (0.0, 0.0, 0.0))
    numbers = dict.fromkeys(("force_error", "moment_error", "maximum_displacement_mm", "strain_energy_mJ"), 0.0)
    return CaseFindings(
        factors={"pull": 1.0}, points={}, faces={}, reserve=reserve, hot_spots=(), failing_load_N=100.0,
        infill={"bar": told()}, **zero, **numbers,
    )  # fmt: skip


FIELD = SimpleNamespace(
    phases=(("core", "a"), ("wall", "b")), phase=np.array([0, 1, 1]), counted=np.array([2.0, 9.0, 5.0])
)
MESH = SimpleNamespace(nodes=np.array([[0.0, 0, 0], [1, 0, 0], [7, 8, 9]]))


def with_wall(case, wall, **infill):
    reserve = replace(case.reserve, by_zone={"core": 2.0, "wall": wall})
    return replace(case, reserve=reserve, infill={"bar": told(**infill)})


def test_collapse_counts_where_it_comes_first(case):
    now = decided_by_infill(case, FIELD, mesh=MESH)
    assert (now.reserve.minimum, now.reserve.decided_by, now.reserve.mode) == (3.0, COLLAPSE, DUCTILE)
    assert now.reserve.at_mm == (4.0, 5.0, 6.0) and now.reserve.band == (3.0, 3.1)
    assert now.failing_load_N == pytest.approx(150.0)


def test_what_the_mesh_leaves_open_stays_open_where_the_infill_collapses(case):
    """Stress at most 10 % too high or 20 % too low: so is what collapses by it, and a wall that fails before."""
    from dataclasses import replace

    def banded(wall):
        given = with_wall(case, wall)
        return replace(given, reserve=replace(given.reserve, band=(1.8, 2.4)))

    assert decided_by_infill(banded(5.0), FIELD, mesh=MESH).reserve.band == pytest.approx((2.7, 3.72))
    assert decided_by_infill(banded(2.5), FIELD, mesh=MESH).reserve.band == pytest.approx((2.25, 3.0))


def test_the_edge_of_a_support_stays_one_where_the_infill_collapses(case):
    from dataclasses import replace

    edge = replace(case, reserve=replace(case.reserve, singular=True))
    assert not decided_by_infill(edge, FIELD, mesh=MESH).reserve.singular  # it collapses elsewhere
    same = replace(edge, infill={"bar": told(collapse_at_mm=case.reserve.at_mm)})
    assert decided_by_infill(same, FIELD, mesh=MESH).reserve.singular


def test_another_zone_counts_where_it_fails_before_the_infill_collapses(case):
    now = decided_by_infill(with_wall(case, 2.5), FIELD, mesh=MESH)
    assert (now.reserve.minimum, now.reserve.zone, now.reserve.at_mm) == (2.5, "wall", (7.0, 8.0, 9.0))


def test_the_first_bead_counts_where_nothing_else_was_asked(case):
    plain = replace(case, infill={"bar": told(decides="first bead", collapse=None, ratio=None)})
    assert decided_by_infill(plain, FIELD, mesh=MESH) == plain
    assert infill_cautions({"a": plain}, {"bar": "gyroid"}) == ()


def test_walls_that_bend_are_told_where_the_first_bead_decides(case):
    def kinds(stress, pattern):
        first = told(decides="first bead", collapse=None, ratio=None, mean_stress_MPa=stress)
        return [c.kind for c in infill_cautions({"a": replace(case, infill={"bar": first})}, {"bar": pattern})]

    assert kinds((1.0, 0, 0, 0, 0, 0.5), "honeycomb") == ["infill_bends"]
    assert kinds((0.1, 0, 2.0, 0, 0, 0), "honeycomb") == []  # along its walls
    assert kinds((1.0, 0, 0, 0, 0, 0.5), "gyroid") == []


def test_collapse_below_the_first_bead_lowers_the_reserve(case):
    now = decided_by_infill(
        with_wall(case, 5.0, collapse=1.2, ratio=0.6, collapse_band=(1.2, 1.25)), FIELD, mesh=MESH
    )
    assert now.reserve.minimum == 1.2 and now.reserve.nonsingular_minimum == 2.0


def test_the_caution_rounds_strengths_as_every_page_does(case):
    """Down: 2.0485 is 2.04 in verdict and table."""
    given = with_wall(case, 5.0, collapse=2.0485, first_bead=2.0485)
    (caution,) = infill_cautions({"a": given}, {"bar": "grid"})
    assert "(2.04; first bead 2.04)" in caution.text


def test_brittle_layers_are_warned_of(case):
    kinds = lambda c: [caution.kind for caution in infill_cautions({"a": c}, {"bar": "grid"})]  # noqa: E731
    assert kinds(case) == ["infill_collapse"]
    assert kinds(replace(case, infill={"bar": told(collapse_mode=BRITTLE)})) == ["infill_collapse", "infill_brittle"]


def test_what_permanent_loads_leave_is_not_multiplied():
    one, two = np.array([1.0]), np.array([2.0])
    grows = np.array([[1.0, 0, 0, 0, 0, 0]])
    # at failure 3, of which 1 grows: twice as much is 3 more, but no more than twice of what grows counts
    assert _of_growing(one, two, 3 * grows, grows)[0] == pytest.approx(2.0)
    # -1 stays and 2 grow to 1 at failure: twice that is 2, reached when 3 have grown
    assert _of_growing(two, two, grows, grows)[0] == pytest.approx(3.0)
    assert _of_growing(two, two, 2 * grows, grows)[0] == pytest.approx(4.0)


def test_the_place_without_its_layers_bears_what_its_beads_bear():
    phase = SimpleNamespace(to_bead=np.eye(6), strength=BEAD)
    one = np.array([[0.0, 0, 0, 12.0, 0, 0]])
    found = InfillReserve(np.array([0]), np.array([1.0]), np.array([0]), ["x"], one, one)
    assert _without_interlayer(SimpleNamespace(phases=(phase,)), found, 0) == pytest.approx(1000)  # by shear 23 alone
    both = np.array([[-75.0, 0, 0, 0.0, 0, 12.0]])
    found = InfillReserve(np.array([0]), np.array([0.5]), np.array([0]), ["x"], both, both / 2)
    # Pressed along the bead by its strength, shear 12 beside it: Tsai-Wu's (75 / 60 + (12 / 22)^2) r^2 - r / 4 = 1
    square = 75 / 60 + (12 / 22) ** 2
    exact = (1 / 4 + math.sqrt(1 / 16 + 4 * square)) / (2 * square)
    assert _without_interlayer(SimpleNamespace(phases=(phase,)), found, 0) == pytest.approx(exact, rel=1e-5)


def test_the_lesser_of_collapse_and_brittle_tension_decides():
    both = Collapse(np.array([2.0, 2.0]), np.array([2.02, 2.1]), np.array([3.0, 1.5]))
    assert both.decides.tolist() == [2.0, 1.5] and both.modes == (DUCTILE, BRITTLE)
    assert both.gap == pytest.approx(0.05)


def test_collapse_is_kept_as_cells_are(tmp_path, monkeypatch):
    recipe = CellRecipe("grid", 0.3, 0.45, 0.2, **PLAIN, strength=BEAD)
    up = np.array([[0, 0, 1.0, 0, 0, 0], [0, 0, -1.0, 0, 0, 0]])
    first = collapse_under(recipe, up, cache=tmp_path)
    assert first.factor == pytest.approx([0.3 * 19.0, 0.3 * 38.0], rel=0.01)
    assert first.brittle[0] == pytest.approx(0.3 * 19.0, rel=0.05)
    assert first.decides[0] == min(first.factor[0], first.brittle[0])
    assert math.isinf(first.brittle[1])
    monkeypatch.setattr("fem.printing.infill.collapse.limit_loads", lambda *a, **k: pytest.fail("solved again"))
    assert collapse_under(recipe, up, cache=tmp_path).factor == pytest.approx(first.factor)


def test_sheets_that_lie_flat_are_told(tmp_path):
    assert contact_angle(bead_width=0.45, bead_height=0.20) == pytest.approx(23.96, abs=0.01)
    share = {
        height: flatter_share(
            infill_cell(
                "gyroid", density=0.3, bead_width=0.45, bead_height=height, strength=BEAD, cache=tmp_path, **PLAIN
            )
        )
        for height in (0.1, 0.2)
    }
    # were its normals spread evenly, a cap of 24 degrees would be 9 % of the half sphere, one of 13 degrees 2 %
    assert 0.03 < share[0.2] < 0.12 and share[0.1] < share[0.2] / 2
    grid = infill_cell("grid", density=0.3, strength=BEAD, cache=tmp_path, **SIZE, **PLAIN)
    assert flatter_share(grid) == 0.0


def test_the_cell_is_judged_under_the_stress_in_its_own_axes(monkeypatch, tmp_path):
    """A pull of 8 MPa along x, walls turned by 30 degrees: 6 MPa along them, 2 across, and -8 sin 30 cos 30 sheared.

    Half of it stays and half grows: all of it 1.5 times is the growing half 2 times, of which 1.5 times counts.
    """
    plan = PrintPlan((0, 0, 1), raster_zero=(1, 0, 0), infill_pattern="grid", infill_density=0.3, infill_angle=30.0)
    cell = infill_cell("grid", density=0.3, strength=BEAD, cache=tmp_path, **SIZE, **PLAIN)
    values = SimpleNamespace(**PLAIN, strength=BEAD)
    body = SimpleNamespace(plan=plan, cell=cell, values=values)
    pull = 8 * np.eye(6)[:1]
    asked = []

    def under(recipe, states):
        asked.append((recipe, states))
        return Collapse(np.array([1.5]), np.array([1.6]), np.array([np.inf]))

    monkeypatch.setattr("fem.judging.infill.collapse_under", under)
    monkeypatch.setattr(
        "fem.judging.infill.first_to_buckle", lambda walls, s: (np.zeros(len(s)), np.zeros(len(s), int))
    )
    found = InfillReserve(np.array([1]), np.array([1.0]), np.array([0]), ["x"], pull / 2, pull)
    now = _with_collapse(told(first_bead=1.0), MESH, body, found)
    ((recipe, states),) = asked
    assert states[0] == pytest.approx([6, 2, 0, 0, 0, -8 * math.sqrt(3) / 4], abs=1e-9)
    assert (recipe.pattern, recipe.density, recipe.strength) == ("grid", 0.3, BEAD)
    assert now.collapse == pytest.approx(1.5) and now.collapse_band == pytest.approx((1.5, 1.6))
    assert now.ratio == pytest.approx(1.5) and now.collapse_mode == DUCTILE
    # What buckles before that counts in its place
    monkeypatch.setattr("fem.judging.infill.first_to_buckle", lambda *_: (np.array([1 / 1.2]), np.array([0])))
    body.cell = SimpleNamespace(strength_MPa=cell.strength_MPa, walls=(SimpleNamespace(mode="buckles"),))
    now = _with_collapse(told(first_bead=1.0), MESH, body, found)
    assert now.collapse == pytest.approx(1.2) and now.collapse_mode == "buckles"
    assert now.collapse_band == pytest.approx((1.2, 1.2))
