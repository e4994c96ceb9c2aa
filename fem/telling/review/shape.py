"""The part as a drawing in three views: the outline of its shadow, and the edges that can be seen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.telling.hand import Hand, surface_of
from fem.telling.surface import Ints
from fem.tensors import Array

SHARP = 35.0
"""Degrees between two triangles from which their edge is drawn."""
CELLS = 420
"""Cells along the longer side of the grid on which a view's shadow and depth are found."""


@dataclass(frozen=True)
class View:
    """A view onto a plane: part axes `right` and `up`, and what it is called. The eye looks against right x up."""

    name: str
    right: int
    up: int

    @property
    def towards(self) -> Array:
        """Unit vector (3,) from the part to the eye."""
        return np.cross(np.eye(3)[self.right], np.eye(3)[self.up])


VIEWS = (View("front", 0, 2), View("side", 1, 2), View("from above", 0, 1))


@dataclass(frozen=True)
class Drawn:
    """A view's lines [mm]: closed `outline` polygons (k, 2) of the shadow, `edges` (e, 2, 2) seen inside it."""

    outline: tuple[Array, ...]
    edges: Array


@dataclass(frozen=True)
class Shape:
    """The surface as flat triangles: `points` (p, 3) [mm], `triangles` (t, 3) turned outward."""

    points: Array
    triangles: Ints

    def drawn(self, view: View) -> Drawn:
        """The lines of a view."""
        return _drawn(self, view)


def shape_of(hand: Hand) -> Shape:
    """The surface that a viewer shows."""
    points, triangles = surface_of(hand)
    return Shape(points, triangles)


def _drawn(shape: Shape, view: View) -> Drawn:
    from contourpy import contour_generator
    from PIL import Image, ImageDraw

    flat = shape.points[:, [view.right, view.up]]
    depth = shape.points @ view.towards
    low, size = flat.min(axis=0), np.ptp(flat, axis=0)
    step = float(size.max()) / CELLS
    wide, high = (int(np.ceil(s / step)) + 7 for s in size)
    grid = (flat - low) / step + 3
    # Painted from the farthest to the nearest, each triangle with its own depth: what stays is what the eye sees
    own = depth[shape.triangles]
    image = Image.new("F", (wide, high), -1e30)
    pen = ImageDraw.Draw(image)
    corners = grid[shape.triangles].reshape(-1, 6)
    for t in np.argsort(own.mean(axis=1)):
        pen.polygon(corners[t].tolist(), fill=float(own[t].max()), outline=float(own[t].max()))
    seen = np.asarray(image)
    shadow = contour_generator(z=(seen > -1e29).astype(float)).lines(0.5)
    outline = tuple(_thinned(np.asarray(line), 0.35) * step + low - 3 * step for line in shadow if len(line) > 3)
    return Drawn(outline, _visible(shape, view, seen, grid, depth, tolerance=3 * step))


def _visible(shape: Shape, view: View, seen: Array, grid: Array, depth: Array, *, tolerance: float) -> Array:
    """The sharp edges (e, 2, 2) [mm] whose middles nothing hides."""
    t = shape.triangles
    p = shape.points[t]
    normal = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-300)
    edges = np.sort(np.concatenate([t[:, [0, 1]], t[:, [1, 2]], t[:, [2, 0]]]), axis=1)
    of = np.tile(np.arange(len(t)), 3)
    order = np.lexsort((edges[:, 1], edges[:, 0]))
    edges, of = edges[order], of[order]
    pair = np.flatnonzero((edges[1:] == edges[:-1]).all(axis=1))
    turn = np.einsum("ij,ij->i", normal[of[pair]], normal[of[pair + 1]])
    sharp = edges[pair[turn < np.cos(np.radians(SHARP))]]
    middle = grid[sharp].mean(axis=1)
    column, row = np.round(middle).astype(int).T
    # An edge counts as seen when any cell around its middle shows nothing much nearer to the eye
    around: list[Any] = [seen[row + i, column + j] for i in (-2, 0, 2) for j in (-2, 0, 2)]
    free = np.min(around, axis=0) <= depth[sharp].mean(axis=1) + tolerance
    return shape.points[sharp[free]][:, :, [view.right, view.up]]


def _thinned(line: Array, most: float) -> Array:
    """A polygon without the points that lie within `most` of the line through those that stay (Douglas, Peucker)."""
    keep = np.zeros(len(line), dtype=bool)
    keep[[0, len(line) // 2, -1]] = True
    spans = [(0, len(line) // 2), (len(line) // 2, len(line) - 1)]
    while spans:
        a, b = spans.pop()
        if b - a < 2:
            continue
        chord = line[b] - line[a]
        length = float(np.hypot(*chord))
        off = line[a + 1 : b] - line[a]
        away = np.abs(off[:, 0] * chord[1] - off[:, 1] * chord[0]) / length if length > 0 else np.hypot(*off.T)
        worst = int(away.argmax())
        if away[worst] > most:
            keep[a + 1 + worst] = True
            spans += [(a, a + 1 + worst), (a + 1 + worst, b)]
    return line[keep]
