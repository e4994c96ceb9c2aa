"""Pictures by their numbers: ranges, cameras, labels with units, words; pixels only to see that they differ."""

from __future__ import annotations

import beam
import numpy as np
import pytest
from old_words import old_words

from fem.telling.canvas import BOTTOM, TOP, TRIPOD, Canvas, Label
from fem.telling.colours import TABLE, UTILISATION_TOP, reserve_scale
from fem.telling.stage import fit
from fem.telling.surface import eight_tets, four_triangles, outline


def test_the_set_is_complete(pictures):
    kinds = [p.kind for p in pictures[0].values()]
    assert {k: kinds.count(k) for k in set(kinds)} == {
        "mesh": 1, "loads": 1, "deflection": 2, "exaggerated": 1, "reserve": 1, "cut": 1, "hot spot": 3,
        "stress": 2,
    }  # fmt: skip


def test_every_picture_is_its_own_and_large(pictures):
    from PIL import Image

    shots = {name: np.asarray(Image.open(pictures[1] / name).convert("RGB"))[150:1000] for name in pictures[0]}
    assert all(Image.open(pictures[1] / n).size == (1600, 1200) for n in shots)
    names = list(shots)
    for i, a in enumerate(names):
        assert (shots[a] < 250).any()
        for b in names[i + 1 :]:
            assert np.mean(np.abs(shots[a].astype(int) - shots[b])) > 1


def test_bar_of_the_deflection_ends_at_the_exact_tip(pictures):
    picture = pictures[0]["deflection_landing.png"]
    bending = 600 * beam.LENGTH**3 / (3 * beam.YOUNG * beam.INERTIA)
    turn = beam.HEIGHT / 2 * 600 * beam.LENGTH**2 / (2 * beam.YOUNG * beam.INERTIA)
    assert (picture.low, picture.high) == (0.0, pytest.approx(np.hypot(bending, turn), rel=1e-12))
    assert "displacement [mm]" in picture.labels
    assert "5.90 mm" in picture.labels
    assert "5.90 mm" in picture.alt


def test_exaggeration_is_stated_and_round(pictures):
    picture = pictures[0]["deflection_cruise_exaggerated.png"]
    assert picture.factor == 5.0
    assert any("deformation scale 5" in text for text in picture.labels)
    assert pictures[0]["deflection_cruise.png"].factor == 1.0


def test_loads_carry_their_units(pictures):
    labels = pictures[0]["loads.png"].labels
    assert {"lift 600 N", "twist 8 N·m", "root 600 N"} <= set(labels)
    assert "lift 600 N" in pictures[0]["loads.png"].alt


def test_hot_spot_is_in_the_middle_and_faces_the_camera(pictures):
    picture = pictures[0]["hot_spot_1.png"]
    spot = np.array([100 / 3, 10, 8])
    assert picture.view.pixels(spot)[0] == pytest.approx([s / 2 for s in picture.view.size], abs=1e-6)
    assert picture.view.towards[2] > 0.5
    assert "1.28" in picture.title
    assert "reserve factor [1]" in picture.labels


def test_singular_places_come_last_and_are_called_so(pictures):
    assert "does not converge with mesh refinement" in pictures[0]["hot_spot_3.png"].alt
    assert "converge" not in pictures[0]["hot_spot_1.png"].alt


@pytest.mark.parametrize("required", [1.0, 1.5, 2.0, 12.0])
def test_reserve_scale_steps_at_one_and_at_the_required_value(required):
    scale = reserve_scale(required)
    assert list(scale.edges) == sorted(set(scale.edges))
    for edge in {1.0, required}:
        below, above = scale.band(np.array([edge * (1 - 1e-6), edge]))
        assert above == below + 1
        u = (np.array([edge - 0.1, edge + 0.1]) ** -1.0 * TABLE / UTILISATION_TOP).astype(int)
        jump = np.abs(np.diff(scale.table()[u], axis=0)).max()
        assert jump > 0.02
    assert scale.position(np.array([required, np.inf])) == pytest.approx(
        [scale.edges.index(required), len(scale.colours)]
    )


def test_view_holds_all_points():
    points = np.random.default_rng(1).normal(size=(50, 3)) * [100, 5, 30]
    view = fit(points, towards=(0, 0, 1))
    pixels = view.pixels(points)
    assert pixels.min() > 0
    assert (pixels < view.size).all()


def test_surface_and_volume_survive_the_subdivision(scene):
    mesh = scene.mesh
    p = mesh.nodes[four_triangles(mesh.triangles)]
    area = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]) / 2
    assert np.linalg.norm(area, axis=1).sum() == pytest.approx(2 * (100 * 20 + 100 * 16 + 20 * 16), rel=1e-12)
    centre = p.mean(axis=1)
    assert (area * centre).sum() / 3 == pytest.approx(32000, rel=1e-12)
    t = mesh.nodes[eight_tets(mesh.tets)]
    volume = np.einsum("mi,mi->m", np.cross(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0]), t[:, 3] - t[:, 0]) / 6
    assert np.abs(volume).sum() == pytest.approx(32000, rel=1e-12)


