"""A picture of a solid with the number of each face on it, so that a study can name faces."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import count as count_from
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fem.part.solid import Face
from fem.part.tetmesh import Index
from fem.telling.canvas import BOTTOM, HEIGHT, MARK, SOFT, TOP, Canvas, Label
from fem.telling.colours import categorical, pale
from fem.telling.stage import CORNER, Stage, View, fit
from fem.telling.surface import lines, polydata
from fem.tensors import Array

TILE = (1100, HEIGHT - TOP - BOTTOM)
"""Size [px] of one view; three of them stand side by side at most."""
SMALLEST, FEWEST = 30, 4
"""Pixels from which a face counts as seen, and of one that is smaller from everywhere."""
WELL = 0.05
"""A face counts as seen where this share of what its best view shows of it is seen."""
THIN = 2.5
"""A face that is seen no deeper [px] than this is an edge on which no number is hung, if another view shows it."""
ROOM = 36
"""A face that is seen this far [px] around a point has room for its number; else the number stands beside it."""
SIDES = tuple(CORNER * np.array(s) for s in ((1, 1, 1), (-1, -1, -1), (-1, 1, 1), (1, -1, -1)))
SIDES += tuple(CORNER * np.array(s) for s in ((1, -1, 1), (-1, 1, -1), (-1, -1, 1), (1, 1, -1)))
SIDES += tuple(s * axis for axis in np.eye(3)[::-1] for s in (1.0, -1.0))
"""Directions from which a part may be seen: its eight corners, then along its axes."""


@dataclass(frozen=True)
class Shot:
    """One view that is drawn: `shown` (k,) which triangles, `seen` (rows, columns) the face of each pixel from 1 on,
    0 for none; `first` the faces for whose sake it was chosen; `inside` where only faces are drawn that other ones
    hide from everywhere.
    """

    view: View
    shown: NDArray[np.bool_]
    seen: Index
    inside: bool
    first: tuple[int, ...] = ()

    @property
    def words(self) -> str:
        """From where it is seen."""
        signs = [f"{'+' if c > 0 else '-'}{a}" for a, c in zip("xyz", self.view.towards, strict=True) if abs(c) > 0.1]
        return f"{'What lies inside, seen' if self.inside else 'Seen'} from {', '.join(signs)}"


def draw_faces(
    solid_points: Array,
    triangles: Index,
    face_index: Index,
    faces: tuple[Face, ...],
    path: Path,
    *,
    name: str = "",
    mark: str = "",
) -> tuple[str, ...]:
    """Write a PNG of as many views as it takes to see every face, with its id on it or beside it.

    `solid_points` (n, 3) [mm], `triangles` (k, 3), `face_index` (k,) index into `faces`; `name` heads the picture,
    `mark` is kept in the file (see `own_place`). Returns the ids that are written on it; faces too small to be seen
    are named in the last line.
    """
    points, index = np.asarray(solid_points, dtype=float), np.asarray(face_index)
    path.parent.mkdir(parents=True, exist_ok=True)
    tints = np.array([pale(c) for c in categorical(len(faces))])
    with Stage(size=TILE, finer=1.0) as numbered:
        shots = shots_of(numbered, points, triangles, index, len(faces))
    with Stage(size=TILE) as stage:
        tiles = [_tile(stage, shot, points, triangles, index, tints) for shot in shots]
    columns = 1 if len(tiles) == 1 else 2 if len(tiles) <= 4 else 3
    used = points[np.unique(triangles)]
    box = " x ".join(f"{v:.4g}" for v in used.max(axis=0) - used.min(axis=0))
    canvas = Canvas(
        _side_by_side(tiles, columns),
        title=f"{name}: {len(faces)} faces" if name else f"{len(faces)} faces",
        note=f"Box {box} mm; seen from {len(tiles)} sides" if len(tiles) > 1 else f"Box {box} mm",
    )
    labels: list[Label] = []
    for n, shot in enumerate(shots):
        left, top = n % columns * TILE[0], n // columns * TILE[1]
        canvas.tripod(shot.view, left=left, top=top)
        canvas.write((left + 40, TOP + top + 6), shot.words, size=24, colour=SOFT)
        for number, x, y, deep in _anchors(shot.seen, shot.first):
            edge = tuple(0.6 * tints[number - 1])
            text = str(faces[number - 1].id)
            labels.append(Label(text, x + left, y + top, edge, beside=deep < ROOM))
    labels.sort(key=lambda label: label.beside)
    canvas.labels(labels, size=28 if len(labels) < 120 * len(tiles) else 20, inside=True)
    seen = {int(n) for shot in shots for n in np.unique(shot.seen)}
    hidden = [str(f.id) for i, f in enumerate(faces, start=1) if i not in seen]
    if hidden:
        few = ", ".join(hidden[:40]) + (" and more" if len(hidden) > 40 else "")
        canvas.write((40, canvas.height - 80), f"Too small to be seen: {few}")
    canvas.save(path, mark=mark)
    return tuple(dict.fromkeys(label.text for label in labels))


def shots_of(stage: Stage, points: Array, triangles: Index, index: Index, count: int) -> list[Shot]:
    """The fewest views, or nearly, in which each of `count` faces is seen well; what other faces hide from all sides
    is drawn once more without them.
    """
    shots: list[Shot] = []
    left = np.ones(count, dtype=bool)
    while left.any():
        inside = not left.all()
        shown = left[index] if inside else np.ones(len(index), dtype=bool)
        if not shown.any():
            break
        used = points[np.unique(triangles[shown])]
        tried = [
            Shot(view, shown, _painted(stage, view, points, triangles[shown], index[shown], count), inside)
            for view in (_above(fit(used, towards=side, size=TILE, margin=1.3)) for side in SIDES)
        ]
        pixels = np.array([np.bincount(shot.seen.ravel(), minlength=count + 1)[1:] for shot in tried])
        best = pixels.max(axis=0)
        wanted = np.maximum(np.minimum(np.maximum(SMALLEST, WELL * best), best), FEWEST)
        sees = (pixels >= wanted) & left
        before = int(left.sum())
        while (sees & left).any():
            taken = int((sees & left).sum(axis=1).argmax())
            first = tuple(int(i) + 1 for i in np.flatnonzero(sees[taken] & left))
            shots.append(replace(tried[taken], first=first))
            left &= ~sees[taken]
        if int(left.sum()) == before:
            break
    return shots


def _above(view: View) -> View:
    """The view with its part moved up, so that there is room for the axes below."""
    return replace(view, focal=view.focal - 0.12 * view.half * view.up)


def own_place(folder: Path, stem: str, *, mark: str) -> Path:
    """Where the picture of a solid goes so that it takes no other one's place: `stem`.png, or the first of
    `stem`_2.png and so on that is free or bears the same `mark`.
    """
    from PIL import Image

    for n in count_from(1):
        path = folder / (f"{stem}.png" if n == 1 else f"{stem}_{n}.png")
        if not path.is_file():
            return path
        try:
            with Image.open(path) as picture:
                if picture.info.get(MARK) == mark:
                    return path
        except (OSError, SyntaxError, ValueError):  # no picture at all
            continue
    raise AssertionError


def _tile(stage: Stage, shot: Shot, points: Array, triangles: Index, index: Index, tints: Array) -> Array:
    """The faces of a view, each in its tint."""
    own = triangles[shot.shown]
    stage.clear()
    coat = polydata(points, own)
    coat.cell_data["rgb"] = (255 * tints[index[shot.shown]]).astype(np.uint8)
    stage.add(coat, scalars="rgb")
    edges = rims(own, index[shot.shown])
    if len(edges):
        stage.add(lines(points, edges), colour=(0.1, 0.12, 0.14), width=1.5, lighting=False)
    return stage.show(shot.view)


def _side_by_side(tiles: list[Array], columns: int) -> Array:
    blank = np.full_like(tiles[0], 255)
    rows = [tiles[i : i + columns] for i in range(0, len(tiles), columns)]
    return np.vstack([np.hstack([*row, *[blank] * (columns - len(row))]) for row in rows])


def rims(triangles: Index, face: Index) -> Index:
    """Segments (s, 2) between triangles (k, 3) of different faces."""
    t = np.asarray(triangles, dtype=np.int64)
    edges = np.sort(np.concatenate([t[:, [0, 1]], t[:, [1, 2]], t[:, [0, 2]]]), axis=1)
    of = np.tile(np.asarray(face), 3)
    order = np.lexsort((edges[:, 1], edges[:, 0]))
    edges, of = edges[order], of[order]
    rim = (edges[1:] == edges[:-1]).all(axis=1) & (of[1:] != of[:-1])
    return edges[1:][rim]


def _painted(stage: Stage, view: View, points: Array, triangles: Index, index: Index, count: int) -> Index:
    """The face (from 1 on, 0 for none) that each pixel (rows, columns) of a view shows."""
    # Painting may round a channel up or down by one, so digits are five steps apart: fifty to a channel
    ids = np.arange(1, count + 1)
    code = 5 * np.column_stack([ids % 50, ids // 50 % 50, ids // 2500]).astype(np.uint8)
    stage.clear()
    coat = polydata(points, triangles)
    coat.cell_data["rgb"] = code[index]
    stage.add(coat, scalars="rgb", lighting=False, ambient=1.0, diffuse=0.0)
    painted = stage.show(view).astype(np.int64)
    value = (painted + 2) // 5 @ np.array([1, 50, 2500])
    value[(painted > 249).all(axis=-1)] = 0  # the white background
    value[value > count] = 0
    return np.asarray(value)


def _anchors(seen: Index, first: tuple[int, ...]) -> list[tuple[int, float, float, float]]:
    """For each face that is seen: its number, the point [px] deepest inside what is seen of it, and how deep [px] it
    lies. Slivers are left out unless they are `first` seen here.
    """
    from scipy.ndimage import distance_transform_edt, find_objects

    out = []
    for number, window in enumerate(find_objects(seen), start=1):
        if window is None:
            continue
        mask = seen[window] == number
        depth = distance_transform_edt(np.pad(mask, 1))[1:-1, 1:-1]
        if number not in first and (mask.sum() < SMALLEST or depth.max() <= THIN):
            continue
        row, column = np.unravel_index(int(depth.argmax()), depth.shape)
        x, y = float(window[1].start + column), float(window[0].start + row)
        out.append((number, x, y, float(depth.max())))
    return out
