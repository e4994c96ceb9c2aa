"""Loads and springs at close points of the true surface: whole, in boxes, and against closed forms."""

import numpy as np
import pytest
from helpers_cad import draw
from scipy.spatial import cKDTree

from fem.errors import InputError
from fem.loading.bearing import bearing_load, find_bore
from fem.loading.dense import Box, dense_samples
from fem.loading.loads import even_traction, resultant, wrench_traction
from fem.loading.point_springs import foundation_springs, held_springs
from fem.loading.preload import find_holes, preload_forces
from fem.loading.pressure import DepthPressure, pressure_on
from fem.loading.sampling import FINE
from fem.loading.spot import Spot, spot_force, within
from fem.loading.supports import Foundation, foundation_points, held_face
from fem.loading.traction import dense_forces
from fem.part.faces import FaceQuery, face_group, find_faces
from fem.part.meshing import mesh_solid
from fem.part.solid import read_solid

R, HOLE, WASHER, THICK = 6.0, 2.0, 9.0, 10.0
WATER, GRADIENT = 13.0, 1e-3
SPACING = 0.5
TURNED = np.array([[1.0, 2, 2], [2, 1, -2], [-2, 2, -1]]) / 3


@pytest.fixture(scope="module")
def plate(tmp_path_factory):
    """A plate of 60 x 40 x 10 mm with a bore at (15, 20) and a bolt hole at (45, 20)."""

    def build(occ):
        body = occ.addBox(0, 0, 0, 60, 40, THICK)
        holes = [occ.addCylinder(15, 20, -1, 0, 0, 12, R), occ.addCylinder(45, 20, -1, 0, 0, 12, HOLE)]
        occ.cut([(3, body)], [(3, h) for h in holes])

    path = tmp_path_factory.mktemp("plate") / "plate.step"
    return mesh_solid(read_solid(draw(path, build), name="part"), size=6, finest=2)


def group(mesh, **query):
    return face_group(mesh, find_faces(mesh.faces, FaceQuery(**query), name="face"), name="face")


def faces(mesh):
    return {
        "top": group(mesh, normal=(0, 0, 1), at="max"),
        "low": group(mesh, normal=(0, 0, -1), at="min"),
        "end": group(mesh, normal=(1, 0, 0), at="max"),
        "bore": group(mesh, radius=R),
        "hole": group(mesh, radius=HOLE),
    }


@pytest.fixture(scope="module")
def loads(plate):
    """By name: what presses, and its nodal forces on the mesh."""
    on, name = faces(plate), {"name": "load"}
    push, middle = np.array([30.0, -20.0, -100.0]), (30.0, 20.0, THICK)
    wrench = wrench_traction(
        plate, on["bore"].triangles, force=push, moment=np.array([500.0, 0, 90]), at=np.zeros(3), **name
    )
    spot = spot_force(plate, on["top"].triangles, force=push, spot=Spot(middle, 4.0), **name)
    patch = pressure_on(
        plate, on["top"].triangles, pressure=2.0, inside=within(np.array(middle), 5), fine=5 / FINE, **name
    )
    deep = pressure_on(plate, on["end"].triangles, pressure=DepthPressure((0, WATER, 0), GRADIENT, (0, 1, 0)), **name)
    inner = pressure_on(plate, on["bore"].triangles, pressure=3.0, **name)
    pin = bearing_load(plate, find_bore(plate, on["bore"], **name), force=np.array([700.0, -300.0, 0]), **name)
    (hole,) = find_holes(plate, on["hole"], on["low"], head=None, **name)
    bolt = preload_forces(plate, hole, against=on["low"], force=3000.0, washer=WASHER, **name)
    even = even_traction(on["top"], force=push)
    return {
        "even": ((even,), even.nodal_forces(plate)),
        "wrench": ((wrench,), wrench.nodal_forces(plate)),
        "spot": ((spot.traction,), spot.forces),
        "patch": ((patch.traction,), patch.forces),
        "depth": ((deep.traction,), deep.forces),
        "inner": ((inner.traction,), inner.forces),
        "bearing": ((pin.traction,), pin.forces),
        "preload": (bolt.tractions, bolt.forces),
    }


KINDS = ["even", "wrench", "spot", "patch", "depth", "inner", "bearing", "preload"]


