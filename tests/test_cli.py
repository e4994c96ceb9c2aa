"""The command as a user types it: what it prints, and the status it leaves with."""

import json
from pathlib import Path

import pytest

from fem.cli import main

ROOT = Path(__file__).resolve().parents[1]


def test_faces_lists_numbers_units_and_draws_a_picture(tmp_path, capsys):
    picture = tmp_path / "faces.png"
    solid = ROOT / "meshes" / "cantilever_bracket.step"
    assert main(["faces", str(solid), "--picture", str(picture)]) == 0
    out = capsys.readouterr().out
    assert "area [mm²]" in out
    assert "radius [mm]" in out
    assert picture.read_bytes()[:4] == b"\x89PNG"
    assert main(["faces", str(solid), "--picture", str(picture), "--json"]) == 0
    faces = json.loads(capsys.readouterr().out)
    bolts = [f for f in faces if f["radius_mm"] == pytest.approx(3.3, rel=1e-6)]
    assert len(bolts) == 2
    assert all(f["hole"] and f["kind"] == "cylinder" for f in bolts)


def test_step_and_stl_show_the_same_faces(tmp_path, capsys):
    found = []
    for suffix, more in (("step", []), ("stl", ["--unit", "mm"])):
        solid = str(ROOT / "meshes" / f"cantilever_bracket.{suffix}")
        assert main(["faces", solid, "--json", "--picture", str(tmp_path / "p.png"), *more]) == 0
        faces = json.loads(capsys.readouterr().out)
        found.append(sorted((f["kind"], round(f["area_mm2"])) for f in faces))
    kinds = [[kind for kind, _ in one] for one in found]
    assert kinds[0] == kinds[1]
    for (_, a), (_, b) in zip(*found, strict=True):
        assert a == pytest.approx(b, rel=0.01)


def test_cards_lists_every_card_with_sources(capsys):
    assert main(["cards"]) == 0
    out = capsys.readouterr().out
    for name in (
        "pa12-cf",
        "pa6-cf",
        "pla",
        "petg",
        "abs",
        "asa",
        "pc",
        "6082-t6",
        "6061-t6",
        "steel",
        "a4-stainless",
    ):
        assert name in out
    assert "source" in out
    assert "estimate" in out


@pytest.mark.parametrize("name", ["wing_saddle", "cantilever_bracket"])
def test_the_shipped_studies_can_be_checked(name, capsys):
    assert main(["check", str(ROOT / "studies" / f"{name}.toml")]) == 0
    out = capsys.readouterr().out
    assert "total force [N]" in out
    assert "The study can be run." in out


def test_the_bracket_meets_what_its_study_asks(tmp_path, capsys):
    study = ROOT / "studies" / "cantilever_bracket.toml"
    assert main(["run", str(study), "--out", str(tmp_path / "out"), "--strict"]) == 0
    out = capsys.readouterr().out
    assert "maximum deflection [mm]" in out
    assert "NOT MET" not in out
    page = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    found = json.loads((tmp_path / "out" / "findings.json").read_text())
    assert len(page.encode()) < 8e6
    assert found["title"] in page
    assert max(c["force_error"] for c in found["cases"].values()) < 1e-8
