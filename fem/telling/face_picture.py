"""A picture of a solid with the number of each face on it, so that a study can name faces."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from fem.part.solid import Face
from fem.part.tetmesh import Index
from fem.telling.canvas import BOTTOM, HEIGHT, TOP, Canvas, Label
from fem.telling.colours import categorical, pale
from fem.telling.stage import CORNER, Stage, fit
from fem.telling.surface import lines, polydata
from fem.tensors import Array

HALF = (1100, HEIGHT - TOP - BOTTOM)
SMALLEST = 30
"""A face of fewer visible pixels than this gets no label in that view."""
LABEL_HIDES = 80
"""A face of which less than so many pixels are seen each way vanishes under its number, which then stands beside."""


def draw_faces(
    solid_points: Array, triangles: Index, face_index: Index, faces: tuple[Face, ...], path: Path, *, name: str = ""
) -> tuple[str, ...]:
    """Write a PNG of two views, from opposite corners, with the id of every face that can be seen.

    `solid_points` (n, 3) [mm], `triangles` (k, 3), `face_index` (k,) index into `faces`; `name` heads the picture.
    Returns the ids that are written on it; a face hidden in both views is named in the last line.
    """
    points, index = np.asarray(solid_points, dtype=float), np.asarray(face_index)
    path.parent.mkdir(parents=True, exist_ok=True)
    tints = [pale(c) for c in categorical(len(faces))]
    used = points[np.unique(triangles)]
    shots, views, labels, seen = [], [], [], set[int]()
    with Stage(size=HALF) as stage, Stage(size=HALF, finer=1.0) as numbered:
        for i, towards in enumerate((np.array(CORNER), -np.array(CORNER))):
            view = fit(used, towards=towards, size=HALF)
            for number, x, y, wide in _anchors(numbered, view, points, triangles, index, len(faces)):
                seen.add(number)
                edge = tuple(0.6 * c for c in tints[number])
                labels.append(Label(str(faces[number].id), x + i * HALF[0], y, edge, beside=wide < LABEL_HIDES))  # type: ignore[arg-type]
            stage.clear()
            coat = polydata(points, triangles)
            coat.cell_data["rgb"] = (255 * np.array(tints)[index]).astype(np.uint8)
            stage.add(coat, scalars="rgb", rgb=True)
            stage.add(lines(points, rims(triangles, index)), colour=(0.1, 0.12, 0.14), width=1.5, lighting=False)
            shots.append(stage.show(view))
            views.append(view)
    hidden = [str(f.id) for i, f in enumerate(faces) if i not in seen]
    size = used.max(axis=0) - used.min(axis=0)
    box = " x ".join(f"{v:.4g}" for v in size)
    canvas = Canvas(
        np.hstack(shots),
        title=f"{name}: {len(faces)} faces" if name else f"{len(faces)} faces",
        note=f"Box {box} mm; two views from opposite corners",
    )
    for i, view in enumerate(views):
        canvas.tripod(view, left=i * HALF[0])
    crowd = len(labels)
    canvas.labels(labels, size=28 if crowd < 120 else 20, inside=True)
    written = tuple(label.text for label in labels)
    corner = "Left: seen from +x, -y, +z.  Right: from -x, +y, -z."
    canvas.write((40, canvas.height - 130), corner)
    if hidden:
        few = ", ".join(hidden[:40]) + (" and more" if len(hidden) > 40 else "")
        canvas.write((40, canvas.height - 80), f"Hidden in both views: {few}")
    canvas.save(path)
    return written


def rims(triangles: Index, face: Index) -> Index:
    """Segments (s, 2) between triangles (k, 3) of different faces."""
    t = np.asarray(triangles, dtype=np.int64)
    edges = np.sort(np.concatenate([t[:, [0, 1]], t[:, [1, 2]], t[:, [0, 2]]]), axis=1)
    of = np.tile(np.asarray(face), 3)
    order = np.lexsort((edges[:, 1], edges[:, 0]))
    edges, of = edges[order], of[order]
    rim = (edges[1:] == edges[:-1]).all(axis=1) & (of[1:] != of[:-1])
    return edges[1:][rim]


def _anchors(
    stage: Stage, view: Any, points: Array, triangles: Index, index: Index, count: int
) -> list[tuple[int, float, float, float]]:
    """For each face that is seen: its index, the point [px] deepest inside what is seen of it, and how wide or high
    [px] that is.
    """
    from scipy.ndimage import distance_transform_edt

    # Painting may round a channel up or down by one, so digits are five steps apart: fifty to a channel
    ids = np.arange(1, count + 1)
    code = 5 * np.column_stack([ids % 50, ids // 50 % 50, ids // 2500]).astype(np.uint8)
    stage.clear()
    coat = polydata(points, triangles)
    coat.cell_data["rgb"] = code[index]
    stage.add(coat, scalars="rgb", rgb=True, lighting=False, ambient=1.0, diffuse=0.0)
    painted = stage.show(view).astype(np.int64)
    value = (painted + 2) // 5 @ np.array([1, 50, 2500])
    value[(painted > 249).all(axis=-1)] = 0  # the white background
    out = []
    for number in np.unique(value):
        if not 0 < number <= count:
            continue
        mask = value == number
        if mask.sum() < SMALLEST:
            continue
        rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
        window = mask[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
        depth = distance_transform_edt(np.pad(window, 1))[1:-1, 1:-1]
        if depth.max() < 1.5:
            continue
        row, column = np.unravel_index(int(depth.argmax()), depth.shape)
        wide = float(max(np.ptp(rows), np.ptp(columns)))
        out.append((int(number) - 1, float(columns[0] + column), float(rows[0] + row), wide))
    return out
