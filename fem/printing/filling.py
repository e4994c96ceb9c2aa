"""Lays a body's beads into the boxes of a grid, or tells them at single places: the same function of place.

All is decided in the middle of each layer; layers count from the body's lowest point, which lies on the build plate.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fem.cores import even_ranges, shared, workers
from fem.errors import InputError, NoTrustworthyAnswer
from fem.printing.beads import WAYS, BeadMap, Grid
from fem.printing.plan import PrintPlan
from fem.printing.zones import Outline
from fem.tensors import Array

NO_SHIFT = (0.0, 0.0, 0.0)
MOST_OPEN = 0.1
"""A surface that lacks more than this, in squares of a bead width, is not closed."""
_NUDGE = 1e-5
"""A layer's middle is sought so many layers higher, where no corner of a drawn part lies."""


def layer_grid(outline: Outline, *, low: Any, high: Any, step: float, per_layer: int = 1) -> Grid:
    """The grid over a box from `low` to `high` (3,) [mm, print axes]: boxes of side `step` [mm] in the layer that
    begin at `low`, and `per_layer` of them in each layer that the box touches."""
    low, high = np.asarray(low, dtype=float), np.asarray(high, dtype=float)
    height = outline.plan.bead_height
    if not (step > 0 and per_layer >= 1 and (high > low).all()):
        raise InputError("a grid of boxes needs a positive step and a box with positive sides.")
    plate = float(outline.box[0, 2])
    first = math.floor((low[2] - plate) / height + 1e-6)
    layers = max(1, math.ceil((high[2] - plate) / height - 1e-6) - first)
    wide, deep = (max(1, math.ceil((high[d] - low[d]) / step - 1e-6)) for d in (0, 1))
    origin = np.array([low[0], low[1], plate + first * height])
    sides = np.array([step, step, height / per_layer])
    return Grid(origin, sides, (wide, deep, layers * per_layer), per_layer, first)


