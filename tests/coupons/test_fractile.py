"""Factors of the characteristic value against the published tables, and what they mean against draws."""

from __future__ import annotations

import numpy as np
import pytest

from fem.coupons.fractile import Sample, fractile_factor, sample, tolerance_factor

TABLE_D1 = {3: 3.37, 4: 2.63, 5: 2.33, 6: 2.18, 8: 2.00, 10: 1.92, 20: 1.76, 30: 1.73}
"""EN 1990:2002, table D1, V_X unknown, 5 % (from memory)."""
AT_75 = {3: 3.15, 5: 2.46, 10: 2.10, 20: 1.93, 30: 1.87}
"""One-sided tolerance factors of 95 % at a confidence of 75 %: ISO 16269-6, annex D (from memory)."""


@pytest.mark.parametrize(("n", "published"), TABLE_D1.items())
def test_table_d1(n, published):
    # the table's last digit: 2.335, 2.0095 and 1.7718 stand in it as 2.33, 2.00 and 1.76
    assert fractile_factor(n) == pytest.approx(published, abs=0.0121)


@pytest.mark.parametrize(("n", "published"), AT_75.items())
def test_tolerance_factors(n, published):
    assert tolerance_factor(n) == pytest.approx(published, abs=0.0051)


def test_the_two_ways_differ_by_more_than_either_table_rounds():
    assert tolerance_factor(3) < fractile_factor(3) - 0.2
    assert tolerance_factor(10) > fractile_factor(10) + 0.15


def test_the_next_coupon_lies_above_with_95_percent():
    """What table D1 promises: of 20 000 batches of five with a sixth coupon, 5 % fall below."""
    draws = 1 + 0.1 * np.random.default_rng(5).standard_normal((20000, 6))
    mean, spread = draws[:, :5].mean(axis=1), draws[:, :5].std(axis=1, ddof=1)
    below = np.mean(draws[:, 5] < mean - fractile_factor(5) * spread)
    assert below == pytest.approx(0.05, abs=0.005)
    assert np.mean(draws[:, 5] < mean - 1.64 * spread) > 0.08  # the fractile of a known normal would not do


def test_a_sample():
    found = sample([9.0, 10.0, 11.0])
    assert (found.n, found.mean, found.cov) == (3, 10.0, pytest.approx(0.1))
    assert found.characteristic == pytest.approx(10 - 3.37, abs=0.005)  # table D1
    assert found.half_band == pytest.approx(4.3027 / np.sqrt(3), rel=1e-4)  # t of two degrees of freedom, 97.5 %


def test_too_few_and_too_scattered_have_no_characteristic_value():
    assert Sample((1.0, 2.0)).characteristic is None
    assert Sample((1.0, 2.0, 3.0)).characteristic is None  # 3.37 times half the mean is more than the mean
    assert Sample((1.0,)).half_band is None
    with pytest.raises(ValueError, match="2 tests"):
        fractile_factor(2)
