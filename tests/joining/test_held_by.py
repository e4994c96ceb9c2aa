"""What holds a bolt, from a study's words: strengths by hand, directions of the print, and what is refused."""

import math

import numpy as np
import pytest

from fem.errors import InputError
from fem.joining.bolt_judgement import judge_bolt
from fem.joining.bolt_plan import BoltPlan, holders
from fem.joining.held_by import HeldBy, held_by_of
from fem.joining.pull_out import PullOut
from fem.joining.thread_stripping import ThreadStrength
from fem.joining.tightening import tighten
from fem.printing.polymer import load_card

PLAN = BoltPlan("front", "M8", "A4-80", preload=3e3)
NYLON = load_card("pa6-cf").state("dry")
METAL = load_card("6082-t6").state("as_supplied")
UP, ALONG = np.array([0, 0, 1.0]), np.array([1.0, 0, 0])


def test_a_tapped_hole_in_a_metal():
    found = held_by_of("tapped", PLAN, METAL, engagement=12.0)
    assert isinstance(found.strength, ThreadStrength) and found.strength.weaker == "part that it is screwed into"
    deeper = held_by_of("tapped", PLAN, METAL, engagement=16.0).strength
    lost = found.strength.lost
    assert deeper.strips / found.strength.strips == pytest.approx((16 - lost) / (12 - lost))
    narrow = held_by_of("tapped", PLAN, METAL, engagement=12.0, width=12.0).strength
    assert narrow.strips < 0.9 * found.strength.strips
    assert judge_bolt(PLAN, tighten(PLAN), force=4e3, clamp=1e3, borne=200, held_by=found.strength).thread_reserve > 1


def test_a_standard_nut_outlasts_its_bolt():
    """What nuts are made for (ISO 898-2): the bolt breaks before threads strip."""
    for size in ("M5", "M6", "M8", "M10", "M12"):
        strength = held_by_of("nut", BoltPlan("a", size, "8.8", preload=1e3), None, engagement=None).strength
        assert strength.strips > 0.95 * strength.breaks, size
    thin = held_by_of("nut", PLAN, None, engagement=4.0).strength
    assert thin.strips < 0.7 * thin.breaks


@pytest.mark.parametrize(
    ("kind", "efficiency", "wider"),
    [("printed thread", 0.4, 1.0), ("heat-set insert", 0.33, 1.25), ("wire insert", 0.4, 1.2),
     ("self-tapping screw", 0.5, 1.0)],
)  # fmt: skip
def test_what_is_screwed_into_a_polymer(kind, efficiency, wider):
    found = held_by_of(kind, PLAN, NYLON, engagement=16.0, axis=UP)
    s23 = NYLON.shear[0]  # the weaker of both shears between layers
    assert isinstance(found.strength, PullOut) and found.strength.estimate and found.strength.kind == kind
    assert found.strength.force == pytest.approx(efficiency * s23 * math.pi * 8 * wider * 16, rel=0.01)
    assert {c.kind for c in found.cautions} == {"pull_out_creeps"}
    # Along a bead the hole's planes hold the shears 12 and 13, which bear more here
    lying = held_by_of(kind, PLAN, NYLON, engagement=16.0, axis=ALONG).strength
    assert lying.force > 1.15 * found.strength.force
    own = held_by_of(kind, PLAN, NYLON, engagement=16.0, axis=UP, diameter=12.0).strength
    assert own.force == pytest.approx(found.strength.force * 12 / (8 * wider))
    short = held_by_of(kind, PLAN, NYLON, engagement=8.0, axis=UP)
    assert "engagement_short" in {c.kind for c in short.cautions}
    assert short.strength.force == pytest.approx(found.strength.force / 2)


def test_wet_nylon_holds_less():
    kind, given = "heat-set insert", {"engagement": 16.0, "axis": UP}
    dry, wet = (held_by_of(kind, PLAN, load_card("pa6-cf").state(s), **given) for s in ("dry", "saturated"))
    assert wet.strength.force < 0.8 * dry.strength.force


def test_what_nobody_said_is_told():
    for state, engagement in ((None, 12.0), (METAL, None)):
        found = held_by_of("tapped", PLAN, state, engagement=engagement)
        assert found.strength is None and [c.kind for c in found.cautions] == ["thread_not_judged"]
    assert HeldBy(None).cautions == ()
    assert set(holders()) >= {"tapped", "nut", "printed thread", "self-tapping screw"}


@pytest.mark.parametrize(
    ("kind", "state", "given", "told"),
    [
        ("rivet", NYLON, {}, "not held by a 'rivet'"),
        ("tapped", NYLON, {}, "judged as a printed one"),
        ("wire insert", METAL, {}, 'In a metal take "tapped"'),
        ("wire insert", NYLON, {"axis": None}, "direction of its hole"),
        ("wire insert", NYLON, {"diameter": 6.0}, "thinner than its bolt"),
        ("tapped", METAL, {"engagement": 2.0}, "bears nothing"),
        ("tapped", METAL, {"width": 9.0}, "splits"),
        ("printed thread", NYLON, {"engagement": -1.0}, "holds nothing"),
        ("printed thread", NYLON, {"engagement": math.nan}, "holds nothing"),
    ],
)
def test_what_cannot_hold_is_refused_in_one_line(kind, state, given, told):
    with pytest.raises(InputError, match=told) as error:
        held_by_of(kind, PLAN, state, **{"engagement": 12.0, "axis": UP, **given})
    assert str(error.value).startswith("bolts.front.thread: ") and "\n" not in str(error.value)
