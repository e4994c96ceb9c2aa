"""Places that permanent loads alone use up: told on their own, with the reserve of the growing loads elsewhere.

A bar of length L and section A under its own inertia a (permanent) has the axial stress rho a (L - x), by
equilibrium; an end load F (growing) adds F / A. Where the first alone goes beyond the yield stress S nothing is left;
elsewhere the reserve factor is (S - rho a (L - x)) / (F / A).
"""

from __future__ import annotations

import json
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from helpers_cad import draw

from fem.cli import main
from fem.judging.findings import read_findings
from fem.judging.hotspots import NearestFace
from fem.judging.used_up import TAKEN
from fem.judging.verdict import verdict_of
from fem.printing.polymer import load_card
from fem.study.file import read_study
from fem.study.run import answer, prepare
from fem.study.solved import solve_cases_of
from fem.telling.words import answer as answer_words
from fem.zooming.decided import decided
from fem.zooming.judge import Weakest
from fem.zooming.place import ZoomedCase, ZoomedPlace
from fem.zooming.worst import JudgedCase, Surroundings

L, WIDE, FORCE, BEYOND = 80.0, 8.0, 1000.0, 1.3
STATE = next(iter(load_card("6082-t6").states.values()))
DENSITY = 2.70e-9  # t/mm^3, the card's
YIELD = float(STATE.strength.yield_stress)
STUDY = """
title = "Bar"
[bodies.bar]
solid = "bar.step"
mesh = {{ size = "4 mm" }}
metal = "6082-t6"
[faces]
left = {{ plane = {{ normal = [-1, 0, 0], at = "min" }} }}
right = {{ plane = {{ normal = [1, 0, 0], at = "max" }} }}
front = {{ plane = {{ normal = [0, -1, 0], at = "min" }} }}
bottom = {{ plane = {{ normal = [0, 0, -1], at = "min" }} }}
[supports.wall]
face = "left"
{wall}
[supports.guide]
face = "front"
fixed = ["y"]
[supports.floor]
face = "bottom"
fixed = ["z"]
[loads.inertia]
acceleration = ["{inertia} m/s^2", "0 m/s^2", "0 m/s^2"]
permanent = true
[loads.end]
face = "right"
force = ["{force} N", "0 N", "0 N"]
[cases]
both = {{ inertia = 1.0, end = 1.0 }}
end = {{ end = 1.0 }}
[requirements]
reserve = 1.2
"""
WALLS = {
    "glued": ('fixed = ["x"]', 1.0),
    "pressed": ('foundation = { normal = "1e6 N/mm^3", push_only = true }', -1.0),
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    out = tmp_path_factory.mktemp("bar")
    draw(out / "bar.step", lambda occ: occ.addBox(0, 0, 0, L, WIDE, WIDE))
    return out


def written(folder, kind, beyond=BEYOND):
    """The study of a bar that is pulled off a wall, or pressed against one that only pushes."""
    wall, way = WALLS[kind]
    inertia = way * beyond * YIELD / (DENSITY * L) / 1000
    path = folder / f"{kind}.toml"
    path.write_text(STUDY.format(wall=wall, inertia=inertia, force=way * FORCE))
    return path


@pytest.fixture(scope="module", params=list(WALLS))
def solved(request, folder):
    return solve_cases_of(prepare(read_study(written(folder, request.param))))


def by_hand(x):
    return (YIELD - BEYOND * YIELD * (1 - x / L)) / (FORCE / WIDE**2)


def test_the_reserve_elsewhere_is_that_of_the_growing_load(solved):
    case = solved.answers["both"].findings
    r, edge = case.reserve, L * (1 - TAKEN / BEYOND)
    assert r.minimum == pytest.approx(by_hand(r.at_mm[0]), rel=2e-3)
    assert edge - 1e-6 <= r.at_mm[0] <= edge + 4.0, "the first node beyond the place that is used up"
    assert r.least == r.homogenised == r.minimum and r.minimum >= by_hand(edge) * 0.999
    assert case.failing_load_N == pytest.approx(r.minimum * FORCE, rel=1e-6)
    assert all(v is None or v >= r.minimum * (1 - 1e-9) for v in (*r.criteria.values(), *r.by_zone.values()))
    alone = solved.answers["end"].findings
    assert alone.used_up == () and alone.reserve.minimum == pytest.approx(YIELD / (FORCE / WIDE**2), rel=1e-3)


def test_the_place_is_told_with_how_far_it_is_beyond(solved):
    case = solved.answers["both"].findings
    (place,) = case.used_up
    assert place.reserve == pytest.approx(1 / BEYOND, rel=0.04), (
        "the stress at the root, up to what the wall restrains"
    )
    assert place.at_mm[0] == pytest.approx(0.0, abs=1e-6) and place.face == "left"
    assert place.share == pytest.approx(1 - TAKEN / BEYOND, abs=0.05)
    assert (place.zone, place.body) == ("metal", "bar")
    first, *rest = case.hot_spots
    assert first.reserve == 0.0 and first.at_mm == place.at_mm
    assert all(s.reserve >= case.reserve.minimum * (1 - 1e-9) for s in rest)


def test_the_old_rule_turns_the_whole_answer_into_0(solved):
    """Negative control: the least of all nodes is that of a crushed one."""
    field = solved.answers["both"].field
    assert field.reserve.min() == 0.0 < field.counted.min()
    x = solved.answers["both"].fields.displacement[:, 0]
    assert np.isfinite(x).all() and (field.used == (field.reserve == 0)).all()


def test_the_study_does_not_hold_and_says_what_would_help(folder, capsys):
    found = answer(prepare(read_study(written(folder, "glued")))).findings
    (row,) = found.requirements
    assert not row.met and row.decided == "not met" and row.where == "both" and row.value > row.limit
    verdict = verdict_of(found)
    assert (verdict.word, verdict.passes, verdict.used_up) == ("fails", False, ("both",))
    (told,) = [c for c in found.cautions if c.kind == "permanent_loads_fail"]
    assert told.decisive and "a larger washer, more covers" in told.text and "near face left" in told.text
    assert told.numbers["cases"] == ["both"] and told.numbers["places"] == 1
    assert told.numbers["permanent_reserve"] == pytest.approx(1 / BEYOND, rel=0.04)
    assert "Permanent loads alone use a place up in case both" in answer_words(found)[0]
    path = written(folder, "glued")
    assert main(["run", str(path), "--out", str(folder / "out"), "--strict"]) == 3
    out = " ".join(capsys.readouterr().out.split())
    assert "used up by permanent loads alone" in out and "NOT MET" in out
    kept = json.loads((folder / "out" / "findings.json").read_text())["cases"]["both"]
    assert kept["used_up"][0]["face"] == "left"
    assert read_findings(folder / "out" / "findings.json").cases["both"].used_up[0].share == pytest.approx(
        0.385, abs=0.05
    )


def test_permanent_loads_within_the_strength_use_nothing_up(folder):
    found = solve_cases_of(prepare(read_study(written(folder, "glued", beyond=0.95)))).answers["both"]
    assert found.findings.used_up == () and found.field.used is None
    assert 0 < found.findings.reserve.minimum < 1.5 * 0.05 * YIELD / (FORCE / WIDE**2)


# ---- where beads were asked


def asked(ready, solved, *places):
    """Case "both" with cubes at x [mm] of half width 2 h [mm] whose beads bear `least`: (x, h, least) each."""
    mesh = ready.mesh
    answer_ = solved.answers["both"]
    case = JudgedCase(answer_.findings, answer_.field, solved.singular["both"])
    nowhere = np.zeros(len(mesh.nodes), dtype=bool)
    around = Surroundings(mesh, {}, nowhere, NearestFace(mesh, ready.groups))
    made = []
    for x, half, least in places:
        at = np.array([x, WIDE / 2, WIDE / 2])
        judged = SimpleNamespace(
            part_point=lambda *_, at=at: at,
            stress=np.zeros((1, 1, 1, 6)),
            beads=SimpleNamespace(grid=SimpleNamespace(step=(0.2, 0.2, 0.2))),
        )
        first = Weakest(least, "core", "tension", (0, 0, 0), {}, 0)
        seen = ZoomedCase(first, (0.9 * least, 1.1 * least), 0.01, judged)
        body = SimpleNamespace(name="bar", axes=np.eye(3))
        made.append(ZoomedPlace(body, at, 4 * half, None, 1, 1, {"both": seen}))
    return decided(around, "both", case, made)


@pytest.fixture(scope="module")
def ready(folder):
    return prepare(read_study(written(folder, "glued")))


def test_the_beads_decide_whether_a_place_is_used_up(ready):
    solved = solve_cases_of(ready)
    plain = solved.answers["both"].findings
    root, elsewhere = (0.0, 25.0), (70.0, 5.0)
    bears = asked(ready, solved, (*root, 2.5))
    assert bears.used_up == () and bears.reserve.minimum == 2.5 and bears.reserve.decided_by == "zoom"
    assert bears.reserve.band == (2.25, 2.75) and bears.hot_spots[0].verdict == "settled"
    crushed = asked(ready, solved, (*root, 0.0))
    (place,) = crushed.used_up
    assert (place.zone, place.mode, place.reserve) == ("core", "tension", plain.used_up[0].reserve)
    assert crushed.reserve.minimum == pytest.approx(by_hand(crushed.reserve.at_mm[0]), rel=2e-3)
    assert crushed.reserve.at_mm[0] > 25.0, "what the beads looked at is theirs"
    assert crushed.hot_spots[0].reserve == 0.0 and len(crushed.hot_spots) > 1
    both = asked(ready, solved, (*root, 0.0), (*elsewhere, 0.7))
    assert (
        both.reserve.minimum == 0.7 and len(both.used_up) == 1 and both.reserve.homogenised == plain.reserve.minimum
    )
    aside = asked(ready, solved, (*elsewhere, 0.7))
    assert aside.used_up == plain.used_up and aside.reserve.minimum == 0.7
    new = asked(ready, solved, (*elsewhere, 0.0))
    assert [u.reserve for u in new.used_up] == [None, plain.used_up[0].reserve]
    assert new.reserve.minimum == plain.reserve.minimum


def test_a_band_of_the_homogenised_answer_goes_with_the_place(ready):
    """Where a zoom bears more, another node decides: its band is the hot spot's there, or as wide in proportion."""
    solved = solve_cases_of(ready)
    was = solved.answers["both"]
    r = was.findings.reserve
    banded = replace(r, band=(0.8 * r.minimum, 1.5 * r.minimum))
    solved.answers["both"] = replace(was, findings=replace(was.findings, reserve=banded, hot_spots=()))
    found = asked(ready, solved, (30.0, 5.0, 50.0)).reserve
    assert found.decided_by == "homogenised" and found.at_mm[0] > 35.0
    assert found.band == pytest.approx((0.8 * found.minimum, 1.5 * found.minimum))
    assert found.homogenised_band == banded.band
