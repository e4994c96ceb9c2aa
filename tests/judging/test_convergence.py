"""Bands from several meshes, against published numbers and sequences whose limit is known."""

import numpy as np
import pytest

from fem.errors import NoTrustworthyAnswer
from fem.judging.convergence import (
    SPREAD_SAFETY,
    Pass,
    PassHistory,
    band_from,
    grid_convergence,
    holds_within,
)

# Source: the tutorial on spatial convergence of NASA Glenn's NPARC alliance, after P. J. Roache (1994)
FINEST_FIRST = [0.97050, 0.96854, 0.96178]


def test_the_published_index():
    found = grid_convergence(FINEST_FIRST, [1, 2, 4])
    assert found.order == pytest.approx(1.786170, abs=1e-6)
    assert found.limit == pytest.approx(0.971300, abs=1e-6)
    assert 100 * found.index == pytest.approx(0.103083, abs=1e-5)
    # Taken in the wrong order the numbers run away from each other
    with pytest.raises(NoTrustworthyAnswer):
        grid_convergence(FINEST_FIRST[::-1], [1, 2, 4])


@pytest.mark.parametrize("order", [0.7, 1.0, 2.0, 3.3])
@pytest.mark.parametrize("sizes", [(1.0, 1.26, 1.9), (1.0, 1.5, 1.8), (0.1, 0.13, 0.17)])
def test_unequal_ratios_give_the_order_of_an_exact_sequence(order, sizes):
    values = [5.0 - 0.3 * h**order for h in sizes]
    found = grid_convergence(values, sizes)
    assert found.order == pytest.approx(order, rel=1e-6)
    assert found.limit == pytest.approx(5.0, rel=1e-9)
    # With equal ratios assumed, the order would be another
    equal = np.log((values[1] - values[2]) / (values[0] - values[1])) / np.log(sizes[1] / sizes[0])
    assert abs(equal - order) > 0.05


REFUSED = {
    "to and fro": ([1.0, 1.1, 1.0], [1, 2, 4], False),
    "standing still": ([1.0, 1.0, 1.1], [1, 2, 4], False),
    "too slow": ([1.0, 1.1, 1.1 + 0.1 * 2**0.4], [1, 2, 4], False),
    "no finer mesh": ([1.0, 1.1, 1.3], [1, 1, 2], False),
    "singular": (FINEST_FIRST, [1, 2, 4], True),
    "unlimited": ([np.inf, 1.0, 2.0], [1, 2, 4], False),
}


@pytest.mark.parametrize("name", REFUSED)
def test_refused_where_it_does_not_apply(name):
    values, sizes, singular = REFUSED[name]
    with pytest.raises(NoTrustworthyAnswer):
        grid_convergence(values, sizes, singular=singular)


@pytest.mark.parametrize("order", [4.2, 9.0, 60.0])
def test_an_order_that_is_too_high_counts_as_the_formal_one(order):
    values, sizes = [1.0, 1.001, 1.001 + 0.001 * 2**order], [1, 2, 4]
    found = grid_convergence(values, sizes)
    # Of two steps that fall by more than 4 the coarser one, taken on at order 2 as if it went on so, is the larger
    assert found.order == 2.0
    assert found.index == pytest.approx(3 * 0.001 * 2**order / (3 * 4))
    # Sharper than the spread, and never sharper than the finer step alone says
    spread = SPREAD_SAFETY * (values[2] - values[0])
    assert 3 * 0.001 / 3 < found.index < 0.1 * spread
    band = band_from(values[::-1], sizes[::-1])
    assert band.high - 1.0 == pytest.approx(found.index)
    # Meshes that hardly differ say no more than their spread
    alike = band_from([1.2, 1.001, 1.0], [1.1, 1.05, 1.0])
    assert alike.high - 1.0 == pytest.approx(SPREAD_SAFETY * 0.2)


def test_bands():
    smooth = band_from([0.96178, 0.96854, 0.97050], [4, 2, 1])
    assert smooth.low < 0.9713 < smooth.high
    assert smooth.high - 0.97050 == pytest.approx(0.00103083 * 0.97050, rel=1e-4)
    # Where there is no order, three times the spread of the last three values
    rough = band_from([9.0, 1.0, 1.2, 1.1], [8, 4, 2, 1])
    assert (rough.low, rough.high) == pytest.approx((1.1 - 0.6, 1.1 + 0.6))
    two = band_from([1.2, 1.1], [2, 1])
    assert (two.low, two.high) == pytest.approx((0.8, 1.4))
    assert band_from([1.0], [1]) is None
    assert band_from([np.inf, np.inf, np.inf], [4, 2, 1]).low == np.inf


def test_what_stands_still():
    assert holds_within([2.0, 1.0, 1.04], 0.05) and not holds_within([2.0, 1.0, 1.06], 0.05)
    assert not holds_within([1.0], 0.05)
    assert holds_within([np.inf, np.inf], 0.05) and not holds_within([1.0, np.inf], 0.05)
    assert holds_within([1e-9, 2e-9], 0.05, floor=1e-6) and not holds_within([1e-9, 2e-9], 0.05)


def history(*reserves, singular=()):
    passes = []
    for k, (reserve, away) in enumerate(reserves):
        values = {"reserve": reserve, "reserve_away": away, "maximum_displacement_mm": 1.0}
        passes.append(Pass(1000 * 2**k, 1 / 2**k, 0.01, {"pull": values}, frozenset(singular)))
    return PassHistory(0.05, passes)


def test_a_reserve_at_a_support_need_not_stand_still():
    assert history((1.0, 2.0), (0.5, 2.01)).unsettled() == ["pull: reserve"]
    assert history((1.0, 2.0), (0.5, 2.01), singular=["pull"]).unsettled() == []
    assert history((1.0, 2.0), (0.5, 1.5), singular=["pull"]).unsettled() == ["pull: reserve_away"]


def test_an_unlimited_reserve_is_told_as_none():
    told = history((np.inf, np.inf)).passes[0].as_dict
    assert told["cases"]["pull"]["reserve"] is None and told["unknowns"] == 1000
