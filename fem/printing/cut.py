"""A flat cut through a printed body: which zone lies where, and which way its beads run."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fem.part.tetmesh import TetMesh
from fem.printing import zones
from fem.printing.body import PrintedBody
from fem.printing.plan import PrintPlan, in_layer_rotation
from fem.printing.zones import Outline
from fem.tensors import Array

OUTSIDE, WALL, COVER, CORE, SOLID, AIR = range(6)
PLACES = ("outside", "wall", "cover", "core", "solid", "air")
"""What a place of a cut can be; air is the room between the beads of the infill."""

MOST_PIXELS = 1000
"""The longer side of a cut has at most so many pixels; a bead width has at least three where that leaves room."""
CANDIDATES = 15
"""So many cuts are tried; the one that shows most of the core is drawn."""
STROKES = 30
"""So many strokes along the longer side."""
_ASIDE = 0.37  # share of a pixel by which places are moved off the part's own edges


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


def cut_body(mesh: TetMesh, *, body: str, made: PrintedBody) -> tuple[ZoneCut, ...]:
    """A layer and a vertical section through a printed body, where they show most of its core; none of a metal."""
    if made.plan is None:
        return ()
    outline = Outline(mesh, body=body, plan=made.plan)
    return tuple(_cut(outline, made, body=body, kind=kind) for kind in ("layer", "vertical"))


def _cut(outline: Outline, made: PrintedBody, *, body: str, kind: str) -> ZoneCut:
    plan = outline.plan
    first, second, normal = (0, 1, 2) if kind == "layer" else (0, 2, 1)
    low, high = outline.box
    longer = max(high[first] - low[first], high[second] - low[second])
    pixel = float(max(plan.bead_width / 3, longer / MOST_PIXELS))
    heights = low[normal] + (high[normal] - low[normal]) * (np.arange(CANDIDATES) + 0.5) / CANDIDATES
    if kind == "layer":
        # A layer is cut through the middle of its beads
        bead = plan.bead_height
        heights = low[2] + (np.floor((heights - low[2]) / bead) + 0.5) * bead

    def places(height: float, step: float) -> tuple[Array, tuple[int, int]]:
        a = np.arange(low[first] - step, high[first] + step, step) + _ASIDE * step
        b = np.arange(low[second] - step, high[second] + step, step) + _ASIDE * step
        points = np.empty((len(b), len(a), 3))
        points[..., first], points[..., second], points[..., normal] = a, b[:, None], height
        return points.reshape(-1, 3), (len(b), len(a))

    def core(height: float) -> tuple[int, float]:
        zone = outline.zones_at(places(height, longer / 60)[0])[0]
        return int((zone == zones.CORE).sum()), float(-abs(height - heights.mean()))

    height = float(max(heights, key=core))
    points, shape = places(height, pixel)
    zone, _ = outline.zones_at(points)
    core_place = SOLID if made.cell is None else CORE
    place = np.array([WALL, COVER, core_place, OUTSIDE], dtype=np.int8)[zone]
    if made.cell is not None:
        inside = np.flatnonzero(zone == zones.CORE)
        place[inside[~_in_bead(plan, points[inside])]] = AIR
    at, stroke = _strokes(
        outline, places(height, max(longer / 150, plan.bead_width))[0], first, second, solid=made.cell is None
    )
    above = height - float(low[2]) if kind == "layer" else height
    return ZoneCut(
        body=body,
        kind=kind,
        height=above,
        place=place.reshape(shape),
        pixel=pixel,
        corner=(float(low[first] - pixel), float(low[second] - pixel)),
        across="print axis 1",
        up="print axis 2" if kind == "layer" else "build direction (3)",
        stroke_at=at,
        stroke=stroke,
    )


def _in_bead(plan: PrintPlan, points: Array) -> NDArray[np.bool_]:
    """Whether places (n, 3) [mm] in print axes lie in a bead of the infill's lattice."""
    from fem.printing.infill import solid_at

    return solid_at(
        plan.infill_pattern,
        points @ in_layer_rotation(plan.infill_angle).T,
        density=plan.infill_density,
        bead_width=plan.bead_width,
        bead_height=plan.bead_height,
    )


def _strokes(outline: Outline, points: Array, first: int, second: int, *, solid: bool) -> tuple[Array, Array]:
    """Bead directions where beads lie side by side: along the outline in walls, as rastered in covers, solid
    cores."""
    zone, angle = outline.zones_at(points)
    raster = np.radians(np.array(outline.plan.raster))
    layer = np.floor((points[:, 2] - outline.box[0, 2]) / outline.plan.bead_height).astype(int)
    angle = np.where(zone == zones.WALL, angle, raster[layer % len(raster)])
    apart = float(np.ptp(points, axis=0).max()) / STROKES
    kept = [
        _spread(points[mine], apart=apart, among=np.flatnonzero(mine))
        for number in (zones.WALL, zones.COVER, *([zones.CORE] if solid else []))
        if (mine := zone == number).any()
    ]
    shown = np.concatenate(kept) if kept else np.zeros(0, dtype=int)
    direction = np.column_stack([np.cos(angle), np.sin(angle), np.zeros(len(angle))])[shown]
    return points[shown][:, [first, second]], direction[:, [first, second]]


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
