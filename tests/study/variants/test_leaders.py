"""The leaders of a comparison bead by bead: a bent bar of one wall, whose requirement its beads leave undecided, so
that two walls are named; and what is kept of them.
"""

import csv

import bars
import pytest
from helpers_cad import draw

from fem.cli import main
from fem.judging.choice_file import read_choice
from fem.study.file import read_study
from fem.study.review import find_comparison
from fem.study.variants import leaders, series

REQUIRED = 3.0
"""Less than the lighter variant bears homogenised, and within its band by beads."""
BENT = (
    bars.STUDY.replace("CASE", "bent = { bend = 1.0 }")
    .replace("[cases]", '[loads.bend]\nface = "head"\nforce = ["18 N", "0 N", "0 N"]\n[cases]')
    .replace('fixed = ["z"]', 'fixed = ["x", "y", "z"]')
    .replace('[supports.left]\nface = "left"\nfixed = ["x"]\n[supports.front]\nface = "front"\nfixed = ["y"]\n', "")
    .replace("covers = 0", "covers = 3")
    .replace('size = "4 mm"', 'size = "2.5 mm"')
    .replace("reserve = 2.0", f"reserve = {REQUIRED}")
    .replace("zoom = 0", 'voxel = "0.2 mm"')
)
TEXT = BENT + '[sweep]\n"bodies.bar.print.walls" = [1, 2]\n'
LIGHT, HEAVY = "1 wall", "2 walls"


@pytest.fixture(scope="module")
def bent(tmp_path_factory):
    folder = bars.put_into(tmp_path_factory.mktemp("bent"))
    draw(folder / "bar.step", lambda occ: occ.addBox(0, 0, 0, 6, 5, 12))
    return bars.study(folder, TEXT, "bent.toml")


def compared(path, *more):
    out = path.parent / "out"
    assert main(["compare", str(path), "--out", str(out), "--jobs", "1", *more]) == 0
    return read_choice(out / "comparison.json"), (out / "comparison.html").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def ranked(bent):
    """The comparison without beads."""
    return compared(bent, "--zoom", "0")


@pytest.fixture(scope="module")
def led(bent, ranked):
    """The comparison whose leaders were solved bead by bead."""
    return compared(bent)


def test_without_beads_the_lighter_one_is_named(ranked):
    choice, page = ranked
    assert choice.best == LIGHT and choice.leaders == () and choice[LIGHT].zoomed is None
    assert "no variant was solved bead by bead" in page


def test_the_heavier_one_is_named_where_beads_leave_the_lighter_one_undecided(led, ranked):
    choice, page = led
    light, heavy = choice[LIGHT], choice[HEAVY]
    assert choice.best == HEAVY and choice.leaders == (LIGHT, HEAVY)
    assert light.homogenised == ranked[0][LIGHT].reserve >= REQUIRED
    assert light.band[0] < REQUIRED <= light.band[1] and "not decided" in light.missed[0]
    assert heavy.decided_by == "zoom" and heavy.zoomed >= 1 and heavy.missed == () and heavy.band[0] >= REQUIRED
    assert light.mass_g == ranked[0][LIGHT].mass_g and light.deflection_mm == ranked[0][LIGHT].deflection_mm
    assert f"2 leaders were solved bead by bead at the worst places ({LIGHT}; {HEAVY})" in page
    assert "bead by bead, " in choice.reason and f"({REQUIRED:g} required)" in choice.reason
    assert "the homogenised ones, which all variants have" in page
    assert choice.steps == ranked[0].steps, "steps compare what all variants have"


def test_the_table_and_the_findings_tell_both_numbers(bent, led):
    from fem.judging.findings import read_findings

    choice, _ = led
    with (bent.parent / "out" / "comparison.csv").open(encoding="utf-8") as file:
        rows = {row["variant"]: row for row in csv.DictReader(file)}
    light = choice[LIGHT]
    assert rows[LIGHT]["calculated"] == "bead by bead"
    assert float(rows[LIGHT]["homogenised minimum reserve factor [-]"]) == pytest.approx(light.homogenised, rel=1e-8)
    found = read_findings(bent.parent / "out" / light.findings_file)
    case = found.cases["bent"]
    assert case.zooms and case.reserve.minimum == light.reserve and found.inputs["variant"] == LIGHT
    (row, *_) = found.requirements
    assert (row.met, row.decided) == (False, "not decided") and row.value == light.reserve
    assert float(rows[LIGHT]["minimum reserve factor, lowest [-]"]) == pytest.approx(light.band[0], rel=1e-8)


def test_leaders_are_kept_like_all_others(bent, led, monkeypatch):
    monkeypatch.setattr(series, "answer", lambda *_, **__: pytest.fail("it was solved again"))
    again, _ = compared(bent, "--resume")
    assert again == led[0]


def test_a_comparison_stopped_among_its_leaders_resumes(bent, led, capsys, monkeypatch):
    def stopped(*_, **__):
        raise KeyboardInterrupt

    # Another number of places is another zoom, of which nothing is kept
    monkeypatch.setattr(leaders, "answer_variant", stopped)
    before = sorted((bent.parent / "out" / "variants").iterdir())
    assert main(["compare", str(bent), "--out", str(bent.parent / "out"), "--jobs", "1", "--zoom", "1"]) == 130
    assert "compare --resume resumes the run" in capsys.readouterr().err
    assert sorted((bent.parent / "out" / "variants").iterdir()) == before


def test_a_leader_that_fails_keeps_its_homogenised_numbers_and_says_so(bent, led, capsys, monkeypatch):
    monkeypatch.setattr(leaders, "answer_variant", lambda *_, **__: "no beads today.")
    choice, page = compared(bent, "--zoom", "2")
    assert choice.best == LIGHT and choice.leaders == ()
    told = f"{LIGHT} could not be solved bead by bead, its numbers are homogenised: no beads today."
    assert told in choice.cautions and told in page and told in " ".join(capsys.readouterr().out.split())


def test_a_report_takes_the_comparison_of_the_same_zoom_alone(bent, led):
    study, out = read_study(bent), bent.parent / "out"
    compared(bent)
    assert find_comparison(study, out)[0] is not None
    found, _, why = find_comparison(study.with_({"judge.zoom": 5}), out)
    assert found is None and "not of the study as it is now" in why