def fill_grid(
    outline: Outline, grid: Grid, *, phase: tuple[float, float, float] = NO_SHIFT, by_middle: bool = False
) -> BeadMap:
    """What lies in the boxes of a grid whose planes lie on layer borders, as `layer_grid` makes it.

    `phase` shifts the infill by shares of its period (`patterns.period_box`). With `by_middle` a box is all that its
    middle is, and full or empty: for pictures. Errors: InputError for a grid that does
    not lie on layers, NoTrustworthyAnswer for a surface that is not closed.
    """
    from fem.printing import bead_kernels

    plan = outline.plan
    plate = float(outline.box[0, 2])
    wanted = plate + grid.first_layer * plan.bead_height
    if (
        not math.isclose(grid.step[2] * grid.per_layer, plan.bead_height, rel_tol=1e-9)
        or grid.count[2] % grid.per_layer
    ):
        raise InputError("the grid's boxes do not divide the layers of the print.")
    if abs(grid.origin[2] - wanted) > 1e-6 * plan.bead_height:
        raise InputError("the grid's planes do not lie on layer borders.")
    shape = (grid.layers, grid.count[1], grid.count[0])
    zone, share, way = (np.zeros(shape, dtype=np.uint8) for _ in range(3))
    bead = np.zeros(shape, dtype=np.uint16)
    rule = _rule(outline)
    covers = rule[2]
    margin = (plan.walls + 2) * plan.bead_width + 2 * float(grid.step[:2].sum())
    low, high = grid.origin[:2] - margin, grid.origin[:2] + margin + grid.step[:2] * np.array(grid.count[:2])
    surface = _surface(outline, grid.first_layer - covers, grid.first_layer + grid.layers + covers, low, high)
    box = (*(float(v) for v in grid.origin[:2]), *(float(v) for v in grid.step[:2]), 0.0 if by_middle else 1.0)
    # A range begins by looking at the layers below it: not too short, and enough of them to share
    pieces = max(1, min(4 * workers(), grid.layers // max(4, covers)))
    given = *surface, box, _raster(plan), rule, _lattice(plan, phase), grid.first_layer, zone, share, way, bead
    _check_closed(sum(shared(bead_kernels.lay_layers, even_ranges(grid.layers, pieces=pieces), *given)))
    return BeadMap(grid, zone, share, way, bead)


def beads_at(
    outline: Outline, points: Any, *, phase: tuple[float, float, float] = NO_SHIFT
) -> tuple[NDArray[np.uint8], NDArray[np.uint8], NDArray[np.uint16]]:
    """Zone, way and bead (n,), as in `BeadMap`, of places (n, 3) [mm, print axes]. Errors: as for `fill_grid`."""
    from fem.printing import bead_kernels

    p = np.asarray(points, dtype=float).reshape(-1, 3)
    layers = np.floor((p[:, 2] - outline.box[0, 2]) / outline.plan.bead_height).astype(np.int64)
    order = np.argsort(layers, kind="stable")
    zone, way = (np.zeros(len(p), dtype=np.uint8) for _ in range(2))
    bead = np.zeros(len(p), dtype=np.uint16)
    if not len(p):
        return zone, way, bead
    rule = _rule(outline)
    covers = rule[2]
    reach = (outline.plan.walls + 2) * outline.plan.bead_width
    low, high = p[:, :2].min(axis=0) - reach, p[:, :2].max(axis=0) + reach
    surface = _surface(outline, int(layers.min()) - covers, int(layers.max()) + 1 + covers, low, high)
    span = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    at, found = np.ascontiguousarray(p[order, :2]), (zone[order], way[order], bead[order])
    given = at, layers[order], *surface, span, _raster(outline.plan), rule, _lattice(outline.plan, phase), *found
    _check_closed(
        sum(shared(bead_kernels.lay_points, even_ranges(len(p), pieces=min(len(p), 4 * workers())), *given))
    )
    zone[order], way[order], bead[order] = found
    return zone, way, bead


def _check_closed(broken: int) -> None:
    if broken:
        raise NoTrustworthyAnswer(
            f"the body's surface is not closed: {broken} rows across its layers enter and leave it unequally often."
        )


def _check_whole(outline: Outline) -> None:
    """The area vectors of a closed surface add up to nothing."""
    a, b, c = (outline.corner[:, k] for k in range(3))
    rest = float(np.linalg.norm(np.cross(b - a, c - a).sum(axis=0))) / 2
    if rest > MOST_OPEN * outline.plan.bead_width**2:
        raise NoTrustworthyAnswer(f"the body's surface is not closed: some {rest:.2g} mm^2 of it are missing.")


def _rule(outline: Outline) -> Any:
    """What the compiled loops need of the plan."""
    plan = outline.plan
    filled = plan.infill_pattern != "solid"
    return (
        int(plan.walls),
        float(plan.bead_width),
        min(int(plan.covers), _layers(outline) + 1) if filled else 0,
        filled,
        float(plan.bead_height),
        WAYS,
    )


def _raster(plan: PrintPlan) -> Array:
    """Angles (r,) [rad] of the raster, layer by layer."""
    return np.radians(np.array(plan.raster, dtype=float))


def _layers(outline: Outline) -> int:
    """How many layers the body has at most."""
    return math.ceil(float(outline.box[1, 2] - outline.box[0, 2]) / outline.plan.bead_height)


def _surface(outline: Outline, first: int, last: int, low: Array, high: Array) -> tuple[Any, ...]:
    """The triangles that rows of a window meet, those of each layer from `first` to `last`, the lowest layer, and the
    height of the middle of layer 0."""
    from fem.printing.section_kernels import layers_of_triangles

    height = outline.plan.bead_height
    middle = float(outline.box[0, 2]) + (0.5 + _NUDGE) * height
    _check_whole(outline)
    first, last = max(first, 0), min(last, _layers(outline) + 1)
    corner = outline.corner
    if not len(corner) or last <= first:
        return corner[:0], np.zeros(1, dtype=np.int64), np.zeros(0, dtype=np.int32), 0, middle
    bottom, top = middle + (first - 1) * height, middle + last * height
    y, z = corner[..., 1], corner[..., 2]
    kept = (z.max(axis=1) >= bottom) & (z.min(axis=1) <= top) & (y.max(axis=1) >= low[1]) & (y.min(axis=1) <= high[1])
    corner = corner if kept.all() else np.ascontiguousarray(corner[kept])
    start, number = layers_of_triangles(corner, middle, height, first, last - first)
    return corner, start, number, first, middle


def _lattice(plan: PrintPlan, phase: tuple[float, float, float]) -> Any:
    """The plan's infill, shifted by `phase`, for the compiled loops."""
    from fem.printing.infill.in_layer import GYROID, HONEYCOMB, LINES
    from fem.printing.infill.patterns import LEAN, check_density, gyroid_level, period_box, period_length

    if not (len(phase) == 3 and all(math.isfinite(v) for v in phase)):
        raise InputError("an infill's phase is three finite numbers, shares of its period.")
    pattern, turn = plan.infill_pattern, math.radians(plan.infill_angle)
    kind, length, level, first = LINES, 1.0, 0.0, -1
    angle, offset, slope, shift = [0.0], [0.0] * 3, 0.0, np.zeros(3)
    if pattern != "solid":
        bead = {"bead_width": plan.bead_width, "bead_height": plan.bead_height}
        check_density(pattern, plan.infill_density, **bead)
        length = period_length(pattern, density=plan.infill_density, bead_width=plan.bead_width)
        shift = np.array(phase, dtype=float) * period_box(pattern, density=plan.infill_density, **bead)
        if pattern in ("woodpile", "grid"):
            angle = [0.0, math.pi / 2]
            first = round(2 * phase[2]) % 2 if pattern == "woodpile" else -1
        elif pattern == "triangle":
            angle, length = [0.0, math.pi / 3, 2 * math.pi / 3], length * math.sqrt(3) / 2
        elif pattern == "honeycomb":
            kind = HONEYCOMB
        elif pattern == "gyroid":
            kind, level = GYROID, gyroid_level(plan.infill_density)
        elif pattern == "cubic":
            # Walls 0, 2 and 1 of the cube run at 0, 60 and 120 degrees; up the build they move across
            angle, length = [0.0, 4 * math.pi / 3, 2 * math.pi / 3], length / LEAN
            slope = 1 / (math.sqrt(3) * LEAN)
            offset, shift = [-phase[k] * length for k in (0, 2, 1)], np.zeros(3)
    return (
        kind, turn, math.cos(turn), math.sin(turn), plan.bead_width / 2, float(length), tuple(map(float, shift)),
        len(angle), tuple((angle * 3)[:3]), tuple(map(float, offset)), slope, first, float(level),
    )  # fmt: skip