@pytest.mark.parametrize("kind", KINDS)
def test_force_and_moment_are_those_of_the_nodal_forces(plate, loads, kind):
    tractions, nodal = loads[kind]
    found = dense_forces(plate, tractions, spacing=SPACING)
    force, moment = found.resultant(np.zeros(3))
    wanted = resultant(plate, nodal)
    size = np.linalg.norm(nodal, axis=1).sum()
    assert np.abs(force - wanted[0]).max() < 1e-9 * size
    assert np.abs(moment - wanted[1]).max() < 1e-9 * size * plate.diagonal


@pytest.mark.parametrize("kind", ["spot", "bearing", "preload"])
def test_what_a_box_is_given_does_not_depend_on_the_box(plate, loads, kind):
    """Boxes side by side, along axes askew to the part, share the whole load out among themselves."""
    tractions, _ = loads[kind]
    whole = dense_forces(plate, tractions, spacing=SPACING)
    place = whole.point @ TURNED.T
    low, high = place.min(axis=0) - 1, place.max(axis=0) + 1
    cuts = [np.linspace(a, b, 4) for a, b in zip(low, high, strict=True)]
    boxes = [
        Box(TURNED, np.array([cuts[d][i[d]] for d in range(3)]), np.array([cuts[d][i[d] + 1] for d in range(3)]))
        for i in np.ndindex(3, 3, 3)
    ]
    parts = [dense_forces(plate, tractions, spacing=SPACING, box=box) for box in boxes]
    assert sum(len(p.point) for p in parts) == len(whole.point)
    tree = cKDTree(whole.point)
    for box, part in zip(boxes, parts, strict=True):
        away, number = tree.query(part.point) if len(part.point) else (np.zeros(0), np.zeros(0, dtype=int))
        assert away.max(initial=0.0) < 1e-12 and box.holds(part.point).all()
        assert np.abs(part.force - whole.force[number]).max(initial=0.0) < 1e-12 * np.abs(whole.force).max()


def test_no_place_of_a_face_is_farther_from_a_point_than_asked(plate):
    for name in ("top", "bore"):
        triangles = faces(plate)[name].triangles
        near = dense_samples(plate, triangles, spacing=SPACING).samples
        asked = dense_samples(plate, triangles, spacing=SPACING / 5).samples.point
        assert cKDTree(near.point).query(asked)[0].max() < 0.7 * SPACING
        coarse = dense_samples(plate, triangles, spacing=100.0).samples.point
        assert cKDTree(coarse).query(asked)[0].max() > SPACING


def test_a_washer_presses_on_its_ring_alone(plate, loads):
    found = dense_forces(plate, loads["preload"][0][:1], spacing=0.2)
    away = np.linalg.norm(found.point[:, :2] - [45, 20], axis=1)
    assert away.min() > 0.98 * HOLE and away.max() < WASHER / 2
    assert np.abs(found.point[:, 2] - THICK).max() < 1e-9
    # An even ring: the share within a radius is that of its area
    within_3 = found.force[away < 3, 2].sum() / -3000
    assert within_3 == pytest.approx((9 - HOLE**2) / (WASHER**2 / 4 - HOLE**2), rel=0.02)


def test_water_presses_on_a_band_by_its_depth(plate, loads):
    box = Box(np.eye(3), np.array([50.0, 20, 2]), np.array([70.0, 26, 8]))
    force = dense_forces(plate, loads["depth"][0], spacing=0.1, box=box).force.sum(axis=0)
    # Closed form: mean depth 23 - 13 over 6 x 6 mm
    assert force == pytest.approx([-GRADIENT * 10 * 36, 0, 0], rel=0.01, abs=1e-9)
    dry = Box(np.eye(3), np.array([50.0, 0, 0]), np.array([70.0, WATER - 0.2, 10]))
    assert not len(dense_forces(plate, loads["depth"][0], spacing=0.1, box=dry).point)


def test_a_pin_presses_by_the_cosine(plate, loads):
    """The closed form of the share within 30 degrees of the force: integral of cos^2 over that of the half."""
    found = dense_forces(plate, loads["bearing"][0], spacing=0.2)
    ahead = np.array([700.0, -300.0]) / np.hypot(700, 300)
    off = found.point[:, :2] - [15, 20]
    cosine = off @ ahead / np.linalg.norm(off, axis=1)
    assert cosine.min() > -0.01
    share = (found.force[:, :2] @ ahead)[cosine > np.cos(np.pi / 6)].sum() / np.hypot(700, 300)
    assert share == pytest.approx((np.pi / 6 + np.sin(np.pi / 3) / 2) / (np.pi / 2), rel=0.01)


