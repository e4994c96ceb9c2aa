"""All published checks, as `beadwork evidence` runs them, and what a row, the page and the numbers promise."""

from __future__ import annotations

import datetime
import json
import math
from pathlib import Path

import pytest

from fem.cli import main
from fem.errors import InputError
from fem.evidence import refined
from fem.evidence.nouns import Check, Finished, Row
from fem.evidence.page import share_text, write_page
from fem.evidence.register import CHECKS, chosen, run_checks
from fem.evidence.story import gather_evidence, json_text, rows_off

OFF = {
    "Slender cantilever twisted: end rotation": "the remembered target lies below the closed form",
    "IM7/8552, [90/0/45/-45]3s, strip of 12 mm, hole of 2 mm: strength over the plain": (
        "the laminate's d0 grows with its hole: the formula, too, with that of the 6 mm hole overrates the 2 mm one"
    ),
}
"""Rows that are off, and why."""
KEY = {
    "Elliptic membrane LE1: stress at D": (92.7, 0.01),
    "Thick elliptic plate LE10: stress at D": (-5.38, 0.03),
    "Cylinder, taper and sphere that warm: axial stress at A": (-105.0, 0.02),
    "Cook's tapered panel: displacement of the edge's middle": (23.97, 0.003),
    "Laminated strip R0031/1: deflection in the middle, below": (-1.06, 0.015),
    "Laminated strip R0031/1: stress along the strip, below": (684.0, 0.02),
    "Laminated strip R0031/1: interlaminar shear stress at 4 mm": (-4.1, 0.03),
    "Strip with a hole, d/W = 0.2: beside it, over the gross stress": (3.14, 0.02),
    "Strip with a hole, d/W = 0.5: beside it, over the gross stress": (4.32, 0.02),
    "Spherical cavity, nu = 0.2: stress factor": (2.0, 0.02),
    "Spherical cavity, nu = 0.35: stress factor": (2.071429, 0.02),
    "Slender cantilever loaded in its plane: end displacement": (0.1081, 0.01),
    "Slender cantilever loaded out of its plane: end displacement": (0.4321, 0.01),
    "Short orthotropic cantilever, G13 = 800: deflection with shear": (0.486667, 0.01),
    "Bar between rigid walls, 40 K warmer: stress": (-9.6, 1e-6),
    "Disc under pressure, clamped: deflection": (0.6427, 0.015),
    "Disc under pressure, simply supported: deflection": (2.546997, 0.015),
    "Disc that spins: stress in the middle": (11.23875, 0.015),
    "Hole in an endless plate pulled: beside it, over the far stress": (3.0, 0.01),
    "Hole in printed nylon along its beads: beside it, over the far stress": (3.66991, 0.01),
    "Torsional stiffness of a bar (20 x 10, Gxy = 1200, Gxz = 800)": (4948573.7, 0.004),
    "Thick cylinder, plane strain, r = 10: hoop stress": (16.6667, 0.015),
    "Gyroid sheet of level 0.461: modulus": (0.114, 0.03),
    "Stress of six components: Tsai and Wu": (2.770122, 2e-6),
}
"""Published numbers and tolerances that no row may drift from."""
PROJECT = Path(__file__).parents[2]
FOUND: dict[str, tuple[Row, ...]] = {}


def rows_of(check: Check) -> tuple[Row, ...]:
    """The rows of a check, computed once a process."""
    if check.title not in FOUND:
        (FOUND[check.title],) = (one.rows for one in run_checks([check]))
    return FOUND[check.title]


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.title)
def test_rows_keep_to_their_limit(check):
    rows = rows_of(check)
    assert rows
    assert {row.problem for row in rows if not row.within} == OFF.keys() & {row.problem for row in rows}


def test_there_are_many_each_with_its_own_name_and_source():
    rows = [row for check in CHECKS for row in rows_of(check)]
    names = [row.problem for row in rows]
    assert len(rows) >= 60
    assert len(set(names)) == len(names)
    assert len({check.title for check in CHECKS}) == len(CHECKS)
    assert all(row.source and row.how for row in rows)


def test_key_rows_keep_to_the_stated_tolerance():
    rows = {row.problem: row for check in CHECKS for row in rows_of(check)}
    for problem, (published, tolerance) in KEY.items():
        assert rows[problem].published == pytest.approx(published, rel=1e-9), problem
        assert rows[problem].computed == pytest.approx(published, rel=tolerance), problem


def test_the_page_in_the_documents_tells_all_of_them():
    # Made by beadwork evidence --study studies/wing_saddle.toml --out studies/evidence
    kept = json.loads((PROJECT / "studies/evidence/evidence.json").read_text())
    page = (PROJECT / "studies/evidence/evidence.html").read_text()
    own = {t["problem"]: t["published"] for t in kept if t["field"] != "Meshes"}
    rows = [row for check in CHECKS for row in rows_of(check)]
    assert own == {row.problem: row.facts["published"] for row in rows}
    assert {t["unit"] for t in kept if t["field"] == "Meshes"} == {"1", "mm"}
    held = [told for told in kept if told["allowed"] is not None]
    assert f"of {len(held)} within their limit" in page
    assert len(page) < 500_000


# ---- rows


def row(**changes):
    given = {
        "problem": "a bar",
        "source": "a book",
        "published": 2.0,
        "computed": 2.1,
        "unit": "mm",
        "how": "by hand",
    }
    return Row(**{**given, "allowed": 0.02, **changes})


