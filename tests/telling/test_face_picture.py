"""The numbers painted on a part must be those of the faces they stand on."""

import numpy as np

from fem.telling.canvas import Canvas, Label
from fem.telling.face_picture import _anchors
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
        found = _anchors(stage, view, points, triangles, face, side * side)
    assert sorted(number for number, *_ in found) == list(range(side * side))
    # On the picture the squares of a row stand in order of x, those of a column in order of y (up)
    place = {number: (x, y) for number, x, y, _ in found}
    for row in range(side):
        xs = [place[row * side + c][0] for c in range(side)]
        assert abs(np.diff(xs)).min() > 20
        assert all(d > 0 for d in np.diff(xs)) or all(d < 0 for d in np.diff(xs))
    for column in range(side):
        ys = [place[r * side + column][1] for r in range(side)]
        assert all(d > 0 for d in np.diff(ys)) or all(d < 0 for d in np.diff(ys))


def test_a_line_break_in_a_name_is_written_out():
    canvas = Canvas(np.full((300, 400, 3), 255, np.uint8), title="a\nb.step", note="a case\r\nof two lines")
    canvas.labels([Label("load\nof two lines", 50, 60)])
    canvas.legend([("pull\nand push", (0.2, 0.3, 0.4))])
    assert canvas.texts[:2] == ["a\\nb.step", "a case\\r\\nof two lines"]
    assert not any("\n" in text for text in canvas.texts)
