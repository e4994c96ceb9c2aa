"""How much of a mesh's boundary lies inside a box."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fem.part.quadrature import curved_points, triangle_shapes
from fem.part.tetmesh import Index, TetMesh
from fem.tensors import Array

SAME_PLACE = 1e-7
"""Share of the diagonal by which a point may miss a side of the box and still lie on it."""


def middles_inside(mesh: TetMesh, triangles: Index, low: Sequence[float], high: Sequence[float]) -> NDArray[np.bool_]:
    """Whether the middle of each boundary triangle (j,) lies inside the box."""
    shape = triangle_shapes(np.array([[1 / 3, 1 / 3]]))[0][0]
    middle = np.einsum("a,jai->ji", shape, mesh.nodes[mesh.triangles[triangles]])
    near = SAME_PLACE * mesh.diagonal
    return np.asarray(((middle >= np.asarray(low) - near) & (middle <= np.asarray(high) + near)).all(axis=1))


def area_inside(mesh: TetMesh, triangles: Index, low: Sequence[float], high: Sequence[float]) -> float:
    """Area [mm^2] of boundary triangles (j,) inside a box: exact on planes; a curved triangle across a side of the
    box counts as 64 flat ones.
    """
    corners = mesh.nodes[mesh.triangles[triangles]]
    for bound in (np.asarray(low, dtype=float), np.asarray(high, dtype=float)):
        corners = np.where(np.abs(corners - bound) <= SAME_PLACE * mesh.diagonal, bound, corners)
    inside = ((corners >= low) & (corners <= high)).all(axis=(1, 2))
    beyond = np.all(corners < low, axis=1) | np.all(corners > high, axis=1)
    outside = beyond.any(axis=1)
    total = float(curved_points(corners[inside])[1].sum())
    for six in corners[~inside & ~outside]:
        total += sum(clipped_area(piece, low, high) for piece in _flat_pieces(six))
    return total


def clipped_area(corners: Array, low: Sequence[float], high: Sequence[float]) -> float:
    """Area [mm^2] of the part of a flat triangle (3, 3) inside a box.

    Source: I. E. Sutherland and G. W. Hodgman, Communications of the ACM 17 (1974) 32.
    """
    polygon = list(corners)
    for axis in range(3):
        for bound, side in ((low[axis], 1.0), (high[axis], -1.0)):
            kept = []
            for a, b in zip(polygon, polygon[1:] + polygon[:1], strict=True):
                from_a, from_b = side * (a[axis] - bound), side * (b[axis] - bound)
                if from_a >= 0:
                    kept.append(a)
                if from_a * from_b < 0:
                    kept.append(a + from_a / (from_a - from_b) * (b - a))
            polygon = kept
            if len(polygon) < 3:
                return 0.0
    fan = np.array(polygon)
    return float(np.linalg.norm(np.cross(fan[1:-1] - fan[0], fan[2:] - fan[0]).sum(axis=0)) / 2)


def _flat_pieces(six: Array) -> Array:
    """Flat triangles (64, 3, 3) of a curved one (6, 3); itself where it is flat with straight sides."""
    straight = (six[[0, 1, 0]] + six[[1, 2, 2]]) / 2
    if np.allclose(six[3:], straight, rtol=0, atol=1e-9 * np.ptp(six, axis=0).max()):
        return six[None, :3]
    n = 8
    grid = {at: k for k, at in enumerate((i, j) for i in range(n + 1) for j in range(n + 1 - i))}
    points = triangle_shapes(np.array(list(grid)) / n)[0] @ six
    up = [(grid[i, j], grid[i + 1, j], grid[i, j + 1]) for i in range(n) for j in range(n - i)]
    down = [(grid[i + 1, j], grid[i + 1, j + 1], grid[i, j + 1]) for i in range(n) for j in range(n - i - 1)]
    return np.asarray(points[np.array(up + down)])
