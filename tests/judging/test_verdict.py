"""The verdict, and the cautions that may turn it."""

import math
import sys
from dataclasses import replace
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "telling"))

import beam

from fem.caution import Caution
from fem.cli import main
from fem.judging.cautions import STANDING, cautions_of
from fem.judging.findings import FoundationFindings, RequirementFindings
from fem.judging.verdict import value_text, verdict_of


@pytest.fixture(scope="module")
def findings():
    found = beam.beam_findings(beam.beam_scene(beam.beam_mesh((6, 2, 2))))
    return replace(found, cases={name: replace(case, foundations={}) for name, case in found.cases.items()})


def with_reserve(findings, minimum):
    cases = {
        name: replace(case, reserve=replace(case.reserve, minimum=minimum)) for name, case in findings.cases.items()
    }
    return replace(findings, cases=cases, requirements=())


@pytest.mark.parametrize(
    ("minimum", "word", "passes"),
    [
        (0.33, "fails", False),
        (0.999999, "fails", False),
        (1.0, "short", True),
        (2.0, "holds", True),
        (math.inf, "holds", True),
    ],
)
def test_a_study_without_requirements_is_judged_all_the_same(findings, minimum, word, passes):
    verdict = verdict_of(with_reserve(findings, minimum))
    assert (verdict.word, verdict.passes, verdict.asked) == (word, passes, False)


def test_what_is_asked_for_decides_where_it_is_asked(findings):
    asked = RequirementFindings("reserve", 1.5, 1.499999, "", False, "a")
    verdict = verdict_of(replace(with_reserve(findings, 1.499999), requirements=(asked,)))
    assert (verdict.required, verdict.asked, verdict.word, verdict.passes) == (1.5, True, "short", False)
    heavy = RequirementFindings("mass", 100.0, 101.0, "g", False, "part")
    verdict = verdict_of(replace(with_reserve(findings, 9.0), requirements=(heavy,)))
    assert (verdict.word, verdict.passes) == ("short", False)


def told(findings, *, diagonal=1000.0, quality=0.3, fine=True, **case):
    cases = {name: replace(c, **case) for name, c in findings.cases.items()} if case else findings.cases
    trust = {
        "mesh_is_fine_enough": fine, "mesh_may_be_off_by": {next(iter(cases)): {"reserve": 0.17}},
        "balance_met": True, "maximum_balance_error": 0.0,
    }  # fmt: skip
    mesh = replace(findings.mesh, worst_quality=quality, straightened=0)
    found = cautions_of(findings.bodies, cases, trust, mesh=mesh, diagonal=diagonal, remarks=())
    assert found[-len(STANDING) :] == STANDING
    return [c for c in found if c.kind not in ("standing", "estimates", "singular")]


def test_decisive_cautions_come_first_with_their_numbers(findings):
    assert told(findings, maximum_displacement_mm=29.0) == []
    bent = told(findings, maximum_displacement_mm=31.0)
    assert {c.kind for c in bent} == {"large_displacement"} and all(c.decisive for c in bent)
    assert bent[0].numbers["of_diagonal"] == pytest.approx(0.031) and "3.1 %" in bent[0].text
    (coarse,) = told(findings, maximum_displacement_mm=1.0, fine=False)
    assert coarse.kind == "coarse_mesh" and coarse.decisive and "17 %" in coarse.text
    assert "accuracy" in coarse.text and "reserve factor" in coarse.text
    (flat,) = told(findings, maximum_displacement_mm=1.0, quality=0.0026)
    assert flat.kind == "poor_tetrahedron" and "0.0026" in flat.text


def test_permanent_loads_that_fail_the_part_alone_are_told(findings):
    name = next(iter(findings.cases))
    case = findings.cases[name]
    gone = replace(case.reserve, minimum=0.0, singular=False)
    found = told(replace(findings, cases={name: case}), maximum_displacement_mm=1.0, reserve=gone)
    assert [c.kind for c in found] == ["permanent_loads_fail"] and found[0].decisive


def test_a_foundation_that_pulls_is_told_unless_it_is_glued(findings):
    name = next(iter(findings.cases))
    pulls = FoundationFindings(False, 100.0, 20.0, 20 / 120, 0.3)
    for bonded, kinds in ((False, ["foundation_pulls"]), (True, [])):
        case = replace(findings.cases[name], foundations={"root": replace(pulls, bonded=bonded)})
        found = told(replace(findings, cases={name: case}), maximum_displacement_mm=1.0)
        assert [c.kind for c in found] == kinds


@pytest.mark.parametrize(
    ("value", "limit", "text"), [(0.28999, 2.0, "0.289"), (1.9965, 1.9962, "1.9965"), (1.996, 2, "1.99")]
)
def test_a_reserve_reads_alike_in_tables_and_sentences(value, limit, text):
    row = RequirementFindings("reserve", limit, value, "", value >= limit, "a")
    assert value_text(row) == text and float(text) <= value
    assert (float(text) >= limit) is row.met


def test_a_run_prints_what_decides_above_its_tables_and_strict_fails_it(findings, capsys, monkeypatch):
    """A part with a reserve of 0.33 that bends by 5.4 % of its diagonal, in a study that asks for nothing."""
    weak = with_reserve(findings, 0.33)
    bent = told(weak, maximum_displacement_mm=54.0)
    fine = Caution("thin", "A wall is thin.")
    weak = replace(weak, cautions=(*bent, fine, *STANDING))
    monkeypatch.setattr("fem.study.run.run_study", lambda *_, **__: (weak, Path("report.html")))
    assert main(["run", "part.toml", "--strict"]) == 3
    out = " ".join(capsys.readouterr().out.split())
    assert out.index("CAUTION: Case") < out.index("5.4 %") < out.index("maximum deflection")
    assert out.index("Caution: A wall is thin.") > out.index("maximum deflection")
    assert main(["run", "part.toml"]) == 0 and "CAUTION" in capsys.readouterr().out
    strong = replace(with_reserve(findings, 3.0), cautions=STANDING)
    monkeypatch.setattr("fem.study.run.run_study", lambda *_, **__: (strong, Path("report.html")))
    assert main(["run", "part.toml", "--strict"]) == 0 and "CAUTION" not in capsys.readouterr().out
