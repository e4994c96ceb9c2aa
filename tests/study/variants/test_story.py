"""`beadwork compare` from the study file to the folder it leaves, and what it refuses."""

import csv
import json

import bars
import pytest

from fem.cli import main
from fem.judging.choice_file import read_choice
from fem.study.variants import series, story

TEXT = bars.PULLED + (
    '[variants]\nmetal = { "bodies.bar.metal" = "steel", reference = true, cost = 8 }\n'
    'wrong = { "bodies.bar.metal" = "unobtainium" }\n'
    '[sweep]\n"bodies.bar.print.walls" = [0, 1]\n"bodies.bar.print.infill.density" = [0.3]\n'
)


@pytest.fixture(scope="module")
def compared(tmp_path_factory):
    folder = bars.put_into(tmp_path_factory.mktemp("compared"))
    path = bars.study(folder, TEXT)
    status = main(["compare", str(path), "--out", str(folder / "out"), "--jobs", "1"])
    return folder, path, status


def test_the_folder_holds_all_of_it(compared):
    folder, _, status = compared
    assert status == 0
    out = folder / "out"
    assert {p.name for p in out.iterdir()} == {"comparison.html", "comparison.csv", "comparison.json", "variants"}
    choice = read_choice(out / "comparison.json")
    with (out / "comparison.csv").open(encoding="utf-8") as file:
        rows = {row["variant"]: row for row in csv.DictReader(file)}
    assert list(rows) == ["metal", "wrong", "0 walls, 30 % infill", "1 wall, 30 % infill"]
    for name, row in rows.items():
        numbers = choice[name]
        if not numbers.answered:
            assert row["why not solved"] == numbers.error and row["mass [g]"] == ""
            continue
        assert float(row["mass [g]"]) == pytest.approx(numbers.mass_g, rel=1e-8)
        assert float(row["maximum deflection [mm]"]) == pytest.approx(numbers.deflection_mm, rel=1e-8)
        findings = json.loads((out / row["findings file"]).read_text())
        assert findings["inputs"]["variant"] == name
        assert findings["cases"]["pulled"]["reserve"]["minimum"] == numbers.reserve
    assert [row["bodies.bar.print.walls"] for row in rows.values()] == ["", "", "0", "1"]
    assert rows["metal"]["reference part"] == "yes" and rows["metal"]["cost [currency not stated]"] == "8"
    assert rows[choice.best]["to print"] == "yes"
    assert choice.best in (out / "comparison.html").read_text(encoding="utf-8")


