"""`beadwork zoom`: how a place is read, what is asked of the story, what is printed."""

from __future__ import annotations

import json
import sys
import types
from pathlib import Path

import pytest

from fem.caution import Caution
from fem.cli import main
from fem.cli.zooming import point
from fem.errors import InputError
from fem.judging.zoomed import ZoomFindings

PLACE = (36.5, -5.4, 15.4)


def findings(**other) -> ZoomFindings:
    told = {
        "body": "saddle", "at_mm": PLACE, "size_mm": 12.0, "voxel_mm": (0.1125, 0.1125, 0.1), "unknowns": 1_960_000,
        "iterations": 9, "least": 0.984, "band": (0.93, 1.034), "zone": "wall", "mode": "interlayer shear",
        "worst_at_mm": (36.5, -2.7, 15.3), "by_zone": {"wall": 0.984, "cover": 1.21, "core": None},
        "homogenised": 0.293, "homogenised_zone": "core", "beads_beyond": 2, "change": 0.012, "settled": True,
        "face": "socket", "face_distance_mm": 0.4,
    }  # fmt: skip
    return ZoomFindings(**{**told, **other})


@pytest.mark.parametrize(
    "text",
    [
        "36.5,-5.4,15.4",
        "36.5, -5.4, 15.4",
        "36.5 -5.4 15.4",
        "36.5;-5.4;15.4",
        "36,5 -5,4 15,4",
        "36,5; -5,4; 15,4",
        "36,5, -5,4, 15,4",
        "36.5 mm, -5.4 mm, 15.4 mm",
        "36,5 mm, -5,4 mm, 15,4 mm",
        "3.65 cm; −0.54 cm; 15.4 mm",
    ],
)
def test_a_place_is_read_as_people_write_it(text):
    assert point(text, where="--at") == pytest.approx(PLACE, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("36,5,-5,4,15,4", "not three coordinates"),
        ("36.5,-5.4", "not three coordinates"),
        ("1,5 200,3", "not three coordinates"),
        ("", "not three coordinates"),
        ("1,500, 2, 3", "can be read in two ways"),
        ("36.5, -5.4, 15.4 cm", "some of the three coordinates have a unit, others none"),
        ("1 kg, 2 mm, 3 mm", "is not a length"),
        ("a,b,c", "does not start with a number"),
        ("nan,1,2", "does not start with a number"),
        ("1e40,1,2", "too large"),
    ],
)
def test_a_place_of_several_readings_or_none_is_refused(text, words):
    with pytest.raises(InputError, match=words) as caught:
        point(text, where="--at")
    assert caught.value.where == "--at"


@pytest.fixture
def asked(monkeypatch):
    """What the command asks of the story, which is replaced by one that has its answer ready."""
    seen: dict = {}
    answer = {"landing": findings(), "cruise": findings(least=2.4, settled=False, change=-0.08)}

    def zoom_study(path, *, at, case=None, size=None, voxel=None, out=None, progress=None):
        seen.update(path=path, at=at, case=case, size=size, voxel=voxel, out=out)
        return types.SimpleNamespace(
            findings=answer,
            folder=Path("out"),
            picture=Path("out/zoom.png"),
            fields=Path("out/beads.vtu"),
            cautions=(Caution("draft", "Loads are guesses.", decisive=True),) if "draft" in path else (),
        )

    story = types.ModuleType("fem.study.zoom")
    story.zoom_study = zoom_study
    monkeypatch.setitem(sys.modules, "fem.study.zoom", story)
    return seen


def test_the_options_reach_the_story_in_mm(asked, capsys):
    given = [
        "zoom",
        "s.toml",
        "--case",
        "landing",
        "--at",
        "-36.5,-5.4,15.4",
        "--size",
        "1.2 cm",
        "--voxel",
        "110 um",
    ]
    assert main([*given, "--out", "there"]) == 0
    assert asked["at"] == pytest.approx((-36.5, -5.4, 15.4))
    assert (asked["case"], asked["out"]) == ("landing", Path("there"))
    assert (asked["size"], asked["voxel"]) == (pytest.approx(12.0), pytest.approx(0.11))
    out = capsys.readouterr().out
    assert "Case landing: bead by bead 0.98 (0.93 to 1.03), in the wall; homogenised 0.29, in the core." in out
    assert "out/zoom.png" in out and "out/beads.vtu" in out
    assert "Cube of 12 mm in boxes of 0.113 x 0.113 x 0.1 mm" in out and "1,960,000" in out and "NO: 8 %" in out
    table = out.split("face socket")[1].split("wall, cover, core")[0]
    assert max(len(line.rstrip()) for line in table.splitlines()) <= 120


def test_a_draft_is_told_as_one(asked, capsys):
    assert main(["zoom", "draft.toml", "--at=1,2,3"]) == 0
    assert "CAUTION: Loads are guesses." in capsys.readouterr().out
    assert main(["zoom", "s.toml", "--at=1,2,3"]) == 0
    assert "CAUTION" not in capsys.readouterr().out


def test_left_out_options_are_left_to_the_story(asked):
    assert main(["zoom", "s.toml", "--at=1,2,3"]) == 0
    assert (asked["case"], asked["size"], asked["voxel"], asked["out"]) == (None, None, None, None)


def test_json_is_the_worst_case_with_the_keys_of_the_findings(asked, capsys):
    assert main(["zoom", "s.toml", "--at", "1,2,3", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["case"] == "landing" and told["least"] == 0.984
    assert set(told) == {"case", *ZoomFindings.__dataclass_fields__}


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--at", "1,2"], "--at: '1,2' is not three coordinates"),
        (["--at", "1,2,3", "--size", "12"], "--size: '12' has no unit"),
        (["--at", "1,2,3", "--size", "-1 mm"], "--size"),
        (["--at", "1,2,3", "--voxel", "0 mm"], "--voxel: '0 mm' must be more than zero"),
        ([], "--at"),
    ],
)
def test_wrong_options_end_with_status_two(asked, capsys, more, words):
    try:
        status = main(["zoom", "s.toml", *more])
    except SystemExit as left:
        status = left.code
    assert status == 2
    assert words in capsys.readouterr().err
    assert asked == {}
