"""A drafted study: it checks as written, whatever the solid, and says that it rests on guesses."""

import re
import tomllib
from pathlib import Path

import numpy as np
import pytest
from helpers_cad import draw, with_stl

from fem.cli import main
from fem.errors import InputError, SolidError
from fem.part.faces import find_faces
from fem.part.solid import read_solid
from fem.study.check import check_study
from fem.study.drafting.story import body_name, draft_study, relative_path
from fem.study.drafting.text import MARK
from fem.study.file import read_study
from fem.study.run import run_study

MESHES = sorted((Path(__file__).parents[2] / "meshes").glob("*.step"))


def plate(occ, *, x=0.0):
    """A plate with four holes of 5 mm and a boss, its top, bottom and four sides all flat."""
    occ.fuse([(3, occ.addBox(x, 0, 0, 60, 40, 6))], [(3, occ.addCylinder(x + 30, 20, 6, 0, 0, 10, 7))])
    holes = [(3, occ.addCylinder(x + a, b, -1, 0, 0, 20, 2.5)) for a in (10, 50) for b in (10, 30)]
    occ.cut(occ.getEntities(3), holes)


def turned_plate(occ):
    plate(occ)
    for axis, angle in (((1, 0, 0), 0.4), ((0, 1, 0), -1.1), ((0, 0, 1), 2.0)):
        occ.rotate(occ.getEntities(3), 0, 0, 0, *axis, angle)


def two_plates(occ):
    plate(occ)
    occ.addBox(0, 0, 20, 30, 30, 10)


def checked(study):
    found = check_study(read_study(study))
    assert [c.kind for c in found.cautions if c.decisive] == ["draft"]
    return found


@pytest.mark.parametrize("mesh", MESHES, ids=lambda p: p.stem)
def test_a_draft_of_every_solid_here_checks_as_written(mesh, tmp_path):
    draft = draft_study(mesh, out=tmp_path / "study.toml")
    found = checked(draft.path)
    assert sum(MARK in line for line in draft.text.splitlines()) == 3
    for name, group in found.groups.items():
        offer = next(n.offer for n in draft.bodies[0].faces if n.offer.name == name)
        assert group.count == len(offer.faces)
        assert group.area == pytest.approx(offer.area, rel=0.03)


def test_a_draft_of_an_stl_in_inches_checks(tmp_path):
    step = draw(tmp_path / "plate.step", plate)
    stl = with_stl(step, tmp_path / "plate.stl", 60)
    with pytest.raises(SolidError, match="unit"):
        draft_study(stl, out=tmp_path / "none.toml")
    assert not (tmp_path / "none.toml").exists()
    draft = draft_study(stl, out=tmp_path / "plate.toml", unit="in")
    found = checked(draft.path)
    assert found.solids["plate"].size == pytest.approx(60 * 25.4, rel=1e-4)
    assert set(found.groups) >= {"top", "bottom", "front", "back", "left", "right", "holes_127", "boss_355.6"} - {
        "top"
    }
    # The boss ends at the top, the plate itself does not
    assert found.groups["top"].area == pytest.approx(np.pi * 49 * 25.4**2, rel=0.01)
    assert found.groups["holes_127"].count == 4


def test_a_draft_of_a_turned_part_names_no_side_and_checks(tmp_path):
    draft = draft_study(draw(tmp_path / "turned.step", turned_plate), out=tmp_path / "turned.toml")
    found = checked(draft.path)
    assert not set(found.groups) & {"top", "bottom", "front", "back", "left", "right"}
    assert "holes_5" in found.groups
    # It stands on its largest flat, and is built away from it
    (body,) = draft.bodies
    study = read_study(draft.path)
    held = found.groups[study.supports["hold"].face]
    assert held.area == pytest.approx(2400 - 4 * np.pi * 6.25, rel=1e-3)
    normal = next(n.offer.normal for n in body.faces if n.offer.name == study.supports["hold"].face)
    assert np.dot(body.guess.up, normal) == pytest.approx(-1, abs=1e-4)
    (force, _), *_ = found.totals.values()
    assert np.linalg.norm(force) == pytest.approx(100, rel=1e-3)


