"""The joint of the demonstration is drawn and named as its study says: volumes, faces and bolts, without solving."""

import math
from pathlib import Path

import numpy as np
import pytest

from fem.part.faces import find_faces
from fem.part.solid import read_solid
from fem.study.file import read_study
from fem.study.shared_mesh import read_bodies

STUDY = Path(__file__).resolve().parents[2] / "studies" / "wing_joint.toml"
HOLE, TAPPED = 4.2, 3.4
FLANGE, AXIAL = [(-47, -21), (-47, 21), (47, -21), (47, 21)], [(-15, 0), (15, 0)]


def rounded(length, width, corner):
    """Area [mm^2] of a rectangle with rounded corners."""
    return length * width - (4 - math.pi) * corner**2


def outline(length, width, corner):
    """Its circumference [mm]."""
    return 2 * (length + width) - (8 - 2 * math.pi) * corner


def rounding(radius, *, straight, corner):
    """Volume [mm^3] that a convex rounding takes from an edge of `straight` length and a full turn at `corner` radius
    (Pappus): the area between a quarter circle and its tangents, (1 - pi/4) r^2, has its centroid
    (10 - 3 pi) / (12 - 3 pi) r from them."""
    inwards = (10 - 3 * math.pi) / (12 - 3 * math.pi) * radius
    return (1 - math.pi / 4) * radius**2 * (straight + 2 * math.pi * (corner - inwards))


@pytest.fixture(scope="module")
def study():
    return read_study(STUDY)


@pytest.fixture(scope="module")
def solids(study):
    return read_bodies(study)


def test_the_solids_are_what_they_are_drawn_as(solids):
    foot = rounded(50, 18, 7) * (52 - 18) - rounding(4, straight=2 * (36 + 4), corner=7) + rounded(60, 28, 12) * 28
    foot -= 2 * math.pi * TAPPED**2 * (38 - 18)
    plate = (rounded(140, 80, 12) - 6 * math.pi * HOLE**2) * 8
    assert solids["mast"].volume == pytest.approx(foot, rel=1e-4)
    assert solids["plate"].volume == pytest.approx(plate, rel=1e-4)
    alone = read_solid(STUDY.parents[1] / "meshes" / "wing_saddle.step", name="saddle").volume
    assert alone - solids["saddle"].volume == pytest.approx(2 * math.pi * HOLE**2 * 18, rel=1e-3)
    assert solids["mast"].volume != pytest.approx(foot + rounding(4, straight=80, corner=7), rel=1e-4)


def test_faces_that_meet_are_named_on_both_sides(study, solids):
    def named(name):
        faces = solids[study.faces[name].body].faces
        return [faces[k] for k in find_faces(faces, study.faces[name], name=name)]

    def area(name):
        return sum(face.area for face in named(name))

    hole = math.pi * HOLE**2
    assert area("socket_floor") == pytest.approx(rounded(44, 12, 4) - 2 * hole, rel=1e-3)
    # Its flat and the quarter round of 4 mm along it: straight, and around the corners, by Pappus
    round_edge = 80 * math.pi / 2 * 4 + 2 * math.pi * (3 * 4 * math.pi / 2 + 4**2)
    flat = rounded(42, 10, 3) - 2 * math.pi * TAPPED**2
    assert area("foot_bottom") == pytest.approx(flat + round_edge, rel=1e-3)
    # A cylinder of radius r that opens in a plane takes pi r^2 of it; the cross hole opens in both long walls
    assert area("socket_walls") == pytest.approx(outline(50, 18, 7) * (48 - 21) - 2 * math.pi * 3.3**2, rel=1e-3)
    assert area("foot_sides") == pytest.approx(outline(50, 18, 7) * (52 - 22), rel=1e-3)
    assert area("wing_seat") == pytest.approx(rounded(120, 64, 12) - 6 * hole, rel=1e-3)
    assert area("plate_top") == area("wing_root") == pytest.approx(rounded(140, 80, 12) - 6 * hole, rel=1e-3)
    assert {len(named(name)) for name in ("socket_walls", "foot_sides")} == {8}
    for joint in study.joints.values():
        assert {study.faces[name].body for name in joint.faces} <= {"mast", "saddle", "plate"}
        assert len({study.faces[name].body for name in joint.faces}) == 2


def test_bolt_holes_line_up(study, solids):
    def places(body, radius=HOLE):
        return sorted(
            (round(float(f.centre[0]), 6), round(float(f.centre[1]), 6))
            for f in solids[body].faces
            if f.hole and f.radius == pytest.approx(radius) and abs(f.axis[2]) == pytest.approx(1)
        )

    assert places("saddle") == places("plate") == sorted(FLANGE + AXIAL)
    assert places("mast", TAPPED) == AXIAL
    assert {bolt.head for bolt in study.bolts.values()} == {"wing_root"}
    assert {name: bolt.thread for name, bolt in study.bolts.items()} == {"mast": "tapped", "flange": "washer_land"}
    land = [f for f in solids["saddle"].faces if f.normal is not None and f.normal[2] > 0.99 and f.centre[2] == 14]
    assert len(land) == 1
    assert study.joints["socket"].clearance == pytest.approx(0.15)
    assert np.allclose(study.bodies["plate"].laminate.fibre, (0, 1, 0))
