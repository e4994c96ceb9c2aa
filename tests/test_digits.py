"""Numbers as text: never on the other side of the limit that they stand beside."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fem.digits import against, chance_text, number, reserve_text, with_unit

POSITIVE = st.floats(min_value=1e-6, max_value=1e7)


@given(POSITIVE, st.sampled_from([1.0, 1.5, 2.0, 0.4, 220.0]), st.floats(-1e-3, 1e-3))
def test_a_text_lies_where_its_number_does(value, limit, near):
    for v in (value, limit * (1 + near)):
        told = float(against(v, limit))
        assert (told > limit, told < limit) == (v > limit, v < limit)
        assert told == pytest.approx(v, rel=6e-3)


@given(POSITIVE)
def test_a_reserve_is_rounded_down_and_by_less_than_a_hundredth(value):
    told = reserve_text(value)
    if value < 1e6:
        assert value * 0.989 < float(told) <= value


@pytest.mark.parametrize(
    ("value", "plain", "beside_2", "reserve"),
    [
        (1.996, "2.00", "1.996", "1.99"),
        (2.0, "2.00", "2.00", "2.00"),
        (1.9999999, "2.00", "1.9999999", "1.99"),
        (0.9996, "1.000", "1.000", "0.999"),
        (1234.7, "1235", "1235", "1234"),
        (math.inf, "unlimited", "unlimited", "unlimited"),
        (0.0, "0", "0", "0.00"),
    ],
)
def test_the_same_number_reads_alike_everywhere(value, plain, beside_2, reserve):
    assert (number(value), against(value, 2.0), reserve_text(value)) == (plain, beside_2, reserve)


def test_a_unit_stands_behind():
    assert with_unit(0.4004, "deg") == "0.400 deg"
    assert with_unit(0.4004, "deg", limit=0.4) == "0.4004 deg"
    assert with_unit(3.0, "") == "3.00"


@pytest.mark.parametrize(
    ("chance", "error", "text"),
    [
        (0.99812, 0.0012, "0.998 ± 0.001"),
        (0.5, 0.031, "0.50 ± 0.03"),
        (0.6584, 0.00046, "0.6584 ± 0.0005"),
        (0.9998168, 0.0, "> 0.9998"),
        (0.0001832, 0.0, "< 0.0002"),
        (0.9996, 0.01, "0.9996 ± 0.0100"),  # never told as 1
        (0.004, 0.03, "0.004 ± 0.030"),
    ],
)
def test_a_chance_is_told_with_its_error_and_never_as_one_or_none(chance, error, text):
    assert chance_text(chance, error) == text
