"""Wrenches, lift and clamping: what is asked for is what the nodes receive."""

from pathlib import Path

import numpy as np
import pytest
from helpers_fe import HIGH_X, HIGH_Y, HIGH_Z, LOW_X, block, group

from fem.errors import InputError
from fem.loading.loads import force_load, pressure_load, resultant, spread, wrench_load
from fem.loading.preload import find_holes, preload_forces
from fem.loading.wing import elliptic_root_moment, wing_lift
from fem.part.faces import FaceQuery, name_faces
from fem.part.meshing import mesh_solid
from fem.part.quadrature import volume
from fem.part.solid import read_solid

MESHES = Path(__file__).parents[2] / "meshes"


@pytest.fixture(scope="module")
def arc():
    """A twisted piece of a ring: curved faces, no symmetry."""

    def bend(p):
        angle = 1.2 * p[:, 1] + 0.3 * p[:, 2]
        r = 30 + 12 * p[:, 0] + 3 * p[:, 2] ** 2
        return np.stack([r * np.cos(angle) + 100, r * np.sin(angle) - 40, 15 * p[:, 2] + 2 * p[:, 0] ** 2], axis=1)

    return block((3, 5, 2), bend=bend)


@pytest.mark.parametrize("face", [LOW_X, HIGH_X, HIGH_Y, HIGH_Z])
def test_a_wrench_arrives_whole(arc, face):
    force, moment, at = np.array([120.0, -340.0, 910.0]), np.array([8e3, -5e3, 2e4]), np.array([-60.0, 75.0, 300.0])
    load = wrench_load(arc, arc.triangles_of((face,)), force=force, moment=moment, at=at)
    got_force, got_moment = resultant(arc, load)
    about = moment + np.cross(at, force)
    assert np.abs(got_force - force).max() < 1e-9 * np.abs(force).max()
    assert np.abs(got_moment - about).max() < 1e-9 * np.abs(about).max()
    # The point matters, and the sign of its arm
    for wrong in (moment, moment - np.cross(at, force)):
        assert np.abs(got_moment - wrong).max() > 0.1 * np.abs(about).max()
    away = np.setdiff1d(np.arange(len(arc.nodes)), arc.nodes_of((face,)))
    assert not load[away].any()


def test_a_force_acts_through_the_centroid(arc):
    face = group(arc, HIGH_Y)
    force = np.array([1.0, 20.0, -7.0])
    got_force, got_moment = resultant(arc, force_load(arc, face, force=force))
    assert got_force == pytest.approx(force, rel=1e-9)
    assert got_moment == pytest.approx(np.cross(face.centre, force), rel=1e-9)


def test_pressure_all_around_cancels(arc):
    # A closed surface under even pressure has no resultant; under p = z, the buoyancy of its volume
    everywhere = pressure_load(arc, group(arc, *range(6)), pressure=3.0)
    force, moment = resultant(arc, everywhere)
    size = np.abs(everywhere).sum()
    assert np.abs(force).max() < 1e-9 * size
    assert np.abs(moment).max() < 1e-9 * size * 150
    depth = spread(arc, np.arange(len(arc.triangles), dtype=np.int32), lambda x, n: -x[..., 2:] * n)
    whole = volume(arc, np.arange(len(arc.tets), dtype=np.int32))
    assert depth.sum(axis=0) == pytest.approx([0, 0, -whole], rel=1e-9, abs=1e-9 * whole)


def test_lift_of_an_elliptic_wing():
    # L b / (3 pi): 90 kg at g = 9.81 on a span of 0.9 m gives 84.3107 N m. Source: I. H. Abbott and A. E. von
    # Doenhoff, Theory of Wing Sections (1959), section 1.4
    assert elliptic_root_moment(882.9, 900.0) == pytest.approx(84310.7, rel=1e-5)
    assert elliptic_root_moment(3 * 882.9, 900.0) == pytest.approx(252932.0, rel=1e-5)
    assert elliptic_root_moment(882.9, 900.0) != pytest.approx(882.9 * 900 / 8, rel=0.1)  # an even spread
    wing = wing_lift(mass=0.09, weight_fraction=1.0, span=900.0, centre_of_pressure=np.zeros(3))
    assert wing.lift == pytest.approx(882.9 / 9.81 * 9.80665, rel=1e-12)
    assert wing.force == pytest.approx([0, 0, wing.lift])
    assert np.abs(wing.moment).max() < 1e-9 * wing.lift * 900
    assert wing.root_moment == pytest.approx(84310.7 / 9.81 * 9.80665, rel=1e-5)


