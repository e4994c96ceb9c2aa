"""What bands decide: a requirement whose band straddles its limit is never met, and the verdict says so."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "telling"))

import beam

from fem.cli import main
from fem.judging.band import MET, NOT_DECIDED, NOT_MET
from fem.judging.deciding import decided_cases, outcome, reserve_of
from fem.judging.findings import UsedUp
from fem.judging.requirements import Requirements, compare_requirements
from fem.judging.verdict import outcome_text, range_text, verdict_of
from fem.telling.words import answer


@pytest.fixture(scope="module")
def findings():
    found = beam.beam_findings(beam.beam_scene(beam.beam_mesh((6, 2, 2))))
    return replace(found, cases={name: replace(case, foundations={}) for name, case in found.cases.items()})


def banded(findings, *bands, limit=2.0):
    """The findings with a reserve of 2.1 in the first case and 5 in the others, within the bands given in turn."""
    cases = {}
    for i, (name, case) in enumerate(findings.cases.items()):
        band = bands[i] if i < len(bands) else ()
        value = (2.1 if i == 0 else 5.0) if not band else (band[0] + band[1]) / 2
        cases[name] = replace(case, reserve=replace(case.reserve, minimum=value, singular=False, band=band))
    return decided(replace(findings, cases=cases), limit)


def decided(findings, limit):
    wanted = Requirements(reserve=limit)
    cases = decided_cases(findings.cases, limit)
    rows = () if limit is None else compare_requirements(wanted, bodies=findings.bodies, cases=cases)
    return replace(findings, cases=cases, requirements=rows)


def test_a_straddling_band_is_never_met(findings):
    """Whatever the bands of the cases: met only where all of them lie at or above the limit."""
    rng = np.random.default_rng(3)
    kinds = set()
    for _ in range(400):
        low = rng.uniform(0.1, 4, 2)
        bands = [(a, a + rng.exponential(0.7)) for a in low.tolist()]
        limit = float(rng.uniform(0.5, 3.5))
        found = banded(findings, *bands, limit=limit)
        (row,) = found.requirements
        lowest, highest = min(b[0] for b in bands), min(b[1] for b in bands)
        told = MET if lowest >= limit else NOT_MET if highest < limit else NOT_DECIDED
        assert (outcome(row), row.met) == (told, told == MET)
        assert verdict_of(found).passes == (told == MET)
        assert found.cases[row.where].reserve.decided == told
        kinds.add(told)
        if told == NOT_DECIDED:
            assert row.band[0] < limit <= row.band[1] and verdict_of(found).word in ("not decided", "fails")
    assert kinds == {MET, NOT_MET, NOT_DECIDED}


def test_without_a_band_the_number_alone_decides(findings):
    for limit, told in ((2.1, MET), (2.1000001, NOT_MET)):
        found = banded(findings, limit=limit)
        assert found.requirements[0].decided == told and found.requirements[0].band == ()
        assert verdict_of(found).word == ("holds" if told == MET else "short")
    assert reserve_of(banded(findings).cases.values()) == (2.1, ())


def test_upper_limits_too(findings):
    most = max(c.maximum_displacement_mm for c in findings.cases.values())
    bands = {"maximum_displacement_mm": (0.9 * most, 1.1 * most)}
    cases = {name: replace(case, bands=bands) for name, case in findings.cases.items()}
    for limit, told in (
        (1.2 * most, MET),
        (1.05 * most, NOT_DECIDED),
        (0.95 * most, NOT_DECIDED),
        (0.8 * most, NOT_MET),
    ):
        (row,) = compare_requirements(Requirements(deflection=limit), bodies=findings.bodies, cases=cases)
        assert (row.decided, row.met) == (told, told == MET)
        assert outcome_text(row) == {MET: "met", NOT_MET: "NOT MET", NOT_DECIDED: "NOT DECIDED"}[told]
        assert row.unit in range_text(row)


def test_the_answer_says_between_what_it_lies_and_what_would_decide_it(findings):
    found = banded(findings, (1.8, 2.3))
    text = answer(found)[0]
    assert text.startswith("Not decided: the minimum reserve factor lies between 1.80 and 2.30 (2.00 required)")
    assert "What would decide it: a finer mesh (mesh = { accuracy = " in text
    assert "1 of 1 requirements is not decided: reserve lies between 1.80 and 2.30 against 2.00" in answer(found)[1]
    sure = banded(findings, (2.1, 2.3))
    assert (
        answer(sure)[0].startswith("Yes, the part holds: the minimum reserve factor is")
        and "decide" not in answer(sure)[0]
    )


def test_whether_it_fails_may_not_be_decided(findings):
    found = banded(findings, (0.9, 1.2))
    verdict = verdict_of(found)
    assert (verdict.word, verdict.bears, verdict.reaches, verdict.passes) == (
        "not decided",
        NOT_DECIDED,
        NOT_MET,
        False,
    )
    text = answer(found)[0]
    assert text.startswith("Not decided whether the part fails, but short of what it needs")
    assert "lies between 0.900 and 1.20" in text
    free = verdict_of(banded(findings, (0.9, 1.2), limit=None))
    assert (free.word, free.passes) == ("not decided", False), "--strict asks for 1 where the study asks for nothing"
    assert verdict_of(banded(findings, (0.8, 0.99))).word == "fails"
    assert verdict_of(banded(findings, (1.2, 1.9))).word == "short"


def test_strict_exits_with_3_where_a_requirement_is_not_decided(findings, capsys, monkeypatch):
    for band, status, told in (((1.8, 2.3), 3, "NOT DECIDED"), ((2.0, 2.3), 0, "met"), ((1.8, 1.99), 3, "NOT MET")):
        found = banded(findings, band)
        monkeypatch.setattr("fem.study.run.run_study", lambda *_, found=found, **__: (found, Path("report.html")))
        assert main(["run", "part.toml", "--strict"]) == status
        assert told in capsys.readouterr().out
        assert main(["run", "part.toml"]) == 0


def test_a_place_that_permanent_loads_use_up_is_never_met(findings):
    used = UsedUp(0.7, "compression", "core", "part", "top", (0.0, 0.0, 0.0), 0.01, 4)
    for bands in ((), ((2.5, 2.7),), ((1.5, 2.7),)):
        found = banded(findings, *bands)
        first = next(iter(found.cases))
        found = decided(
            replace(found, cases={**found.cases, first: replace(found.cases[first], used_up=(used,))}), 2.0
        )
        (row,) = found.requirements
        assert (row.decided, row.met, row.where) == (NOT_MET, False, first)
        verdict = verdict_of(found)
        assert (verdict.word, verdict.passes, verdict.used_up) == ("fails", False, (first,))
        assert f"Permanent loads alone use a place up in case {first}" in answer(found)[0]
        assert answer(found)[0].startswith("No, the part does not hold")
