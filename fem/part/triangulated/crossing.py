"""Where a surface of triangles runs through itself."""

from __future__ import annotations

import numpy as np

from fem.errors import SolidError
from fem.part.triangulated.soundness import SAME_POINT, Ints, at, diagonal
from fem.tensors import Array


def refuse_crossing(points: Array, triangles: Ints, *, where: str) -> None:
    """Errors: SolidError that says where two triangles pass through each other."""
    pairs = overlapping_boxes(points, triangles)
    place = first_crossing(points, triangles, pairs)
    if place is not None:
        count, point = place
        raise SolidError(
            f"the surface crosses itself: {count} pairs of triangles, the first near {at(point)}.",
            where=where,
            advice="Unite overlapping bodies into one before export.",
        )


def overlapping_boxes(points: Array, triangles: Ints) -> Ints:
    """Pairs (j, 2) of triangles whose boxes overlap, by a balanced tree of boxes walked level by level."""
    corner = points[triangles]
    margin = SAME_POINT * diagonal(points)
    n = len(triangles)
    depth = max(int(np.ceil(np.log2(max(n, 1)))), 0)
    order = _tree_order(corner.mean(axis=1), depth)
    low = np.full((2**depth, 3), np.inf)
    high = np.full((2**depth, 3), -np.inf)
    real = order >= 0
    low[real], high[real] = corner.min(axis=1)[order[real]], corner.max(axis=1)[order[real]] + margin
    levels = [(low, high)]
    for _ in range(depth):
        low, high = levels[-1]
        levels.append((low.reshape(-1, 2, 3).min(axis=1), high.reshape(-1, 2, 3).max(axis=1)))
    i = j = np.zeros(1, dtype=np.int64)
    for low, high in levels[-2::-1]:
        same = i == j
        left, right = 2 * i[~same], 2 * j[~same]
        own = 2 * i[same]
        i = np.concatenate([own, own, own + 1, left, left, left + 1, left + 1])
        j = np.concatenate([own, own + 1, own + 1, right, right + 1, right, right + 1])
        keep = ((low[i] <= high[j]) & (low[j] <= high[i])).all(axis=1)
        i, j = i[keep], j[keep]
    apart = i != j
    return np.column_stack([order[i[apart]], order[j[apart]]])


def _tree_order(centres: Array, depth: int) -> Ints:
    """Triangle numbers (2^depth,) in the order of the tree's leaves, -1 where a leaf is empty."""
    n = len(centres)
    order = np.full(2**depth, -1, dtype=np.int64)
    order[:n] = np.arange(n)
    padded = np.full((2**depth, 3), np.inf)
    padded[:n] = centres
    for level in range(depth):
        blocks = order.reshape(2**level, -1)
        place = padded[blocks]
        finite = np.isfinite(place)
        span = np.where(finite, place, -np.inf).max(axis=1) - np.where(finite, place, np.inf).min(axis=1)
        axis = span.argmax(axis=1)
        value = np.take_along_axis(place, axis[:, None, None], axis=2)[:, :, 0]
        order = np.take_along_axis(blocks, np.argsort(value, axis=1, kind="stable"), axis=1).reshape(-1)
    return order


def first_crossing(points: Array, triangles: Ints, pairs: Ints) -> tuple[int, Array] | None:
    """How many pairs cross and a point of the first, or None.

    An edge of one triangle must reach through the plane of the other, on both sides by more than the
    rounding of points, inside it or on its rim. Edges that share a point with the other triangle are left out.
    """
    tolerance = SAME_POINT * diagonal(points)
    crossing = np.zeros(len(pairs), dtype=bool)
    place = np.zeros((len(pairs), 3))
    for block in np.array_split(np.arange(len(pairs)), max(len(pairs) // 200_000, 1)):
        for mine, other in ((0, 1), (1, 0)):
            edge_of, face_of = triangles[pairs[block, mine]], triangles[pairs[block, other]]
            a, b, c = np.moveaxis(points[face_of], 1, 0)
            normal = np.cross(b - a, c - a)
            length = np.linalg.norm(normal, axis=1)
            unit = normal / np.maximum(length, 1e-300)[:, None]
            for s in range(3):
                start, end = edge_of[:, s], edge_of[:, (s + 1) % 3]
                free = ~((face_of == start[:, None]) | (face_of == end[:, None])).any(axis=1)
                p, q = points[start], points[end]
                above, below = ((p - a) * unit).sum(axis=1), ((q - a) * unit).sum(axis=1)
                through = free & (above * below < 0) & (np.minimum(abs(above), abs(below)) > tolerance)
                k = np.flatnonzero(through)
                if not len(k):
                    continue
                x = p[k] + (above[k] / (above[k] - below[k]))[:, None] * (q[k] - p[k])
                share = [
                    (np.cross(v - u, x - u) * unit[k]).sum(axis=1) / length[k]
                    for u, v in ((a[k], b[k]), (b[k], c[k]), (c[k], a[k]))
                ]
                hit = np.min(share, axis=0) >= -1e-9
                crossing[block[k[hit]]] = True
                place[block[k[hit]]] = x[hit]
    found = np.flatnonzero(crossing)
    return (len(found), place[found[0]]) if len(found) else None