def test_outline_is_the_twelve_edges(scene):
    rims = scene.mesh.nodes[outline(scene.mesh.triangles, scene.mesh.face)]
    assert np.linalg.norm(rims[:, 0] - rims[:, 1], axis=1).sum() == pytest.approx(4 * (100 + 20 + 16), rel=1e-12)


def test_every_face_number_is_written(scene, tmp_path):
    from fem.telling.pictures import draw_faces

    mesh = scene.mesh
    written = draw_faces(mesh.nodes, mesh.triangles[:, :3], mesh.face, mesh.faces, tmp_path / "faces.png")
    assert sorted(written) == ["1", "2", "3", "4", "5", "6"]
    assert (tmp_path / "faces.png").stat().st_size > 10_000


def test_no_old_word_is_left_in_a_picture(pictures):
    for p in pictures[0].values():
        assert old_words(" ".join((*p.labels, p.title, p.caption, p.alt))) == []


@pytest.fixture(scope="module")
def blank():
    """An empty page with the axes of a view along -y: x to the right, z up, y away from the eye."""
    view = fit(np.array([[0.0, 0, 0], [10, 10, 10]]), towards=(0, -1, 0))
    scene = np.full((view.size[1], view.size[0], 3), 255, dtype=np.uint8)
    return lambda **more: Canvas(scene, title="", view=view, **more)


def test_the_axes_stand_at_the_lower_left_and_point_as_the_view_does(blank):
    canvas = blank()
    ink = np.asarray(canvas.page).max(axis=2) < 120
    x, y = TRIPOD, TOP + canvas.page.height - TOP - BOTTOM - TRIPOD
    rows, columns = np.nonzero(ink)
    # The arrows run to the right (x) and up (z), and y goes into the paper: a ring with a cross
    assert ink[y, x + 25 : x + 55].all() and ink[y - 55 : y - 25, x].all()
    assert not ink[y + 25 : y + 90, x - 5 : x + 6].any() and not ink[y - 5 : y + 6, : x - 60].any()
    assert ink[y - 4, x - 4] and ink[y + 4, x - 4] and not ink[y, x - 7]
    assert columns.max() < 2 * TRIPOD and rows.min() > y - TRIPOD


def test_a_label_without_room_is_written_short_and_off_what_it_would_cover(blank):
    page = blank()
    width, height = page.page.size
    page.taken += [(0, 0, width, 500), (0, 600, width, height), (260, 0, width, height)]
    long = "1.72  interlayer shear, resultant of \u03c413 and \u03c423"
    page.labels([Label(long, 400.0, 400.0, dot=False, short="1.72")])
    _, top, right, low = page.taken[-1]
    assert page.texts[-1] == "1.72" and right <= 260 and top >= 500 and low <= 600
    page.labels([Label(long, 400.0, 400.0, dot=False)])
    assert page.texts[-1] == long, "without a short text all of it is written"


def test_failure_and_the_required_factor_are_named_at_their_marks(blank, monkeypatch):
    said = {}
    monkeypatch.setattr(Canvas, "write", lambda self, at, text, **_: said.setdefault(text, at))
    for required, asked, text in ((2.0, True, "required 2"), (3.0, False, "target 3")):
        said.clear()
        scale = reserve_scale(required)
        canvas = blank()
        canvas.reserve_bar(scale, asked=asked)
        left, right = 120, canvas.width - 120
        for name, value in ((text, required), ("failure 1", 1.0)):
            share = scale.edges.index(value) / len(scale.colours)
            assert said[name][0] == pytest.approx(left + share * (right - left), abs=1)
    said.clear()
    blank().reserve_bar(reserve_scale(1.0))
    assert "failure, required 1" in said and "failure 1" not in said


def test_supports_are_grey_with_ground_lines_and_loads_have_colours(pictures, scene):
    from PIL import Image

    picture = pictures[0]["loads.png"]
    shot = np.asarray(Image.open(pictures[1] / "loads.png").convert("RGB")).astype(int)[TOP:-BOTTOM]
    for patch in scene.patches:
        middle = scene.mesh.nodes[scene.mesh.triangles[patch.triangles]].reshape(-1, 3)
        x, y = picture.view.pixels(middle).mean(axis=0).round().astype(int)
        near = shot[y - 45 : y + 45, x - 45 : x + 45].reshape(-1, 3)
        dark, coloured = (near.max(axis=1) < 118).mean(), (np.ptp(near, axis=1) > 40).mean()
        if patch.role == "support":
            assert 0.1 < dark < 0.6 and coloured < 0.05
    assert "support" in picture.labels and "load: lift" in picture.labels
