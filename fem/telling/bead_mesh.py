"""The surface of beads, made from the boxes that they were computed in: layers with rounded sides, grooves between
beads, and lines where one bead ends and the next begins.

Boxes carry the numbers and are not changed; only their outlines within a layer are smoothed, by less than half a box,
so that a bead that runs askew through the boxes looks like one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fem.printing.beads import FULL, WALL, WAYS, BeadMap
from fem.tensors import Array

SMOOTHED = 8
"""Rounds of smoothing: enough for the stairs of a bead at 45 degrees."""
GROOVE, ROUNDED, RIM = 0.22, 0.30, 0.28
"""Depth of the groove between beads, inset of a bead's side at its top and bottom, and how far below the top the side
is at its widest, as shares of the layer's height."""

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Window:
    """A box of boxes: the slices of layers, rows and columns that are drawn."""

    layers: slice
    rows: slice
    columns: slice

    @property
    def cut(self) -> tuple[slice, slice, slice]:
        """The index of arrays (layers, ny, nx)."""
        return self.layers, self.rows, self.columns


@dataclass(frozen=True)
class BeadSurface:
    """What is seen of the beads: `points` (p, 3) [mm, print axes], `quads` (q, 4), `box` (q,) the flat index, within
    the window, of the box each quad belongs to, and `lines` (s, 2, 3) [mm] the segments between beads and layers.
    """

    points: Array
    quads: Ints
    box: Ints
    lines: Array


