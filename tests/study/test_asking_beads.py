"""Studies whose worst places are looked at bead by bead, through the front door."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from helpers_cad import draw

from fem import memory
from fem.cli import main
from fem.errors import InputError, TooLargeError
from fem.judging.findings import Findings, read_findings
from fem.study.run import run_study
from fem.study.zoom import zoom, zoom_study

LENGTH, WIDE, HIGH, FORCE = 16.0, 6.0, 5.0, 60.0
TEXT = f"""
title = "Cantilever"
question = "Does it hold its tip load?"
[bodies.arm]
solid = "arm.step"
mesh = {{ size = "2.5 mm" }}
[bodies.arm.print]
polymer = "pa12-cf"
build_direction = [0, 0, 1]
raster_zero = [1, 0, 0]
bead = {{ width = "0.6 mm", height = "0.3 mm" }}
walls = 2
covers = 3
raster = [45, -45]
infill = {{ pattern = "grid", density = 0.35 }}
[faces]
root = {{ plane = {{ normal = [-1, 0, 0], at = "min" }} }}
tip = {{ plane = {{ normal = [1, 0, 0], at = "max" }} }}
[supports.wall]
face = "root"
foundation = {{ normal = "20000 N/mm^3", tangential = "20000 N/mm^3", bonded = true }}
[loads.pull]
face = "tip"
force = ["0 N", "0 N", "-{FORCE} N"]
[loads.always]
face = "tip"
force = ["20 N", "0 N", "0 N"]
permanent = true
[cases]
lift = {{ pull = 1.0, always = 1.0 }}
half = {{ pull = 0.5 }}
[watch]
faces = ["tip"]
[requirements]
reserve = 1.5
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("arm")
    draw(out / "arm.step", lambda occ: occ.addBox(0, 0, 0, LENGTH, WIDE, HIGH))
    (out / "arm.toml").write_text(TEXT)
    return out


def solved(folder: Path, changes: dict[str, Any], name: str) -> Findings:
    return run_study(folder / "arm.toml", changes=changes, out=folder / name)[0]


@pytest.fixture(scope="module")
def whole(folder: Path) -> Findings:
    return solved(folder, {"judge.whole": True, "judge.zoom": 1, "judge.voxel": "0.3 mm"}, "whole")


def test_without_zooms_the_homogenised_answer_decides(folder: Path) -> None:
    found = solved(folder, {"judge.zoom": 0}, "none").cases["lift"]
    r = found.reserve
    assert found.zooms == () and found.whole is None
    assert r.decided_by == "homogenised" and r.minimum == r.least == r.homogenised


def test_the_beads_decide_where_they_were_looked_at(whole: Findings, folder: Path) -> None:
    found = whole.cases["lift"]
    r = found.reserve
    assert len(found.zooms) >= 1
    assert r.decided_by in ("zoom", "whole") and r.minimum == r.least
    assert r.homogenised != r.least
    decides = min(found.zooms, key=lambda z: z.least)
    assert decides.band[0] <= decides.least <= decides.band[1]
    assert all(s.reserve >= r.minimum for s in found.hot_spots if s.decided_by == "undecided"), (
        "nothing is passed over"
    )
    asked = whole.requirements[0]
    assert asked.value == min(c.reserve.least for c in whole.cases.values())
    spots = [s for s in found.hot_spots if s.decided_by == "zoom"]
    assert spots and all(s.reserve in [z.least for z in found.zooms] for s in spots)
    again = read_findings(folder / "whole" / "findings.json")
    assert again.cases["lift"].zooms[0].least == pytest.approx(found.zooms[0].least)
    keys = json.loads((folder / "whole" / "findings.json").read_text())["cases"]["lift"]
    wanted = {
        "at_mm", "size_mm", "voxel_mm", "unknowns", "iterations", "least", "band", "zone", "mode", "by_zone",
        "homogenised", "beads_beyond",
    }  # fmt: skip
    assert wanted <= set(keys["zooms"][0])
    wanted = {
        "voxel_mm", "unknowns", "iterations", "least", "zone", "mode", "at_mm", "by_zone", "strain_energy_mJ", "faces"
    }  # fmt: skip
    assert wanted <= set(keys["whole"]) and "displacement_mm" in keys["whole"]["faces"]["tip"]
    assert {"least", "homogenised"} <= set(keys["reserve"])


