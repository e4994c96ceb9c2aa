"""Sizes, grades, plans, tightening: what is refused, and what hangs together."""

import dataclasses
import math
import sys
import tomllib
from pathlib import Path

import pytest

import fem
from fem.errors import InputError
from fem.joining.bolt_plan import BoltPlan, Seat, pressing_seat, turning_seat
from fem.joining.bolt_sizes import Thread, bolt_grade, bolt_size, bolt_size_names, grade_names
from fem.joining.tightening import preload_at, tighten

sys.path.insert(0, str(Path(__file__).parents[1] / "structure"))

import house

JOINING = Path(fem.__file__).parent / "joining"


def plan(**changes):
    given = {"name": "front", "size": "M8", "grade": "A4-80", "torque": 16e3}
    return BoltPlan(**{**given, **changes})


# ---- tables


@pytest.mark.parametrize("name", bolt_size_names())
def test_sizes_hang_together(name):
    size = bolt_size(name)
    d = size.thread.diameter
    assert f"M{d:g}" == name
    assert size.thread.core_diameter < size.thread.inner_diameter < size.thread.pitch_diameter < d
    assert d < size.washers["plain"].inner < size.clearance_hole + 0.3 < 1.2 * d + 0.3
    for head in size.heads.values():
        assert size.clearance_hole < head.bearing_diameter < 1.85 * d
    assert size.washers["plain"].outer < size.washers["large"].outer <= 3.2 * d
    assert size.heads["socket"].height == d and 0.55 * d < size.heads["hexagon"].height < 0.75 * d
    assert 0.79 * d < size.nut.height < 0.95 * d and size.nut.bearing_diameter < size.nut.across_flats


def test_sizes_and_grades_rise():
    areas = [bolt_size(name).thread.stress_area for name in bolt_size_names()]
    assert areas == sorted(areas) and bolt_size_names()[0] == "M3" and bolt_size_names()[-1] == "M16"
    steel = [bolt_grade(name).yield_stress for name in ("8.8", "10.9", "12.9")]
    assert steel == sorted(steel)
    # The name of a steel grade says its strength and the share of it that is yield
    for name, nominal in (("8.8", 800), ("10.9", 1000), ("12.9", 1200)):
        first, _, tenth = name.partition(".")
        grade = bolt_grade(name)
        assert int(first) * 100 == nominal <= grade.ultimate < nominal * 1.05
        assert grade.yield_stress / grade.ultimate == pytest.approx(int(tenth) / 10, abs=0.011)


def test_every_table_names_its_source():
    standards = tomllib.loads((JOINING / "standards.toml").read_text(encoding="utf-8"))
    for name, table in standards.items():
        for key, one in table.items() if name == "grades" else [(name, table)]:
            assert one["source"].strip(), key
            own = set(one) | set(one.get("columns", ()))
            assert set(one["from_memory"]) <= own and set(one.get("estimates", ())) <= own
    pull = tomllib.loads((JOINING / "pull_out.toml").read_text(encoding="utf-8"))
    assert all(one["source"].strip() for one in [*pull["measured"], *pull["kinds"].values()])
    assert house.values_without_source({"name": "creep", **_creep()}) == []
    assert house.values_without_source({"name": "creep", "dry": {"left": 0.6}}) == ["creep.dry.left: has no source"]


def _creep():
    table = tomllib.loads((JOINING / "creep.toml").read_text(encoding="utf-8"))
    return {k: {**v, "source": table["source"]} if isinstance(v, dict) else v for k, v in table.items()}


def test_what_is_from_memory_is_told():
    assert "socket_head.bearing_diameter" in bolt_size("M8").from_memory
    assert "large_washer" in bolt_size("M8").from_memory and "large_washer" not in bolt_size("M4").from_memory
    assert "hexagon_head" not in "".join(bolt_size("M8").from_memory)
    assert bolt_size("M8").sources["large_washer"].startswith("ISO 7093-1")
    assert "thread_shear" in bolt_grade("A4-80").estimates


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("M7", "Nearest: M6"),
        ("M20", "Nearest: M16"),
        ("M8x1", "Nearest: M8. Threads are of the coarse series"),
        ("m8", "Nearest: M8"),
        ("quarter inch", "Known: M10"),
        (8, "no bolt of size 8"),
    ],
)
def test_unknown_sizes_are_refused_with_the_nearest(name, told):
    with pytest.raises(InputError, match=told):
        bolt_size(name)


def test_unknown_grades_are_refused_with_the_nearest():
    with pytest.raises(InputError, match=r"no grade 'A4-90'\..*Nearest: A4-80"):
        bolt_grade("A4-90")
    assert set(grade_names()) == {"8.8", "10.9", "12.9", "A2-70", "A4-70", "A4-80"}