def test_what_is_printed_says_which_to_print(compared, capsys):
    _, path, _ = compared
    out = path.parent / "out"
    old = out / "variants" / "old-123456789abc.json"
    old.write_text('{\n "beadwork": "0.3.0"\n}')
    assert main(["compare", str(path), "--out", str(out), "--resume"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "1 kept variant is of an earlier version of Beadwork, or damaged, and not taken" in told and old.exists()
    assert "metal (reference)" in told and "not computed" in told
    assert "Print 0 walls, 30 % infill: it is the lightest of the 2 printed variants that meet all" in told
    assert "3 of 4 variants were finished before" in told


def test_strict_leaves_with_3_when_none_meets_all(compared, capsys):
    _, path, _ = compared
    hard = bars.study(path.parent, TEXT.replace("reserve = 2.0", "reserve = 9.0"), "hard.toml")
    arguments = ["compare", str(hard), "--out", str(path.parent / "out")]
    assert main([*arguments, "--strict"]) == 3 and main(arguments) == 0
    assert "None of the 2 printed variants meets all" in " ".join(capsys.readouterr().out.split())


def test_run_and_check_answer_the_study_itself(compared, capsys):
    _, path, _ = compared
    assert main(["check", str(path)]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "It holds 4 variants" in told
    from fem.study.file import read_study
    from fem.study.run import prepare

    assert (prepare(read_study(path)).printed.share.max(axis=1) < 1).any(), "several zones in one tetrahedron"


def many(text):
    walls = ", ".join(map(str, range(30)))
    return text.replace('"bodies.bar.print.walls" = [0, 1]', f'"bodies.bar.print.walls" = [{walls}]').replace(
        "[0.3]", "[" + ", ".join(f"0.{i:02d}" for i in range(20, 40)) + "]"
    )


REFUSED = {
    "too many": (many(TEXT), [], "602 variants at about", "say --yes"),
    "no processes": (TEXT, ["--jobs", "0"], "--jobs: 0 processes", "at least one"),
    "processes of a cluster": (
        TEXT,
        ["--jobs", "2", "--cluster", "tcp://127.0.0.1:1"],
        "--jobs: the cluster",
        "Leave",
    ),
    "a path that no key has": (
        TEXT.replace("print.walls", "print.wals"),
        [],
        "no key has the path",
        "Nearest: walls",
    ),
    "none answered": (
        bars.PULLED + '[variants]\na = { "bodies.bar.metal" = "stel" }\n',
        [],
        "no variant could be solved",
        "Nearest: steel",
    ),
    "nothing to compare": (bars.PULLED, [], "nothing to compare", "Add [variants]"),
}


@pytest.mark.parametrize("why", REFUSED)
def test_refused_in_one_line(own, capsys, why):
    text, more, *words = REFUSED[why]
    assert main(["compare", str(bars.study(own, text)), "--out", str(own / "out"), *more]) == 2
    line = capsys.readouterr().err.splitlines()[-1]
    assert line.startswith("beadwork: ") and all(w in line for w in words), line


@pytest.mark.parametrize(("kind", "words"), [("file", "cannot be written|is a file"), ("foreign", "not results of")])
def test_a_folder_that_cannot_be_used_is_refused_before_any_work(own, capsys, monkeypatch, kind, words):
    import re

    monkeypatch.setattr(story, "answer_series", lambda *_, **__: pytest.fail("it began to work"))
    (own / "there").mkdir()
    (own / "there" / "letter.txt").write_text("dear")
    out = own / "there" / ("letter.txt/out" if kind == "file" else ".")
    assert main(["compare", str(bars.study(own, TEXT)), "--out", str(out)]) == 2
    assert re.search(words, capsys.readouterr().err)
    assert (own / "there" / "letter.txt").read_text() == "dear"


def test_a_stopped_comparison_says_how_it_goes_on(own, capsys, monkeypatch):
    def stopped(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(series, "answer_variant", stopped)
    assert main(["compare", str(bars.study(own, TEXT)), "--out", str(own / "out"), "--jobs", "1"]) == 130
    assert "finished variants are kept, and compare --resume resumes the run" in capsys.readouterr().err


def test_a_full_disk_at_the_end_loses_no_variant(compared, capsys, monkeypatch):
    _, path, _ = compared

    def full(*_, **__):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(story, "write_table", full)
    before = sorted((path.parent / "out" / "variants").iterdir())
    assert main(["compare", str(path), "--out", str(path.parent / "out")]) == 2
    assert "No space left on device" in capsys.readouterr().err
    assert sorted((path.parent / "out" / "variants").iterdir()) == before


def test_what_can_turn_the_choice_is_told_above_the_table(compared, capsys):
    from dataclasses import replace

    from fem.caution import Caution
    from fem.cli.comparing import _print_comparison
    from fem.cli.console import screen
    from fem.judging.findings import read_findings
    from fem.study.file import read_study
    from fem.study.variants.expand import expand
    from fem.study.variants.numbers import numbers_of_variant
    from fem.study.variants.series import VariantResult

    folder, path, _ = compared
    study = read_study(path)
    numbers = []
    choice = read_choice(folder / "out" / "comparison.json")
    for i, variant in enumerate(v for v in expand(study) if choice[v.name].answered):
        found = read_findings(folder / "out" / choice[variant.name].findings_file)
        texts = [f"Coarse {i}.", f"Coarser {i}."]
        cautions = (Caution("coarse_mesh", t, decisive=True) for t in texts)
        shared = (Caution("balance", "Shared.", decisive=True), Caution("plain", "Plain."))
        found = replace(found, cautions=(*cautions, *shared))
        numbers.append(numbers_of_variant(VariantResult(variant, found)))
    comparison = story.put_side_by_side(study, numbers)
    assert comparison.cautions == ("Plain.",)
    _print_comparison(screen(), comparison)
    told = capsys.readouterr().out
    assert told.index("CAUTION: 3 of 3 variants: Coarse 0.") < told.index("CAUTION: 3 of 3 variants: Shared.")
    assert told.index("Shared.") < told.index("mass [g]") and "Coarser" not in told and "Coarse 1" not in told


def test_strict_asks_for_a_variant_that_meets_all_though_none_is_chosen(own, capsys):
    sizes = '[variants]\na = { "bodies.bar.mesh.size" = "4 mm" }\nb = { "bodies.bar.mesh.size" = "5 mm" }\n'
    arguments = ["compare", str(bars.study(own, bars.PULLED + sizes)), "--out", str(own / "out"), "--jobs", "1"]
    assert main([*arguments, "--strict"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert told.count("Variants differ in their mesh") == 1 and "Take" not in told and "<-" not in told
