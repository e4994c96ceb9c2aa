"""One variant by name: run, checked and reviewed apart from the study as written."""

from __future__ import annotations

import re

import bars
import pytest

from fem.cli import main
from fem.errors import InputError
from fem.judging.findings import read_findings
from fem.study.review import review_study, subject_of
from fem.study.run import run_study
from fem.study.variants.asked import asked_study, results_folder
from fem.study.variants.story import compare_study

MORE = """
[variants.three]
"bodies.bar.print.walls" = 3
[sweep]
"bodies.bar.print.walls" = [1, 4]
"""
TEXT = bars.PULLED + MORE


def exact_mass(walls):
    """[g], by the rule of mixtures of `bars`."""
    return 1e6 * bars.DENSITY * bars.LENGTH * bars.bearing_area(walls, 0.3)


def test_a_variant_is_the_study_with_its_changes(own):
    path = bars.study(own, TEXT)
    walls = {
        name: asked_study(path, variant=name).bodies["bar"].print.walls for name in (None, "base", "three", "4 walls")
    }
    assert walls == {None: 2, "base": 2, "three": 3, "4 walls": 4}
    asked = asked_study(path, variant="three", changes={"bodies.bar.print.walls": 5, "judge.zoom": 2})
    assert (asked.variant, asked.bodies["bar"].print.walls, asked.judge.zoom) == ("three", 5, 2)


def test_a_variant_called_base_is_that_variant(own):
    path = bars.study(own, TEXT.replace("variants.three", "variants.base"))
    assert asked_study(path, variant="base").bodies["bar"].print.walls == 3


@pytest.mark.parametrize("command", ["run", "check", "report"])
def test_an_unknown_variant_is_one_line_with_near_names(own, capsys, command):
    path = bars.study(own, TEXT)
    assert main([command, str(path), "--variant", "thre"]) == 2
    told = capsys.readouterr().err.strip()
    assert "\n" not in told
    assert "no variant is called 'thre'" in told
    assert "Nearest: three." in told
    path = bars.study(own, bars.PULLED)
    assert main([command, str(path), "--variant", "three"]) == 2
    assert "has no variants" in capsys.readouterr().err


def test_a_variant_that_is_no_study_says_why(own):
    path = bars.study(own, TEXT.replace("[sweep]", '[variants.bad]\n"bodies.bar.print.walls" = -1\n[sweep]'))
    with pytest.raises(InputError, match=r"cannot be solved: .*walls"):
        asked_study(path, variant="bad")


def test_results_folders_never_meet(own):
    path = bars.study(own, TEXT + '[variants."4_walls"]\n"bodies.bar.print.walls" = 4\n')
    names = (None, "three", "4 walls", "4_walls")
    folders = {results_folder(asked_study(path, variant=name), own / "out") for name in names}
    assert len(folders) == 4


def test_a_run_of_a_variant_lies_apart_and_says_which(own, capsys):
    path, out = bars.study(own, TEXT), own / "out"
    assert main(["run", str(path), "--out", str(out), "--no-pictures"]) == 0
    before = (out / "findings.json").read_bytes()
    assert main(["run", str(path), "--out", str(out), "--variant", "three", "--no-pictures"]) == 0
    assert "Bar: three" in capsys.readouterr().out
    assert (out / "findings.json").read_bytes() == before
    base, three = read_findings(out / "findings.json"), read_findings(out / "variants" / "three" / "findings.json")
    assert "variant" not in base.inputs
    assert (three.title, three.inputs["variant"]) == ("Bar: three", "three")
    assert base.bodies["bar"].mass_g == pytest.approx(exact_mass(2), rel=5e-3)
    assert three.bodies["bar"].mass_g == pytest.approx(exact_mass(3), rel=5e-3)
    assert exact_mass(3) > 1.05 * exact_mass(2)
    for folder in (out, out / "variants" / "three"):
        assert not (folder / "pictures").exists()
        page = (folder / "report.html").read_text(encoding="utf-8")
        assert "No pictures were drawn" in page
        assert not re.search(r'<img[^>]* src="data:image/(?!svg)', page), "drawings of numbers alone"


def test_a_check_of_a_variant_tells_its_own_print(own, capsys):
    path = bars.study(own, TEXT)
    assert main(["check", str(path), "--variant", "4 walls"]) == 0
    four = capsys.readouterr().out
    assert main(["check", str(path)]) == 0
    two = capsys.readouterr().out
    assert "Bar: 4 walls" in four
    assert f"{exact_mass(4):.1f}" in four
    assert f"{exact_mass(2):.1f}" in two
    assert f"{exact_mass(4):.1f}" not in two


def test_a_review_is_of_the_variant_that_a_valid_comparison_chose(own):
    path, out = bars.study(own, TEXT), own / "out"
    before = review_study(path, out=out, pictures=False)
    assert before.pdf.parent == out
    assert "no valid comparison" in before.subject
    best = compare_study(path, out=out, jobs=1).comparison.best
    # The lightest of them bears 40 MPa / (4 MPa 80 / 35.9) = 4.5 times its load, by the rule of mixtures
    assert best == "1 wall"
    chosen = review_study(path, out=out, pictures=False)
    assert chosen.findings.inputs["variant"] == best
    assert chosen.html.parent == out / "variants" / results_folder(asked_study(path, variant=best)).name
    told = f'This review is of the variant "{best}", which the comparison chose.'
    assert chosen.subject == told
    assert told in chosen.html.read_text(encoding="utf-8").replace("&#34;", '"').replace("&quot;", '"')
    assert review_study(path, out=out, pictures=False).reused
    written = review_study(path, out=out, variant="base", pictures=False)
    assert (written.reused, "variant" in written.findings.inputs) == (True, False)
    assert written.subject == f'This review is of the study as written; the comparison chose the variant "{best}".'
    # Another load: the comparison holds no longer, and neither does its choice
    path.write_text(path.read_text().replace('"-4 MPa"', '"-3 MPa"'))
    stale = review_study(path, out=out, pictures=False)
    assert "variant" not in stale.findings.inputs
    assert "not of the study as it is now" in " ".join(stale.notes)


def test_pictures_are_drawn_when_they_are_asked_for_again(own):
    path, out = bars.study(own, bars.PULLED), own / "out"
    run_study(path, out=out, pictures=False)
    assert review_study(path, out=out, pictures=False).reused
    drawn = review_study(path, out=out)
    assert "without pictures" in drawn.notes[0]
    assert list((out / "pictures").glob("*.png"))


def test_what_a_review_says_of_its_subject():
    assert subject_of("", best=None, of=0) == ""
    assert subject_of("a", best="b", of=2).endswith('as asked for; the comparison chose the variant "b".')
    assert "chosen" in subject_of("a", best=None, of=2)
