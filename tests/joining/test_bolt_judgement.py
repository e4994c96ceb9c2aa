"""What bolts, heads and threads bear: hand sums, limits, second ways, refusals in one line."""

import math

import numpy as np
import pytest

from fem.criteria.reserve import utilisation
from fem.errors import InputError
from fem.joining.bolt_judgement import head_pressure, judge_bolt, working_stress
from fem.joining.bolt_plan import BoltPlan, Seat
from fem.joining.bolt_sizes import bolt_grade, bolt_size
from fem.joining.pull_out import PullOut, estimated_pull_out, measured_pull_out, pull_out_kinds
from fem.joining.strength_along import (
    LONG_TERM,
    bears_for_long,
    compression_along,
    insert_in_polymer,
    shear_along,
    thread_in_metal,
)
from fem.joining.thread_stripping import (
    bending_factors,
    check_engagement,
    nut_widening,
    thread_limits,
    thread_strength,
)
from fem.joining.tightening import tighten, torque_for
from fem.printing.polymer import load_card
from fem.tensors import pack_stress, unit

M8 = bolt_size("M8").thread
PLAN = BoltPlan("front", "M8", "A4-80", torque=16e3)
TIGHT = tighten(PLAN)


def in_aluminium(engagement, **changes):
    given = {"bolt_ultimate": 800, "bolt_shear": 0.65, "nut_ultimate": 310, "nut_shear": 0.7}
    return thread_strength(M8, engagement=engagement, **{**given, **changes})


# ---- the bolt itself


def test_working_stress_by_hand():
    found = working_stress(M8, force=12e3, preload=10e3, thread_friction=0.14, shear=1e3, bending=2e3)
    d0 = (7.188 + 6.466) / 2
    twist = torque_for(10e3, M8, thread_friction=0.14, head_friction=0, head_diameter=9).in_thread
    assert found.tension == pytest.approx(12e3 / 36.61, rel=1e-3)
    assert found.bending == pytest.approx(2e3 * 32 / (math.pi * d0**3), rel=1e-3)
    assert found.torsion == pytest.approx(0.5 * twist * 16 / (math.pi * d0**3), rel=5e-3)
    assert found.shear == pytest.approx(1e3 / 36.61, rel=1e-3)
    together = (found.tension + found.bending) ** 2 + 3 * (found.torsion + found.shear) ** 2
    assert found.total == pytest.approx(math.sqrt(together))
    pulled = working_stress(M8, force=12e3, preload=0.0, thread_friction=0.14)
    assert pulled.total == pulled.tension < found.total


def test_the_reserve_of_a_bolt():
    judged = judge_bolt(PLAN, TIGHT, force=12e3, clamp=3e3, borne=60.0)
    assert judged.reserve == pytest.approx(600 / judged.stress.total)
    assert not judged.is_open and judged.thread_reserve is None
    more = judge_bolt(PLAN, TIGHT, force=12e3, clamp=3e3, borne=60.0, shear=2e3, bending=3e3)
    assert more.reserve < judged.reserve
    opened = judge_bolt(PLAN, TIGHT, force=20e3, clamp=0.0, borne=60.0)
    assert opened.is_open and next(c.kind for c in opened.cautions if c.decisive) == "joint_opens"


def test_tightening_far_is_told():
    plan = BoltPlan("front", "M8", "A4-80", torque=26.5e3)
    kinds = {c.kind for c in judge_bolt(plan, tighten(plan), force=1e3, clamp=1e3, borne=1e3, long_term=1).cautions}
    assert kinds == {"tightened_far"}
    assert judge_bolt(PLAN, TIGHT, force=1e3, clamp=1e3, borne=1e3).cautions == ()


# ---- under the head


def test_pressure_under_a_head_short_and_long():
    seat = Seat(16, 8.4)
    found = head_pressure(seat, force=12e3, preload=10e3, borne=90.0)
    assert found.stays == pytest.approx(68.66, abs=0.01) and found.highest == pytest.approx(12 / 10 * found.stays)
    assert found.borne_long == 30 and found.reserve == pytest.approx(30 / found.stays)
    short = head_pressure(seat, force=90e3, preload=10e3, borne=90.0, long_term=1.0)
    assert short.reserve == pytest.approx(90 / short.highest)
    assert head_pressure(seat, force=1e3, preload=10e3, borne=90.0).highest == found.stays
    for wrong in ({"borne": 0.0}, {"borne": 90.0, "long_term": 1.5}):
        with pytest.raises(InputError, match="strength above zero"):
            head_pressure(seat, **{"force": 1e3, "preload": 1e3, **wrong})