def test_a_row_tells_what_is_off():
    assert row().difference == pytest.approx(0.05)
    assert not row().within
    assert row(computed=1.97).within
    assert row(published=-2.0, computed=2.0).difference == pytest.approx(-2.0)
    assert math.isinf(row(published=0.0).difference) and not row(published=0.0).within
    assert row(published=0.0).facts["difference"] is None
    assert row(published=0.0, computed=0.0).within


def test_an_experiment_is_compared_and_held_to_nothing(tmp_path):
    """However far it lies off, it is told; it counts neither as within a limit nor as beyond one."""
    far = row(computed=9.0, allowed=None)
    assert far.within and far.facts["allowed"] is None and far.facts["within"] is None
    assert far.facts["difference"] == pytest.approx(3.5)
    mixed = (Finished(Check("Experiments", "a test", lambda: ()), (far, row(problem="held", computed=2.01))),)
    assert not rows_off(mixed)
    page = write_page(mixed, tmp_path / "page.html", date=datetime.date(2026, 11, 27)).read_text()
    assert "1 of 1 within their limit" in page and "They have no limit" in page and "+350 %" in page


@pytest.mark.parametrize(
    "wrong", [{"source": ""}, {"problem": ""}, {"computed": math.nan}, {"published": math.inf}, {"allowed": 0.5}]
)
def test_a_row_that_cannot_be_compared_is_refused(wrong):
    with pytest.raises(InputError):
        row(**wrong)


# ---- a study on three meshes


def test_a_study_is_compared_with_its_finest_mesh(monkeypatch):
    sizes, told = [], []

    def solve(study, given, say):
        size = given["bracket"][0]
        sizes.append(size)
        say("solved", 1.0)
        # A case that moves with the mesh, and one that cannot fail
        reserve = {"service": 2.0 + 0.1 * size, "overload": math.inf}
        return refined.Solved(f"{size:.3g} mm", 1000, reserve, dict.fromkeys(study.cases, 2.0))

    monkeypatch.setattr(refined, "_solve", solve)
    path = PROJECT / "studies/cantilever_bracket.toml"
    check = refined.refined(path, progress=lambda _text, share: told.append(share))
    rows = {row.problem.removeprefix("cantilever_bracket, "): row for row in check.rows()}
    assert sizes == pytest.approx([5.32, 4.0, 3.0])
    assert told == pytest.approx([1 / 3, 2 / 3, 1.0])
    assert set(rows) == {
        *(f"service, {size} mm: {what}" for size in ("5.32", "4") for what in ("reserve factor", "displacement")),
        *(f"overload, {size} mm: displacement" for size in ("5.32", "4")),
    }
    first = rows["service, 5.32 mm: reserve factor"]
    assert first.published == pytest.approx(2.3) and first.computed == pytest.approx(2.532)
    assert not first.within and rows["service, 5.32 mm: displacement"].within


# ---- page and numbers


def one_off():
    good, bad = row(computed=2.01), row(problem="a plate <b>", computed=3.0, note="told wrong")
    return (Finished(Check("Bars", "one", lambda: ()), (good, bad)),)


def test_the_page_hides_nothing_that_is_off(tmp_path):
    page = write_page(one_off(), tmp_path / "evidence.html", date=datetime.date(2026, 11, 27)).read_text()
    assert "1 of 2 within their limit" in page
    assert page.count("a plate &lt;b&gt;") >= 2 and "<b>" not in page  # in its field, and among those beyond
    assert "+50 %" in page and "Told wrong." in page
    assert "http" not in page.replace("http-equiv", "").split("data:image")[0]
    assert [r.problem for r in rows_off(one_off())] == ["a plate <b>"]


def test_the_numbers_are_a_list_of_objects(tmp_path):
    told = json.loads(json_text(one_off()))
    assert [t["difference"] for t in told] == [0.005, 0.5]
    assert set(told[0]) >= {"problem", "source", "published", "computed", "difference", "unit", "how", "note"}
    found, page = gather_evidence(out=tmp_path / "new", only="criteria in", date=datetime.date(2026, 11, 27))
    assert len(found) == 2
    kept = json.loads(page.with_name("evidence.json").read_text())
    assert [t["problem"] for t in kept] == [r.problem for one in found for r in one.rows]


def test_the_command_says_what_it_found(tmp_path, capsys):
    assert main(["evidence", "--only", "criteria in", "--out", str(tmp_path)]) == 0
    told = capsys.readouterr()
    assert "Strength" in told.out and "evidence.html" in told.out and "Off:" not in told.out
    assert "Criteria in space" in told.err
    assert main(["evidence", "--only", "criteria in", "--out", str(tmp_path)]) == 0, "its own folder takes it again"
    assert main(["evidence", "--only", "wings", "--out", str(tmp_path)]) == 2
    assert "no check is called so: wings" in capsys.readouterr().err


def test_checks_are_chosen_by_name():
    assert {c.field for c in chosen("short FIBRES")} == {"Short fibres"}
    assert [c.title for c in chosen("le10")] == ["LE10: thick elliptic plate"]
    assert chosen("") == CHECKS
    with pytest.raises(InputError, match="no check is called so"):
        chosen("wings")


@pytest.mark.parametrize(("share", "text"), [(-2e-3, "−0.20 %"), (1e-9, "< 0.0001 %"), (math.inf, "from zero")])
def test_shares_in_words(share, text):
    assert share_text(share) == text
