"""Supports that must grip, and those that must not; bolts that sit where a bolt can sit."""

import numpy as np
import pytest
from helpers_cad import draw
from helpers_fe import field, material

from fem.errors import FaceError, FreeBodyError, InputError
from fem.loading.kinds import load_of
from fem.loading.loads import resultant
from fem.loading.plan import LoadPlan
from fem.loading.preload import PreloadKeys, find_holes, preload_forces
from fem.loading.supports import Foundation, foundation_matrices, held_face
from fem.part.faces import FaceQuery, face_group, find_faces
from fem.part.meshing import mesh_solid
from fem.part.solid import read_solid
from fem.solving.equilibrium import refuse_free_motion
from fem.tensors import isotropic_stiffness


def drawn(path, build, *, size, finest):
    return mesh_solid(read_solid(draw(path, build), name="part"), size=size, finest=finest)


def group(mesh, name, **query):
    return face_group(mesh, find_faces(mesh.faces, FaceQuery(**query), name=name), name=name)


@pytest.fixture(scope="module")
def disc(tmp_path_factory):
    def build(occ):
        body = occ.addCylinder(0, 0, 0, 0, 0, 10, 40)
        occ.cut([(3, body)], [(3, occ.addCylinder(0, 0, -1, 0, 0, 12, 10))])

    return drawn(tmp_path_factory.mktemp("disc") / "disc.step", build, size=20, finest=20)


def test_a_smooth_pin_carries_no_torque_however_coarse_the_mesh(disc):
    hole = group(disc, "hole", radius=10.0)
    floor = group(disc, "floor", normal=(0, 0, -1), at="min")
    held = [held_face(disc, g, fixed="normal", name=g.name) for g in (hole, floor)]
    with pytest.raises(FreeBodyError, match="free to turn about z"):
        refuse_free_motion(disc, held=held, foundations=[])
    # The same floor held along x and y as well does resist
    refuse_free_motion(disc, held=[*held, held_face(disc, floor, fixed=("x", "y"), name="floor")], foundations=[])


def test_a_slippery_bed_carries_no_torque_and_a_rough_one_does(disc):
    hole = disc.triangles_of(group(disc, "hole", radius=10.0).faces)
    floor = held_face(disc, group(disc, "floor", normal=(0, 0, -1), at="min"), fixed="normal", name="floor")
    with pytest.raises(FreeBodyError, match="turn about z"):
        refuse_free_motion(disc, held=[floor], foundations=[Foundation("hole", hole, 100.0, 0.0)])
    refuse_free_motion(disc, held=[floor], foundations=[Foundation("hole", hole, 100.0, 10.0)])
    nodes, local = foundation_matrices(disc, Foundation("hole", hole, 100.0, 0.0))
    turn = np.cross([0, 0, 1.0], disc.nodes[nodes])
    slide = np.broadcast_to([1.0, 0, 0], turn.shape)
    grip, push = (np.einsum("jai,jabik,jbk->", v, local, v) for v in (turn, slide))
    assert abs(grip) < 0.02 * push * 100  # against a slide at the same distance, 10 mm squared
    # Pushed sideways, half of a round foundation's area works: k pi r h
    assert push == pytest.approx(100 * np.pi * 10 * 10, rel=0.01)


@pytest.fixture(scope="module")
def plate(tmp_path_factory):
    def build(occ):
        body = occ.addBox(0, 0, 0, 60, 40, 10)
        occ.cut([(3, body)], [(3, occ.addCylinder(20, 20, -1, 0, 0, 12, 4.2))])
        post = occ.addCylinder(45, 20, 10, 0, 0, 10, 6)
        occ.fuse([(3, 1)], [(3, post)])

    return drawn(tmp_path_factory.mktemp("plate") / "plate.step", build, size=5, finest=2)


def test_a_clamp_presses_from_both_sides_with_nothing_left_over(plate):
    seat = group(plate, "seat", normal=(0, 0, -1), at="min")
    (hole,) = find_holes(plate, group(plate, "hole", radius=4.2), seat, head=None, name="bolts")
    assert hole.grip == pytest.approx(10.0)
    clamped = preload_forces(plate, hole, against=seat, force=3000.0, washer=16.0, name="bolts")
    force, moment = resultant(plate, clamped.forces)
    assert np.abs(force).max() < 1e-9 * 3000
    assert np.abs(moment).max() < 1e-9 * 3000 * 60
    top = plate.nodes[:, 2] > 5
    assert clamped.forces[top].sum(axis=0) == pytest.approx([0, 0, -3000], abs=1e-6)
    assert clamped.pressure == pytest.approx(3000 / (np.pi * (8**2 - 4.2**2)), rel=0.02)
    assert clamped.cover == pytest.approx(1.0, abs=0.02)


def test_a_post_is_no_hole_and_a_washer_must_be_larger_than_its_hole(plate):
    seat = group(plate, "seat", normal=(0, 0, -1), at="min")
    with pytest.raises(FaceError, match="not a round hole"):
        find_holes(plate, group(plate, "post", radius=6.0), seat, head=None, name="bolts")
    (hole,) = find_holes(plate, group(plate, "hole", radius=4.2), seat, head=None, name="bolts")
    with pytest.raises(InputError, match="no larger than the hole"):
        preload_forces(plate, hole, against=seat, force=3000.0, washer=8.0, name="bolts")


def test_the_arrows_of_a_clamp_press_the_part_together(plate):
    groups = {
        "holes": group(plate, "holes", radius=4.2),
        "seat": group(plate, "seat", normal=(0, 0, -1), at="min"),
    }
    plan = LoadPlan("bolts", "preload", PreloadKeys("holes", "seat", 3000.0, 16.0, None), None, True)
    loaded = load_of(plan, plate, field(plate, material(isotropic_stiffness(2000.0, 0.3))), groups)
    arrows = sorted(loaded.arrows, key=lambda a: a.at[2])
    assert [a.at[2] for a in arrows] == pytest.approx([0.0, 10.0])
    # The seat is pushed up, the head's side down: the same way as the forces that are solved for
    assert [a.vector[2] for a in arrows] == pytest.approx([3000.0, -3000.0])
    assert loaded.forces[plate.nodes[:, 2] < 1e-6, 2].sum() == pytest.approx(3000.0)