def test_a_crushed_seat_is_told():
    judged = judge_bolt(PLAN, TIGHT, force=12e3, clamp=3e3, borne=60.0)
    (told,) = judged.cautions
    assert told.kind == "head_crushes" and told.decisive  # 87 MPa on what bears 60
    assert told.numbers == {"pressure_MPa": judged.pressure.stays, "bears_MPa": 20.0}
    held = judge_bolt(PLAN, TIGHT, force=12e3, clamp=3e3, borne=100.0)
    assert [c.decisive for c in held.cautions] == [False]
    wide = judge_bolt(PLAN, TIGHT, force=12e3, clamp=3e3, borne=100.0, seat=Seat(24, 9))
    assert wide.cautions == () and wide.pressure.reserve > 1


def test_compression_of_a_printed_part_along_its_bolt():
    dry = load_card("pa6-cf").state("dry")
    for axis, borne in zip(np.eye(3), (120, 70, 60), strict=True):
        assert compression_along(dry, axis) == pytest.approx(borne, rel=1e-6)
    assert compression_along(dry, np.array([1.0, 0, 1])) < 60  # at 45 degrees interlayer shear decides
    metal = load_card("6082-t6").state("as_supplied")
    assert compression_along(metal, np.array([1.0, 2, 3])) == pytest.approx(metal.yield_stress)
    assert bears_for_long(dry) == LONG_TERM and bears_for_long(metal) == 1


def test_shear_of_a_printed_part_along_its_bolt():
    dry = load_card("pa6-cf").state("dry")
    s12, s13, s23 = 35, 22, 18
    up = shear_along(dry, np.array([0, 0, 1.0]))
    assert up <= s23 and up == pytest.approx(s23, rel=0.01)
    assert shear_along(dry, np.array([1.0, 0, 0])) == pytest.approx(min(s12, s13), rel=0.01)
    for axis in ([1.0, 1, 0], [0.2, 1, -0.3], [0.5, -0.5, 1]):
        # A second way: 2000 planes at random, each until a criterion is met
        n, chance = unit(axis), np.random.default_rng(3).normal(size=(2000, 3))
        across = np.array([unit(m - (m @ n) * n) for m in chance])
        sheared = pack_stress(n[None, :, None] * across[:, None, :] + across[:, :, None] * n[None, None, :])
        least = 1 / utilisation(sheared, dry.strength).max()
        assert shear_along(dry, np.array(axis)) == pytest.approx(float(least), rel=0.01)
    metal = load_card("6082-t6").state("as_supplied")
    assert shear_along(metal, np.array([1.0, 2, 3])) == pytest.approx(metal.yield_stress / math.sqrt(3), rel=1e-6)


def test_what_holds_a_bolt_by_the_cards():
    metal, polymer = load_card("6082-t6").state("as_supplied"), load_card("pa6-cf").state("dry")
    tapped = thread_in_metal(PLAN, metal, engagement=12)
    assert tapped == thread_strength(
        M8, engagement=12, bolt_ultimate=800, bolt_shear=0.65, nut_ultimate=metal.ultimate
    )
    with pytest.raises(InputError, match=r"bolts\.front\.thread: the card knows no ultimate strength"):
        thread_in_metal(PLAN, polymer, engagement=12)
    insert = insert_in_polymer("heat-set insert", polymer, axis=np.array([0, 0, 1.0]), diameter=10, length=12.7)
    assert insert.estimate and insert.force == pytest.approx(0.33 * 18 * math.pi * 10 * 12.7, rel=0.01)


# ---- threads


def test_threads_of_one_strength_bend_alike():
    """C2 and C3 meet at equal strength (0.897), and both rise towards the stronger thread's side."""
    assert bending_factors(1.0) == (0.897, 0.897)
    assert bending_factors(1 + 1e-9)[0] == pytest.approx(0.897, abs=5e-4)
    assert bending_factors(1 - 1e-9)[1] == pytest.approx(0.897, abs=5e-4)
    assert bending_factors(1.5)[0] > 0.9 and bending_factors(0.5)[1] > 0.9
    assert bending_factors(9.0) == bending_factors(2.2) and bending_factors(0.1) == bending_factors(0.4)


def test_narrow_nuts_widen():
    assert nut_widening(M8, None) == nut_widening(M8, 40) == 1
    assert nut_widening(M8, 1.9 * 8 - 1e-9) == pytest.approx(1.0, abs=1e-6)
    assert nut_widening(M8, 13) == pytest.approx(3.8 * 1.625 - 1.625**2 - 2.61)
    with pytest.raises(InputError, match=r"wall 11 mm wide.*splits\. It takes at least 11\.2 mm"):
        nut_widening(M8, 11)


def test_shear_area_by_the_profile():
    """A second way: the metal of the nut's thread that a cylinder through the bolt's crests cuts, from the 60 degree
    profile."""
    limits = thread_limits(M8)
    # Along the axis, one pitch: the nut's groove is wide where the bolt's crest fits in, the rest is metal
    z = (np.arange(200_000) + 0.5) / 200_000 * M8.pitch
    flank = np.abs(z - M8.pitch / 2) - M8.pitch / 4  # > 0 in the metal at the pitch diameter
    metal = np.mean(flank > -(limits.crest - limits.nut_pitch_diameter) / 2 * math.tan(math.radians(30)))
    area = math.pi * limits.crest * metal
    strong = thread_strength(
        M8, engagement=2 * M8.pitch + 1, bolt_ultimate=5e3, bolt_shear=1, nut_ultimate=100, nut_shear=1
    )
    assert strong.nut_thread == pytest.approx(bending_factors(0.1)[1] * 100 * area, rel=1e-4)


