"""The chance that a reserve is there, against closed forms of structural reliability.

Sources: O. Ditlevsen and H. O. Madsen, Structural Reliability Methods (1996), chapters 2 and 5 (linear limit state,
direction cosines, series systems); lognormal moments from any textbook.
"""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from fem.criteria.strength import Strength, WallBuckling
from fem.judging.chance import SAMPLES, UNSEEN, Scatter, chance_of, draws_of
from fem.judging.places import BeadFamily, LoadPart, Places

YIELD = Strength(yield_stress=100.0)
PULL = np.array([1.0, 0, 0, 0, 0, 0])


def metal(body, *stresses, change=None, strength=YIELD):
    """A place in a metal body that is pulled by so much [MPa] by each part of the load."""
    stress = np.array([[s * PULL] for s in stresses])
    return BeadFamily(
        body, "metal", np.array([0]), strength, stress, np.zeros_like(stress) if change is None else change
    )


def pulled(*families, scatter=0.0, permanent=()):
    parts = tuple(LoadPart(f"load {k}", scatter, k in permanent) for k in range(len(families[0].stress)))
    return Places(parts, families)


def width(scatter):
    return math.sqrt(math.log1p(scatter**2))


def exact(stress, *, strength=0.1, load=0.0, limit=1.0):
    """P(R >= limit S) for a lognormal strength R of mean 100 and a normal load of mean `stress` [MPa]."""

    def above(u):
        s = limit * stress * (1 + load * u)
        return 1.0 if s <= 0 else norm.cdf(-(math.log(s / 100) + width(strength) ** 2 / 2) / width(strength))

    return quad(lambda u: above(u) * norm.pdf(u), -8, 8)[0]


@pytest.mark.parametrize("stress", [60.0, 80.0, 95.0, 110.0])
def test_a_bar_with_lognormal_strength_and_normal_load(stress):
    places = pulled(metal("bar", stress), scatter=0.15)
    found = chance_of(places, scatter=Scatter(strength={"bar": 0.1}), limits=(1.0, 1.2))
    for limit, above, error in zip((1.0, 1.2), found.above, found.errors, strict=True):
        assert above == pytest.approx(exact(stress, load=0.15, limit=limit), abs=max(5 * error, 1e-3))
    # the load's scatter must count: without it the chance is another
    assert abs(exact(stress, load=0.0) - found.above[0]) > (5e-4 if stress < 70 else 0.01)


def test_two_bars_of_their_own_strength_hold_by_the_product_of_their_chances_and_of_one_strength_by_the_lesser():
    own = Scatter(strength={"left": 0.1, "right": 0.1})
    apart = chance_of(pulled(metal("left", 90.0), metal("right", 88.0)), scatter=own, limits=(1.0,))
    one = chance_of(pulled(metal("left", 90.0), metal("left", 88.0)), scatter=own, limits=(1.0,))
    product = exact(90.0) * exact(88.0)
    assert apart.above[0] == pytest.approx(product, abs=2e-3)
    assert one.above[0] == pytest.approx(min(exact(90.0), exact(88.0)), abs=2e-3)
    assert one.above[0] - apart.above[0] > 0.05


def test_a_permanent_load_uses_up_strength_and_does_not_grow():
    places = pulled(metal("bar", 50.0, 20.0), permanent=(0,))
    found = chance_of(places, scatter=Scatter(strength={"bar": 0.1}), limits=(1.0, 2.0))
    assert found.above[0] == pytest.approx(exact(70.0), abs=1e-3)
    assert found.above[1] == pytest.approx(exact(90.0), abs=2e-3)  # 50 + 2 * 20
    growing = chance_of(pulled(metal("bar", 50.0, 20.0)), scatter=Scatter(strength={"bar": 0.1}), limits=(2.0,))
    assert growing.above[0] < 0.01


@pytest.mark.parametrize(("limit", "bound"), [(1.0, 1 - UNSEEN), (1.5, UNSEEN)])
def test_where_next_to_nothing_scatters_the_chance_is_a_bound_and_never_one_or_none(limit, bound):
    found = chance_of(pulled(metal("bar", 80.0)), scatter=Scatter(strength={"bar": 1e-6}), limits=(limit,))
    assert found.above == (bound,)
    assert found.errors == (0.0,)


