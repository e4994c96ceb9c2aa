"""A pin in its bore, a shaft in its boss: pressure on the half that is pushed, force and moment exact."""

import numpy as np
import pytest
from helpers_cad import draw

from fem.errors import FaceError, InputError
from fem.loading.bearing import bearing_load, find_bore, is_whole_hole
from fem.loading.loads import force_load, resultant
from fem.part.faces import FaceQuery, face_group, find_faces
from fem.part.meshing import mesh_solid
from fem.part.solid import read_solid

R, LENGTH = 6.0, 10.0


def group(mesh, **query):
    return face_group(mesh, find_faces(mesh.faces, FaceQuery(**query), name="face"), name="face")


def drawn(path, build, *, size=6, finest=2):
    return mesh_solid(read_solid(draw(path, build), name="part"), size=size, finest=finest)


@pytest.fixture(scope="module")
def plate(tmp_path_factory):
    """A plate with a bore at (15, 20), a post of radius 5 at (45, 20), and rounded upright edges of radius 4."""

    def build(occ):
        body = occ.addBox(0, 0, 0, 60, 40, LENGTH)
        occ.synchronize()
        box = {tag: occ.getBoundingBox(1, tag) for _, tag in occ.getEntities(1)}
        occ.fillet([body], [tag for tag, b in box.items() if b[5] - b[2] > LENGTH - 1], [4.0])
        body = occ.getEntities(3)[0][1]
        occ.cut([(3, body)], [(3, occ.addCylinder(15, 20, -1, 0, 0, 12, R))])
        body = occ.getEntities(3)[0]
        occ.fuse([body], [(3, occ.addCylinder(45, 20, LENGTH, 0, 0, 8, 5))])

    return drawn(tmp_path_factory.mktemp("plate") / "plate.step", build)


@pytest.fixture(scope="module")
def halves(tmp_path_factory):
    """The same bore made of two half cylinders, turned so that no seam lies along an axis."""

    def build(occ):
        body = occ.addBox(-15, -15, 0, 30, 30, LENGTH)
        for turn in (0.4, 0.4 + np.pi):
            half = occ.addCylinder(0, 0, -1, 0, 0, 12, R, angle=np.pi)
            occ.rotate([(3, half)], 0, 0, 0, 0, 0, 1, turn)
            occ.cut([(3, body)], [(3, half)])
            body = occ.getEntities(3)[0][1]

    return drawn(tmp_path_factory.mktemp("halves") / "halves.step", build)


def about(mesh, forces, point):
    force, moment = resultant(mesh, forces)
    return force, moment - np.cross(point, force)


@pytest.mark.parametrize("force", [(0, 1500.0, 0), (700.0, -300.0, 0), (-1.0, 0, 0)])
def test_the_force_of_a_pin_arrives_whole_and_through_the_middle(plate, force):
    bore = find_bore(plate, group(plate, radius=R), name="pin")
    assert bore.hollow and bore.length == pytest.approx(LENGTH)
    assert bore.centre == pytest.approx([15, 20, LENGTH / 2], abs=1e-6)
    found = bearing_load(plate, bore, force=np.array(force), name="pin")
    size = np.linalg.norm(force)
    total, moment = about(plate, found.forces, bore.centre)
    assert np.abs(total - force).max() < 1e-9 * size
    assert np.abs(moment).max() < 1e-9 * size * R
    # F = p0 r L pi / 2 over the half, so p0 = 2 F / (pi r L); mean over the projected area F / (2 r L)
    assert found.peak == pytest.approx(2 * size / (np.pi * R * LENGTH), rel=0.01)
    assert found.mean == pytest.approx(size / (2 * R * LENGTH), rel=0.01)


