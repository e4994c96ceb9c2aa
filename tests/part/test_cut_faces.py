"""Part of a face as a patch of its own: exact areas, the mesh follows the border, resultants of loads on it."""

from dataclasses import replace

import numpy as np
import pytest
import trimesh
from helpers_cad import draw

from fem.errors import FaceError
from fem.loading.loads import pressure_load
from fem.part.clipping import clipped_area
from fem.part.faces import FaceQuery, cuts_of, find_faces, name_faces
from fem.part.meshing import mesh_solid
from fem.part.solid import read_solid

PATCH = ((10.0, 5.0, 7.0), (30.0, 15.0, 9.0))
TOP = FaceQuery(kind="plane", normal=(0, 0, 1), at="max")


def plate(occ):
    occ.addBox(0, 0, 0, 60, 40, 8)


def meshed(solid, queries, **sizes):
    return mesh_solid(solid, cuts=cuts_of(solid.faces, queries).get(solid.name, ()), **sizes)


@pytest.mark.parametrize("low", [7.0, 8.0])
def test_a_patch_cut_from_a_plate_is_exact(tmp_path, low):
    solid = read_solid(draw(tmp_path / "plate.step", plate))
    cut = ((10.0, 5.0, low), PATCH[1])
    queries = {"pad": replace(TOP, cut=cut), "top": TOP}
    groups = name_faces(meshed(solid, queries, size=9, finest=5), queries)
    pad = groups["pad"]
    assert pad.area == pytest.approx(200, rel=1e-9)
    assert pad.cut_area == pytest.approx(200, rel=1e-9)
    assert pad.centre == pytest.approx([20, 10, 8], abs=1e-8)
    assert (pad.what, pad.note) == ("part of 1 face", "")
    assert groups["top"].area == pytest.approx(2400, rel=1e-9)
    assert groups["top"].what == "1 face"
    # All six faces are there, by the ids that they have without a cut
    assert [f.id for f in solid.faces] == [1, 2, 3, 4, 5, 6]


def test_pressure_on_a_patch_has_the_exact_resultant(tmp_path):
    solid = read_solid(draw(tmp_path / "plate.step", plate))
    queries = {"pad": replace(TOP, cut=PATCH)}
    mesh = meshed(solid, queries, size=9, finest=5)
    forces = pressure_load(mesh, name_faces(mesh, queries)["pad"], pressure=0.5)
    assert forces.sum(axis=0) == pytest.approx([0, 0, -100], abs=1e-9)
    assert np.cross(mesh.nodes, forces).sum(axis=0) == pytest.approx([-1000, 2000, 0], abs=1e-6)


def test_without_the_split_the_area_reached_is_told(tmp_path):
    """The negative control: the same cut on a mesh that was not told of it."""
    solid = read_solid(draw(tmp_path / "plate.step", plate))
    pad = name_faces(mesh_solid(solid, size=9, finest=5), {"pad": replace(TOP, cut=PATCH)})["pad"]
    assert pad.cut_area == pytest.approx(200, rel=1e-9)
    assert abs(pad.area - 200) > 2
    assert "face pad" in pad.note
    assert "200 mm²" in pad.note


def test_cuts_on_one_face_may_overlap_and_share_a_name_with_none(tmp_path):
    solid = read_solid(draw(tmp_path / "plate.step", plate))
    queries = {
        "one": replace(TOP, cut=((0, 0, 7), (20, 20, 9))),
        "two": replace(TOP, cut=((10, 10, 7), (40, 25, 9))),
        "side": FaceQuery(kind="plane", normal=(1, 0, 0), cut=((59, 10, 0), (61, 20, 4))),
    }
    groups = name_faces(meshed(solid, queries, size=9, finest=5), queries)
    assert [groups[n].area for n in queries] == pytest.approx([400, 450, 40], rel=1e-9)


def test_a_cut_on_a_cylinder(tmp_path):
    """A quarter of a shaft of radius 10 between z = 5 and 15: area 10 * pi / 2 * 10."""
    solid = read_solid(draw(tmp_path / "shaft.step", lambda occ: occ.addCylinder(0, 0, 0, 0, 0, 30, 10)))
    queries = {"seat": FaceQuery(kind="cylinder", radius=10, cut=((0, 0, 5), (20, 20, 15)))}
    mesh = meshed(solid, queries, size=5, finest=2)
    seat = name_faces(mesh, queries)["seat"]
    assert seat.area == pytest.approx(50 * np.pi, rel=1e-4)
    assert seat.note == ""
    assert mesh.nodes[mesh.triangles[seat.triangles]].min(axis=(0, 1)) == pytest.approx([0, 0, 5], abs=1e-6)
    forces = pressure_load(mesh, seat, pressure=1.0)
    # A pressure on a quarter round pushes as on its shadow, 10 x 10 mm along x and along y
    assert forces.sum(axis=0) == pytest.approx([-100, -100, 0], rel=1e-4, abs=1e-4)


