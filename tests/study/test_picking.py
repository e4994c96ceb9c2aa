"""`beadwork pick`: what can be picked on a solid, and that its page takes no other file's place."""

import re
from pathlib import Path

import pytest
from helpers_cad import draw, with_stl

import fem.study.picking as picking
import fem.telling.picking.page as page
from fem.cli import main
from fem.errors import InputError, SolidError
from fem.part.faces import find_faces
from fem.part.solid import read_solid
from fem.study.picking import choices_of, prove, write_pick_page
from fem.telling.picking import mark_in

MESHES = Path(__file__).parents[2] / "meshes"
BRACKET = MESHES / "cantilever_bracket.step"


def read(text, faces):
    """The faces that a query's text matches, by the study's own reading of it."""
    import tomllib

    from fem.study.keys.faces import FaceForm
    from fem.study.to_plans import face_query

    return find_faces(faces, face_query(FaceForm.model_validate(tomllib.loads(f"f = {text}")["f"])))


@pytest.mark.parametrize("mesh", ["wing_saddle.step", "shroud_lug.step", "cantilever_bracket.stl"])
def test_every_face_and_every_family_has_a_query_of_its_own(mesh):
    solid = read_solid(MESHES / mesh, name="part", unit="mm" if mesh.endswith("stl") else None)
    choices = choices_of(solid)
    assert all(read(face.query, solid.faces) == (i,) for i, face in enumerate(choices.faces))
    assert all(read(group.query, solid.faces) == group.faces for group in choices.groups)
    assert len({face.query for face in choices.faces}) == len(solid.faces)
    members = [choices.groups[n].faces for face in choices.faces for n in face.families.values()]
    owners = [i for i, face in enumerate(choices.faces) for _ in face.families]
    assert members and all(i in group for i, group in zip(owners, members, strict=True))


def test_families_of_the_bracket():
    """Two bores of 3.3 mm; a fillet of 8 mm that runs on smoothly into two flats."""
    solid = read_solid(BRACKET, name="part")
    choices = choices_of(solid)
    bores = tuple(i for i, f in enumerate(solid.faces) if f.hole)
    fillet = next(i for i, f in enumerate(solid.faces) if f.hollow and not f.hole)
    assert [choices.groups[choices.faces[i].families["radius"]].faces for i in bores] == [bores, bores]
    grown = choices.groups[choices.faces[fillet].families["grown"]].faces
    assert fillet in grown and len(grown) == 3 and "radius" not in choices.faces[fillet].families
    up = next(i for i, f in enumerate(choices.faces) if f.way == (0.0, 0.0, 1.0))
    assert len(choices.groups[choices.faces[up].families["way"]].faces) == 3


def test_a_query_that_matches_something_else_is_never_written():
    solid = read_solid(BRACKET, name="part")
    prove(solid.faces, {(0,): "{ plane = { normal = [0, -1, 0] } }"})
    with pytest.raises(RuntimeError, match="does not match just"):
        prove(solid.faces, {(1,): "{ plane = { normal = [0, -1, 0] } }"})


def test_a_solid_of_many_faces_goes_by_numbers(monkeypatch):
    monkeypatch.setattr(picking, "MOST_NAMED", 12)
    solid = read_solid(BRACKET, name="part")
    choices = choices_of(solid)
    assert [face.query for face in choices.faces] == [f"{{ id = [{f.id}] }}" for f in solid.faces]
    assert all(read(group.query, solid.faces) == group.faces for group in choices.groups)


def test_the_page_holds_all_it_needs(tmp_path):
    place, _ = write_pick_page(BRACKET, out=tmp_path / "p.html")
    text = place.read_text(encoding="utf-8")
    assert not re.search(r'(src|href)="(?!data:)', text) and "default-src 'none'" in text
    assert len(text) < 2e6 and "{{" not in text.split("<script", 1)[0]


def test_a_name_of_a_file_ends_no_element(tmp_path):
    odd = tmp_path / "a <b> & 'c'.step"
    odd.write_bytes(BRACKET.read_bytes())
    place, _ = write_pick_page(odd, out=tmp_path / "p.html")
    text = place.read_text(encoding="utf-8")
    assert "<h1>a &lt;b&gt; &amp; &#39;c&#39;.step</h1>" in text and "<b> &" not in text


def test_only_a_page_of_the_same_solid_is_replaced(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["pick", str(BRACKET)]) == 0
    own = Path("cantilever_bracket_step_pick.html")
    assert own.is_file() and str(own) in capsys.readouterr().out
    assert main(["pick", str(BRACKET)]) == 0 and len(list(Path().iterdir())) == 1
    other = tmp_path / "other" / BRACKET.name
    other.parent.mkdir()
    other.write_bytes(BRACKET.read_bytes())
    before = mark_in(own)
    assert main(["pick", str(other)]) == 0 and Path("cantilever_bracket_step_pick_2.html").is_file()
    assert mark_in(own) == before
    assert main(["pick", str(other), "--out", str(own)]) == 2 and mark_in(own) == before
    notes = Path("notes.html")
    notes.write_text("mine")
    capsys.readouterr()
    assert main(["pick", str(BRACKET), "--out", "notes.html"]) == 2 and notes.read_text() == "mine"
    assert "another file already" in capsys.readouterr().err
    assert main(["pick", str(BRACKET), "--out", "other"]) == 2


def test_what_cannot_be_picked_from_is_told_in_a_line(tmp_path, monkeypatch, capsys):
    assert main(["pick", str(tmp_path / "none.step")]) == 2
    assert main(["pick", str(MESHES / "cantilever_bracket.stl"), "--out", str(tmp_path / "p.html")]) == 2  # no unit
    assert all(line.count("\n") == 0 for line in capsys.readouterr().err.splitlines())
    monkeypatch.setattr(page, "MOST_TRIANGLES", 1000)
    with pytest.raises(SolidError, match="more than a page to pick from holds"):
        write_pick_page(BRACKET, out=tmp_path / "p.html")
    with pytest.raises(InputError):
        write_pick_page(BRACKET, out=tmp_path / ("x" * 300))
    assert not (tmp_path / "p.html").exists()


def two_boxes(occ):
    occ.addBox(0, 0, 0, 10, 10, 10)
    occ.addBox(20, 0, 0, 10, 10, 5)


def test_one_of_several_solids(tmp_path, capsys):
    step = draw(tmp_path / "two.step", two_boxes)
    out = tmp_path / "p.html"
    assert main(["pick", str(step), "--out", str(out)]) == 2 and "--part" in capsys.readouterr().err
    assert main(["pick", str(step), "--part", "2", "--out", str(out)]) == 0
    assert "two.step, part 2" in out.read_text(encoding="utf-8")
    assert main(["pick", str(step), "--part", "1", "--out", str(out)]) == 2  # another solid's page


def test_triangles_in_inches(tmp_path):
    stl = with_stl(BRACKET, tmp_path / "b.stl", 8.0)
    place, choices = write_pick_page(stl, out=tmp_path / "p.html", unit="in")
    assert place.is_file() and choices.solid.size == pytest.approx(80 * 25.4)
