"""A flat cut through a printed body: which zone lies where, and which way its beads run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fem.part.tetmesh import TetMesh
from fem.printing import beads
from fem.printing.beads import WAYS, BeadMap
from fem.printing.body import PrintedBody
from fem.printing.filling import fill_grid, layer_grid
from fem.printing.zones import Outline
from fem.tensors import Array

OUTSIDE, WALL, COVER, CORE, SOLID, AIR = range(6)
PLACES = ("outside", "wall", "cover", "core", "solid", "air")
"""What a place of a cut can be; air is the room between the beads of the infill."""

MOST_PIXELS = 1000
"""The longer side of a cut has at most so many pixels; a bead width has at least three where that leaves room."""
SOUGHT = 60
"""The layer and the section that are shown are sought with so many places along the longest side."""
CLEAR, GRAZED, ALONG = 2.0, 0.05, 0.9
"""A plane is clear of a face from so many wall or cover thicknesses on, or where what it runs along is less than this
share of the section; it runs along triangles whose normal lies with this cosine across it.
"""
STROKES = 30
"""So many strokes along the longer side."""


@dataclass(frozen=True)
class ZoneCut:
    """A cut through `body`, in print axes.

    `kind` is "layer" (in a layer, seen from above) or "vertical" (along the build direction); `height` [mm] is that
    of the layer above the print bed, or that of the vertical section on print axis 2. `place` (rows, columns) are
    indices into PLACES, row 0 at the bottom of the picture; `pixel` [mm] is the side of one; `corner` (2,) [mm] is
    the lower left corner; `across`, `up` name the two axes in words. `stroke_at` (s, 2) [mm] and `stroke` (s, 2)
    (length 1 or shorter: what of the bead's direction lies in the cut) tell which way the beads run.
    """

    body: str
    kind: str
    height: float
    place: NDArray[np.int8]
    pixel: float
    corner: tuple[float, float]
    across: str
    up: str
    stroke_at: Array
    stroke: Array


def cut_body(
    mesh: TetMesh, *, body: str, made: PrintedBody, through: Sequence[float] | None = None
) -> tuple[ZoneCut, ...]:
    """A layer and a vertical section through a printed body; none of a metal.

    They go through the place `through` (3,) [mm, part axes], or without one through the middle of the material. A
    plane that runs along a face, or shows less than half of the core that another shows, gives way to the next.
    Errors: as for `filling.fill_grid`.
    """
    if made.plan is None:
        return ()
    outline = Outline(mesh, body=body, plan=made.plan)
    layer, height = _where(outline, None if through is None else outline.axes @ np.asarray(through, dtype=float))
    return _layer_cut(outline, body, layer), _vertical_cut(outline, body, height)


def _where(outline: Outline, through: Array | None) -> tuple[int, float]:
    """The layer and the height [mm] on print axis 2 that are shown; `through` (3,) [mm] in print axes."""
    low, high = outline.box
    step = float((high - low).max()) / SOUGHT
    grid = layer_grid(outline, low=low, high=high, step=step)
    zone = fill_grid(outline, grid, by_middle=True).zone
    inside, core = zone != beads.NOTHING, (zone == beads.CORE) | (zone == beads.AIR)
    shown = core if core.any() else inside
    thick = outline.plan.bead_height

    def chosen(axis: int, apart: float, others: tuple[int, int]) -> int:
        middle = low[axis] + (np.arange(inside.shape[2 - axis]) + 0.5) * apart
        near = max(apart, CLEAR * (outline.cover if axis == 2 else outline.wall))
        grazed = grazed_area(outline.corner, axis=axis, levels=middle, near=near)
        cell = step * (step if axis == 2 else thick)
        clear = grazed <= GRAZED * cell * inside.sum(axis=others)
        half = np.cumsum(inside.sum(axis=others))
        wanted = middle[int(np.searchsorted(half, half[-1] / 2))] if through is None else through[axis]
        return chosen_plane(middle, shown=shown.sum(axis=others), clear=clear, wanted=float(wanted))

    layer, row = chosen(2, thick, (1, 2)), chosen(1, step, (0, 2))
    height = float(low[1]) + (row + 0.5) * step
    # Just through the place where its own row is taken
    if through is not None and abs(through[1] - height) <= step / 2:
        height = float(through[1])
    return layer, height


def chosen_plane(middle: Array, *, shown: NDArray[Any], clear: NDArray[np.bool_], wanted: float) -> int:
    """Which of the planes at `middle` (k,) [mm] is nearest to `wanted`: of those that are `clear` (k,), if any are,
    and show at least half as much as any such plane.
    """
    allowed = clear & (shown > 0)
    allowed = allowed if allowed.any() else shown > 0
    worth = allowed & (2 * shown >= shown[allowed].max(initial=0))
    return int(np.where(worth, np.abs(middle - wanted), np.inf).argmin())


def grazed_area(corner: Array, *, axis: int, levels: Array, near: float) -> Array:
    """Area [mm^2] of the triangles (t, 3, 3) along each plane across `axis` at `levels` (k,) [mm]: those that lie
    within `near` [mm] of it and less than about 25 degrees from it.
    """
    weight = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]) / 2
    area = np.linalg.norm(weight, axis=1)
    flat = np.abs(weight[:, axis]) > ALONG * np.maximum(area, 1e-30)
    at, size = corner[flat, :, axis].mean(axis=1), area[flat]
    order = np.argsort(at)
    total = np.concatenate([[0.0], np.cumsum(size[order])])
    first, last = (np.searchsorted(at[order], levels + d) for d in (-near, near))
    return np.asarray(total[last] - total[first])


def _pixel(outline: Outline, first: int, second: int) -> float:
    size = outline.box[1] - outline.box[0]
    return float(max(outline.plan.bead_width / 3, max(size[first], size[second]) / MOST_PIXELS))


def _layer_cut(outline: Outline, body: str, layer: int) -> ZoneCut:
    low, high = outline.box
    thick = outline.plan.bead_height
    bottom, top = low[2] + layer * thick, low[2] + (layer + 1) * thick

    def cut(step: float) -> BeadMap:
        a, b = (low[0] - step, low[1] - step, bottom), (high[0] + step, high[1] + step, top)
        return fill_grid(outline, layer_grid(outline, low=a, high=b, step=step), by_middle=True)

    pixel = _pixel(outline, 0, 1)
    coarse = cut(_apart(outline, 0, 1))
    at = (
        coarse.grid.origin[:2]
        + (np.indices(coarse.zone.shape[1:])[::-1].reshape(2, -1).T + 0.5) * coarse.grid.step[:2]
    )
    stroke_at, stroke = _strokes(outline, at, coarse.zone[0].ravel(), coarse.way[0].ravel())
    return ZoneCut(
        body=body,
        kind="layer",
        height=(layer + 0.5) * thick,
        place=_places(outline, cut(pixel).zone[0]),
        pixel=pixel,
        corner=(float(low[0] - pixel), float(low[1] - pixel)),
        across="print axis 1",
        up="print axis 2",
        stroke_at=stroke_at,
        stroke=stroke,
    )


def _vertical_cut(outline: Outline, body: str, height: float) -> ZoneCut:
    low, high = outline.box
    thick = outline.plan.bead_height

    def cut(step: float) -> tuple[NDArray[np.uint8], NDArray[np.uint8], Array]:
        """Zone and way (rows, columns) of square places `step` apart, and where they are (rows, columns, 2)."""
        a, b = (low[0] - step, height - step / 2, low[2]), (high[0] + step, height + step / 2, high[2])
        found = fill_grid(outline, layer_grid(outline, low=a, high=b, step=step), by_middle=True)
        up = low[2] + (np.arange(int(np.ceil((high[2] - low[2]) / step)) + 2) - 0.5) * step
        layer = np.floor((up - low[2]) / thick).astype(int)
        known = (layer >= 0) & (layer < len(found.zone))
        row = np.clip(layer, 0, len(found.zone) - 1)
        zone = np.where(known[:, None], found.zone[row, 0], beads.NOTHING)
        along = a[0] + (np.arange(zone.shape[1]) + 0.5) * step
        return zone.astype(np.uint8), found.way[row, 0], np.stack(np.meshgrid(along, up), axis=-1)

    pixel = _pixel(outline, 0, 2)
    zone, way, at = cut(_apart(outline, 0, 2))
    stroke_at, stroke = _strokes(outline, at.reshape(-1, 2), zone.ravel(), way.ravel())
    return ZoneCut(
        body=body,
        kind="vertical",
        height=height,
        place=_places(outline, cut(pixel)[0]),
        pixel=pixel,
        corner=(float(low[0] - pixel), float(low[2] - pixel)),
        across="print axis 1",
        up="build direction (3)",
        stroke_at=stroke_at,
        stroke=stroke * np.array([1.0, 0.0]),
    )


def _apart(outline: Outline, first: int, second: int) -> float:
    """How far the places lie apart [mm] from which strokes are chosen."""
    size = outline.box[1] - outline.box[0]
    return float(max(size[first] / 150, size[second] / 150, outline.plan.bead_width))


def _places(outline: Outline, zone: NDArray[np.uint8]) -> NDArray[np.int8]:
    core = SOLID if outline.plan.infill_pattern == "solid" else CORE
    return np.array([OUTSIDE, WALL, COVER, core, AIR], dtype=np.int8)[zone]


def _strokes(outline: Outline, at: Array, zone: NDArray[np.uint8], way: NDArray[np.uint8]) -> tuple[Array, Array]:
    """Bead directions (s, 2) in the layer where beads lie side by side, and their places (s, 2), from places (n, 2):
    along the outline in walls, as rastered in covers and solid cores."""
    apart = float(np.ptp(at, axis=0).max()) / STROKES
    solid = (beads.CORE,) if outline.plan.infill_pattern == "solid" else ()
    kept = [
        _spread(at[mine], apart=apart, among=np.flatnonzero(mine))
        for number in (beads.WALL, beads.COVER, *solid)
        if (mine := zone == number).any()
    ]
    shown = np.concatenate(kept) if kept else np.zeros(0, dtype=int)
    angle = way[shown] * np.pi / WAYS
    return at[shown], np.column_stack([np.cos(angle), np.sin(angle)])


def _spread(points: Array, *, apart: float, among: NDArray[np.intp]) -> NDArray[np.intp]:
    """Those of the places (n, 3) that stay when no two may lie nearer than `apart` [mm], as numbers `among` (n,)."""
    from scipy.spatial import cKDTree

    near = cKDTree(points).query_ball_point(points, apart)
    free = np.ones(len(points), dtype=bool)
    kept = []
    for k in range(len(points)):
        if free[k]:
            kept.append(k)
            free[near[k]] = False
    return among[kept]
