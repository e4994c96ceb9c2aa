"""Mesh of the gyroid: quadrilaterals on the surface phi = 0, drawn out along the gradient to the sheet's two faces.

One vertex in every box of a lattice that the surface crosses, one quadrilateral for every edge of the lattice that it
crosses; the vertices are evened out along the surface. The gyroid repeats after half a period along all three
axes at once, so half of the period is meshed and tied to itself.

Source: S. F. F. Gibson, in Medical Image Computing (1998), LNCS 1496, p. 888 (surface nets).
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from fem.printing.infill.hexahedra import volumes
from fem.printing.infill.mesh import CellMesh, Family, Index
from fem.printing.infill.patterns import gyroid, gyroid_level, gyroid_slope, period_length
from fem.tensors import Array

_TURN = 2 * np.pi
_OFFSET = 0.31
"""Where the lattice starts, in boxes along each axis: no symmetry point of the surface falls on it."""


def sheet_mesh(*, density: float, bead_width: float, boxes: int, through: int) -> CellMesh:
    """The gyroid with `boxes` lattice boxes a period (an even number) and `through` hexahedra through the sheet.

    The level of the mesh's faces is set so that the mesh holds the density exactly.
    """
    points, faces = _surface(boxes)
    length = period_length("gyroid", density=density, bead_width=bead_width)
    wanted = density * _TURN**3 / 2
    level = gyroid_level(density)
    stack = _drawn_out(points, level, through)
    volume = _volume(_corners(stack, faces))
    step = level * (wanted / volume - 1)
    for _ in range(8):
        if abs(volume / wanted - 1) < 1e-10:
            break
        moved = _drawn_out(points, level + step, through)
        grown = _volume(_corners(moved, faces))
        slope = (grown - volume) / step if step else 1.0
        level, volume, stack = level + step, grown, moved
        step = (wanted - volume) / slope
    corners = _corners(stack, faces)
    nodes = np.concatenate([_layer_nodes(faces, k, len(points)) for k in range(through)])
    half = np.array([[-1.0, 1, 1], [1, -1, 1], [1, 1, -1]]) * length / 2
    slope_there = gyroid_slope(corners.mean(axis=1))
    angle = np.degrees(np.arctan2(-slope_there[:, 0], slope_there[:, 1])) % 180.0
    family = np.zeros(len(corners), dtype=np.intp)
    sheet = Family("sheet", (), True)
    return CellMesh(half, corners * (length / _TURN), nodes, family, (sheet,), angle, False)


def _surface(boxes: int) -> tuple[Array, Index]:
    """Vertices (v, 3) of half a period, one period being 2 pi, and quadrilaterals (f, 4) that face up the gradient.

    A face at the edge of the half period names the vertices on the other side; `_corners` unwraps it.
    """
    n = boxes
    step = _TURN / n
    line = (np.arange(n) + _OFFSET) * step
    grid = np.stack(np.meshgrid(line, line, line, indexing="ij"), axis=-1)
    value = gyroid(grid)
    full = np.zeros((n, n, n, 3))
    hits = np.zeros((n, n, n))
    faces = []
    for axis in range(3):
        ahead = np.roll(value, -1, axis=axis)
        cut = (value >= 0) != (ahead >= 0)
        share = np.where(cut, value / np.where(cut, value - ahead, 1.0), 0.0)
        others = [d for d in range(3) if d != axis]
        around = [(a, b) for a in (0, 1) for b in (0, 1)]
        at = np.argwhere(cut)
        ring = []
        for a, b in around:
            box = at.copy()
            box[:, others[0]] -= a
            box[:, others[1]] -= b
            # where the cut lies inside that box, in boxes
            inside = np.zeros((len(at), 3))
            inside[:, others[0]], inside[:, others[1]] = a, b
            inside[:, axis] = share[cut]
            box %= n
            np.add.at(full, tuple(box.T), inside)
            np.add.at(hits, tuple(box.T), 1.0)
            ring.append(box)
        keep = at[:, 2] < n // 2
        faces.append(np.stack([r[keep] for r in ring], axis=1))
    quads = np.concatenate(faces)
    # boxes of the upper half stand for those of the lower half, half a period away along all three
    upper = quads[..., 2] >= n // 2
    quads = np.where(upper[..., None], (quads + n // 2) % n, quads)
    keys = (quads[..., 0] * n + quads[..., 1]) * n + quads[..., 2]
    used, faces_of = np.unique(keys, return_inverse=True)
    box = np.stack(np.unravel_index(used, (n, n, n)), axis=1)
    there = full[tuple(box.T)] / hits[tuple(box.T)][:, None]
    points = (box + there + _OFFSET) * step
    faces_there = faces_of.reshape(-1, 4)
    points = _evened(points, faces_there)
    one, two = (_nearest_copy(points[faces_there[:, k]] - points[faces_there[:, 0]]) for k in (1, 2))
    up = (np.cross(one, two) * gyroid_slope(points[faces_there[:, 0]])).sum(axis=1) > 0
    return points, np.where(up[:, None], faces_there, faces_there[:, [0, 2, 1, 3]])


def _nearest_copy(away: Array) -> Array:
    """Differences (..., 3) between two points, to the nearest copy under whole and half-period shifts."""
    one = away - _TURN * np.round(away / _TURN)
    two = away + _TURN / 2
    two = two - _TURN * np.round(two / _TURN)
    nearer = (one**2).sum(axis=-1) <= (two**2).sum(axis=-1)
    return np.where(nearer[..., None], one, two)


def _evened(points: Array, faces: Index) -> Array:
    """The vertices moved along the surface towards the middle of their neighbours."""
    sides = np.concatenate([faces[:, [0, 1]], faces[:, [1, 3]], faces[:, [3, 2]], faces[:, [2, 0]]])
    first, second = np.concatenate([sides, sides[:, ::-1]]).T
    count = np.bincount(first, minlength=len(points))[:, None]
    for _ in range(12):
        pull = np.zeros_like(points)
        np.add.at(pull, first, _nearest_copy(points[second] - points[first]))
        points = _onto(points + 0.7 * pull / count, 0.0)
    return points


def _onto(points: Array, level: float) -> Array:
    """Points moved along the gradient onto phi = `level`."""
    for _ in range(4):
        slope = gyroid_slope(points)
        points = points - slope * ((gyroid(points) - level) / (slope**2).sum(axis=-1))[..., None]
    return points


def _drawn_out(points: Array, level: float, through: int) -> Array:
    """Vertices (through + 1, v, 3) from the face at -level to that at +level, each along its own line of steepest
    slope.
    """
    wanted = np.linspace(-level, level, through + 1)
    out = np.empty((through + 1, *points.shape))
    for sign in (-1, 1):
        at, where = points, 0.0
        for k in np.argsort(sign * wanted):
            if sign * wanted[k] < 0 or (sign < 0 and wanted[k] == 0):
                continue
            steps = max(1, int(np.ceil(abs(wanted[k] - where) / 0.05)))
            for target in np.linspace(where, wanted[k], steps + 1)[1:]:
                at = _onto(at, float(target))
            out[k], where = at, float(wanted[k])
    return out


def _layer_nodes(faces: Index, layer: int, count: int) -> Index:
    return np.concatenate([faces + layer * count, faces + (layer + 1) * count], axis=1)


def _corners(stack: Array, faces: Index) -> Array:
    """Hexahedra (layers * f, 8, 3) between the surfaces of the stack, each unwrapped around its first corner."""
    base = stack[len(stack) // 2][faces[:, :1]]
    out = []
    for below, above in pairwise(stack):
        out.append(np.concatenate([base + _nearest_copy(s[faces] - base) for s in (below, above)], axis=1))
    return np.concatenate(out)


def _volume(corners: Array) -> float:
    return float(volumes(corners).sum())
