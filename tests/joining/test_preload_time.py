"""Clamp that is left with time: closed form against steps, bounds, special cases, and what is refused."""

import math

import numpy as np
import pytest

from fem.errors import InputError
from fem.joining.bolt_plan import BoltPlan
from fem.joining.clamped_joint import Grip, Member
from fem.joining.creep import HOUR, Findley, Prony, default_creep, mittag_leffler
from fem.joining.members import creep_cautions, growth_by_heat, member_of
from fem.joining.preload_time import DAY, SEASON, clamp_by_steps, clamp_over_time, compare_remedies, embedding
from fem.printing.polymer import all_cards, load_card

POWER, SERIES = Findley(0.3, 0.2), Prony((0.2, 0.15, 0.1), (HOUR, DAY, 30 * DAY))
UP = (0.0, 0.0, 1.0)


def grip(*laws, modulus=2500.0):
    return Grip(tuple(Member(10, modulus, law) for law in laws), 16, 16, 9)


# ---- laws


def test_mittag_leffler_by_its_series():
    for order in (0.05, 0.1, 0.2, 0.33, 0.5, 0.8):
        for z in (0.0, 1e-8, 0.05, 0.4, 0.9):
            series = sum((-z) ** k / math.gamma(order * k + 1) for k in range(160 if order * 160 < 170 else 200))
            assert float(mittag_leffler(order, z)) == pytest.approx(series, abs=3e-8 if z == 0.9 else 1e-11)


def test_mittag_leffler_at_a_half():
    from scipy.special import erfcx

    z = np.geomspace(1e-6, 1e4, 60)
    assert mittag_leffler(0.5, z) == pytest.approx(erfcx(z), rel=1e-10)


def test_relaxation_lies_under_what_creep_modulus_says():
    """T. Simon, Electron. J. Probab. 19 (2014) 25:  1 / (1 + Gamma(1-n) x) <= E_n(-x) <= 1 / (1 + x / Gamma(1+n))."""
    times = np.geomspace(1, 1e9, 50)
    for law in (POWER, Findley(0.5, 0.4), Findley(2.0, 0.1)):
        m = law.first_hour * (times / HOUR) ** law.exponent
        left, n = law.kept(times), law.exponent
        assert (left < 1 / (1 + m)).all()
        assert (left > 1 / (1 + math.gamma(1 - n) * math.gamma(1 + n) * m)).all()
        assert (np.diff(left) < 0).all() and left[0] < 1
    # The usual shortcut, force / (1 + creep), tells as much as 4 % too much
    assert np.max(1 / (1 + 0.5 * (times / HOUR) ** 0.4) / Findley(0.5, 0.4).kept(times)) > 1.04


def test_a_series_relaxes_as_it_says():
    times = np.geomspace(1, 1e8, 30)
    assert SERIES.kept(times) == pytest.approx(SERIES.relaxation(times), rel=1e-12)
    assert SERIES.kept(1e12) == pytest.approx(0.55)
    # Between springs: at the end the modulus that is left stands for the elastic one
    for share in (0.9, 0.5, 0.1):
        assert SERIES.kept(1e14, share) == pytest.approx(1 / (1 - share + share / 0.55), rel=1e-9)


@pytest.mark.parametrize("law", [POWER, SERIES, Findley(0.05, 0.4)], ids=["power", "series", "steep"])
@pytest.mark.parametrize("time", [HOUR, DAY, SEASON])
def test_closed_form_and_steps_agree(law, time):
    for bolt in (1e-7, 5e-6, 5e-5):
        exact = clamp_over_time(8e3, bolt=bolt, grip=grip(law, None), times=[time])[0]
        steps = [clamp_by_steps(8e3, bolt=bolt, grip=grip(law, None), time=time, steps=n) for n in (100, 400)]
        assert steps[1] == pytest.approx(exact, rel=2e-4)
        assert abs(steps[1] - exact) <= abs(steps[0] - exact) / 2 + 1e-9 * exact


def test_the_bolt_gives_back_only_its_own_stretch():
    soft, stiff = (clamp_over_time(8e3, bolt=b, grip=grip(POWER), times=[SEASON])[0] for b in (2e-5, 1e-6))
    assert soft > stiff  # a long or thin bolt keeps more
    alone = 8e3 * POWER.kept(SEASON)
    assert clamp_over_time(8e3, bolt=1e-12, grip=grip(POWER), times=[SEASON])[0] == pytest.approx(
        float(alone), rel=1e-6
    )


def test_nothing_creeps_without_a_law():
    assert clamp_over_time(8e3, bolt=1e-6, grip=grip(None)) == pytest.approx([8e3] * 3)
    assert clamp_by_steps(8e3, bolt=1e-6, grip=grip(None), time=DAY) == 8e3
    metal = Grip((Member(10, 70e3), Member(1, 2500, POWER)), 16, 16, 9)
    assert clamp_over_time(8e3, bolt=3e-6, grip=metal)[2] > clamp_over_time(8e3, bolt=3e-6, grip=grip(POWER))[2]


# ---- embedding, heat, water


def test_embedding_by_the_table():
    assert embedding(16, heads=2) == pytest.approx((3 + 2 * 3 + 2) / 1e3)
    assert embedding(6.3, heads=1, interfaces=0) == pytest.approx(5.5e-3)
    assert embedding(100, heads=2, interfaces=2, shear=True) == pytest.approx((3 + 13 + 7) / 1e3)
    for wrong in (0.0, 160.0, math.nan):
        with pytest.raises(InputError, match="embedding is known for a roughness"):
            embedding(wrong)


