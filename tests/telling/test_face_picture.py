"""The numbers painted on a part must be those of the faces they stand on."""

import numpy as np
import pytest
from helpers_cad import draw
from PIL import Image

from fem.part.solid import read_solid, shown_surface
from fem.telling.canvas import Canvas, Label
from fem.telling.face_picture import TILE, _anchors, _painted, draw_faces, own_place, shots_of
from fem.telling.stage import Stage, fit


def test_every_number_stands_on_its_own_face():
    # A flat board of 14 x 14 squares, each a face of its own, seen from above
    side = 14
    points, triangles, face = [], [], []
    for row in range(side):
        for column in range(side):
            at = len(points)
            points += [(column + x, row + y, 0.0) for x, y in ((0, 0), (1, 0), (1, 1), (0, 1))]
            triangles += [(at, at + 1, at + 2), (at, at + 2, at + 3)]
            face += [row * side + column] * 2
    points, triangles, face = np.array(points, float), np.array(triangles), np.array(face)
    size = (900, 900)
    with Stage(size=size, finer=1.0) as stage:
        view = fit(points, towards=np.array([0.0, 0.01, 1.0]), size=size)
        found = _anchors(_painted(stage, view, points, triangles, face, side * side), ())
    assert sorted(number for number, *_ in found) == list(range(1, side * side + 1))
    # On the picture the squares of a row stand in order of x, those of a column in order of y (up)
    place = {number: (x, y) for number, x, y, _ in found}
    for row in range(side):
        xs = [place[row * side + c + 1][0] for c in range(side)]
        assert abs(np.diff(xs)).min() > 20
        assert all(d > 0 for d in np.diff(xs)) or all(d < 0 for d in np.diff(xs))
    for column in range(side):
        ys = [place[r * side + column + 1][1] for r in range(side)]
        assert all(d > 0 for d in np.diff(ys)) or all(d < 0 for d in np.diff(ys))


def test_a_line_break_in_a_name_is_written_out():
    canvas = Canvas(np.full((300, 400, 3), 255, np.uint8), title="a\nb.step", note="a case\r\nof two lines")
    canvas.labels([Label("load\nof two lines", 50, 60)])
    canvas.legend([("pull\nand push", (0.2, 0.3, 0.4))])
    assert canvas.texts[:2] == ["a\\nb.step", "a case\\r\\nof two lines"]
    assert not any("\n" in text for text in canvas.texts)


def block_with_a_pocket(occ):
    """A block with a pocket from below, another with a step in its side, a groove, and a closed cavity within."""
    block = (3, occ.addBox(0, 0, 0, 60, 40, 30))
    tools = [
        (3, occ.addBox(10, 10, -1, 12, 12, 12)),
        (3, occ.addBox(40, -1, 12, 8, 6, 6)),
        (3, occ.addBox(41.5, 4, 13.5, 4, 4, 3)),
        (3, occ.addBox(30, 25, 10, 8, 8, 8)),
    ]
    occ.cut([block], tools)


def test_every_face_is_seen_in_some_view(tmp_path):
    solid = read_solid(draw(tmp_path / "block.step", block_with_a_pocket))
    points, triangles, face = shown_surface(solid)
    count = len(solid.faces)
    with Stage(size=TILE, finer=1.0) as stage:
        shots = shots_of(stage, points, triangles, face, count)
    seen = set().union(*(set(np.unique(shot.seen)) for shot in shots)) - {0}
    assert seen == set(range(1, count + 1))
    assert sorted(n for shot in shots for n in shot.first) == list(range(1, count + 1))
    # The closed cavity alone is drawn without what hides it, and said to lie inside
    inside = [n for shot in shots if shot.inside for n in shot.first]
    in_cavity = [
        i + 1 for i, f in enumerate(solid.faces) if (f.low > [29, 24, 9]).all() and (f.high < [39, 34, 19]).all()
    ]
    assert sorted(inside) == in_cavity
    assert len(in_cavity) == 6
    assert all(shot.words.startswith("What lies inside") == shot.inside for shot in shots)
    # Two opposite corners alone, as was drawn before, would miss some
    two = [shot for shot in shots if not shot.inside][:2]
    assert len(seen - set().union(*(set(np.unique(shot.seen)) for shot in two))) > 6
    written = draw_faces(points, triangles, face, solid.faces, tmp_path / "block.png", name="block.step", mark="a")
    assert set(written) == {str(f.id) for f in solid.faces}


def test_a_ball_needs_one_view(tmp_path):
    solid = read_solid(draw(tmp_path / "ball.step", lambda occ: occ.addSphere(0, 0, 0, 10)))
    with Stage(size=TILE, finer=1.0) as stage:
        shots = shots_of(stage, *shown_surface(solid), len(solid.faces))
    assert len(shots) == 1


@pytest.mark.parametrize("taken", ["another", "", "no picture"])
def test_a_picture_never_takes_the_place_of_another_solids(tmp_path, taken):
    first = own_place(tmp_path, "part_step_faces", mark="mine")
    assert first == tmp_path / "part_step_faces.png"
    canvas = Canvas(np.full((300, 400, 3), 255, np.uint8), title="x")
    if taken == "no picture":
        first.write_text("a text")
    else:
        canvas.save(first, mark=taken)
    second = own_place(tmp_path, "part_step_faces", mark="mine")
    assert second == tmp_path / "part_step_faces_2.png"
    canvas.save(second, mark="mine")
    assert own_place(tmp_path, "part_step_faces", mark="mine") == second
    with Image.open(second) as picture:
        assert picture.size == (400, 590)