def is_filled(share: NDArray[np.uint8]) -> Bools:
    """Whether more than half of each box is bead."""
    return np.asarray(share > FULL // 2)


def bead_surface(beads: BeadMap, window: Window) -> BeadSurface:
    """Tops and sides of the beads in a window, as they are seen from above; its own border is cut straight."""
    filled = is_filled(beads.share[window.cut])
    grid = beads.grid
    height = float(grid.step[2] * grid.per_layer)
    corner = grid.origin + np.array(
        [window.columns.start * grid.step[0], window.rows.start * grid.step[1], window.layers.start * height]
    )
    pieces = []
    for k in range(len(filled)):
        above = filled[k + 1] if k + 1 < len(filled) else np.zeros_like(filled[k])
        layer = _Layer.of(beads, window, k, filled[k], height)
        pieces.append((k, layer, filled[k] & ~above))
    return _joined([_faces(layer, bare, corner[2] + k * height, k) for k, layer, bare in pieces], corner)


@dataclass(frozen=True)
class _Layer:
    """A layer's boxes (ny, nx) and its points (ny + 1, nx + 1): `at` (.., 2) [mm] smoothed, `inset` (.., 2) [mm] how
    far those at the air are moved inward at top and bottom; `rows_split` (ny + 1, nx) and `columns_split`
    (ny, nx + 1) tell between which boxes one bead ends.
    """

    filled: Bools
    at: Array
    inset: Array
    rows_split: Bools
    columns_split: Bools
    height: float

    @staticmethod
    def of(beads: BeadMap, window: Window, k: int, filled: Bools, height: float) -> _Layer:
        # Lines are smoothed a little beyond the window, so that they run straight out of it
        wide, own = _wider(window, beads)
        place = window.layers.start + k, wide.rows, wide.columns
        zone, bead = beads.zone[place].astype(np.int64), beads.bead[place].astype(np.int64)
        key = np.where(is_filled(beads.share[place]), zone * 65536 + bead + 1, 0)
        way = np.where(zone == WALL, beads.way[place].astype(np.int64), -1)
        step = beads.grid.step[:2]
        at = _smoothed(_split(key, way), _split(key.T, way.T).T, step)
        ny, nx = filled.shape
        at = at[own[0] : own[0] + ny + 1, own[1] : own[1] + nx + 1] - np.array(own[::-1]) * step
        at[:, 0, 0], at[:, -1, 0], at[0, :, 1], at[-1, :, 1] = 0.0, nx * step[0], 0.0, ny * step[1]
        inside = slice(own[0], own[0] + ny), slice(own[1], own[1] + nx)
        rows_split, columns_split = _split(key[inside], way[inside]), _split(key[inside].T, way[inside].T).T
        return _Layer(filled, at, _inset(filled, step, height), rows_split, columns_split, height)


def _wider(window: Window, beads: BeadMap) -> tuple[Window, tuple[int, int]]:
    """The window with SMOOTHED boxes more on each side, as far as the grid goes, and how many rows and columns were
    put before it.
    """
    _, ny, nx = beads.zone.shape
    rows = slice(max(0, window.rows.start - SMOOTHED), min(ny, window.rows.stop + SMOOTHED))
    columns = slice(max(0, window.columns.start - SMOOTHED), min(nx, window.columns.stop + SMOOTHED))
    before = window.rows.start - rows.start, window.columns.start - columns.start
    return Window(window.layers, rows, columns), before


def _split(key: Ints, way: Ints) -> Bools:
    """Between which rows (ny + 1, nx) the bead is another one; the border counts where there is a bead."""
    wide, turned = np.pad(key, ((1, 1), (0, 0))), np.pad(way, ((1, 1), (0, 0)), constant_values=-1)
    turn = np.abs(turned[1:] - turned[:-1])
    back = (turned[1:] >= 0) & (turned[:-1] >= 0) & (np.minimum(turn, 2 * WAYS - turn) >= WAYS // 2)
    return np.asarray((wide[1:] != wide[:-1]) | back)


def _smoothed(rows_split: Bools, columns_split: Bools, step: Array) -> Array:
    """The points (ny + 1, nx + 1, 2) [mm] with those along beads' outlines drawn towards their neighbours there."""
    ny, nx = columns_split.shape[0], rows_split.shape[1]
    start = np.stack(np.meshgrid(np.arange(nx + 1.0), np.arange(ny + 1.0)), axis=-1)
    at = start.copy()
    right = np.pad(rows_split, ((0, 0), (0, 1)))  # a point is joined to the next in its row
    up = np.pad(columns_split, ((0, 1), (0, 0)))  # and to the next in its column
    count = right.astype(float) + up
    count[:, 1:] += right[:, :-1]
    count[1:] += up[:-1]
    moves = (count > 1)[..., None]
    for _ in range(SMOOTHED):
        total = np.zeros_like(at)
        total[:, :-1] += right[:, :-1, None] * at[:, 1:]
        total[:, 1:] += right[:, :-1, None] * at[:, :-1]
        total[:-1] += up[:-1, :, None] * at[1:]
        total[1:] += up[:-1, :, None] * at[:-1]
        mean = total / np.maximum(count, 1)[..., None]
        at = np.where(moves, 0.5 * (at + mean), at)
        at = np.clip(at, start - 0.49, start + 0.49)
        at[:, [0, -1], 0], at[[0, -1], :, 1] = start[:, [0, -1], 0], start[[0, -1], :, 1]
    return at * step


def _inset(filled: Bools, step: Array, height: float) -> Array:
    """How far (ny + 1, nx + 1, 2) [mm] points at the air are moved into the bead at its top and bottom."""
    f = np.pad(filled, 1, mode="edge").astype(float)
    before, after = f[:-1, :-1], f[1:, 1:]
    below, beside = f[:-1, 1:], f[1:, :-1]
    inward = np.stack([after + below - before - beside, after + beside - before - below], axis=-1)
    size = np.linalg.norm(inward, axis=-1, keepdims=True)
    depth = min(ROUNDED * height, 0.4 * float(min(step)))
    return np.divide(inward, size, out=np.zeros_like(inward), where=size > 0) * depth


def _faces(layer: _Layer, bare: Bools, floor: float, k: int) -> tuple[Array, Ints, Ints, Array]:
    """Points (p, 3) [mm], quads, their boxes and the lines (s, 2, 3) of a layer whose bottom lies at `floor` [mm]."""
    ny, nx = layer.filled.shape
    sunk = _sunk(layer, bare)
    tight, wide = layer.at + layer.inset, layer.at
    h = layer.height
    levels = [(tight, 0.0), (wide, RIM * h), (wide, (1 - RIM) * h), (tight, h)]
    sheets = [np.concatenate([xy, np.full((ny + 1, nx + 1, 1), floor + z)], axis=-1) for xy, z in levels]
    sheets[3][..., 2] -= sunk
    points = np.concatenate([s.reshape(-1, 3) for s in sheets])
    size, box = (ny + 1) * (nx + 1), np.arange(ny * nx).reshape(ny, nx) + k * ny * nx
    node = np.arange(size).reshape(ny + 1, nx + 1)
    top = _grown(bare) & layer.filled
    tops = np.stack([node[:-1, :-1], node[:-1, 1:], node[1:, 1:], node[1:, :-1]], axis=-1)[top] + 3 * size
    quads, boxes = [tops], [box[top]]
    sides = _sides(layer.filled, node, box)
    for start, end, of in sides:
        for low in range(3):
            base = low * size
            quads.append(np.stack([start + base, end + base, end + base + size, start + base + size], axis=-1))
            boxes.append(of)
    lines = _lines(layer, bare, node, sides, sheets)
    return points, np.concatenate(quads), np.concatenate(boxes), lines


def _sunk(layer: _Layer, bare: Bools) -> Array:
    """How deep (ny + 1, nx + 1) [mm] points between two beads lie below the top, where nothing lies on them."""
    ny, nx = bare.shape
    b = np.pad(bare, 1, mode="edge")
    within = np.all([b[i : i + ny + 1, j : j + nx + 1] for i in (0, 1) for j in (0, 1)], axis=0)
    # On the window's border only lines that come from inside count
    rows, columns = np.zeros((ny + 1, nx + 2), dtype=bool), np.zeros((ny + 2, nx + 1), dtype=bool)
    rows[1:-1, 1:-1], columns[1:-1, 1:-1] = layer.rows_split[1:-1], layer.columns_split[:, 1:-1]
    between = rows[:, :-1] | rows[:, 1:] | columns[:-1] | columns[1:]
    return np.where(within & between, GROOVE * layer.height, 0.0)


def _grown(mask: Bools) -> Bools:
    """The boxes of a mask and their eight neighbours."""
    p = np.pad(mask, 1)
    ny, nx = mask.shape
    return np.asarray(np.any([p[i : i + ny, j : j + nx] for i in range(3) for j in range(3)], axis=0))


def _sides(filled: Bools, node: Ints, box: Ints) -> list[tuple[Ints, Ints, Ints]]:
    """Points (n,) where sides start and end, seen from outside from left to right, and the box (n,) of each."""
    wide = np.pad(filled, 1)
    core = wide[1:-1, 1:-1]
    front, back = core & ~wide[:-2, 1:-1], core & ~wide[2:, 1:-1]
    left, right = core & ~wide[1:-1, :-2], core & ~wide[1:-1, 2:]
    return [
        (node[:-1, :-1][front], node[:-1, 1:][front], box[front]),
        (node[1:, 1:][back], node[1:, :-1][back], box[back]),
        (node[1:, :-1][left], node[:-1, :-1][left], box[left]),
        (node[:-1, 1:][right], node[1:, 1:][right], box[right]),
    ]


def _lines(
    layer: _Layer, bare: Bools, node: Ints, sides: list[tuple[Ints, Ints, Ints]], sheets: list[Array]
) -> Array:
    """Segments (s, 2, 3): between beads on bare tops, along the sides at top and bottom, down the cut faces."""
    flat = [sheet.reshape(-1, 3) for sheet in sheets]
    wide = np.pad(bare, 1)
    rows = layer.rows_split & (wide[:-1, 1:-1] | wide[1:, 1:-1])
    columns = layer.columns_split & (wide[1:-1, :-1] | wide[1:-1, 1:])
    pairs = [
        np.stack([node[:, :-1][rows], node[:, 1:][rows]], axis=-1),
        np.stack([node[:-1][columns], node[1:][columns]], axis=-1),
    ]
    rims = [np.stack([start, end], axis=-1) for start, end, _ in sides]
    out = [flat[3][np.concatenate([*pairs, *rims])], flat[0][np.concatenate(rims)]]
    inward = [
        node[0][np.flatnonzero(layer.columns_split[0])],
        node[-1][np.flatnonzero(layer.columns_split[-1])],
        node[:, 0][np.flatnonzero(layer.rows_split[:, 0])],
        node[:, -1][np.flatnonzero(layer.rows_split[:, -1])],
    ]
    down = np.concatenate(inward)
    out += [np.stack([flat[low][down], flat[low + 1][down]], axis=1) for low in range(3)]
    return np.concatenate(out)


def _joined(pieces: list[tuple[Array, Ints, Ints, Array]], corner: Array) -> BeadSurface:
    shift, points, quads = 0, [], []
    for some, faces, _, _ in pieces:
        points.append(some)
        quads.append(faces + shift)
        shift += len(some)
    lines = np.concatenate([piece[3] for piece in pieces])
    at = np.concatenate(points)
    at[:, :2] += corner[:2]
    lines[..., :2] += corner[:2]
    used, flat = np.unique(np.concatenate(quads), return_inverse=True)
    return BeadSurface(at[used], flat.reshape(-1, 4), np.concatenate([piece[2] for piece in pieces]), lines)


def outline_of(beads: BeadMap, window: Window, mask: Bools) -> Array:
    """Segments (s, 2, 3) [mm, print axes] around the boxes of a `mask` (ny, nx) in a window's lowest layer."""
    grid = beads.grid
    height = float(grid.step[2] * grid.per_layer)
    filled = is_filled(beads.share[window.cut])[0]
    layer = _Layer.of(beads, window, 0, filled, height)
    wide = np.pad(mask, 1)
    rows, columns = wide[1:, 1:-1] != wide[:-1, 1:-1], wide[1:-1, 1:] != wide[1:-1, :-1]
    at = np.concatenate([layer.at, np.full((*layer.at.shape[:2], 1), (window.layers.start + 1) * height)], axis=-1)
    ends = [np.stack([at[:, :-1][rows], at[:, 1:][rows]], axis=1)]
    ends.append(np.stack([at[:-1][columns], at[1:][columns]], axis=1))
    corner = np.array([window.columns.start * grid.step[0], window.rows.start * grid.step[1], 0.0])
    return np.concatenate(ends) + grid.origin + corner