def test_without_the_correction_the_resultants_would_miss(plate, loads):
    """Negative control: the close samples alone do not have the force of the mesh's own."""
    (traction,), nodal = loads["bearing"]
    samples = dense_samples(
        plate, traction.triangles, spacing=SPACING, side=traction.side, fine=traction.fine
    ).samples
    raw = (samples.area[:, None] * traction.at(samples.point, samples.normal)).sum(axis=0)
    assert np.abs(raw - nodal.sum(axis=0)).max() > 1e-6 * np.abs(nodal.sum(axis=0)).max()


# ---- springs


def test_the_springs_of_a_flat_pad_sum_to_area_times_stiffness(plate):
    end = faces(plate)["end"]
    pad = Foundation("pad", end.triangles, normal=400.0, tangential=50.0, axes=(0.0, 7.0, 0.0))
    found = foundation_springs(plate, pad, spacing=SPACING)
    assert found.area.sum() == pytest.approx(40 * THICK, rel=1e-9)
    assert found.spring.sum(axis=0) == pytest.approx(40 * THICK * np.diag([400.0, 57.0, 50.0]), abs=1e-6)


def test_the_springs_of_a_bore_are_those_of_a_cylinder(plate):
    """Integral of n n over a cylinder of radius R and length L: pi R L in both directions across, none along."""
    on = faces(plate)
    bed = Foundation("bore", on["bore"].triangles, normal=100.0, tangential=0.0)
    total = foundation_springs(plate, bed, spacing=SPACING).spring.sum(axis=0)
    assert total == pytest.approx(100 * np.pi * R * THICK * np.diag([1, 1, 0]), rel=2e-3, abs=5.0)
    own = foundation_points(plate, bed)
    assert total == pytest.approx(np.einsum("jq,jqik->ik", own.weight, own.spring), rel=2e-3, abs=5.0)
    # Negative control: springs along the axes instead of the normal differ
    plain = Foundation("bore", on["bore"].triangles, normal=0.0, tangential=0.0, axes=(100.0, 100.0, 0.0))
    assert foundation_springs(plate, plain, spacing=SPACING).spring.sum(axis=0)[0, 0] > 1.9 * total[0, 0]


def test_a_foundation_that_only_pushes_keeps_what_presses_on_the_mesh(plate):
    end = faces(plate)["end"]
    pad = Foundation("pad", end.triangles, normal=400.0, tangential=0.0, push_only=True)
    place = foundation_points(plate, pad).place
    pressing = place[..., 1] > 20
    found = foundation_springs(plate, pad, spacing=SPACING, pressing=pressing)
    edge = np.linalg.norm(np.diff(plate.nodes[plate.triangles[end.triangles][:, :2]], axis=1), axis=2).max()
    assert found.point[:, 1].min() > 20 - edge / 2
    assert found.area.sum() == pytest.approx(20 * THICK, rel=0.05)
    none = foundation_springs(plate, pad, spacing=SPACING, pressing=np.zeros_like(pressing))
    assert len(none.point) == 0


def test_held_faces_are_stiff_along_what_is_held_alone(plate):
    on = faces(plate)
    moved = held_face(plate, on["end"], fixed=("x", "z"), name="end", value=np.array([0.2, 0.0, -0.1]))
    found = held_springs(plate, moved, stiffness=1e6, spacing=SPACING)
    assert found.spring.sum(axis=0) == pytest.approx(1e6 * 40 * THICK * np.diag([1.0, 0, 1]), rel=1e-9, abs=1e-3)
    assert (found.rest == [0.2, 0, -0.1]).all()
    square = held_face(plate, on["bore"], fixed="normal", name="bore")
    radial = held_springs(plate, square, stiffness=1.0, spacing=SPACING)
    off = radial.point[:, :2] - [15, 20]
    along = np.einsum("qi,qij,qj->q", off, radial.spring[:, :2, :2], off) / (off**2).sum(axis=1)
    assert along == pytest.approx(radial.area, rel=1e-9)
    assert np.trace(radial.spring, axis1=1, axis2=2) == pytest.approx(radial.area, rel=1e-9)
    box = Box(np.eye(3), np.array([50.0, 0, 0]), np.array([70.0, 10, 5]))
    part = held_springs(plate, moved, stiffness=1e6, spacing=0.2, box=box)
    assert part.area.sum() == pytest.approx(50, rel=0.02)
    with pytest.raises(InputError, match="stiffness"):
        held_springs(plate, moved, stiffness=0.0, spacing=SPACING)
