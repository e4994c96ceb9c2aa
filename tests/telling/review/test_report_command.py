"""`beadwork report` from a study file to its files: solved when needed, reused when it holds, one clear line else."""

from __future__ import annotations

import dataclasses
import json
import os
import shutil
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from reading import Page, letters, words_of_pdf

from fem.cli import main
from fem.errors import InputError
from fem.judging.choice import VariantNumbers, compare
from fem.judging.choice_file import write_choice
from fem.judging.findings import read_findings, write_findings
from fem.printing.polymer import load_card
from fem.study.file import read_study
from fem.study.machine import program_version
from fem.study.review import find_comparison, review_study, what_is_missing


@pytest.fixture
def copied(bar, tmp_path):
    """A results folder of its own to spoil."""
    out = tmp_path / "out"
    shutil.copytree(bar[1], out)
    return read_study(bar[0]), out


def test_the_paper_says_what_the_findings_hold(bar):
    path, out, made = bar
    assert not made.reused
    whole = letters(" ".join(words_of_pdf(out / "review.pdf")))
    page = Page((out / "review.html").read_text(encoding="utf-8"))
    found = json.loads((out / "findings.json").read_text(encoding="utf-8"))
    card = load_card("pa12-cf").states["dry"]
    # 1 kN on 100 mm² along the beads: 10 MPa, stretched by s L / E over 40 mm; three times that in the case
    least = found["cases"]["overload"]["reserve"]["minimum"]
    assert least == pytest.approx(card.strength.tension[0] / 30, rel=1e-3)
    stretch = found["cases"]["overload"]["faces"]["right"]["displacement_mm"][0]
    assert stretch == pytest.approx(30 / card.E[0] * 40, rel=1e-4)
    mass = found["bodies"]["bar"]["mass_g"]
    spring = found["stiffness"]["right"]["matrix"][0][0]
    for number in (f"{least:.2f}", f"{stretch:.3f}", f"{mass:.2f} g", f"{spring:.0f}"[:3]):
        assert letters(number) in whole
        assert number in page.words
    met = sum(r["met"] for r in found["requirements"])
    assert letters(f"{met} of 3 met") in whole
    assert letters("Falls short") in whole
    assert letters("normal = [-1, 0, 0]") in whole
    assert letters(found["inputs"]["sha256"]) in whole
    assert found["beadwork"] == program_version()
    assert not list(out.rglob("*.part"))
    assert path.name in page.words


def test_results_that_hold_are_used_again(bar, monkeypatch, capsys):
    def never(*_args, **_more):
        raise AssertionError("solved again")

    monkeypatch.setattr("fem.study.review.run_study", never)
    path, out, _ = bar
    before = (out / "findings.json").read_bytes()
    assert main(["report", str(path), "--out", str(out)]) == 0
    assert (out / "findings.json").read_bytes() == before
    told = capsys.readouterr().out
    assert "used again" in told
    assert "review.pdf" in told


def test_a_results_folder_serves_only_its_own_inputs(copied):
    study, out = copied
    assert what_is_missing(study, out) == ""
    assert "changed" in what_is_missing(dataclasses.replace(study, sha256="0" * 64), out)
    assert "changed" in what_is_missing(dataclasses.replace(study, solid_sha256={"bar": "0" * 64}), out)
    assert "no results" in what_is_missing(study, out / "else")
    (out / "pictures" / "loads.png").unlink()
    assert "Pictures" in what_is_missing(study, out)
    text = (out / "findings.json").read_text(encoding="utf-8")
    (out / "findings.json").write_text(text.replace(f'"beadwork": "{program_version()}"', '"beadwork": "0.0.1"'))
    assert "0.0.1" in what_is_missing(study, out)
    (out / "findings.json").write_text(text[:500])
    assert "could not be read" in what_is_missing(study, out)


def test_a_card_of_ones_own_that_changed_counts(copied, tmp_path):
    study, out = copied
    card = tmp_path / "own.toml"
    card.write_text("")
    body = study.bodies["bar"]
    body = dataclasses.replace(body, print=dataclasses.replace(body.print, polymer=str(card)))
    own = dataclasses.replace(study, bodies={"bar": body})
    kept = (out / "findings.json").stat().st_mtime
    os.utime(card, (kept - 10, kept - 10))
    assert what_is_missing(own, out) == ""
    os.utime(card, (kept + 10, kept + 10))
    assert "card" in what_is_missing(own, out)


def test_a_comparison_is_used_while_it_is_of_this_study(copied):
    study, out = copied
    assert find_comparison(study, out) == (None, None, "")
    found = read_findings(out / "findings.json")
    (out / "variants").mkdir()
    write_findings(found, out / "variants" / "metal.json")
    numbers = VariantNumbers("metal", {}, reference=True, mass_g=1.0, findings_file="variants/metal.json")
    made = compare([numbers], title="t", question="q", required_reserve=2.0, beadwork=program_version())
    write_choice(made, out / "comparison.json")
    comparison, reference, remark = find_comparison(study, out)
    assert comparison == made
    assert (reference.name, reference.findings) == ("metal", found)
    assert remark == ""
    assert "earlier text" in find_comparison(dataclasses.replace(study, sha256="0"), out)[2]
    write_choice(dataclasses.replace(made, beadwork="0.0.1"), out / "comparison.json")
    assert "0.0.1" in find_comparison(study, out)[2]
    (out / "comparison.json").write_text("{")
    assert "could not be used" in find_comparison(study, out)[2]


def test_a_full_disk_is_one_line_and_leaves_nothing_half(copied, bar, monkeypatch):
    _, out = copied

    def full(*_args, folder, **_more):
        (folder / "review.pdf").write_text("whole")
        (folder / "review.html.part").write_text("half")
        raise OSError(28, "No space left on device")

    before = (out / "review.pdf").read_bytes()
    monkeypatch.setattr("fem.telling.review.write_review", full)
    with pytest.raises(InputError, match="No space left on device"):
        review_study(bar[0], out=out)
    assert (out / "review.pdf").read_bytes() == before
    assert not list(out.rglob("*.part"))


def test_wrong_input_is_one_line_and_status_two(bar, tmp_path, capsys):
    foreign = tmp_path / "foreign"
    foreign.mkdir()
    (foreign / "photo.txt").write_text("mine")
    wrong = [
        (["report", str(tmp_path / "none.toml")], "no such file"),
        (["report", str(bar[0]), "--out", str(foreign)], "not results of Beadwork"),
        (["report", str(bar[0]), "--out", str(bar[0])], "that is a file"),
    ]
    for arguments, words in wrong:
        assert main(arguments) == 2
        lines = [line for line in capsys.readouterr().err.splitlines() if not line.endswith("%)")]
        assert len(lines) == 1
        assert words in lines[0]