def test_where_nothing_scatters_no_chance_is_told():
    assert chance_of(pulled(metal("bar", 80.0)), scatter=Scatter(), limits=(1.0,)) is None


def test_the_shares_of_a_linear_limit_state_are_its_squared_direction_cosines():
    """ln reserve of small scatters is linear: strength 0.06, two loads that carry 0.6 and 0.4 of it, 0.1 each."""
    places = pulled(metal("bar", 48.0, 32.0), scatter=0.1)
    found = chance_of(places, scatter=Scatter(strength={"bar": 0.06}), limits=(1.0,))
    squares = np.array([0.06, 0.1 * 0.6, 0.1 * 0.4]) ** 2
    shares = dict(found.inputs)
    names = ["yield stress", "load load 0", "load load 1"]
    assert [shares[n] for n in names] == pytest.approx(list(squares / squares.sum()), abs=0.01)


def test_only_three_inputs_are_named_and_the_largest_comes_first():
    found = chance_of(
        pulled(metal("bar", 40.0, 30.0, 20.0, 10.0), scatter=0.1),
        scatter=Scatter(strength={"bar": 0.1}),
        limits=(1.0,),
    )
    assert [name for name, _ in found.inputs] == ["yield stress", "load load 0", "load load 1"]


def test_stiffness_changes_stress_to_the_first_order():
    """A place whose stress is its body's stiffness times a strain: lognormal over lognormal is lognormal."""
    stress = np.array([[80.0 * PULL]])
    places = pulled(metal("bar", 80.0, change=stress))
    found = chance_of(places, scatter=Scatter({"bar": 0.1}, {"bar": 0.15}), limits=(1.0,))
    w = math.hypot(width(0.1), width(0.15))
    shift = width(0.1) ** 2 / 2 - width(0.15) ** 2 / 2
    assert found.above[0] == pytest.approx(norm.cdf((math.log(100 / 80) - shift) / w), abs=2e-3)
    # where supports do not give way, the stress of a bar in tension does not ask for its stiffness
    steady = chance_of(pulled(metal("bar", 80.0)), scatter=Scatter({"bar": 0.1}, {"bar": 0.15}), limits=(1.0,))
    assert steady.above[0] == pytest.approx(exact(80.0), abs=1e-3)


def test_the_numerical_band_is_as_likely_anywhere():
    """Reserve 1.25 between 1.1 and 1.5, hardly scattered otherwise: 1.2 is reached with (1.5 - 1.2) / 0.4."""
    places = pulled(metal("bar", 80.0))
    found = chance_of(places, scatter=Scatter(strength={"bar": 1e-6}), limits=(1.2, 1.0), told=1.25, band=(1.1, 1.5))
    assert found.above == pytest.approx((0.75, 1 - UNSEEN), abs=1e-3)
    assert found.inputs[0] == ("numerical band", pytest.approx(0.97, abs=0.03))


def test_a_number_of_the_beads_takes_the_place_of_the_homogenised_one():
    places = pulled(metal("bar", 120.0))
    found = chance_of(places, scatter=Scatter(strength={"bar": 0.1}), limits=(1.0,), told=1.25)
    assert found.above[0] == pytest.approx(exact(80.0), abs=1e-3)
    assert chance_of(places, scatter=Scatter(strength={"bar": 0.1}), limits=(1.0,))
    unlimited = chance_of(pulled(metal("bar", 0.0)), scatter=Scatter({"bar": 0.1}), limits=(1.0,), told=1.25)
    assert unlimited is None


BEADS = Strength(np.array([50.0, 40.0, 20.0]), np.array([60.0, 60.0, 60.0]), np.array([15.0, 16.0, 30.0]))


def printed(zone, stress, *, strength=BEADS):
    each = np.array([[stress]], dtype=float)
    return BeadFamily("part", zone, np.array([0]), strength, each, np.zeros_like(each))


def test_layers_and_beads_have_strengths_of_their_own():
    scatter = Scatter(strength={"part": 0.1})
    along = chance_of(pulled(printed("wall", [45, 0, 0, 0, 0, 0])), scatter=scatter, limits=(1.0,))
    up = chance_of(pulled(printed("wall", [0, 0, 18, 0, 0, 0])), scatter=scatter, limits=(1.0,))
    assert along.above[0] == pytest.approx(up.above[0], abs=2e-3)
    assert along.above[0] == pytest.approx(exact(90.0), abs=2e-3)
    assert [along.inputs[0][0], up.inputs[0][0]] == ["bead strength in the wall", "interlayer strength in the wall"]


