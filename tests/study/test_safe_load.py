"""A safe load that is asked for: what a load comes to before the part fails, in every case in which it grows.

A bar of section A pulled along its axis fails at the force S A, S its yield stress, whatever its factor in the case;
with a second load of half the force beside it each comes to its share. A permanent inertia a takes rho a L from S
where the bar is held (equilibrium).
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from helpers_cad import draw
from helpers_fe import box

from fem.cli import main
from fem.errors import InputError
from fem.judging.advice import advised, away_of
from fem.judging.band import MET, NOT_DECIDED, NOT_MET
from fem.judging.direction import missed_of
from fem.judging.orientation import DirectionNumbers
from fem.judging.requirements import Requirements, compare_requirements, decided_anew
from fem.judging.verdict import goal_of, is_lower, value_text, verdict_of
from fem.loading.case import LoadCase
from fem.loading.loads import Load
from fem.printing.polymer import load_card
from fem.study.file import read_study
from fem.study.run import answer, prepare
from fem.study.variants.numbers import _missed, _short

L, WIDE, FORCE, INERTIA = 40.0, 8.0, 1000.0, 3e8
STATE = next(iter(load_card("6082-t6").states.values()))
AREA, DENSITY, YIELD = WIDE**2, 2.70e-9, float(STATE.strength.yield_stress)  # t/mm^3, the card's
EXACT = {
    "one": YIELD * AREA,
    "twice": YIELD * AREA,
    "two": YIELD * AREA / 1.5,
    "heavy": (YIELD - DENSITY * INERTIA * L) * AREA,
}
"""Force [N] of the load `pull` at failure, by case."""
STUDY = """
title = "Bar"
[bodies.bar]
solid = "bar.step"
mesh = { size = "8 mm" }
metal = "6082-t6"
[faces]
left = { plane = { normal = [-1, 0, 0], at = "min" } }
right = { plane = { normal = [1, 0, 0], at = "max" } }
front = { plane = { normal = [0, -1, 0], at = "min" } }
bottom = { plane = { normal = [0, 0, -1], at = "min" } }
[supports]
wall = { face = "left", fixed = ["x"] }
guide = { face = "front", fixed = ["y"] }
floor = { face = "bottom", fixed = ["z"] }
[loads]
pull = { face = "right", force = ["1000 N", "0 N", "0 N"] }
more = { face = "right", force = ["500 N", "0 N", "0 N"] }
warm = { temperature_change = { by = "1 K" } }
[loads.inertia]
acceleration = ["3e5 m/s^2", "0 m/s^2", "0 m/s^2"]
permanent = true
[cases]
one = { pull = 1.0 }
twice = { pull = 2.0 }
two = { pull = 1.0, more = 1.0 }
heavy = { pull = 1.0, inertia = 1.0 }
other = { more = 30.0 }
[requirements]
load = { pull = "300 N" }
"""


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bar")
    draw(folder / "bar.step", lambda occ: occ.addBox(0, 0, 0, L, WIDE, WIDE))
    (folder / "bar.toml").write_text(STUDY)
    return folder / "bar.toml"


@pytest.fixture(scope="module")
def found(path):
    return answer(prepare(read_study(path))).findings


def asked(found, cases=None, **wanted):
    (row,) = compare_requirements(Requirements(**wanted), bodies=found.bodies, cases=cases or found.cases)
    return row


@pytest.mark.parametrize("case", EXACT)
def test_the_load_at_failure_is_the_exact_one(found, case):
    row = asked(found, {case: found.cases[case]}, load={"pull": 300.0})
    assert (row.name, row.unit, row.where, row.limit) == ("failure load of pull", "N", case, 300.0)
    assert row.value == pytest.approx(EXACT[case], rel=0.01)
    assert row.band[0] < EXACT[case] < row.band[1] < 1.3 * row.band[0]
    assert is_lower(row)


def test_the_exact_loads_are_apart():
    """Each is further from the others that should differ than the tolerance: mixing cases up would be seen."""
    values = sorted({round(v) for v in EXACT.values()})
    assert len(values) == 3
    assert all(b > 1.05 * a for a, b in pairwise(values))


def test_the_worst_case_in_which_the_load_grows_decides(found):
    """Case other would fail at less, but the load is not in it."""
    assert found.cases["other"].reserve.minimum < found.cases["two"].reserve.minimum
    exact = min(EXACT.values())
    for share, told in ((0.5, MET), (1.0, NOT_DECIDED), (2.0, NOT_MET)):
        row = asked(found, load={"pull": share * exact})
        assert (row.decided, row.met) == (told, told == MET)
        assert row.where == min(EXACT, key=lambda c: EXACT[c])
    missed = asked(found, load={"pull": 2 * exact})
    assert _missed(missed).startswith("failure load of pull")
    assert "at least" in _missed(missed)
    assert _short(missed) == pytest.approx(0.5, abs=0.01)
    assert value_text(missed).endswith(" N")


def test_a_reserve_asked_for_away_from_singular_places_is_the_goal(found):
    """Nothing else asked for, the usual target must not turn what meets it into a part that is short."""
    case = found.cases["one"]
    reserve = replace(case.reserve, minimum=1.2, nonsingular_minimum=1.8, singular=True, band=(1.1, 1.3))
    cases = {"one": replace(case, reserve=reserve, hot_spots=())}
    rows = compare_requirements(Requirements(reserve_away=1.5), bodies=found.bodies, cases=cases)
    verdict = verdict_of(replace(found, cases=cases, requirements=rows))
    assert (verdict.word, verdict.required, verdict.asked, verdict.passes) == ("holds", 1.5, True, True)
    missed = compare_requirements(Requirements(reserve_away=3.0), bodies=found.bodies, cases=cases)
    assert verdict_of(replace(found, cases=cases, requirements=missed)).word == "short"
    assert goal_of(None, None) == (2.0, False)
    assert goal_of(1.2, 3.0) == (1.2, True)


@pytest.mark.parametrize("load", ["inertia", "warm"])
def test_what_does_not_grow_with_a_force_is_refused_before_it_is_solved(path, load):
    study = read_study(path).with_({"cases.heavy.warm": 1.0, "requirements.load": {load: "300 N"}})
    with pytest.raises(InputError, match=f"requirements.load.{load}: no case lets this load grow"):
        prepare(study)


def test_an_unknown_load_names_near_ones(path, tmp_path, capsys):
    study = path.with_name("wrong.toml")
    study.write_text(STUDY.replace('load = { pull = "300 N" }', 'load = { pul = "300 N" }'))
    assert main(["check", str(study)]) == 2
    assert 'there is no load "pul". Nearest: pull.' in capsys.readouterr().err
    study.write_text(STUDY.replace('"300 N" }', '"300 MPa" }'))
    assert main(["check", str(study)]) == 2
    assert "requirements.load.pull" in capsys.readouterr().err


def test_the_reserve_away_from_singular_places_is_asked_for_on_its_own(found):
    """A place at a support's edge has 0.8 (0.7 to 0.9), the rest 2.4: the part misses 1, the rest has 2."""
    case = found.cases["one"]
    reserve = replace(case.reserve, minimum=0.8, nonsingular_minimum=2.4, singular=True, band=(0.7, 0.9))
    cases = {"one": replace(case, reserve=reserve, hot_spots=())}
    assert asked(found, cases, reserve=1.0).decided == NOT_MET
    row = asked(found, cases, reserve_away=2.0)
    assert (row.name, row.value, row.decided) == ("reserve away from singular places", 2.4, MET)
    # As wide by share as that of the minimum: 2.1 to 2.7
    assert row.band == pytest.approx((2.1, 2.7))
    assert asked(found, cases, reserve_away=2.5).decided == NOT_DECIDED
    assert asked(found, cases, reserve_away=2.8).decided == NOT_MET
    assert advised(cases["one"]) == (2.4, ())
    # The band of the place itself, where it is told
    spot = replace(case.hot_spots[0], reserve=2.4, singular=False, band=(2.3, 2.6))
    assert away_of(replace(cases["one"], hot_spots=(spot,))) == (2.4, (2.3, 2.6))


