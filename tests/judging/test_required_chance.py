"""A required chance as a row of the requirements: a lower limit, decided with the error of its sampling."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from fem.judging.chance import UNSEEN
from fem.judging.findings import Reserve, UsedUp
from fem.judging.requirements import Requirements, compare_requirements
from fem.judging.verdict import is_lower, is_reserve, value_text
from fem.study.variants.numbers import _missed, _short

CALM = Reserve(2.5, "", "wall", "", "bar", "", (0.0, 0.0, 0.0), False, 2.5, {})


def row(*reserves, chance=0.99, required=2.0, used_up=()):
    cases = {f"case {i}": SimpleNamespace(reserve=r, used_up=used_up) for i, r in enumerate(reserves)}
    wanted = Requirements(reserve=required, chance=chance)
    return next(r for r in compare_requirements(wanted, bodies={}, cases=cases) if r.name == "chance")


def known(met, error, above=0.9999):
    return replace(CALM, chance_above_1=above, chance_met=met, chance_errors=(1e-4, error), chance_limit=2.0)


@pytest.mark.parametrize(
    ("met", "error", "decided", "text"),
    [
        (0.995, 0.001, "met", "0.995 ± 0.001"),
        (0.9895, 0.001, "not decided", "0.990 ± 0.001"),
        (0.97, 0.001, "not met", "0.970 ± 0.001"),
        (1 - UNSEEN, 0.0, "met", "> 0.9998"),
        (UNSEEN, 0.0, "not met", "< 0.0002"),
    ],
)
def test_a_chance_is_decided_with_its_error(met, error, decided, text):
    found = row(known(met, error))
    assert (found.decided, found.met, value_text(found)) == (decided, decided == "met", text)
    assert is_lower(found) and not is_reserve(found)


def test_the_case_with_the_least_chance_decides():
    assert row(known(0.999, 1e-4), known(0.95, 1e-3)).where == "case 1"


def test_a_bound_below_the_limit_decides_nothing():
    assert row(known(1 - UNSEEN, 0.0), chance=0.99999).decided == "not decided"


def test_a_chance_of_another_required_reserve_or_of_none_is_not_known():
    for found in (row(known(0.995, 1e-3), required=1.5), row(CALM)):
        assert (found.decided, found.met, value_text(found)) == ("not decided", False, "not known")


def test_without_a_required_reserve_the_chance_is_that_of_one():
    assert row(known(0.5, 1e-3, above=0.995), required=None).value == 0.995


def test_a_case_whose_permanent_loads_use_a_place_up_is_not_met():
    place = UsedUp(0.8, "", "wall", "bar", "", (0.0, 0.0, 0.0), 0.01, 3)
    assert row(CALM, used_up=(place,)).decided == "not met"


def test_it_is_told_and_weighed_as_a_lower_limit():
    found = row(known(0.891, 2e-4))
    assert _missed(found) == "chance 0.8910 ± 0.0002, at least 0.990 required (case case 0)"
    assert _short(found) == pytest.approx(0.1)
