"""An infill of less quality: its stiffness and strengths scale by it, those of walls and covers do not."""

from dataclasses import replace

import numpy as np
import pytest

from fem.criteria.strength import Strength
from fem.errors import InputError
from fem.printing.body import printed_body
from fem.printing.plan import PrintPlan
from fem.printing.polymer import load_card

CARD, Q = load_card("pa12-cf"), 0.8
PLAN = PrintPlan((0, 0, 1), infill_pattern="grid", infill_density=0.3, walls=2, covers=3)


def printed(plan):
    return printed_body(plan, card=CARD, state="dry")


@pytest.mark.parametrize("pattern", ["grid", "triangle"])
def test_the_infill_scales_and_nothing_else_does(pattern):
    plan = replace(PLAN, infill_pattern=pattern)
    sound, poor = printed(plan), printed(replace(plan, infill_quality=Q))
    assert poor.core.stiffness == pytest.approx(Q * sound.core.stiffness, rel=1e-6, abs=1e-6)
    for kind in ("tension", "compression", "shear"):
        assert poor.cell.strength_MPa[kind] == pytest.approx(Q * sound.cell.strength_MPa[kind], rel=1e-6)
    assert len(poor.core.phases) == len(sound.core.phases)
    for one, other in zip(poor.core.phases, sound.core.phases, strict=True):
        if isinstance(one.strength, Strength):
            assert one.strength.tension == pytest.approx(Q * other.strength.tension)
            assert one.strength.compression == pytest.approx(Q * other.strength.compression)
            assert one.strength.shear == pytest.approx(Q * other.strength.shear)
        else:
            limits = np.array([[w.along, w.up, w.shear] for w in (one.strength, other.strength)])
            finite = np.isfinite(limits).all(axis=0)
            assert finite.any() and limits[0, finite] == pytest.approx(Q * limits[1, finite], rel=1e-6)
    for zone in ("wall", "cover"):
        one, other = getattr(poor, zone), getattr(sound, zone)
        assert np.array_equal(one.stiffness, other.stiffness)
        assert np.array_equal(one.phases[0].strength.tension, other.phases[0].strength.tension)
    assert poor.core.density == sound.core.density


def test_a_solid_core_is_not_touched():
    solid = replace(PLAN, infill_pattern="solid", infill_density=1.0)
    assert np.array_equal(printed(replace(solid, infill_quality=Q)).core.stiffness, printed(solid).core.stiffness)
    assert replace(solid, infill_quality=Q).core_quality == 1


@pytest.mark.parametrize("quality", [0.0, -1.0, 1.2, float("nan")])
def test_what_no_infill_can_be_worth_is_refused(quality):
    with pytest.raises(InputError, match="infill quality"):
        replace(PLAN, infill_quality=quality)
