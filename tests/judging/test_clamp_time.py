"""What is left of a clamp with time: by Findley's law in closed form, its limits, and what remedies must do."""

import math
from dataclasses import replace

import numpy as np
import pytest

from fem.errors import InputError
from fem.joining.bolt_plan import BoltPlan
from fem.joining.creep import HOUR, Findley, default_creep
from fem.joining.preload_time import compare_remedies, embedding
from fem.joining.remedies import Built
from fem.joining.tightening import tighten
from fem.judging.clamp_time import TIMES, Layer, clamp_with_time
from fem.printing.polymer import load_card

UP = np.array([0, 0, 1.0])
PLAN = BoltPlan("front", "M8", "A4-80", torque=16e3)
TIGHT = tighten(PLAN)
NYLON, METAL = load_card("pa6-cf"), load_card("6082-t6").state("as_supplied")
SADDLE = Layer(NYLON.state("conditioned"), 20.0, UP)
POWER = Findley(0.5, 0.5)


def test_findleys_law_between_springs_in_closed_form():
    """For an exponent of 1/2 what is left is exp(x^2) erfc(x), x = share m Gamma(3/2) t^(1/2) (R. Gorenflo and F.
    Mainardi, 1997); the share is that of what the polymer gives of all that gives."""
    from scipy.special import erfcx

    given = replace(SADDLE, creep=POWER)
    bolt = 50e3
    found = clamp_with_time(PLAN, TIGHT, [given], built=Built(9.0, stiffness=bolt), clamped_stiffness=30e3)
    share = (1 / 30e3) / (1 / 30e3 + 1 / bolt)
    for hours, low, high in zip(found.hours, found.as_planned.low_N, found.as_planned.high_N, strict=True):
        left = float(erfcx(share * 0.5 * math.gamma(1.5) * math.sqrt(hours)))
        assert low == pytest.approx(left * TIGHT.low, rel=1e-9)
        assert high == pytest.approx(left * TIGHT.high, rel=1e-9)
    # Without the bolt's spring, as if its length did not matter, another clamp would be told
    assert found.as_planned.low_N[-1] > 1.3 * TIGHT.low * erfcx(0.5 * math.gamma(1.5) * math.sqrt(found.hours[-1]))


def test_at_first_all_of_it_is_there():
    found = clamp_with_time(PLAN, TIGHT, [SADDLE], times=[1e-12 * HOUR])
    assert found.as_planned.low_N[0] == pytest.approx(TIGHT.low, rel=5e-3)
    assert found.preload_high_N / found.preload_low_N == pytest.approx(PLAN.tightening_scatter)


def test_what_settles_and_grows_comes_at_once():
    bolt, members, built = 50e3, 30e3, Built(9.0, stiffness=50e3)
    gives = 1 / bolt + 1 / members
    layer = Layer(METAL, 20.0, UP)
    lost = clamp_with_time(PLAN, TIGHT, [layer], built=built, clamped_stiffness=members, settling=0.01)
    assert TIGHT.low - lost.as_planned.low_N[0] == pytest.approx(0.01 / gives)
    warm = clamp_with_time(PLAN, TIGHT, [layer], built=built, clamped_stiffness=members, warmer=40)
    grown = (METAL.expansion[2] - PLAN.material.expansion) * 20 * 40
    assert warm.as_planned.high_N[-1] - TIGHT.high == pytest.approx(grown / gives)
    assert not lost.estimate and lost.remedies == {} and lost.cautions == ()


def test_wet_and_warm_nylon_keeps_less():
    left = [
        clamp_with_time(PLAN, TIGHT, [replace(SADDLE, state=NYLON.state("dry"), service=service)]).kept(
            TIMES[-1] / HOUR
        )
        for service in (NYLON.state("dry"), NYLON.state("saturated"), NYLON.state("saturated", 50.0))
    ]
    assert 1 > left[0] > left[1] > left[2] > 0