def test_each_of_two_solids_becomes_a_body(tmp_path):
    draft = draft_study(draw(tmp_path / "two.step", two_plates), out=tmp_path / "two.toml")
    assert len(draft.bodies) == 2
    found = checked(draft.path)
    assert sorted(round(s.volume) for s in found.solids.values())[0] == 9000
    study = read_study(draft.path)
    assert len(study.supports) == len(study.loads) == 2
    faces = [face for body in draft.bodies for face in body.solid.faces]
    for name, query in study.faces.items():
        assert query.body is not None
        assert {faces[i].body for i in find_faces(faces, query, name=name)} == {query.body}
    assert "No force passes between bodies" in draft.text
    one = draft_study(tmp_path / "two.step", out=tmp_path / "one.toml", part=2)
    assert list(read_study(one.path).bodies) == ["two"]


@pytest.mark.parametrize("kind", ["step", "stl"])
def test_a_part_without_flats_is_held_and_loaded_at_its_ends(tmp_path, kind):
    path = draw(tmp_path / "ball.step", lambda occ: occ.addSphere(3, 4, 5, 10))
    if kind == "stl":
        path = with_stl(path, tmp_path / "ball.stl", 4)
    draft = draft_study(path, out=tmp_path / "ball.toml", unit="mm" if kind == "stl" else None)
    found = checked(draft.path)
    # Archimedes: a cap of height h has 2 pi r h
    for end in ("lower_end", "upper_end"):
        assert found.groups[end].area == pytest.approx(2 * np.pi * 10 * 0.15 * 20, rel=0.05)


def test_two_parts_without_flats_keep_their_names_apart(tmp_path):
    path = draw(tmp_path / "balls.step", lambda occ: [occ.addSphere(x, 0, 0, 10) for x in (0, 30)])
    draft = draft_study(path, out=tmp_path / "balls.toml")
    study = read_study(draft.path)
    assert len(study.supports) == len(study.loads) == len(study.bodies) == 2
    assert len({plan.face for plan in study.supports.values()}) == 2
    assert "No force passes between bodies" in draft.text


def test_all_that_stands_as_a_comment_can_be_used(tmp_path):
    draft = draft_study(draw(tmp_path / "plate.step", plate), out=tmp_path / "plate.toml")
    kept = [line for line in draft.text.splitlines() if not re.match(r"# (A first|\"<- edit|No print|\[)|#$", line)]
    study = tmp_path / "all.toml"
    tables = ("cases", "watch", "requirements")
    text = "\n".join(kept).replace('infill = "solid"\n', "")
    before, _, rest = text.partition("# service")
    text = before + "[cases]\n# service" + rest
    text = text.replace("# faces = [", "[watch]\n# faces = [").replace("# reserve", "[requirements]\n# reserve")
    study.write_text(re.sub(r"(?m)^# ", "", text))
    tree = tomllib.loads(study.read_text())
    assert set(tables) < set(tree)
    assert {"press", "finger", "weight", "pin"} < set(tree["loads"])
    assert {"rest", "rubber"} < set(tree["supports"])
    found = check_study(read_study(study))
    assert {"service", "overload"} == set(found.totals)
    assert found.loads["pin"]["kind"] == "bearing"


def test_the_edit_of_three_lines_makes_it_a_study_that_runs(tmp_path):
    draft = draft_study(draw(tmp_path / "plate.step", plate), out=tmp_path / "plate.toml")
    text = draft.text.replace('mesh = { accuracy = "10 %" }', 'mesh = { size = "9 mm", finest = "4 mm" }')
    edits = {
        "polymer =": 'polymer = "asa"',
        "hold =": 'hold = { face = "holes_5", fixed = ["x", "y", "z"] }',
        "load =": 'load = { face = "top", force = ["0 N", "40 N", "-250 N"] }',
    }
    marked = [line for line in text.splitlines() if MARK in line]
    assert [next(key for key in edits if line.startswith(key)) for line in marked] == list(edits)
    for line in marked:
        text = text.replace(line, next(new for key, new in edits.items() if line.startswith(key)))
    draft.path.write_text(text + "\n[judge]\nzoom = 0\n")
    findings, _ = run_study(draft.path, out=tmp_path / "guessed")
    assert findings.cautions[0].kind == "draft"
    assert findings.cautions[0].decisive
    assert "hold on face holes_5" in findings.cautions[0].text
    force = np.sum([r.force_N for r in findings.cases["all"].reactions if not r.part], axis=0)
    assert force == pytest.approx([0, -40, 250], abs=0.01)
    assert findings.bodies["plate"].material == "asa"
    # The fourth line is the user's word for it
    draft.path.write_text("".join(line for line in draft.path.read_text().splitlines(True) if line[:5] != "draft"))
    assert "draft" not in {c.kind for c in check_study(read_study(draft.path)).cautions}