def test_what_the_engagement_bears():
    short, long = in_aluminium(6), in_aluminium(12)
    assert short.weaker != "bolt" and long.strips / short.strips == pytest.approx((12 - 2.5) / (6 - 2.5))
    at = in_aluminium(long.full_engagement)
    assert at.strips == pytest.approx(at.breaks) and 1.0 < long.full_engagement / 8 < 1.5
    assert in_aluminium(12, anchor="nut").strips > long.strips  # a nut loses less of its height
    soft_bolt = in_aluminium(12, bolt_ultimate=200)
    assert soft_bolt.weaker == "bolt"


def test_an_engagement_that_is_too_short_is_refused():
    with pytest.raises(InputError, match=r"an engagement of 2\.5 mm bears nothing"):
        in_aluminium(2.5)
    with pytest.raises(InputError, match=r"bolts\.front\.thread: over 4 mm the thread .* shears off at") as error:
        judge_bolt(PLAN, TIGHT, force=12e3, clamp=3e3, borne=60.0, held_by=in_aluminium(4))
    assert "\n" not in str(error.value)
    needed = float(str(error.value).split("It takes ")[1].split(" mm")[0])
    check_engagement(in_aluminium(needed + 0.02), pull=TIGHT.high)
    with pytest.raises(InputError):
        check_engagement(in_aluminium(needed - 0.02), pull=TIGHT.high)
    judged = judge_bolt(PLAN, TIGHT, force=12e3, clamp=3e3, borne=60.0, held_by=in_aluminium(12))
    assert judged.thread_reserve == pytest.approx(in_aluminium(12).strips / 12e3)


# ---- inserts and screws


def test_measured_pull_out():
    found = measured_pull_out("heat-set insert", size="M8", host="PA12, powder bed")
    assert found.force == 3830 and not found.estimate and "Polymers 18" in found.source
    assert found.reserve(1915) == pytest.approx(2) and found.reserve(0) == math.inf
    with pytest.raises(InputError, match="no test of a wire insert M5 in PLA is known"):
        measured_pull_out("wire insert", size="M5", host="PLA")
    with pytest.raises(InputError, match="nothing is known of a 'rivet'"):
        measured_pull_out("rivet", size="M5", host="PLA")


def test_estimates_stand_near_the_tests():
    """M8 in powder-bed PA12 of 28 MPa in shear: threads some 8 to 12 mm deep (usual for M8) bracket what was
    measured."""
    for kind, outer in (("printed thread", 8.0), ("heat-set insert", 10.0), ("wire insert", 9.6)):
        measured = measured_pull_out(kind, size="M8", host="PA12, powder bed").force
        short, long = (estimated_pull_out(kind, diameter=outer, length=n, shear_strength=28.0) for n in (8, 16))
        assert short.estimate and 0.5 < short.force / measured < 1.2
        assert long.force == pytest.approx(2 * short.force) and long.force > measured
    assert set(pull_out_kinds()) >= {"heat-set insert", "self-tapping screw"}
    with pytest.raises(InputError, match="above zero"):
        estimated_pull_out("self-tapping screw", diameter=5.0, length=0.0, shear_strength=20.0)
    with pytest.raises(InputError, match="must be positive"):
        PullOut("heat-set insert", 0.0, "a test", False)


def test_a_weak_insert_is_refused_and_an_estimate_told():
    weak = measured_pull_out("heat-set insert", size="M8", host="PA12, powder bed")
    with pytest.raises(InputError, match=r"bolts\.front\.thread: a heat-set insert comes out at 3\.83 kN, below"):
        judge_bolt(PLAN, TIGHT, force=12e3, clamp=3e3, borne=300.0, held_by=weak)
    guess = estimated_pull_out("self-tapping screw", diameter=8, length=60, shear_strength=20)
    judged = judge_bolt(PLAN, TIGHT, force=12e3, clamp=3e3, borne=300.0, held_by=guess)
    assert judged.thread_reserve == pytest.approx(guess.force / 12e3)
    assert [c.kind for c in judged.cautions] == ["pull_out_estimated"]


def test_the_bolt_breaks_at_its_ultimate_load():
    grade = bolt_grade("A4-80")
    found = thread_strength(
        M8, engagement=12, bolt_ultimate=grade.ultimate, bolt_shear=grade.thread_shear, nut_ultimate=310
    )
    assert found.breaks == pytest.approx(29280, rel=2e-3)