def test_only_the_half_ahead_of_the_pin_is_pressed(plate):
    bore = find_bore(plate, group(plate, radius=R), name="pin")
    found = bearing_load(plate, bore, force=np.array([0, 1500.0, 0]), name="pin").forces
    assert found[plate.nodes[:, 1] < 20 - 1.5].any() == np.False_
    loaded = np.linalg.norm(found, axis=1) > 0
    wall = np.abs(np.hypot(plate.nodes[:, 0] - 15, plate.nodes[:, 1] - 20) - R) < 0.05
    assert (loaded & ~wall).sum() == 0 and found[loaded, 1].sum() > 0
    # A force spread over the whole bore pulls on the other half: half of it arrives there
    glued = force_load(plate, group(plate, radius=R), force=np.array([0, 1500.0, 0]))
    assert glued[plate.nodes[:, 1] < 20 - 1e-6, 1].sum() == pytest.approx(750, rel=0.15)


def test_a_shaft_is_pushed_on_the_side_that_faces_the_force(plate):
    shaft = find_bore(plate, group(plate, radius=5.0), name="shaft")
    assert not shaft.hollow and shaft.centre == pytest.approx([45, 20, LENGTH + 4], abs=1e-6)
    found = bearing_load(plate, shaft, force=np.array([900.0, 0, 0]), name="shaft")
    total, moment = about(plate, found.forces, shaft.centre)
    assert np.abs(total - [900, 0, 0]).max() < 1e-6
    assert np.abs(moment).max() < 1e-9 * 900 * 5
    pressed = np.linalg.norm(found.forces, axis=1) > 0
    # Pushed towards +x, the wall at -x is pressed
    assert plate.nodes[pressed, 0].max() < 45 + 1.5
    assert found.peak == pytest.approx(2 * 900 / (np.pi * 5 * 8), rel=0.02)


def test_halves_count_as_one_bore_and_the_pushed_half_alone_is_enough(halves):
    faces = group(halves, radius=R)
    assert faces.count == 2
    force = 1000 * np.array([np.cos(0.4 + np.pi / 2), np.sin(0.4 + np.pi / 2), 0])
    bore = find_bore(halves, faces, name="pin")
    whole = bearing_load(halves, bore, force=force, name="pin")
    ahead = max(faces.faces, key=lambda i: float(halves.faces[i].centre @ force))
    (behind,) = set(faces.faces) - {ahead}
    one = find_bore(halves, face_group(halves, (ahead,), name="half"), name="pin")
    alone = bearing_load(halves, one, force=force, name="pin")
    assert np.abs(alone.forces - whole.forces).max() < 1e-9 * 1000
    other = find_bore(halves, face_group(halves, (behind,), name="half"), name="pin")
    with pytest.raises(InputError, match="nothing of it is there"):
        bearing_load(halves, other, force=force, name="pin")
    across = np.array([force[1], -force[0], 0])
    with pytest.raises(InputError, match="only 50 % of it is there") as error:
        bearing_load(halves, one, force=across, name="pin")
    assert "all faces of the bore" in error.value.advice


def test_a_pin_cannot_push_along_its_axis(plate):
    bore = find_bore(plate, group(plate, radius=R), name="pin")
    with pytest.raises(InputError, match=r"200 N of it point along the bore's axis \(0, 0, -?1\)"):
        bearing_load(plate, bore, force=np.array([0, 1500.0, 200.0]), name="pin")
    # An axis fitted to triangles misses by some 1e-5: the force still arrives whole
    askew = np.array([0, 1500.0, 0.05])
    found = bearing_load(plate, bore, force=askew, name="pin")
    total, moment = about(plate, found.forces, bore.centre)
    assert np.abs(total - askew).max() < 1e-9 * 1500 and np.abs(moment).max() < 1e-9 * 1500 * R
    with pytest.raises(InputError, match="without force"):
        bearing_load(plate, bore, force=np.zeros(3), name="pin")


def test_planes_fillets_and_strangers_bear_no_pin(plate):
    with pytest.raises(FaceError, match="is no cylinder"):
        find_bore(plate, group(plate, normal=(0, 0, -1), at="min"), name="pin")
    corner = group(plate, radius=4.0, near=(0.0, 0.0, 5.0))
    with pytest.raises(InputError, match="a bearing load presses the half"):
        bearing_load(plate, find_bore(plate, corner, name="pin"), force=np.array([500.0, 500.0, 0]), name="pin")
    both = face_group(plate, (*group(plate, radius=R).faces, *group(plate, radius=5.0).faces), name="both")
    with pytest.raises(FaceError, match="not on one axis"):
        find_bore(plate, both, name="pin")