@pytest.mark.parametrize("left_fraction", [0.3, 0.5, 0.65, 1.0])
def test_uneven_halves_roll_the_wing(left_fraction):
    # The ellipse of each half, integrated numerically; left is +y when up is z and forward is x
    span, ratio = 900.0, 0.08
    wing = wing_lift(
        mass=0.09,
        weight_fraction=0.8,
        span=span,
        left_fraction=left_fraction,
        drag_to_lift=ratio,
        centre_of_pressure=np.ones(3),
    )
    t = (np.arange(20000) + 0.5) / 20000 * 2 - 1
    ellipse = np.sqrt(1 - t**2)
    each = 2 * wing.lift * np.where(t > 0, left_fraction, 1 - left_fraction) * ellipse / ellipse.sum()
    forces = np.stack([-ratio * each, 0 * each, each], axis=1)
    places = np.stack([0 * t, t * span / 2, 0 * t], axis=1)
    assert wing.force == pytest.approx(forces.sum(axis=0), rel=1e-6)
    scale = wing.lift * span
    assert wing.moment == pytest.approx(np.cross(places, forces).sum(axis=0), abs=1e-5 * scale)
    # More lift on the left raises the left: a positive turn about x (forward)
    assert np.sign(round(wing.moment[0], 6)) == np.sign(left_fraction - 0.5)
    larger = max(left_fraction, 1 - left_fraction)
    heavy = t > 0 if left_fraction >= 0.5 else t < 0
    assert wing.root_moment == pytest.approx(np.abs(places[heavy, 1] * each[heavy]).sum(), rel=1e-4)
    assert larger * wing.lift == pytest.approx(each[heavy].sum())


def test_a_wing_in_other_axes():
    plain = wing_lift(
        mass=0.1, weight_fraction=1, span=800, left_fraction=0.7, drag_to_lift=0.1, centre_of_pressure=np.zeros(3)
    )
    up, forward = np.array([0.0, -2.0, 0.0]), np.array([0.0, 0.4, -3.0])
    other = wing_lift(
        mass=0.1,
        weight_fraction=1,
        span=800,
        left_fraction=0.7,
        drag_to_lift=0.1,
        centre_of_pressure=np.zeros(3),
        up=up,
        forward=forward,
    )
    z = np.array([0.0, -1, 0])
    x = np.array([0.0, 0, -1])
    turn = np.array([x, np.cross(z, x), z])
    assert other.force == pytest.approx(plain.force @ turn)
    assert other.moment == pytest.approx(plain.moment @ turn)
    with pytest.raises(InputError, match="parallel"):
        wing_lift(mass=0.1, weight_fraction=1, span=800, centre_of_pressure=np.zeros(3), up=up, forward=-up)
    with pytest.raises(InputError, match="left_fraction"):
        wing_lift(mass=0.1, weight_fraction=1, span=800, left_fraction=1.2, centre_of_pressure=np.zeros(3))


def test_a_wing_meets_its_joint_as_a_wrench(arc):
    wing = wing_lift(
        mass=0.09,
        weight_fraction=0.8,
        span=900,
        left_fraction=0.6,
        drag_to_lift=0.1,
        centre_of_pressure=np.array([50.0, 3, -20]),
    )
    load = wrench_load(arc, arc.triangles_of((HIGH_Z,)), force=wing.force, moment=wing.moment, at=wing.centre)
    force, moment = resultant(arc, load)
    about = wing.moment + np.cross(wing.centre, wing.force)
    assert np.abs(force - wing.force).max() < 1e-9 * wing.lift
    assert np.abs(moment - about).max() < 1e-9 * np.abs(about).max()


@pytest.fixture(scope="module")
def bracket():
    return mesh_solid(read_solid(MESHES / "cantilever_bracket.step", name="bracket"), size=5.0, finest=2.0)


def test_a_clamp_has_no_resultant(bracket):
    queries = {
        "holes": FaceQuery(radius=3.3, axis=(1, 0, 0)),
        "back": FaceQuery(normal=(-1, 0, 0), at="min"),
    }
    faces = name_faces(bracket, queries)
    holes = find_holes(bracket, faces["holes"], faces["back"], head=None, name="bolts")
    assert len(holes) >= 2
    for hole in holes:
        assert hole.grip > 0
        assert hole.axis == pytest.approx([1, 0, 0], abs=1e-9)  # from the clamped face to the head
        clamped = preload_forces(bracket, hole, against=faces["back"], force=4000.0, washer=12.0, name="bolts")
        load = clamped.forces
        force, moment = resultant(bracket, load)
        assert np.abs(force).max() < 1e-9 * 4000
        assert np.abs(moment).max() < 1e-9 * 4000 * bracket.diagonal
        # It does press: the head's side takes all of the force, towards the clamped face
        head = np.abs(bracket.nodes[:, 0] - (hole.origin[0] + hole.head)) < 1e-6
        assert load[head].sum(axis=0) == pytest.approx([-4000, 0, 0], abs=1e-6)
        seat = np.abs(bracket.nodes[:, 0] - (hole.origin[0] + hole.seat)) < 1e-6
        assert load[seat].sum(axis=0) == pytest.approx([4000, 0, 0], abs=1e-6)
        assert clamped.cover > 0.9
        assert clamped.pressure == pytest.approx(4000 / (np.pi * (36 - 3.3**2)), rel=0.1)
        assert clamped.peak >= clamped.pressure * (1 - 1e-9)
    with pytest.raises(InputError, match="no larger than the hole"):
        preload_forces(bracket, holes[0], against=faces["back"], force=4000.0, washer=6.6, name="bolts")