def test_embedding_takes_its_length_over_the_resilience():
    bolt, members = 3e-6, grip(None, modulus=205e3)
    left = clamp_over_time(8e3, bolt=bolt, grip=members, settling=8e-3)[0]
    assert 8e3 - left == pytest.approx(8e-3 / (bolt + sum(members.resiliences)))
    # The stiffer the joint, the more it costs; what is lost is never less than nothing
    assert clamp_over_time(8e3, bolt=bolt, grip=grip(None), settling=8e-3)[0] > left
    assert clamp_over_time(100.0, bolt=bolt, grip=members, settling=1.0)[0] == 0


def test_wet_members_let_go():
    dry, wet = grip(None), grip(None, modulus=750.0)
    bolt = 3e-6
    left = clamp_over_time(8e3, bolt=bolt, grip=dry, later=wet)[0]
    assert left == pytest.approx(8e3 * (bolt + sum(dry.resiliences)) / (bolt + sum(wet.resiliences)))
    assert left < 0.4 * 8e3
    warmer = clamp_over_time(8e3, bolt=bolt, grip=dry, growth=0.05)[0]
    assert warmer - 8e3 == pytest.approx(0.05 / (bolt + sum(dry.resiliences)))


def test_layers_come_from_cards():
    card = load_card("pa6-cf")
    dry, wet = (member_of(card.state(name), thickness=20, axis=UP) for name in ("dry", "saturated"))
    assert dry.modulus == pytest.approx(2500) and wet.modulus == pytest.approx(750)
    assert wet.creep.first_hour > dry.creep.first_hour and dry.creep.estimate
    assert member_of(card.state("dry"), thickness=5, axis=(1, 0, 0)).modulus == pytest.approx(7500)
    warm = member_of(card.state("dry", 60.0), thickness=20, axis=UP)
    assert warm.modulus == pytest.approx(1500) and warm.creep.first_hour > 1.5 * dry.creep.first_hour
    own = member_of(card.state("dry"), thickness=20, axis=UP, creep=SERIES)
    assert own.creep is SERIES
    metal = member_of(load_card("6082-t6").state("as_supplied"), thickness=5, axis=(1, 1, 0))
    assert metal.creep is None and metal.modulus == pytest.approx(70e3)
    grown = growth_by_heat(card.state("dry"), thickness=20, axis=UP, bolt_expansion=16e-6, warmer=20)
    assert grown == pytest.approx((24.8e-5 - 16e-6) * 20 * 20)


def test_the_default_is_loud():
    law = default_creep("conditioned")
    kept = law.compliance(HOUR / 60) / law.compliance(1000 * HOUR)
    assert law.estimate and float(kept) == pytest.approx(0.5)  # as the table says, from one minute to 1000 hours
    (told,) = creep_cautions(grip(law, None), bolt="front")
    assert told.kind == "creep_estimated" and "bolt front" in told.text and "common practice" in told.text
    assert creep_cautions(grip(POWER), bolt="front") == ()


def test_every_card_gives_a_member():
    for card in all_cards():
        for name, state in card.states.items():
            member = member_of(state, thickness=10, axis=UP)
            assert member.modulus == pytest.approx(state.E[2]), (card.name, name)
            assert (member.creep is None) == (card.kind == "metal")
    assert default_creep("annealed") == default_creep("conditioned")
    assert default_creep("dry").first_hour < default_creep("saturated").first_hour


# ---- remedies


def test_what_a_washer_and_a_sleeve_save():
    plan = BoltPlan("front", "M8", "A4-80", torque=16e3)
    members = (Member(20, 2500.0, default_creep("conditioned")),)
    planned, washer, sleeve = compare_remedies(plan, members, preload=10e3, settling=embedding(16, heads=2))
    assert [one.name for one in (planned, washer, sleeve)] == ["as planned", "large washers", "metal sleeve"]
    assert washer.pressure < planned.pressure / 2 and sleeve.on == "the sleeve"
    assert sleeve.clamp[0] == sleeve.clamp[2] > 1.5 * planned.clamp[2]
    assert planned.clamp[0] > planned.clamp[1] > planned.clamp[2]
    # Creep that is linear takes its share of any pressure: a washer saves the part from being crushed, not the clamp
    assert washer.clamp[2] == pytest.approx(planned.clamp[2], rel=0.08)
    large = BoltPlan("front", "M8", "A4-80", torque=16e3, washer="large")
    assert len(compare_remedies(large, members, preload=10e3)) == 2


def test_remedies_that_cannot_be_are_refused():
    bare = BoltPlan("front", "M8", "A4-80", torque=16e3, washer="none")
    with pytest.raises(InputError, match=r"bolts\.front\.washer: a sleeve of 13 mm is wider"):
        compare_remedies(bare, (Member(20, 2500.0, POWER),), preload=10e3, sleeve_wall=2.0)
    with pytest.raises(InputError, match="wider than the member of 20 mm"):
        compare_remedies(bare, (Member(20, 2500.0, POWER),), preload=10e3, outer=20.0)
    with pytest.raises(InputError, match="creep by different laws"):
        clamp_over_time(8e3, bolt=1e-6, grip=grip(POWER, SERIES))


@pytest.mark.parametrize(
    ("make", "told"),
    [
        (lambda: Findley(-0.1, 0.2), "in the first hour cannot be"),
        (lambda: Findley(0.1, 1.0), "lies outside 0.02 to 0.8"),
        (lambda: Findley(math.nan, 0.2), "cannot be"),
        (lambda: Prony((0.5, 0.5), (1.0, 2.0)), "below one together"),
        (lambda: Prony((0.5,), (0.0,)), "times above zero"),
        (lambda: Prony((), ()), "a time for each"),
        (lambda: default_creep("dry", softened=0.0), "factor on stiffness of 0"),
    ],
)
def test_laws_that_cannot_be_are_refused(make, told):
    with pytest.raises(InputError, match=told):
        make()
