"""Every face's outward normal, area and centre against the exact ones of a profile drawn out and turned in space.

A profile is a polygon, perhaps with a round hole: its area and centre follow from the shoelace formula (any
handbook of mathematics). The middle of the parameters of an L, U or T face, where a kernel likes to be asked, lies
outside the face.
"""

import numpy as np
import pytest
from helpers_cad import SHAPES, bracket, draw, drawn_out, profile, turned, with_stl

from fem.errors import FaceError, SolidError
from fem.loading.preload import find_holes
from fem.part.faces import FaceQuery, describe, find_faces, kind_of, name_faces
from fem.part.holes import angle_spanned
from fem.part.meshing import mesh_solid
from fem.part.solid import read_solid, shown_surface


def area_and_centre(corners, radius):
    x, y = corners.T
    u, v = np.roll(corners, -1, axis=0).T
    cross = x * v - u * y
    area = cross.sum() / 2
    first = np.array([((x + u) * cross).sum(), ((y + v) * cross).sum()]) / 6
    return area - np.pi * radius**2, first / (area - np.pi * radius**2)


def exact_faces(corners, radius, height, turn, shift):
    """(kind, normal or axis, area, centre) of all faces of the profile drawn out, turned and shifted."""
    area, middle = area_and_centre(corners, radius)
    flat = [("plane", (0, 0, -1), area, (*middle, 0)), ("plane", (0, 0, 1), area, (*middle, height))]
    for p, q in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        along = (q - p) / np.linalg.norm(q - p)
        side = height * np.linalg.norm(q - p)
        flat.append(("plane", (along[1], -along[0], 0), side, (*(p + q) / 2, height / 2)))
    if radius:
        flat.append(("cylinder", (0, 0, 1), 2 * np.pi * radius * height, (0, 0, height / 2)))
    return [(kind, turn @ np.array(v), a, turn @ np.array(c) + shift) for kind, v, a, c in flat]


def differences(solid, expected):
    """Largest misses of direction, area (relative) and centre [mm] over the faces, matched by nearest centre."""
    assert len(solid.faces) == len(expected)
    worst = np.zeros(3)
    for kind, vector, area, centre in expected:
        face = min(
            (f for f in solid.faces if f.kind == kind),
            key=lambda f: (
                np.linalg.norm(f.centre - centre) + (0 if f.normal is None else 5 * (1 - f.normal @ vector))
            ),
        )
        if kind == "plane":
            off = np.linalg.norm(face.normal - vector)
        else:
            assert face.hollow
            assert face.hole
            off = 1 - abs(face.axis @ vector)
        worst = np.maximum(worst, [off, abs(face.area / area - 1), np.linalg.norm(face.centre - centre)])
    return worst


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("shape", SHAPES)
def test_faces_of_a_random_extrusion_are_exact(tmp_path, shape, seed):
    rng = np.random.default_rng([SHAPES.index(shape), seed])
    corners, radius = profile(shape, rng)
    height, shift = rng.uniform(4, 40), rng.uniform(-50, 50, 3)
    angles = rng.uniform(-np.pi, np.pi, 3) if seed else np.zeros(3)
    path = draw(tmp_path / "part.step", drawn_out(corners, radius, height, angles, shift))
    expected = exact_faces(corners, radius, height, turned(angles), shift)
    solid = read_solid(path)
    assert differences(solid, expected) == pytest.approx([0, 0, 0], abs=1e-7)
    stl = read_solid(with_stl(path, tmp_path / "part.stl", solid.size), unit="mm")
    # A polygon of 48 sides has 1 - (pi / 48)^2 / 6 = 0.9993 of a circle's arc, and its corners are 32-bit numbers
    assert differences(stl, expected) == pytest.approx([0, 0, 0], abs=2e-3 if radius else 5e-5)
    # Were the profile another one, the measure would see it
    other = exact_faces(corners[::-1] * [1.02, 1.0], radius, height, turned(angles), shift)
    assert differences(solid, other).max() > 0.1


def test_a_concave_fillet_is_no_hole(tmp_path):
    solid = read_solid(draw(tmp_path / "bracket.step", bracket))
    fillet, bore = (next(f for f in solid.faces if f.radius == pytest.approx(r)) for r in (5, 3))
    assert (fillet.hollow, fillet.hole, kind_of(fillet)) == (True, False, "hollow cylinder")
    assert (bore.hollow, bore.hole, kind_of(bore)) == (True, True, "cylinder hole")
    assert "hole" not in describe(fillet)
    # The side of the L, asked for at its place, is itself and not the flank of something
    (side,) = find_faces(solid.faces, FaceQuery(normal=(0, -1, 0), at="min"))
    assert solid.faces[side].area == pytest.approx(60 * 6 + 44 * 6 + 25 * (1 - np.pi / 4), rel=1e-9)


