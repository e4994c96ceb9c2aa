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
from fem.digits import reserve_text
from fem.errors import InputError
from fem.judging.choice import VariantNumbers, compare
from fem.judging.choice_file import write_choice
from fem.judging.findings import read_findings, write_findings
from fem.judging.sealed import read_sealed, write_sealed
from fem.printing.polymer import CARDS, load_card
from fem.study.change import homogenised
from fem.study.file import read_study
from fem.study.fingerprint import fingerprint, fingerprint_of_all
from fem.study.machine import program_version
from fem.study.review import find_comparison, review_study, what_is_missing
from fem.study.variants.expand import expand


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
    for number in (reserve_text(least), f"{stretch:.3f}", f"{mass:.2f} g", f"{spring:.0f}"[:3]):
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


def resealed(path, **changes):
    """Write the file's data with some of them changed, under a digest that fits."""
    write_sealed({**read_sealed(path), **changes}, path)


def test_a_results_folder_serves_only_its_own_inputs(copied):
    study, out = copied
    path = out / "findings.json"
    assert what_is_missing(study, out) == ""
    assert "a card or a library was changed" in what_is_missing(study.with_({"loads.pull.force": ["2 kN"] * 3}), out)
    assert "words" in what_is_missing(study.with_({"title": "Other"}), out)
    assert "no results" in what_is_missing(study, out / "else")
    for name in ("pictures/loads.png", "fields.vtu"):
        shown = (out / name).read_bytes()
        (out / name).write_bytes(shown[:-9] + b"?" + shown[-8:])
        assert "missing or changed" in what_is_missing(study, out)
        (out / name).unlink()
        assert "missing or changed" in what_is_missing(study, out)
        (out / name).write_bytes(shown)
    assert what_is_missing(study, out) == ""
    text = path.read_text(encoding="utf-8")
    resealed(path, beadwork="0.0.1")
    assert "0.0.1" in what_is_missing(study, out)
    old = json.loads(text)
    del old["digest"]
    for damaged in (text[:500], text.replace("0", "1", 1), json.dumps(old, indent=1), ""):
        path.write_text(damaged)
        assert "of an earlier version of Beadwork, or damaged" in what_is_missing(study, out)


@pytest.mark.parametrize("name", ["own.toml", "own"])
def test_a_card_of_ones_own_that_changed_counts_whatever_its_age_and_name(copied, tmp_path, name):
    study, out = copied
    card = tmp_path / name
    shutil.copy(CARDS / "pa12-cf.toml", card)
    own = study.with_({"bodies.bar.print.polymer": str(card)})
    resealed(out / "findings.json", inputs={**own.inputs, "fingerprint": fingerprint(own), "versions": {}})
    assert what_is_missing(own, out) == ""
    card.write_text(card.read_text() + "# measured anew\n")
    os.utime(card, (0, 0))
    own = study.with_({"bodies.bar.print.polymer": str(card)})
    assert "a card" in what_is_missing(own, out)


def test_a_comparison_is_used_while_it_is_of_this_study(copied, tmp_path):
    _, out = copied
    shutil.copy(copied[0].bodies["bar"].solid, tmp_path / "bar.step")
    path = tmp_path / "bar.toml"
    path.write_text(
        copied[0].text + '[variants]\nplain = {}\nmetal = { "bodies.bar.metal" = "steel", reference = true }\n'
    )
    study = read_study(path)
    assert find_comparison(study, out) == (None, None, "")
    variants = {each.name: each.study for each in expand(homogenised(study))}
    found = read_findings(out / "findings.json")
    inputs = {**variants["metal"].inputs, "fingerprint": fingerprint(variants["metal"])}
    found = dataclasses.replace(found, inputs=inputs)
    (out / "variants").mkdir()
    reference = write_findings(found, out / "variants" / "metal.json")
    numbers = VariantNumbers("metal", {}, reference=True, mass_g=1.0, findings_file="variants/metal.json")
    made = compare([numbers], title="t", question="q", required_reserve=2.0, beadwork=program_version())
    made = dataclasses.replace(made, fingerprint=fingerprint_of_all(study, variants))
    kept = write_choice(made, out / "comparison.json")
    comparison, measure, remark = find_comparison(study, out)
    assert (comparison, measure.name, measure.findings, remark) == (made, "metal", found, "")
    # another STEP file, another text, a reference part of other inputs, another version, damage
    change(tmp_path / "bar.step", "ENDSEC;", "ENDSEC; ")
    assert "not of the study as it is now" in find_comparison(read_study(path), out)[2]
    change(tmp_path / "bar.step", "ENDSEC; ", "ENDSEC;")
    assert find_comparison(read_study(path), out)[0] == made
    change(path, "plain", "bare")
    assert "not of the study as it is now" in find_comparison(read_study(path), out)[2]
    resealed(reference, inputs={**inputs, "fingerprint": "0" * 64})
    assert "of other inputs" in find_comparison(study, out)[2]
    change(reference, '"mass_g": ', '"mass_g": 1')
    assert "does not fit its digest" in find_comparison(study, out)[2]
    resealed(kept, beadwork="0.0.1")
    assert "0.0.1" in find_comparison(study, out)[2]
    kept.write_text("{")
    assert "could not be used" in find_comparison(study, out)[2]


def change(path, old, new):
    path.write_text(path.read_text(encoding="utf-8").replace(old, new, 1), encoding="utf-8")


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