def test_triangles_of_a_file_are_split_too(tmp_path):
    box = trimesh.creation.box(bounds=[[0, 0, 0], [60, 40, 8]])
    box.export(tmp_path / "plate.stl")
    solid = read_solid(tmp_path / "plate.stl", unit="mm")
    queries = {"pad": replace(TOP, cut=PATCH), "top": TOP}
    groups = name_faces(meshed(solid, queries, size=9, finest=5), queries)
    assert groups["pad"].area == pytest.approx(200, rel=1e-6)
    assert groups["top"].area == pytest.approx(2400, rel=1e-6)
    assert groups["pad"].note == ""


def test_a_box_that_misses_the_face_says_so(tmp_path):
    solid = read_solid(draw(tmp_path / "plate.step", plate))
    queries = {"pad": replace(TOP, cut=((10, 5, 1), (30, 15, 7)))}
    mesh = meshed(solid, queries, size=12, finest=6)
    with pytest.raises(
        FaceError, match=r"faces\.pad: the cut \(10, 5, 1\) to \(30, 15, 7\) mm misses part:\d+ \(plane"
    ):
        name_faces(mesh, queries)
    # Touching a face along an edge alone is missing it, too
    with pytest.raises(FaceError, match="misses"):
        name_faces(mesh, {"pad": replace(TOP, cut=((60, 0, 7), (70, 40, 9)))})


def test_a_triangle_is_clipped_by_a_box():
    triangle = np.array([[0, 0, 0], [4, 0, 0], [0, 4, 0.0]])
    assert clipped_area(triangle, (-1, -1, -1), (5, 5, 5)) == pytest.approx(8)
    assert clipped_area(triangle, (-1, -1, -1), (1, 1, 1)) == pytest.approx(1)
    assert clipped_area(triangle, (-1, -1, -1), (3, 3, 1)) == pytest.approx(7)
    assert clipped_area(triangle, (2, 2, -1), (9, 9, 1)) == pytest.approx(0)
    assert clipped_area(triangle, (0, 0, 1), (9, 9, 2)) == 0


def test_at_takes_whole_numbers_and_refuses_other_words(tmp_path):
    solid = read_solid(draw(tmp_path / "plate.step", plate))
    (top,) = find_faces(solid.faces, FaceQuery(normal=(0, 0, 1), at=8))
    assert solid.faces[top].centre[2] == pytest.approx(8)
    with pytest.raises(FaceError, match="no face matches"):
        find_faces(solid.faces, FaceQuery(normal=(0, 0, 1), at=7))
    for word in ("top", "Max", "", True, float("nan")):
        with pytest.raises(FaceError, match="is not a place"):
            FaceQuery(normal=(0, 0, 1), at=word)
    with pytest.raises(FaceError, match="low is not below high"):
        FaceQuery(normal=(0, 0, 1), cut=((0, 0, 0), (1, 1, 0)))


def test_at_is_measured_along_the_normal_of_a_skew_plane(tmp_path):
    """A block turned by 30 degrees: its sides lie 2 and 12 mm from the origin along their normal, whichever way."""

    def build(occ):
        occ.rotate([(3, occ.addBox(2, 0, 0, 10, 8, 6))], 0, 0, 0, 0, 0, 1, np.pi / 6)

    solid = read_solid(draw(tmp_path / "turned.step", build))
    normal = (np.cos(np.pi / 6), 0.5, 0.0)
    for at, outward in ((12.0, 1.0), (2.0, -1.0)):
        (hit,) = find_faces(solid.faces, FaceQuery(normal=tuple(outward * v for v in normal), at=at))
        assert solid.faces[hit].centre @ normal == pytest.approx(at)
    with pytest.raises(FaceError, match=r"largest component is positive: there a plane lies at 2 mm"):
        find_faces(solid.faces, FaceQuery(normal=tuple(-v for v in normal), at=-2.0))
    along_x = float(solid.faces[hit].centre[0])
    with pytest.raises(FaceError, match="no face matches"):
        find_faces(solid.faces, FaceQuery(normal=tuple(-v for v in normal), at=along_x))
