"""What the first screen says, of the beam whose numbers are known on paper."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from beam import FORCES, HEIGHT, INERTIA, LENGTH, STRENGTH

from fem.caution import Caution
from fem.criteria.strength import ISOTROPIC_MODES, PRINTED_MODES
from fem.judging.findings import RequirementFindings
from fem.judging.verdict import verdict_of
from fem.telling.first_screen import PLAIN_MODES, bars, facts, fails_first, headline, mode_words
from fem.telling.tips import TIPS, tip
from fem.telling.words import answer

RESERVE = STRENGTH * INERTIA / (FORCES["landing"] * LENGTH * HEIGHT / 2)
"""Of the cantilever's root under the larger end load: sigma = F L z / I."""


def requirement(**more):
    told = {"name": "mass", "limit": 50.0, "value": 40.0, "unit": "g", "met": True, "where": "beam"}
    return RequirementFindings(**{**told, **more})


def with_reserve(findings, **more):
    case = findings.cases["landing"]
    cases = {"landing": replace(case, reserve=replace(case.reserve, **more))}
    return replace(findings, cases=cases)


def test_the_verdict_is_one_sentence_with_band_and_chance(findings):
    told = with_reserve(
        findings,
        band=(0.6, 0.95),
        chance_above_1=0.01,
        chance_met=0.004,
        chance_errors=(0.001, 0.0004),
        chance_limit=1.5,
    )
    assert headline(told) == (
        f"No, the part does not hold: the minimum reserve factor is {RESERVE:.3f} (between 0.600 and 0.950), "
        "1.5 required; the chance of reaching it in case landing is 0.0040 ± 0.0004."
    )
    assert "chance" not in headline(findings) and "between" not in headline(findings)


def test_a_draft_begins_by_saying_that_it_rests_on_guesses(findings):
    draft = replace(findings, cautions=(Caution("draft", "This is a draft.", decisive=True), *findings.cautions))
    assert verdict_of(draft).draft and not verdict_of(findings).draft
    for sentence in (headline(draft), answer(draft)[0]):
        assert sentence.startswith(
            "Loads, support and material are guesses not yet confirmed; by these guesses, no, "
        )
    for sentence in (headline(findings), answer(findings)[0]):
        assert sentence.startswith("No, the part does not hold") and "guesses" not in sentence


def test_the_first_failure_tells_load_share_place_and_mode(findings):
    newtons = FORCES["landing"] * RESERVE
    told = f"Fails first at {newtons:.0f} N, {RESERVE:.3f} of this load, in body beam near root: beads tear"
    assert fails_first(findings.cases["landing"]).startswith(told)
    assert f"{4 * RESERVE:.2f} times this load" in fails_first(findings.cases["cruise"])
    wall = with_reserve(findings, zone="wall", face="bolt_holes", mode=PRINTED_MODES[-1]).cases["landing"]
    assert fails_first(wall).endswith("in the wall near bolt holes: layers shear.")
    nothing = with_reserve(findings, minimum=math.inf).cases["landing"]
    assert "no place comes nearer to failure" in fails_first(nothing)


def test_a_load_without_resultant_is_told_by_its_share_alone(findings):
    case = replace(findings.cases["landing"], failing_load_N=None)
    assert fails_first(case).startswith(f"Fails first at {RESERVE:.3f} of this load")


def test_each_failure_mode_has_plain_words():
    for mode in (*PRINTED_MODES, *ISOTROPIC_MODES):
        assert mode_words(mode) in dict(PLAIN_MODES).values(), mode
    assert mode_words("interlayer tension and shear combined") != mode_words("interlayer tension")
    assert mode_words("something new") == "something new"


def test_bars_stand_where_the_numbers_are(findings):
    wanted = (
        requirement(),
        requirement(name="reserve", limit=2.0, value=1.0, unit="", met=False, where="landing", band=(0.9, 1.2)),
        requirement(
            name="rotation of tip", limit=0.4, value=0.38, unit="deg", band=(0.3, 0.5), decided="not decided"
        ),
    )
    mass, reserve, turn = bars(replace(findings, requirements=wanted))
    assert mass.end / mass.limit == pytest.approx(40 / 50, rel=1e-3) and mass.band is None
    assert mass.kept == (0.0, mass.limit) and mass.state == "met"
    assert mass.value == "40.0 g" and mass.asked == "at most 50 g"
    assert reserve.end / reserve.limit == pytest.approx(1 / 2, rel=1e-3)
    assert reserve.band[1] / reserve.band[0] == pytest.approx(1.2 / 0.9, rel=1e-3)
    assert reserve.kept == (reserve.limit, 100.0) and reserve.state == "not met"
    assert reserve.value == "1.00 (0.900 to 1.20)" and reserve.asked == "at least 2"
    assert turn.band[0] < turn.limit < turn.band[1] and turn.state == "not decided"
    assert len({mass.sign, reserve.sign, turn.sign}) == 3, "told apart without colour"
    assert "not decided" in turn.label and "at most 0.4 deg" in turn.label


def test_a_bar_of_no_limit_of_its_own_ends_with_the_row(findings):
    (bar,) = bars(replace(findings, requirements=(requirement(name="reserve", limit=2.0, value=math.inf, unit=""),)))
    assert bar.end == 100.0 and bar.limit < 100.0 and "unlimited" in bar.value


def test_facts_tell_mass_and_motion_and_hours_where_it_is_printed(findings):
    assert [fact.name for fact in facts(findings)] == ["Mass", "Moves at most"]
    assert next(facts(findings)).value == "33.9 g"


def test_a_study_without_cases_still_has_a_first_screen(findings):
    bare = replace(findings, cases={}, requirements=())
    assert "No load case" in headline(bare)
    assert not list(bars(bare)) and [fact.name for fact in facts(bare)] == ["Mass"]


def test_every_tip_is_a_sentence_and_an_unknown_number_has_none():
    for name, text in TIPS.values():
        assert name[0].isupper() and text.endswith(".") and len(text) > 25
    assert str(tip("limit")).startswith(' title="What the study asks for')
    with pytest.raises(KeyError):
        tip("no such number")