def test_the_clamp_only_falls_and_remedies_keep_more():
    found = clamp_with_time(PLAN, TIGHT, [SADDLE], settling=embedding(16, heads=2))
    planned, sleeve, washers = found.as_planned, found.remedies["metal sleeve"], found.remedies["large washers"]
    assert (np.diff(planned.low_N) < 0).all() and (np.diff(planned.high_N) < 0).all()
    # A thicker layer of metal in the row keeps more; the whole of it in metal keeps all but what settles
    assert np.ptp(sleeve.low_N) == 0 and sleeve.low_N[-1] > planned.low_N[-1]
    assert washers.pressure_MPa < planned.pressure_MPa / 2
    shares = [
        clamp_with_time(PLAN, TIGHT, [Layer(METAL, 20.0 - t, UP), replace(SADDLE, thickness=t)]).kept(24.0)
        for t in (2.0, 8.0, 14.0, 19.0)
    ]
    assert (np.diff(shares) < 0).all()


def test_it_agrees_with_the_comparison_of_remedies():
    found = clamp_with_time(PLAN, TIGHT, [SADDLE])
    known = compare_remedies(PLAN, [SADDLE.member], preload=TIGHT.high, times=TIMES)
    told = {"as planned": found.as_planned, **found.remedies}
    for one in known:
        assert told[one.name].high_N == pytest.approx(one.clamp) and told[one.name].on == one.on
        assert told[one.name].pressure_MPa == pytest.approx(one.pressure)


def test_a_default_is_loud_and_a_measured_law_is_not():
    found = clamp_with_time(PLAN, TIGHT, [SADDLE])
    assert found.estimate and "common practice" in found.creep_source
    assert found.cautions[0].kind == "creep_estimated"
    own = clamp_with_time(PLAN, TIGHT, [replace(SADDLE, creep=POWER)])
    assert not own.estimate and "creep_estimated" not in {c.kind for c in own.cautions}


def test_materials_that_creep_differently_take_the_worse_law():
    slow = replace(SADDLE, creep=Findley(0.05, 0.1), thickness=10.0)
    fast = replace(SADDLE, creep=default_creep("saturated"), thickness=10.0)
    both = clamp_with_time(PLAN, TIGHT, [slow, fast])
    assert "creep_joined" in {c.kind for c in both.cautions}
    worse = clamp_with_time(PLAN, TIGHT, [replace(slow, creep=fast.creep), fast])
    assert both.as_planned == worse.as_planned


def test_a_clamp_that_fades_is_told_with_what_would_keep_it():
    wet = replace(SADDLE, state=NYLON.state("dry"), service=NYLON.state("saturated"))
    told = {c.kind: c for c in clamp_with_time(PLAN, TIGHT, [wet]).cautions}["clamp_fades"]
    assert "bolt front" in told.text and "More stays with metal sleeve." in told.text and not told.decisive
    gone = clamp_with_time(PLAN, TIGHT, [wet], settling=2.0)
    assert gone.as_planned.high_N == (0.0,) * len(TIMES)
    assert next(c for c in gone.cautions if c.kind == "clamp_fades").decisive


def test_remedies_that_do_not_fit_are_left_out_with_a_reason():
    bare = BoltPlan("front", "M8", "A4-80", torque=16e3, washer="none")
    found = clamp_with_time(bare, TIGHT, [SADDLE], built=Built(9.0, outer=20.0))
    assert (
        set(found.remedies) == {"metal sleeve"}
        and "wider than the member of 20 mm" in found.left_out["large washers"]
    )
    with pytest.raises(InputError, match="wider than the member"):
        clamp_with_time(PLAN, TIGHT, [SADDLE], built=Built(9.0, outer=12.0))
    with pytest.raises(InputError, match="at least one member"):
        clamp_with_time(PLAN, TIGHT, [])


def test_a_tapped_hole_counts_with_its_own_stiffness():
    built = [Built(9.0, anchor="tapped", anchor_modulus=e) for e in (70e3, 2e3)]
    hard, soft = (clamp_with_time(PLAN, TIGHT, [SADDLE], built=one).kept(24.0) for one in built)
    assert soft > hard  # what gives without creeping keeps the clamp
