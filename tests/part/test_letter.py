"""Files of triangles that are damaged in their text are refused, not guessed at."""

import numpy as np
import pytest
import trimesh

from fem.errors import SolidError
from fem.part.triangulated import read_triangulated

CORNERS = [(0, 0), (20, 0), (20, 3), (3, 3), (3, 18), (0, 18)]
VOLUME = (20 * 3 + 3 * 15) * 8.0
"""Of an L of two legs 3 mm thick, pulled 8 mm."""


def angle():
    """The L as twelve points and twenty triangles, wound outward."""
    n = len(CORNERS)
    points = np.array([(x, y, z) for y in (0, 8) for x, z in CORNERS], float)
    lid = [(0, 1, 2), (0, 2, 3), (0, 3, 4), (0, 4, 5)]
    sides = [t for i in range(n) for j in [(i + 1) % n] for t in ((i, i + n, j), (j, i + n, j + n))]
    return trimesh.Trimesh(points, [*lid, *((c + n, b + n, a + n) for a, b, c in lid), *sides], process=False)


def written(folder, name):
    kind, suffix = name.split(".")
    path = folder / f"angle.{suffix}"
    how = {"text": {"encoding": "ascii"}} if suffix == "ply" else {"text": {"file_type": "stl_ascii"}}
    angle().export(str(path), **(how.get(kind, {}) if suffix != "obj" else {}))
    return path


def read(path):
    return read_triangulated(path, name="part", unit="mm")


@pytest.mark.parametrize("name", ["text.obj", "text.ply", "binary.ply", "text.stl", "binary.stl"])
def test_sound_files_are_read(tmp_path, name):
    assert read(written(tmp_path, name)).volume == pytest.approx(VOLUME, rel=1e-6)


DAMAGE = [
    ("text.obj", b"v 20.0", b"v 2\xb0.0", r"'v 2°\.0"),  # one flipped bit, which the reader would skip: 2 mm for 20
    ("text.obj", b"\nf 1 2 3", b"\nf 1 2x 3", "'f 1 2x 3'"),
    ("text.obj", b"v 3.00000000 0.00000000 18", b"v 3.00000000 18", r"'v 3\.0"),
    ("text.obj", b"\nv 20.0", b"\n v 20.0", r"'v 20\.0"),  # a line that the reader would leave out
    ("text.obj", b"\nv 20.00000000", b"\nv 2\r\n0.00000000", "no line of OBJ"),  # a break in the midst of a number
    ("text.ply", b"\n3 0 1 2", b"\n5 0 1 2", "'5 0 1 2'"),
    ("text.ply", b"\n3 0 1 2", b"\n4.5 0 1 2", r"'4\.5 0 1 2'"),
    ("text.ply", b"\n3 0 1 2", b"\n3 0 1 2 7", "'3 0 1 2 7'"),
    ("text.ply", b"element vertex 12", b"element vertex 11", "no line of PLY"),
    ("binary.ply", b"property float y", b"propproperty float y", "'propproperty float y'"),
    ("binary.ply", b"property float y", b"property flat y", "'property flat y'"),
    ("binary.ply", b"ply\n", b"pla\n", "no line of PLY"),
    ("text.stl", b"vertex 20.0", b"vertex 2\xb0.0", r"'vertex 2°\.0"),
    ("text.stl", b"vertex 20.0 0.0 3.0", b"vertex 20.0 0.0", r"'vertex 20\.0 0\.0'"),
]


@pytest.mark.parametrize(("name", "old", "new", "words"), DAMAGE)
def test_damaged_ones_are_refused_with_the_line(tmp_path, name, old, new, words):
    path = written(tmp_path, name)
    whole = path.read_bytes()
    assert old in whole
    path.write_bytes(whole.replace(old, new, 1))
    with pytest.raises(SolidError, match=words):
        read(path)


def test_what_the_formats_allow_is_no_damage(tmp_path):
    path = written(tmp_path, "text.obj")
    text = path.read_text()
    more = "# made by hand\no angle\nvn 0 0 1\nusemtl käse\ns off\n" + text.replace("\nv 20.0", "\nv  20.0\t", 1)
    path.write_text(more.replace("\nf 1 2 3\n", "\nf 1 \\\n2 3\n").replace("\n", "\r\n"), encoding="utf-8")
    assert read(path).volume == pytest.approx(VOLUME)