@pytest.mark.parametrize(("cuts", "hole"), [(2, True), (3, True), (1, False)])
def test_halves_of_a_bore_make_a_hole(tmp_path, cuts, hole):
    """A bore written as sectors of a half or a third of a turn; one sector alone, the rest filled, is none."""

    def build(occ):
        block = occ.addBox(-10, -10, 0, 20, 20, 8)
        turn = 2 * np.pi / max(cuts, 2)
        for i in range(cuts):
            sector = occ.addCylinder(0, 0, -1, 0, 0, 10, 4, angle=turn)
            occ.rotate([(3, sector)], 0, 0, 0, 0, 0, 1, i * turn + 0.2)
            block = occ.cut([(3, block)], [(3, sector)])[0][0][1]

    solid = read_solid(draw(tmp_path / "block.step", build))
    round_ones = [f for f in solid.faces if f.kind == "cylinder"]
    assert len(round_ones) == cuts
    assert sum(f.area for f in round_ones) == pytest.approx(64 * np.pi if hole else 32 * np.pi, rel=1e-6)
    assert all(f.hollow and f.hole == hole for f in round_ones)
    mesh = mesh_solid(solid, size=6, finest=3)
    group = {n: FaceQuery(**q) for n, q in {"bore": {"radius": 4.0}, "low": {"normal": (0, 0, -1)}}.items()}
    groups = name_faces(mesh, group)
    if hole:  # the sectors are one bolt hole
        assert len(find_holes(mesh, groups["bore"], groups["low"], head=None, name="bolt")) == 1
    else:
        with pytest.raises(FaceError, match=r"hollow cylinder.* is not a round hole"):
            find_holes(mesh, groups["bore"], groups["low"], head=None, name="bolt")


def test_the_angle_that_triangles_span(tmp_path):
    for angle in (90, 200, 340):
        path = draw(
            tmp_path / f"{angle}.step",
            lambda occ, angle=angle: occ.addCylinder(1, 2, 3, 1, 1, 9, 4, angle=np.radians(angle)),
        )
        solid = read_solid(path)
        points, triangles, face = shown_surface(solid)
        i = next(i for i, f in enumerate(solid.faces) if f.kind == "cylinder")
        assert not solid.faces[i].hollow
        assert angle_spanned(solid.faces[i], points[triangles[face == i]]) == pytest.approx(angle, abs=1.5)


def test_hollow_and_solid_balls_and_cones(tmp_path):
    def build(occ):
        block = occ.addBox(-20, -20, -20, 40, 40, 40)
        occ.cut([(3, block)], [(3, occ.addSphere(0, 0, 0, 8)), (3, occ.addCone(12, 12, 10, 0, 0, 10, 1, 5))])

    solid = read_solid(draw(tmp_path / "hollow.step", build))
    ball, cone = (next(f for f in solid.faces if f.kind == kind) for kind in ("sphere", "cone"))
    assert ball.hollow
    assert not ball.hole
    assert cone.hollow
    assert cone.hole
    assert solid.volume == pytest.approx(64000 - 4 / 3 * np.pi * 512 - np.pi * 10 * 31 / 3, rel=1e-6)
    full = read_solid(draw(tmp_path / "ball.step", lambda occ: occ.addSphere(0, 0, 0, 8)))
    assert [f.hollow for f in full.faces] == [False]


def test_a_solid_that_contradicts_itself_is_refused(tmp_path):
    """The plane of the top moved up in the text of the file, its edges left where they are."""
    path = draw(tmp_path / "block.brep", lambda occ: occ.addBox(0, 0, 0, 10, 10, 10))
    assert read_solid(path, unit="mm").volume == pytest.approx(1000)
    top = "1 0 0 10 0 0 1 1 0 -0 -0 1 0"
    whole = path.read_text()
    assert whole.count(top) == 1
    path.write_text(whole.replace(top, top.replace("0 0 10", "0 0 14", 1)))
    with pytest.raises(SolidError, match="contradicts itself: the kernel finds"):
        read_solid(path, unit="mm")


def test_a_face_that_contradicts_its_borders_is_refused(tmp_path):
    """An edge is moved by 2 mm in the parameters of one face alone: volume and area as a whole do not tell."""
    path = draw(tmp_path / "block.brep", lambda occ: occ.addBox(0, 0, 0, 10, 10, 5))
    assert read_solid(path, unit="mm").volume == pytest.approx(500)
    whole, edge = path.read_text(), "Curve2ds 24\n1 0 0 1 0 \n"
    assert edge in whole
    path.write_text(whole.replace(edge, edge.replace("1 0 0", "1 2 0")))
    with pytest.raises(SolidError, match="face 1 contradicts its own borders"):
        read_solid(path, unit="mm")
