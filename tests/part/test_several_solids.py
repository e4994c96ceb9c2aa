"""Files with several solids: refused with a list, chosen by number or name, joined on purpose."""

import dataclasses
import pickle
import re

import numpy as np
import pytest
import trimesh
from helpers_cad import draw

from fem.errors import SolidError
from fem.part.drawn.step_names import named_corners, names_by_corners
from fem.part.meshing import mesh_solid
from fem.part.quadrature import volume
from fem.part.several import FileSolid
from fem.part.solid import read_solid, shown_surface, solids_in


def assembly(occ):
    """A tray of 8000 mm³, a lid of 3200 mm³ on it, and a pin of 125 mm³ apart from both."""
    occ.addBox(0, 0, 0, 40, 20, 10)
    occ.addBox(0, 0, 10, 40, 20, 4)
    occ.addBox(60, 0, 0, 5, 5, 5)


@pytest.fixture
def case(tmp_path):
    """The assembly as STEP with the names tray, lid and pin; the writer's own numbers stand where names belong."""
    path = draw(tmp_path / "case.step", assembly)
    text = path.read_text()
    for number, name in enumerate(("tray", "lid", "pin"), start=1):
        text, changed = re.subn(rf"'Open CASCADE STEP translator [0-9.]+ [0-9]+\.{number}'", f"'{name}'", text)
        assert changed
    path.write_text(text)
    return path


def test_several_solids_are_refused_and_all_listed(case):
    with pytest.raises(SolidError) as caught:
        read_solid(case)
    said = str(caught.value)
    assert '3 solids: 1 "tray" (8,000 mm³, 40 x 20 x 10 mm, touches 2); 2 "lid" (3,200 mm³' in said
    assert '3 "pin" (125 mm³, 5 x 5 x 5 mm, touches nothing)' in said
    assert "part = 2" in said
    assert "fused = true" in said
    assert "\n" not in said
    tray, lid, pin = solids_in(case)
    assert (tray.touches, lid.touches, pin.touches) == ((2,), (1,), ())
    assert tray.overlaps == ()
    assert lid.box == pytest.approx(np.array([[0, 0, 10], [40, 20, 14]]), abs=1e-5)


@pytest.mark.parametrize("part", [2, "lid"])
def test_one_of_them_is_read_and_meshed_alone(case, part):
    solid = read_solid(case, name="lid", part=part)
    assert solid.volume == pytest.approx(3200)
    assert len(solid.faces) == 6
    assert sum(f.area for f in solid.faces) == pytest.approx(2 * 800 + 2 * 160 + 2 * 80)
    assert [p.name for p in solid.parts] == ["tray", "lid", "pin"]
    mesh = mesh_solid(solid, size=8, finest=4)
    assert volume(mesh, np.arange(len(mesh.tets))) == pytest.approx(3200)
    points, triangles, _ = shown_surface(solid)
    assert points[triangles].min(axis=(0, 1)) == pytest.approx([0, 0, 10])
    again = pickle.loads(pickle.dumps(solid))
    assert dataclasses.asdict(again.faces[0]).keys() == dataclasses.asdict(solid.faces[0]).keys()


def test_names_of_solid_entities_are_found_by_their_corners(tmp_path):
    """Bodies of one product have names as entities alone, and are told apart by their corners."""
    path = draw(tmp_path / "case.step", assembly)
    text, numbers = path.read_text(), iter(("unten", "de\\X2\\00FC\\X0\\ckel", ""))
    text = re.sub(r"MANIFOLD_SOLID_BREP\(''", lambda _: f"MANIFOLD_SOLID_BREP('{next(numbers)}'", text)
    path.write_text(text)
    assert [s.name for s in solids_in(path)] == ["unten", "deückel", ""]
    assert read_solid(path, part="deückel").volume == pytest.approx(3200)
    # A name whose corners are those of no solid, or of two, is no solid's name
    named = named_corners(path)
    assert [name for name, _ in named] == ["unten", "deückel"]
    (_, tray), (_, lid) = named
    assert names_by_corners([lid, tray], named) == ["deückel", "unten"]
    assert names_by_corners([25.4 * tray, lid + 1], named) == ["unten", ""]
    assert names_by_corners([tray, tray, lid], named) == ["", "", "deückel"]