@pytest.mark.parametrize("wrong", [(8, 0), (8, 5), (math.nan, 1), (-8, 1)])
def test_a_thread_that_cannot_be_is_refused(wrong):
    with pytest.raises(InputError, match="no thread has"):
        Thread(*wrong)


# ---- plans


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"size": "M9"}, r"bolts\.front\.size: there is no bolt of size 'M9'"),
        ({"grade": "9.8"}, r"bolts\.front\.grade"),
        ({"washer": "wide"}, r"bolts\.front\.washer: 'wide' is no washer\. Known: large, none, plain"),
        ({"head_shape": "round"}, r"bolts\.front\.head_shape: 'round' is no head shape"),
        ({"torque": None}, r"bolts\.front: a bolt is tightened by a torque or to a preload"),
        ({"preload": 1e3}, "a torque or to a preload"),
        ({"torque": -1.0}, r"bolts\.front\.torque: a torque must be positive"),
        ({"torque": math.nan}, "must be positive"),
        ({"thread_friction": 0.0}, r"bolts\.front\.thread_friction: 0 lies outside 0\.02 to 0\.6"),
        ({"head_friction": 1.4}, r"head_friction: 1\.4 lies outside"),
        ({"tightening_scatter": 0.6}, r"tightening_scatter: 0\.6 lies outside 1 to 4"),
        ({"tightening_scatter": math.nan}, "tightening_scatter: nan lies outside"),
    ],
)
def test_plans_that_cannot_be_are_refused(changes, told):
    with pytest.raises(InputError, match=told) as error:
        plan(**changes)
    assert "\n" not in str(error.value)


def test_a_plan_stays_as_it_is():
    with pytest.raises(dataclasses.FrozenInstanceError):
        plan().torque = 20e3


def test_seats_of_head_and_washer():
    bare, washer = plan(washer="none"), plan()
    assert turning_seat(bare) == Seat(12.33, 9) and turning_seat(bare, 8.4) == Seat(12.33, 8.4)
    assert turning_seat(washer) == Seat(12.33, 8.4)  # the head turns on the washer
    assert pressing_seat(washer) == Seat(16, 9) and pressing_seat(washer, 8.0) == Seat(16, 8.4)
    assert pressing_seat(plan(washer="large")).area > 3 * pressing_seat(washer).area * 0.8
    with pytest.raises(
        InputError, match=r"bolts\.front\.washer: a head or washer of 12\.33 mm does not rest on .* a hole of 13 mm"
    ):
        pressing_seat(bare, 13.0)


# ---- tightening


def test_torque_and_preload_are_two_ways_to_say_the_same():
    by_torque = tighten(plan())
    by_preload = tighten(plan(torque=None, preload=by_torque.high))
    assert by_preload == by_torque or by_preload.torque == pytest.approx(by_torque.torque)
    assert by_torque.high / by_torque.low == pytest.approx(1.6)
    assert tighten(plan(tightening_scatter=1.0)).low == by_torque.high
    assert by_torque.tension * bolt_size("M8").thread.stress_area == pytest.approx(by_torque.high)
    assert by_torque.stress**2 == pytest.approx(by_torque.tension**2 + 3 * by_torque.torsion**2)


def test_less_friction_pulls_more():
    dry, oiled = tighten(plan(thread_friction=0.2, head_friction=0.2)), tighten(plan(thread_friction=0.1))
    assert dry.high < tighten(plan()).high < oiled.high


def test_ninety_per_cent_of_yield_is_what_tightening_uses():
    thread, grade = bolt_size("M8").thread, bolt_grade("A4-80")
    preload = preload_at(0.9, thread, grade, thread_friction=0.14)
    at = tighten(plan(torque=None, preload=preload))
    assert at.used == pytest.approx(0.9) and not at.beyond_usual
    assert tighten(plan(torque=None, preload=1.05 * preload)).beyond_usual


def test_a_torque_beyond_yield_is_refused_with_what_the_bolt_bears():
    with pytest.raises(InputError) as error:
        tighten(plan(torque=40e3))
    told = str(error.value)
    assert told.startswith("bolts.front.torque: 40 N m takes a bolt M8 A4-80 beyond its yield")
    # What it names is taken
    bears = float(told.split("it bears ")[1].split(" N m")[0])
    assert tighten(plan(torque=bears * 1e3)).used == pytest.approx(0.9, abs=0.005)
    with pytest.raises(InputError, match=r"bolts\.front\.preload: 25 kN takes"):
        tighten(plan(torque=None, preload=25e3))
