"""What of one face's triangles lies opposite which of the other's, and the points in it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fem.joining.sides import Side, small_triangles
from fem.part.tetmesh import Index
from fem.tensors import Array

POINTS = np.array([[1 / 6, 1 / 6], [2 / 3, 1 / 6], [1 / 6, 2 / 3]])
"""Points of degree 2 in the reference triangle, of equal weight."""


@dataclass(frozen=True)
class Overlaps:
    """Small triangles (s,) that lie in one triangle of each side: `first`, `second` (s,) say in which, `corner`
    (s, 3, 2) where in the first's reference.

    Those from `begin` to `end` (s,) lie in the same piece of the first side; `layered` (s,) where they cover it more
    than once. `tried` pairs were clipped.
    """

    first: Index
    second: Index
    corner: Array
    begin: Index
    end: Index
    layered: NDArray[np.bool_]
    tried: int

    def points(self, start: int, stop: int) -> tuple[Index, Array, Array]:
        """Points of degree 2 in the overlaps from `start` to `stop`, three in each: the overlap (q,), the reference
        point (q, 2) in the first's triangle, and the part (q,) of the reference's area that it stands for.
        """
        return _three_in_each(np.arange(start, stop), self.corner[start:stop])

    def finer(self, which: Index, cut: int) -> tuple[Index, Array, Array]:
        """The same in overlaps `which` (w,), each cut into `cut` x `cut`."""
        small, corner = small_triangles(cut), self.corner[which]
        a, sides = corner[:, :1], np.stack([corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]], axis=1)
        each = (a[:, None] + small @ sides[:, None]).reshape(-1, 3, 2)
        return _three_in_each(np.repeat(which, len(small)), each)

    def met(self, place: Array, points: Array, ways: Array, row: Index) -> tuple[Index, Array, Array]:
        """Where lines from points (q, 3) of overlaps `row` (q,) along unit vectors (q, 3) meet the second side, whose
        triangles lie at `place` (k, 6, 3): which (q,), -1 for none, where in it (q, 2), how far along (q,) [mm].
        """
        from fem.joining.opposite_kernels import partners

        return partners(place, points, ways, row, self.second, self.begin, self.end, self.layered)


def _three_in_each(row: Index, corner: Array) -> tuple[Index, Array, Array]:
    """Points of degree 2 in triangles (s, 3, 2) of overlaps `row` (s,), as `points` gives them: overlaps are small
    beside the triangles of both sides, and an even pressure on second-order faces comes out exactly.
    """
    a = corner[:, 0]
    u, v = corner[:, 1] - a, corner[:, 2] - a
    x, y = POINTS.T[:, :, None]
    reference = a[:, None] + x * u[:, None] + y * v[:, None]
    part = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])[:, None] * np.full(3, 1 / 6)
    return np.repeat(row, len(POINTS)), reference.reshape(-1, 2), part.ravel()


def overlaps_of(one: Side, two: Side, *, reach: float) -> Overlaps:
    """What of side `one` lies opposite side `two` along its normals, within `reach` [mm] before it or behind it."""
    from fem.joining.opposite_kernels import overlaps

    pair, cut, tried = overlaps(one.corners, two.corners, reach, reach)
    u, v = cut[:, 1] - cut[:, 0], cut[:, 2] - cut[:, 0]
    area = np.bincount(pair[:, 0], u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0], minlength=len(one.pieces.cell))
    begin = np.searchsorted(pair[:, 0], pair[:, 0], side="left")
    end = np.searchsorted(pair[:, 0], pair[:, 0], side="right")
    piece = one.pieces.corner[pair[:, 0]]
    corner = piece[:, :1] + cut @ (piece[:, 1:] - piece[:, :1])
    first, second = one.pieces.cell[pair[:, 0]], two.pieces.cell[pair[:, 1]]
    return Overlaps(first, second, corner, begin, end, area[pair[:, 0]] > 1 + 1e-6, int(tried))