def test_what_is_not_in_the_file_is_refused(case):
    for part, words in [
        (4, "there is no part 4: the file holds 3 solids, numbers 1 to 3"),
        (0, "there is no part 0"),
        ("lyd", "no solid is named 'lyd'.*lid"),
    ]:
        with pytest.raises(SolidError, match=words):
            read_solid(case, part=part)
    with pytest.raises(SolidError, match="both given"):
        read_solid(case, part=1, fused=True)
    case.write_text(case.read_text().replace("'pin'", "'lid'"))
    with pytest.raises(SolidError, match=r"2 solids are named 'lid'.*2, 3"):
        read_solid(case, part="lid")


def test_solids_are_joined_only_on_purpose(tmp_path, case):
    with pytest.raises(SolidError, match="still are 2 pieces"):
        read_solid(case, fused=True)
    path = draw(tmp_path / "two.step", lambda occ: (occ.addBox(0, 0, 0, 40, 20, 10), occ.addBox(0, 0, 10, 30, 20, 4)))
    with pytest.raises(SolidError, match="2 solids"):
        read_solid(path)
    solid = read_solid(path, fused=True)
    assert solid.volume == pytest.approx(8000 + 2400)
    assert sum(f.area for f in solid.faces) == pytest.approx(
        2 * 800 + 40 * 10 * 2 + 20 * 10 * 2 + 2 * 30 * 4 + 2 * 20 * 4
    )
    mesh = mesh_solid(solid, size=8, finest=4)
    assert volume(mesh, np.arange(len(mesh.tets))) == pytest.approx(10400)
    # The only solid of a file needs no word, and takes one
    only = draw(tmp_path / "one.step", lambda occ: occ.addBox(0, 0, 0, 4, 2, 1))
    assert [read_solid(only, **said).volume for said in ({}, {"part": 1}, {"fused": True})] == pytest.approx([8] * 3)
    with pytest.raises(SolidError, match="there is no part 2: the file holds one solid"):
        read_solid(only, part=2)


def test_overlap_is_told_from_touch(tmp_path):
    def build(occ):
        occ.addBox(0, 0, 0, 10, 10, 10)
        occ.addBox(9, 0, 0, 10, 10, 10)
        occ.addBox(19.5, 0, 0, 10, 10, 10)

    one, two, three = solids_in(draw(tmp_path / "three.step", build))
    assert (one.overlaps, one.touches) == ((2,), ())
    assert (two.overlaps, two.touches) == ((1,), ())
    assert (three.overlaps, three.touches) == ((), ())


def test_a_brep_with_a_hole_inside_is_one_solid(tmp_path):
    def build(occ):
        occ.cut([(3, occ.addBox(0, 0, 0, 10, 10, 10))], [(3, occ.addBox(3, 3, 3, 4, 4, 4))])

    solid = read_solid(draw(tmp_path / "hollow.brep", build), unit="mm")
    assert solid.volume == pytest.approx(1000 - 64)
    assert len(solid.parts) == 1
    inner = [f for f in solid.faces if f.area < 20]
    assert len(inner) == 6
    assert all((f.centre - 5) @ f.normal == pytest.approx(-2) for f in inner)


@pytest.mark.parametrize("suffix", ["3mf", "obj"])
def test_objects_of_a_file_of_triangles_have_names(tmp_path, suffix):
    scene = trimesh.Scene()
    scene.add_geometry(trimesh.creation.box(bounds=[[0, 0, 0], [40, 20, 10]]), geom_name="tray")
    scene.add_geometry(trimesh.creation.box(bounds=[[0, 0, 10], [40, 20, 14]]), geom_name="lid")
    scene.export(tmp_path / f"case.{suffix}")
    unit = None if suffix == "3mf" else "mm"
    with pytest.raises(SolidError, match=r'"tray" \(8,000 mm³, .*touches 2\); 2 "lid" \(3,200 mm³.*touches 1\)'):
        read_solid(tmp_path / f"case.{suffix}", unit=unit)
    lid = read_solid(tmp_path / f"case.{suffix}", unit=unit, part="lid")
    assert lid.volume == pytest.approx(3200)
    assert lid.box[:, 2] == pytest.approx([10, 14])


def test_contacts_that_were_not_measured_are_not_called_none():
    far = FileSolid(1, "", 1.0, np.array([[0.0] * 3, [1.0] * 3]))
    assert far.contact == "touches nothing"
    assert dataclasses.replace(far, measured=False).contact == "not measured"
    assert dataclasses.replace(far, measured=False, touches=(2,)).contact == "touches 2, others not measured"
