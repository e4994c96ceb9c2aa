"""Pixels of pictures: what is known to be at a place is painted there, and nothing where there is no part; on a beam
that stands turned in space.
"""

from dataclasses import replace
from itertools import pairwise

import beam
import numpy as np
import pytest
from PIL import Image

from fem.judging.scene import Arrow, Patch
from fem.telling.album import Album
from fem.telling.arrows import placed, shafts_of
from fem.telling.canvas import BOTTOM, TOP
from fem.telling.colours import categorical, use_map
from fem.telling.load_picture import draw_loads
from fem.telling.quantity_picture import largest_principal
from fem.telling.stage import Stage
from fem.telling.stress_picture import draw_stress

TURN = np.linalg.qr(np.random.default_rng(5).normal(size=(3, 3)))[0]
TURN *= np.sign(np.linalg.det(TURN))
"""Some rotation: rows are where the part's own axes went, once transposed."""


def turned(points):
    return np.asarray(points, dtype=float) @ TURN.T


@pytest.fixture(scope="module")
def mesh():
    made = beam.beam_mesh()
    faces = tuple(replace(face, normal=turned(face.normal)) for face in made.faces)
    return replace(made, nodes=turned(made.nodes), faces=faces)


def loaded(mesh, *arrows, patches=()):
    own = tuple(Patch(name, role, mesh.triangles_of((face,))) for name, role, face in patches)
    return replace(beam.beam_scene(beam.beam_mesh()), mesh=mesh, arrows=arrows, patches=own, cases={})


def force(name, at, vector):
    return Arrow(name, "force", turned(at), turned(vector), "10 N")


TOP_FACE, BOTTOM_FACE, TIP, ROOT = 5, 4, 1, 0
"""Numbers of faces of the beam: its height runs from -8 to 8 mm."""


def test_an_arrow_that_pushes_ends_on_the_surface_and_one_that_pulls_begins_there(mesh):
    at = [70.0, 10.0, 8.0]
    for sign, inside in ((-1.0, "tip"), (1.0, "tail")):
        scene = loaded(mesh, force("load", at, [0, 0, sign * 10.0]), patches=[("load", "load", TOP_FACE)])
        (shaft,) = shafts_of(scene)
        assert getattr(shaft, inside) == pytest.approx(turned(at))
        own = np.array([shaft.tail, shaft.tip]) @ TURN
        assert own[:, 2].min() == pytest.approx(8.0) and own[:, 2].max() > 12, "off the part, above its top"
        assert shaft.outward == pytest.approx(turned([0, 0, 1]), abs=1e-9)


def test_the_middle_of_the_box_would_place_an_arrow_inside_the_part(mesh):
    """Negative control: on the lower flange of an angle, say, the box's middle lies on the side of the air."""
    scene = loaded(mesh, force("load", [70, 10, 8], [0, 0, -10.0]), patches=[("load", "load", TOP_FACE)])
    (arrow,) = scene.arrows
    # What stands up beside the place moves the box's middle above it
    low = np.asarray(arrow.at) + 40 * turned([0, 0, 1.0])
    tail, tip = placed(arrow, scene.arrows, np.array([low - 10, low + 10]), 100.0)
    assert tail == pytest.approx(arrow.at) and ((tip - arrow.at) @ TURN)[2] < -5
    (shaft,) = shafts_of(scene)
    assert shaft.tip == pytest.approx(arrow.at), "the surface under it knows better"


def test_a_load_beside_its_face_goes_by_the_surface_nearest_to_it(mesh):
    # A nut under the bottom, though the load's patch is the top
    scene = loaded(mesh, force("bolt", [70, 10, -8], [0, 0, 10.0]), patches=[("bolt", "load", TOP_FACE)])
    (shaft,) = shafts_of(scene)
    assert shaft.tip == pytest.approx(turned([70, 10, -8])) and (shaft.tail @ TURN)[2] < -12


def test_arrows_at_one_place_stand_behind_one_another(mesh):
    at = [70.0, 10.0, 8.0]
    arrows = [force(name, at, [0, 0, -10.0]) for name in ("one", "two", "three")]
    shafts = shafts_of(loaded(mesh, *arrows, patches=[("one", "load", TOP_FACE)]))
    spans = [sorted(float((end @ TURN)[2]) for end in (s.tail, s.tip)) for s in shafts]
    assert spans[0][0] == pytest.approx(8.0)
    assert all(high < low for (_, high), (low, _) in pairwise(spans))
    assert all(s.foot == pytest.approx(shafts[0].foot) for s in shafts)


def drawn(scene, findings, tmp_path, draw):
    with Stage() as stage:
        picture = draw(Album(findings, scene, stage, tmp_path))
    image = Image.open(tmp_path / picture.file).convert("RGB")
    return picture, np.asarray(image)[TOP:-BOTTOM] / 255


def pixel(picture, shot, at):
    x, y = picture.view.pixels(np.asarray(at))[0].round().astype(int)
    return shot[y, x]


def hue(colour):
    """A colour's direction, whatever the light on it."""
    return np.asarray(colour) / np.linalg.norm(colour)


