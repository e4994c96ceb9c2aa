"""Numbers read by an engineer, and the two sentences of the answer."""

from __future__ import annotations

import dataclasses
import math

import pytest

from fem.judging.verdict import verdict_of
from fem.telling import words
from fem.telling.facts import flat


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0, "0"),
        (1234.6, "1235"),
        (0.012345, "0.0123"),
        (2.5e7, "2.50e7"),
        (math.inf, "unlimited"),
        (None, "not known"),
    ],
)
def test_numbers(value, text):
    assert words.number(value) == text


def test_a_shortfall_is_not_rounded_up_to_one():
    assert words.reserve_text(0.9996) == "0.999"
    assert words.reserve_text(None) == words.reserve_text(math.inf) == "unlimited"


@pytest.mark.parametrize(
    ("wanted", "factor"), [(7.3, 5.0), (20.0, 20.0), (199.0, 100.0), (0.3, 0.2), (math.inf, 1.0)]
)
def test_factor_is_round_and_not_above(wanted, factor):
    assert words.round_factor(wanted) == pytest.approx(factor, rel=1e-12)


def test_answer_says_what_where_and_what_is_not_met(findings):
    first, second = words.answer(findings)
    # sigma = F L h / (2 I) = 600 * 100 * 8 / 6826.67 = 70.3 MPa against 60 MPa: reserve 0.853.
    for part in ("does not hold", "0.853", "1.50 required", "case landing", "near face root", "1.28"):
        assert part in first
    # w = F L^3 / (3 E I) = 5.86 mm, with the end's turn 5.90 mm at the lower edge.
    assert "5.90 mm (case landing)" in second
    assert "2 of 3 requirements are not met" in second
    assert verdict_of(findings).word == "fails"


def test_answer_of_a_part_that_cannot_fail(findings):
    case = findings.cases["cruise"]
    safe = dataclasses.replace(case, reserve=dataclasses.replace(case.reserve, minimum=math.inf))
    calm = dataclasses.replace(findings, cases={"cruise": safe}, requirements=())
    first, second = words.answer(calm)
    assert first.startswith("Yes")
    assert "states no requirement" in second
    assert verdict_of(calm).word == "holds"


def test_units_move_from_key_to_value():
    assert flat({"lift": {"resultant_N": [0, 0, -600.0], "kind": "force"}}) == [
        ("lift · resultant", "(0, 0, -600.0) N"),
        ("lift · kind", "force"),
    ]