@pytest.mark.parametrize("name", ['a "b" \\c.step', "Haltebügel 支架.step", "tab\there.step", "#.step", "x'''y.step"])
def test_any_file_name_and_any_folder(tmp_path, name, monkeypatch):
    folder = tmp_path / "parts ü" / "in"
    folder.mkdir(parents=True)
    draw(tmp_path / "plain.step", lambda occ: occ.addBox(0, 0, 0, 10, 10, 10)).rename(folder / name)
    draft = draft_study(folder / name, out=tmp_path / "studies" / "new.toml")
    study = read_study(draft.path)
    assert study.title == f"Draft of {name}"
    (body,) = study.bodies.values()
    assert body.solid.resolve() == (folder / name).resolve()
    assert body.solid.parts[-4:-1] == ("..", "parts ü", "in")
    monkeypatch.chdir(folder)
    here = draft_study(Path(name))
    assert here.path == Path(f"{Path(name).stem}.toml")
    assert next(iter(read_study(here.path).bodies.values())).solid == Path(name)


def test_a_linked_folder_does_not_lead_astray(tmp_path):
    real = tmp_path / "deep" / "down"
    real.mkdir(parents=True)
    (tmp_path / "link").symlink_to(real)
    solid = draw(tmp_path / "box.step", lambda occ: occ.addBox(0, 0, 0, 10, 10, 10))
    draft = draft_study(solid, out=tmp_path / "link" / "box.toml")
    assert next(iter(read_study(draft.path).bodies.values())).solid.samefile(solid)


def test_a_draft_never_replaces_a_file(tmp_path, capsys):
    solid = draw(tmp_path / "box.step", lambda occ: occ.addBox(0, 0, 0, 10, 10, 10))
    taken = tmp_path / "box.toml"
    taken.write_text("mine")
    assert main(["draft", str(solid), "--out", str(taken)]) == 2
    told = capsys.readouterr().err
    assert told.count("\n") == 1
    assert "there is a file already" in told
    assert taken.read_text() == "mine"
    (tmp_path / "gone.toml").symlink_to(tmp_path / "nowhere")
    for place in (tmp_path, tmp_path / "gone.toml", tmp_path / "a\0b"):
        with pytest.raises(InputError):
            draft_study(solid, out=place)


def test_what_cannot_be_drafted_is_told_in_a_line(tmp_path, capsys):
    (tmp_path / "bad.step").write_text("no solid at all")
    for bad in ("bad.step", "none.step", "bad.txt"):
        assert main(["draft", str(tmp_path / bad), "--out", str(tmp_path / "new.toml")]) == 2
        told = capsys.readouterr().err.strip().splitlines()
        assert [line for line in told if line.startswith("beadwork: ") and bad in line] == told
    assert not (tmp_path / "new.toml").exists()
    with pytest.raises(InputError, match="no text that a study could hold"):
        relative_path(tmp_path / "a\udcffb.step", tmp_path / "x.toml")


def test_the_command_says_what_to_edit(tmp_path, capsys):
    solid = draw(tmp_path / "plate.step", plate)
    assert main(["draft", str(solid), "--out", str(tmp_path / "plate.toml")]) == 0
    told = capsys.readouterr().out
    text = (tmp_path / "plate.toml").read_text().splitlines()
    lines = [int(n) for n in re.findall(r"line (\d+):", told)]
    assert len(lines) == 3
    assert all(MARK in text[n - 1] for n in lines)


def test_names_of_bodies_are_bare(tmp_path):
    assert body_name("Halteb\u00fcgel  v2 (final)") == "haltebugel_v2_final"
    assert body_name("\u652f\u67b6") == "part"
    assert read_solid(draw(tmp_path / "b.step", lambda occ: occ.addBox(0, 0, 0, 9, 9, 9))).size == pytest.approx(9)
