"""CAD solids: volumes, faces and normals against the closed forms of the shapes drawn."""

import numpy as np
import pytest
from helpers_cad import draw

from fem.errors import InputError, SolidError
from fem.part.faces import FaceQuery, area_and_centre, find_faces
from fem.part.meshing import estimated_unknowns, jacobian_ratio, mesh_solid
from fem.part.quadrature import volume
from fem.part.solid import read_solid

VOLUME = 40 * 20 * 10 - np.pi * 4**2 * 10


def block_with_hole(occ):
    box = occ.addBox(0, 0, 0, 40, 20, 10)
    occ.cut([(3, box)], [(3, occ.addCylinder(20, 10, -1, 0, 0, 12, 4))])


@pytest.mark.parametrize(("suffix", "unit"), [("step", None), ("brep", "mm"), ("iges", None)])
def test_every_cad_format_gives_the_exact_solid(tmp_path, suffix, unit):
    solid = read_solid(draw(tmp_path / f"block.{suffix}", block_with_hole), unit=unit)
    assert solid.volume == pytest.approx(VOLUME, rel=1e-6)
    (hole,) = find_faces(solid.faces, FaceQuery(kind="cylinder", radius=4.0))[:1]
    assert solid.faces[hole].hole
    assert sum(f.area for f in solid.faces if f.kind == "cylinder") == pytest.approx(2 * np.pi * 4 * 10, rel=1e-6)
    (low,) = find_faces(solid.faces, FaceQuery(normal=(0, 0, -1), at="min"))
    assert solid.faces[low].centre[2] == pytest.approx(0, abs=1e-9)


def test_curved_mesh_carries_the_exact_volume_and_area(tmp_path):
    solid = read_solid(draw(tmp_path / "block.step", block_with_hole), name="block")
    mesh = mesh_solid(solid, size=5, finest=1.5)
    # Straight sides would miss 2.6 % of the hole (16 sides to the circle): 0.2 % of the part
    assert volume(mesh, np.arange(len(mesh.tets))) == pytest.approx(VOLUME, rel=2e-5)
    area, _ = area_and_centre(mesh, np.arange(len(mesh.triangles)))
    assert area == pytest.approx(sum(f.area for f in solid.faces), rel=1e-4)
    assert jacobian_ratio(mesh.nodes, mesh.tets).min() > 0
    hole = next(i for i, f in enumerate(mesh.faces) if f.kind == "cylinder")
    on_hole = mesh.nodes[mesh.nodes_of((hole,))]
    assert np.hypot(on_hole[:, 0] - 20, on_hole[:, 1] - 10) == pytest.approx(4.0, abs=1e-6)


@pytest.mark.parametrize(
    ("build", "size", "finest"),
    [
        (block_with_hole, 5, 1.25),
        (lambda occ: occ.addTorus(0, 0, 0, 20, 4), 5, 1.5),
        (lambda occ: occ.addSphere(0, 0, 0, 10), 4, 1),
        (lambda occ: occ.addCylinder(0, 0, 0, 0, 0, 60, 4), 4, 1.5),
        (lambda occ: occ.dilate([(3, occ.addTorus(0, 0, 0, 20, 5))], 0, 0, 0, 1.5, 1, 0.7), 5, 1.5),
    ],
)
def test_the_size_of_a_mesh_is_foretold(tmp_path, build, size, finest):
    solid = read_solid(draw(tmp_path / "part.step", build))
    told = estimated_unknowns(solid, size=size, finest=finest)
    assert 0.75 < told / mesh_solid(solid, size=size, finest=finest).unknowns < 1.9


def test_the_same_input_gives_the_same_mesh(tmp_path):
    solid = read_solid(draw(tmp_path / "block.step", block_with_hole))
    first, second = (mesh_solid(solid, size=6, finest=2) for _ in range(2))
    assert np.array_equal(first.nodes, second.nodes)
    assert np.array_equal(first.tets, second.tets)


def test_a_whole_ball_can_be_meshed(tmp_path):
    solid = read_solid(draw(tmp_path / "ball.step", lambda occ: occ.addSphere(0, 0, 0, 10)))
    mesh = mesh_solid(solid, size=4, finest=2)
    assert volume(mesh, np.arange(len(mesh.tets))) == pytest.approx(4 / 3 * np.pi * 1000, rel=2e-3)


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("gone.step", None, "no such file"),
        ("empty.step", "", "empty"),
        ("odd.txt", "x", "not a solid format"),
        ("bad.step", "this is no STEP file", "cannot read it"),
    ],
)
def test_bad_files_get_one_line(tmp_path, capfd, name, text, words):
    path = tmp_path / name
    if text is not None:
        path.write_text(text)
    with pytest.raises(SolidError, match=words) as caught:
        read_solid(path)
    assert "\n" not in str(caught.value)
    assert capfd.readouterr().out == ""


def test_a_sheet_and_a_slip_of_units_are_refused(tmp_path):
    with pytest.raises(SolidError, match="no closed solid"):
        read_solid(draw(tmp_path / "sheet.step", lambda occ: occ.addRectangle(0, 0, 0, 10, 10)))
    tiny = draw(tmp_path / "tiny.step", lambda occ: occ.addBox(0, 0, 0, 0.1, 0.05, 0.05))
    with pytest.raises(SolidError, match=r"0\.1 mm"):
        read_solid(tiny)
    assert read_solid(tiny, any_size=True).size == pytest.approx(0.1, rel=1e-3)
    with pytest.raises(SolidError, match="states its own unit"):
        read_solid(tiny, unit="m")
    with pytest.raises(SolidError, match="does not say its unit"):
        read_solid(draw(tmp_path / "b.brep", block_with_hole))


def test_a_mesh_too_large_for_the_machine_is_refused(tmp_path):
    solid = read_solid(draw(tmp_path / "block.step", block_with_hole))
    with pytest.raises(InputError, match="GB"):
        mesh_solid(solid, size=0.02, finest=0.02)


def test_face_queries_name_the_nearest_candidates(tmp_path):
    solid = read_solid(draw(tmp_path / "block.step", block_with_hole))
    with pytest.raises(InputError, match="radius 4 mm"):
        find_faces(solid.faces, FaceQuery(radius=5.0))
    with pytest.raises(InputError, match="equally near"):
        find_faces(solid.faces, FaceQuery(near=(20.0, 10.0, 5.0), kind="plane", low=(-1, -1, -1), high=(41, 21, 11)))
