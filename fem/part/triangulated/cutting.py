"""A surface of triangles split along the sides of boxes, so that a new mesh follows the border of a cut."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fem.part.solid import Cut, Face, Triangulation
from fem.part.triangulated.soundness import SAME_POINT, Ints, diagonal
from fem.tensors import Array


def split_surface(surface: Triangulation, faces: tuple[Face, ...], cuts: Sequence[Cut]) -> tuple[Triangulation, Ints]:
    """The surface with each face that is cut in pieces, and the old face of each new one.

    A cut face falls into the cells that the planes of the box's sides make, not into inside and outside alone: so
    the corners of a patch in the middle of a face are places where pieces meet, which the mesher keeps. The surface
    stays closed: triangles of other faces are split along with an edge that they share.
    """
    points, triangles, face = surface.points, surface.triangles, surface.face
    near = SAME_POINT * diagonal(points)
    cell = np.zeros(len(triangles), dtype=np.int64)
    for cut in cuts:
        indices = [i for i, f in enumerate(faces) if f.id in cut.faces]
        for axis in range(3):
            for bound in (cut.low[axis], cut.high[axis]):
                height = points[:, axis] - bound
                height = np.where(np.abs(height) <= near, 0.0, height)
                points, triangles, parent = _split(points, triangles, height, np.isin(face, indices))
                face, cell = face[parent], cell[parent]
                above = np.isin(face, indices) & (points[triangles][:, :, axis].mean(axis=1) > bound + near)
                _, cell = np.unique(2 * cell + above, return_inverse=True)
    pieces, label = np.unique(np.column_stack([face, cell.reshape(-1)]), axis=0, return_inverse=True)
    return Triangulation(points, triangles, label.reshape(-1).astype(np.int64)), pieces[:, 0]


def _split(points: Array, triangles: Ints, height: Array, chosen: NDArray[np.bool_]) -> tuple[Array, Ints, Ints]:
    """Split the `chosen` triangles where `height` (n,) of their points changes sign, and neighbours at these edges.

    Returns points, triangles, and the old triangle of each new one.
    """
    edges = np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=2)
    key = np.sort(edges, axis=2) @ np.array([len(points), 1])
    crossing = height[edges[..., 0]] * height[edges[..., 1]] < 0
    wanted = np.unique(key[chosen[:, None] & crossing])
    if not len(wanted):
        return points, triangles, np.arange(len(triangles))
    a, b = wanted // len(points), wanted % len(points)
    share = height[a] / (height[a] - height[b])
    place = np.minimum(np.searchsorted(wanted, key), len(wanted) - 1)
    middle = np.where(wanted[place] == key, len(points) + place, -1)
    points = np.concatenate([points, points[a] + share[:, None] * (points[b] - points[a])])
    out, parent = [], []
    for k in np.flatnonzero((middle >= 0).any(axis=1)):
        for piece in _pieces(triangles[k], middle[k]):
            out.append(piece)
            parent.append(k)
    whole = np.flatnonzero((middle < 0).all(axis=1))
    return points, np.concatenate([triangles[whole], np.array(out)]), np.concatenate([whole, np.array(parent)])


def _pieces(corner: Ints, middle: Ints) -> list[tuple[int, int, int]]:
    """What a triangle falls into when points are put on its edges (0, 1), (1, 2), (2, 0); -1 for none."""
    many = int((middle >= 0).sum())
    if many == 3:
        (a, b, c), (d, e, f) = corner, middle
        return [(a, d, f), (d, b, e), (f, e, c), (d, e, f)]
    # Turn it so that the first edge is the one alone: split, if one is, or whole, if two are
    first = int(np.flatnonzero((middle >= 0) == (many == 1))[0])
    a, b, c = (int(v) for v in np.roll(corner, -first))
    d, e, f = (int(v) for v in np.roll(middle, -first))
    if many == 1:
        return [(a, d, c), (d, b, c)]
    return [(e, c, f), (a, b, e), (a, e, f)]