def test_a_build_direction_that_bears_less_misses_both():
    direction = DirectionNumbers((0.0, 0.0, 1.0), reserve=1.0, reserve_away=1.5)
    missed = missed_of(direction, Requirements(reserve_away=2.0, load={"pull": 300.0}), borne={"pull": 250.0})
    assert missed == (
        "reserve away from singular places 1.50, at least 2 required",
        "failure load of pull 250 N, at least 300 N required",
    )
    assert missed_of(direction, Requirements(reserve_away=1.5, load={"pull": 300.0}), borne={"pull": 300.0}) == ()


def test_kept_numbers_meet_new_requirements_without_a_solve(found):
    """A kept result told under another safe load: decided anew, and refused where its cases cannot say."""
    exact = min(EXACT.values())
    for share, told in ((0.5, MET), (2.0, NOT_MET)):
        again = decided_anew(found, Requirements(load={"pull": share * exact}))
        assert [r.decided for r in again.requirements] == [told]
    with pytest.raises(InputError, match="no case lets this load grow"):
        decided_anew(found, Requirements(load={"inertia": 1.0}))


def test_a_growing_load_counts_by_all_three_components_and_a_couple_by_none():
    mesh, none = box((3, 2, 2), (1, 1, 1)), np.zeros(0, dtype=np.int64)
    oblique, couple = np.zeros_like(mesh.nodes), np.zeros_like(mesh.nodes)
    oblique[0], oblique[3] = (1.0, 2.0, 4.0), (1.0, 4.0, 5.0)
    couple[0], couple[3] = (0.0, 0.0, 7.0), (0.0, 0.0, -7.0)
    loads = {
        "oblique": Load("oblique", "force", oblique, False, none),
        "couple": Load("couple", "force", couple, False, none),
        "stays": Load("stays", "force", oblique, True, none),
    }
    case = LoadCase("case", {"oblique": 3.0, "couple": 1.0, "stays": 1.0}, loads)
    assert case.growing_forces(mesh) == {"oblique": pytest.approx(3 * 11.0, rel=1e-12)}  # 2² + 6² + 9² = 11²