def test_an_open_saddle_is_a_bore_too(tmp_path):
    def build(occ):
        occ.cut([(3, occ.addBox(0, 0, 0, 40, 20, LENGTH))], [(3, occ.addCylinder(20, 20, -1, 0, 0, 12, 8))])

    mesh = drawn(tmp_path / "saddle.step", build, finest=1.5)
    faces = group(mesh, radius=8.0)
    assert not mesh.faces[faces.faces[0]].hole
    saddle = find_bore(mesh, faces, name="pin")
    found = bearing_load(mesh, saddle, force=np.array([0, -1000.0, 0]), name="pin")
    total, moment = about(mesh, found.forces, saddle.centre)
    assert np.abs(total - [0, -1000, 0]).max() < 1e-6 and np.abs(moment).max() < 1e-9 * 1000 * 8
    assert found.peak == pytest.approx(2 * 1000 / (np.pi * 8 * LENGTH), rel=0.01)
    # A shaft lifted out of its saddle presses on nothing; taken for a post it would have sucked at the wall
    with pytest.raises(InputError, match="half of the bore that the force points to, and nothing of it is there"):
        bearing_load(mesh, saddle, force=np.array([0, 1000.0, 0]), name="pin")


def test_a_clevis_shares_the_force_between_its_ears(tmp_path):
    def build(occ):
        ears = [(3, occ.addBox(-15, -15, z, 30, 30, t)) for z, t in ((0, 5), (15, 8))]
        ears.append((3, occ.addBox(-15, -25, 0, 30, 10, 23)))
        body = occ.fuse(ears[:1], ears[1:])[0]
        occ.cut(body, [(3, occ.addCylinder(0, 0, -1, 0, 0, 30, R))])

    mesh = drawn(tmp_path / "clevis.step", build)
    bore = find_bore(mesh, group(mesh, radius=R), name="pin")
    assert bore.centre == pytest.approx([0, 0, 11.5], abs=1e-6)
    found = bearing_load(mesh, bore, force=np.array([0, 1000.0, 0]), name="pin")
    total, moment = about(mesh, found.forces, bore.centre)
    assert np.abs(total - [0, 1000, 0]).max() < 1e-6
    assert np.abs(moment).max() < 1e-9 * 1000 * 23
    # Each ear's share follows from the lever, near enough: its pressure is nearly even
    low = found.forces[mesh.nodes[:, 2] < 10, 1].sum()
    assert low == pytest.approx(1000 * (19 - 11.5) / (19 - 2.5), rel=0.03)


def test_a_hole_all_round_is_told_from_a_half(plate, halves):
    assert is_whole_hole(plate, group(plate, radius=R))
    assert is_whole_hole(halves, group(halves, radius=R))
    first = group(halves, radius=R).faces[0]
    assert not is_whole_hole(halves, face_group(halves, (first,), name="half"))
    assert not is_whole_hole(plate, group(plate, radius=5.0))
    assert not is_whole_hole(plate, group(plate, radius=4.0, near=(0.0, 0.0, 5.0)))


def test_a_pin_does_not_fit_two_radii(tmp_path):
    def stepped(occ):
        block = occ.addBox(-15, -15, 0, 30, 30, 20)
        occ.cut(
            [(3, block)], [(3, occ.addCylinder(0, 0, -1, 0, 0, 30, 4)), (3, occ.addCylinder(0, 0, 10, 0, 0, 30, 6))]
        )

    mesh = mesh_solid(read_solid(draw(tmp_path / "step.step", stepped)), size=8.0)
    both = tuple(i for i, face in enumerate(mesh.faces) if face.kind == "cylinder")
    with pytest.raises(FaceError, match="differ in radius"):
        find_bore(mesh, face_group(mesh, both, name="bore"), name="pin")