def test_the_whole_part_balances_its_loads_and_bends_like_the_part(whole: Findings) -> None:
    for case in whole.cases.values():
        found = case.whole
        assert found is not None and found.iterations <= 30
        # Work of the loads on the part is twice the energy of part and foundation; the foundation holds little
        tip = np.array(found.faces["tip"].displacement_mm)
        work = float(np.array(case.applied_N) @ tip) / 2
        assert 0.9 * work < found.strain_energy_mJ < 1.001 * work
        assert found.strain_energy_mJ == pytest.approx(case.strain_energy_mJ, rel=0.15)
        assert tip[2] == pytest.approx(case.faces["tip"].displacement_mm[2], rel=0.15)


def test_a_zoom_says_what_the_whole_part_says_there(whole: Findings) -> None:
    """The cube hangs in a homogenised part; coarser boxes of the whole put the wall some per cent lower."""
    case = whole.cases["lift"]
    assert case.whole is not None
    assert case.reserve.least == pytest.approx(case.whole.least, rel=0.2)


def test_reserves_of_beads_go_with_the_load(whole: Findings) -> None:
    """Half the growing load alone: without the permanent pull its reserve is about twice as large, less a little."""
    lift, half = (whole.cases[name].whole for name in ("lift", "half"))
    assert lift is not None and half is not None
    assert 1.8 < half.least / lift.least < 2.6


def test_a_place_of_ones_choice(folder: Path) -> None:
    made = zoom_study(
        folder / "arm.toml", at=(3.0, WIDE / 2, HIGH), case="lift", size=5.0, voxel=0.2, out=folder / "place"
    )
    found = made.findings["lift"]
    assert list(made.findings) == ["lift"] and found.size_mm >= 5.0
    assert made.picture.is_file() and made.fields.is_file()
    assert found.by_zone["cover"] is not None and found.zone in ("wall", "cover", "core")
    views = zoom(folder / "arm.toml", (3.0, WIDE / 2, HIGH), case="lift", size=5.0, voxel=0.2)
    assert views[0].judged.reserve.shape == views[0].judged.beads.zone.shape
    least = np.nanmin(views[0].judged.reserve[views[0].judged.inner])
    assert least == pytest.approx(found.least, rel=1e-6)


@pytest.mark.parametrize(
    ("given", "text"),
    [
        ({"at": (40.0, 0.0, 0.0)}, "outside"),
        ({"at": (3.0, 3.0, 5.0), "case": "lfit"}, "lift"),
        ({"at": (3.0, 3.0, 5.0), "size": 900.0}, "mm"),
        ({"at": (3.0, 3.0, 5.0), "voxel": 2.0}, "mm"),
    ],
)
def test_a_place_that_makes_no_sense_is_refused_before_the_part_is_solved(
    folder: Path, given: dict[str, Any], text: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fem.study.zoom.solve_as_asked", lambda *_, **__: pytest.fail("the part was solved"))
    with pytest.raises(InputError) as told:
        zoom(folder / "arm.toml", given.pop("at"), **given)
    assert text in str(told.value)


def test_a_whole_part_that_would_not_fit_is_refused(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from fem.zooming import whole

    monkeypatch.setattr(whole, "available_memory", lambda: 2e6)
    with pytest.raises(TooLargeError) as told:
        solved(folder, {"judge.whole": True, "judge.zoom": 0}, "large")
    assert "million unknowns" in str(told.value) and "GB" in str(told.value)
    assert memory.available_memory() > 0


def test_the_command_prints_one_zoom_as_json(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = f"3,{WIDE / 2:g},{HIGH:g}"
    status = main(
        ["zoom", str(folder / "arm.toml"), "--at", place, "--case", "half", "--size", "5 mm", "--voxel", "0.2 mm",
         "--out", str(folder / "json"), "--json"]
    )  # fmt: skip
    told = json.loads(capsys.readouterr().out)
    assert status == 0 and told["case"] == "half" and told["least"] > 0