@pytest.mark.parametrize(("face", "at", "push"), [(TOP_FACE, [70, 10, 8], -1), (BOTTOM_FACE, [70, 10, -8], 1)])
def test_part_and_arrow_are_both_seen_from_the_side_that_bears_the_load(mesh, findings, tmp_path, face, at, push):
    scene = loaded(
        mesh, force("load", at, [0, 0, push * 10.0]), patches=[("load", "load", face), ("wall", "support", ROOT)]
    )
    picture, shot = drawn(scene, findings, tmp_path, draw_loads)
    colour = categorical(1)[0]
    (shaft,) = shafts_of(scene)
    assert picture.view.towards @ turned([0, 0, -push]) > 0.3, "the loaded face looks at the reader"
    for share in (0.15, 0.35):
        found = pixel(picture, shot, shaft.tail + share * (shaft.tip - shaft.tail))
        assert hue(found) @ hue(colour) > 0.995, "the arrow, in the colour of its load"
    beside = pixel(picture, shot, turned([30, 10, -push * 8]))
    assert hue(beside) @ hue(colour) > 0.995, "the face that bears it, seen beside the arrow"
    # Nothing where there is no part: the corners of the scene, and beyond the arrow's tail
    beyond = shaft.tail - 0.3 * (shaft.tip - shaft.tail)
    assert pixel(picture, shot, beyond) == pytest.approx(1.0)
    assert shot[0, 0] == pytest.approx(1.0) and shot[-1, -1] == pytest.approx(1.0)


def test_an_arrow_off_the_part_is_joined_to_the_face_that_bears_it(mesh, findings, tmp_path):
    scene = loaded(mesh, force("load", [50, 10, 40], [0, 0, -10.0]), patches=[("load", "load", TOP_FACE)])
    picture, shot = drawn(scene, findings, tmp_path, draw_loads)
    (shaft,) = shafts_of(scene)
    assert (shaft.foot @ TURN)[2] == pytest.approx(8.0)
    middle = 0.5 * (shaft.near_end + shaft.foot)
    x, y = picture.view.pixels(middle)[0].round().astype(int)
    around = shot[y - 4 : y + 5, x - 4 : x + 5].reshape(-1, 3)
    inked = around[(around < 0.97).any(axis=1)]
    assert len(inked) and (np.array([hue(c) @ hue(categorical(1)[0]) for c in inked]) > 0.98).any()
    # Negative control: to the side of that line there is nothing
    assert shot[y, x + 60] == pytest.approx(1.0) or shot[y, x - 60] == pytest.approx(1.0)


def stressed(mesh, findings):
    """The beam's scene, its fields turned with it."""
    told = beam.beam_scene(beam.beam_mesh())
    cases = {}
    for name, fields in told.cases.items():
        matrix = fields.stress[:, [0, 5, 4, 5, 1, 3, 4, 3, 2]].reshape(-1, 3, 3)
        m = np.einsum("ai,nij,bj->nab", TURN, matrix, TURN)
        stress = np.stack([m[:, 0, 0], m[:, 1, 1], m[:, 2, 2], m[:, 1, 2], m[:, 0, 2], m[:, 0, 1]], axis=1)
        cases[name] = replace(fields, stress=stress, displacement=turned(fields.displacement))
    return replace(told, mesh=mesh, cases=cases)


BENDING = 600 * beam.LENGTH * beam.HEIGHT / 2 / beam.INERTIA
"""Stress [MPa] at the root of a cantilever: F L c / I, Euler-Bernoulli."""


def test_principal_stress_in_MPa_is_that_of_the_bent_beam(mesh, findings, tmp_path):
    from cmcrameri import cm

    scene = stressed(mesh, findings)
    picture, shot = drawn(
        scene, findings, tmp_path, lambda run: draw_stress(run, case="landing", quantity="principal")
    )
    assert (picture.unit, picture.high, picture.low) == (
        "MPa",
        pytest.approx(BENDING, rel=1e-5),
        pytest.approx(-BENDING, rel=1e-5),
    )
    view, checked = picture.view, 0
    for own, normal, share in (
        ([25, 10, 8], [0, 0, 1], 0.75),
        ([50, 10, 8], [0, 0, 1], 0.5),
        ([75, 10, 8], [0, 0, 1], 0.25),
        ([25, 10, -8], [0, 0, -1], -0.75),
        ([50, 10, -8], [0, 0, -1], -0.5),
        ([75, 10, -8], [0, 0, -1], -0.25),
        *(([x, 0, z], [0, -1, 0], (1 - x / 100) * z / 8) for x in (25, 50, 75) for z in (-4, 4)),
        *(([x, 20, z], [0, 1, 0], (1 - x / 100) * z / 8) for x in (25, 50, 75) for z in (-4, 4)),
    ):
        if turned(normal) @ view.towards > 0.15:
            painted = np.array(cm.vik((share + 1) / 2)[:3])
            assert hue(pixel(picture, shot, turned(own))) @ hue(painted) > 0.999, own
            # Negative control: the opposite stress has another colour
            assert hue(cm.vik((1 - share) / 2)[:3]) @ hue(painted) < 0.999
            checked += 1
    assert checked >= 6
    assert shot[0, 0] == pytest.approx(1.0)


def test_von_mises_is_drawn_of_a_part_that_is_not_printed(mesh, findings, tmp_path):
    picture, _ = drawn(
        stressed(mesh, findings),
        findings,
        tmp_path,
        lambda run: draw_stress(run, case="landing", quantity="von mises"),
    )
    assert (picture.low, picture.high) == (0.0, pytest.approx(BENDING, rel=1e-9))
    assert "von Mises stress [MPa]" in picture.labels
    assert use_map() is not None


def test_the_principal_stress_of_the_largest_size_keeps_its_sign():
    # Uniaxial tension and compression; pure shear of 3 MPa has principal stresses of 3 and -3 MPa
    stress = np.array([[5.0, 0, 0, 0, 0, 0], [0, -7.0, 0, 0, 0, 0], [2, -1.0, 0, 0, 0, 0], [0, 0, 0, 3.0, 0, 0]])
    assert largest_principal(stress) == pytest.approx([5.0, -7.0, 2.0, 3.0])