def test_zones_that_scatter_apart_hold_less_often_than_one_zone():
    """Negative control: the same two places in one zone, fully correlated, come to another number."""
    scatter = Scatter(strength={"part": 0.1})
    two = [[45, 0, 0, 0, 0, 0], [44, 0, 0, 0, 0, 0]]
    one = chance_of(pulled(*(printed("wall", s) for s in two)), scatter=scatter, limits=(1.0,))
    apart = chance_of(pulled(printed("wall", two[0]), printed("core", two[1])), scatter=scatter, limits=(1.0,))
    assert one.above[0] == pytest.approx(exact(90.0), abs=2e-3)
    assert apart.above[0] == pytest.approx(exact(90.0) * exact(88.0), abs=3e-3)


def test_dividing_a_stress_is_scaling_its_strength():
    """Every criterion that decides keeps its form: the same sample, judged by strengths that were scaled."""
    from fem.criteria.reserve import phase_reserve

    rng = np.random.default_rng(5)
    p, v = rng.normal(size=(200, 6)) * 3, rng.normal(size=(200, 6)) * 10
    factors = np.array([0.9, 0.9, 1.2, 1.2, 1.2, 0.9])
    scaled = Strength(BEADS.tension * factors[:3], BEADS.compression * factors[:3], BEADS.shear * factors[3:])
    there, here = (phase_reserve(*a).reserve for a in ((p, v, scaled), (p / factors, v / factors, BEADS)))
    assert here == pytest.approx(there, rel=1e-9)
    wall, soft = WallBuckling(10.0, 8.0, 12.0, "buckles"), WallBuckling(9.0, 7.2, 10.8, "buckles")
    assert phase_reserve(p / 0.9, v / 0.9, wall).reserve == pytest.approx(phase_reserve(p, v, soft).reserve, rel=1e-9)


def test_thin_walls_buckle_by_their_stiffness():
    wall = WallBuckling(50.0, 50.0, 50.0, "buckles")
    places = pulled(printed("core", [-45, 0, 0, 0, 0, 0], strength=wall))
    found = chance_of(places, scatter=Scatter({"part": 0.3}, {"part": 0.1}), limits=(1.0,))
    assert found.above[0] == pytest.approx(exact(90.0), abs=2e-3)
    assert [name for name, _ in found.inputs] == ["stiffness"]


def test_the_same_study_gives_the_same_number_and_the_error_is_honest():
    places = pulled(metal("bar", 90.0), scatter=0.1)
    first, again = (chance_of(places, scatter=Scatter(strength={"bar": 0.1}), limits=(1.0,)) for _ in range(2))
    assert first == again
    assert 0 < first.errors[0] < math.sqrt(first.above[0] * (1 - first.above[0]) / SAMPLES)


def test_a_load_that_cancels_another_counts_where_it_is_off():
    """Two loads of 100 MPa against each other: nothing is left of them unless they scatter."""
    places = pulled(metal("bar", 100.0, -100.0), scatter=0.3)
    found = chance_of(places, scatter=Scatter(), limits=(1.0,), told=None)
    # 100 * 0.3 * sqrt(2) = 42.4 MPa of standard deviation against 100 MPa either way
    assert found.above[0] == pytest.approx(1 - 2 * norm.sf(100 / (30 * math.sqrt(2))), abs=2e-3)


@pytest.mark.parametrize("scatter", [-0.1, 1.0])
def test_a_scatter_that_cannot_be_is_refused(scatter):
    with pytest.raises(ValueError, match="scatter"):
        LoadPart("lift", scatter, False)


def test_cases_of_the_same_inputs_share_their_draws():
    draws_of.cache_clear()
    for stress in (70.0, 80.0, 90.0):
        chance_of(pulled(metal("bar", stress)), scatter=Scatter(strength={"bar": 0.1}), limits=(1.0,))
    told = draws_of.cache_info()
    assert (told.misses, told.hits) == (2, 4), "one set of samples, and the one in which nothing is off"
