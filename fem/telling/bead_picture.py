"""Draws the beads of a place that was solved bead by bead: cut open at the worst one, and its layer from above."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from fem.printing.beads import WAYS
from fem.telling.album import LINE, Album, Job, Picture
from fem.telling.bead_files import files_of
from fem.telling.bead_mesh import BeadSurface, Bools, Window, bead_surface, is_filled, outline_of
from fem.telling.canvas import TOP, Canvas, Label, rgb
from fem.telling.colours import Colour, ReserveScale, painted, reserve_scale
from fem.telling.embedding import page_bytes
from fem.telling.stage import Stage, View, fit, near
from fem.telling.words import place
from fem.telling.zoom_words import band_text, reserve_or_none, short_reserve, zones_in, zoom_line
from fem.tensors import Array
from fem.zooming.nouns import JudgedBeads, ZoomView

PALE: Colour = (0.87, 0.88, 0.89)
"""Beads that are not judged."""
MARGIN, REACH = 1.0, 8.0
"""How far [mm] beads are drawn beyond the judged ones, and at most how far from the worst."""
STROKES_APART, STROKE = 0.9, 0.5
"""How far apart [mm] the strokes lie that tell the direction of a bead, and how long [mm] they are."""
SQUARE = 40
"""Size [px] of the squares by which labels are kept off the beads."""
COLUMN = 1120
"""Where [px] the numbers beside the layer begin."""


@dataclass(frozen=True)
class Worst:
    """The box of the worst bead: its `layer`, `row`, `column`, and the middle (3,) [mm, print axes] of its top."""

    layer: int
    row: int
    column: int
    top: Array


def draw_zooms(zooms: Sequence[ZoomView], *, required: float, asked: bool, folder: Path) -> tuple[Picture, ...]:
    """Both pictures of every zoom, in a window of their own."""
    folder.mkdir(parents=True, exist_ok=True)
    scale = reserve_scale(required)
    with Stage() as stage:
        return tuple(
            draw(zoom, file=file, stage=stage, scale=scale, asked=asked, folder=folder)
            for zoom, files in zip(zooms, files_of(zooms), strict=True)
            for draw, file in zip((draw_beads, draw_layer), files, strict=True)
        )


def bead_jobs(zooms: Sequence[ZoomView]) -> list[Job]:
    """What draws both pictures of every zoom."""
    return [
        Job(f"beads, {zoom.case}", partial(_of_album, number=number, draw=draw, file=file))
        for number, (zoom, files) in enumerate(zip(zooms, files_of(zooms), strict=True))
        for draw, file in zip((draw_beads, draw_layer), files, strict=True)
    ]


def _of_album(run: Album, *, number: int, draw: Callable[..., Picture], file: str) -> Picture:
    return draw(run.zooms[number], file=file, stage=run.stage, scale=run.scale, asked=run.asked, folder=run.folder)


def draw_beads(zoom: ZoomView, *, file: str, stage: Stage, scale: ReserveScale, asked: bool, folder: Path) -> Picture:
    """The beads around the worst one: all above its layer is taken off, and all before a plane across it."""
    judged, found = zoom.judged, zoom.findings
    worst = worst_box(zoom)
    window, towards = opened(judged, worst)
    surface = bead_surface(judged.beads, window)
    view = fit(surface.points, towards=towards, margin=1.16)
    stage.clear()
    grey = _coloured(stage, judged, window, surface, scale)
    _add_lines(stage, surface.lines + 0.02 * view.towards, width=1.1)
    title = f"Beads at {place(found.worst_at_mm)}, case {zoom.case}"
    line = _capital(zoom_line(found))
    canvas = Canvas(stage.show(view), title=title, note=line)
    canvas.tripod(view, names="123")
    if not np.allclose(judged.axes, np.eye(3)):
        canvas.tripod(_seen_in(view, judged.axes), left=190)
    canvas.reserve_bar(scale, asked=asked)
    if grey:
        _key(canvas, (1130, TOP + 14), PALE, "not judged: near the cut faces")
    canvas.ruler(view)
    x, y = view.pixels(worst.top)[0]
    canvas.marker(float(x), float(y))
    _keep_off(canvas, view, surface)
    canvas.taken.append((0, float(y) + TOP + 30, canvas.width, canvas.height))  # its line would cross the cut face
    least = short_reserve(found.least)
    canvas.labels([Label(f"{least}  {found.mode}", float(x), float(y), dot=False, short=least)])
    where = f"around the worst bead at {place(found.worst_at_mm)}{_near(found)}"
    canvas.save(folder / file)
    return Picture(
        file=file,
        kind="beads",
        case=zoom.case,
        title=title,
        caption=f"{line}. The beads {where}, {found.mode}. Opened at its layer and across it; 1, 2, 3: print axes. "
        f"Calculated in boxes of {boxes_text(found.voxel_mm)}; the picture smooths their outlines.",
        alt=f"Beads of {found.body} in case {zoom.case} {where}, coloured by reserve factor: {zoom_line(found)}; "
        f"{found.mode}. {_by_zone(found.by_zone)}.",
        unit="1",
        high=scale.edges[-2],
        labels=tuple(canvas.texts),
        view=view,
        body=found.body,
        inside=page_bytes(canvas.page),
    )


def draw_layer(zoom: ZoomView, *, file: str, stage: Stage, scale: ReserveScale, asked: bool, folder: Path) -> Picture:
    """The layer of the worst bead from above, with the way that each bead runs and those beyond their strength."""
    judged, found = zoom.judged, zoom.findings
    worst = worst_box(zoom)
    around = drawn_window(judged, worst)
    window = Window(slice(worst.layer, worst.layer + 1), around.rows, around.columns)
    surface = bead_surface(judged.beads, window)
    view = _from_above(judged, window, worst)
    stage.clear()
    grey = _coloured(stage, judged, window, surface, scale)
    up = np.array([0.0, 0.0, 1.0])
    _add_lines(stage, surface.lines + 0.02 * up, width=1.1)
    ends = strokes(judged, window) + worst.top[2] * up
    for colour, width, lift in (((1.0, 1.0, 1.0), 7.0, 0.1), (LINE, 3.2, 0.2)):
        _add_lines(stage, ends + lift * up, width=width, colour=colour)
    beyond = _judged_in(judged, window) & (judged.reserve[window.cut] < 1)
    if beyond.any():
        _add_lines(stage, outline_of(judged.beads, window, beyond[0]) + 0.3 * up, width=4.0)
    layer = judged.beads.grid.first_layer + worst.layer
    height = (layer + 0.5) * judged.beads.grid.step[2] * judged.beads.grid.per_layer
    title = f"The layer of the worst bead from above, case {zoom.case}"
    note = f"Layer at {height:.1f} mm above the build plate, in {found.body}"
    canvas = Canvas(stage.show(view), title=title, note=note)
    canvas.tripod(view, names="123")
    canvas.reserve_bar(scale, asked=asked)
    x, y = view.pixels(worst.top)[0]
    canvas.marker(float(x), float(y))
    _keep_off(canvas, view, surface)
    canvas.labels([Label(short_reserve(found.least), float(x), float(y), dot=False)])
    _numbers(canvas, zoom, grey=grey, beyond=bool(beyond.any()))
    canvas.ruler(view, left=COLUMN)
    canvas.save(folder / file)
    outlined = " Outlined: beads beyond their strength." if beyond.any() else ""
    return Picture(
        file=file,
        kind="bead layer",
        case=zoom.case,
        title=title,
        caption=f"{note}. Short strokes: bead direction (1).{outlined}",
        alt=f"{title}: {note}, coloured by reserve factor; minimum {short_reserve(found.least)} at "
        f"{place(found.worst_at_mm)}. {_share(beyond, _judged_in(judged, window))} % of the judged beads "
        "of the layer are beyond their strength.",
        unit="1",
        high=scale.edges[-2],
        labels=tuple(canvas.texts),
        view=view,
        body=found.body,
        inside=page_bytes(canvas.page),
    )


# ---- what is drawn


def worst_box(zoom: ZoomView) -> Worst:
    """The box that holds the worst bead's place, or the nearest one of the grid."""
    grid = zoom.judged.beads.grid
    height = grid.step[2] * grid.per_layer
    at = zoom.judged.axes @ np.asarray(zoom.findings.worst_at_mm, dtype=float)
    steps = np.array([grid.step[0], grid.step[1], height])
    count = np.array([grid.count[0], grid.count[1], grid.layers])
    column, row, layer = (int(v) for v in np.clip(np.floor((at - grid.origin) / steps), 0, count - 1))
    top = grid.origin + np.array([column + 0.5, row + 0.5, layer + 1.0]) * steps
    return Worst(layer, row, column, top)


def drawn_window(judged: JudgedBeads, worst: Worst) -> Window:
    """The boxes that are drawn: those that are judged and a margin, as far as they lie near the worst."""
    grid = judged.beads.grid
    steps = (grid.step[2] * grid.per_layer, grid.step[1], grid.step[0])
    slices = []
    for axis, (at, step) in enumerate(zip((worst.layer, worst.row, worst.column), steps, strict=True)):
        others = tuple(k for k in range(3) if k != axis)
        inside = np.flatnonzero(judged.inner.any(axis=others))
        low, high = (int(inside[0]), int(inside[-1])) if len(inside) else (at, at)
        margin, reach = math.ceil(MARGIN / step), math.ceil(REACH / step)
        first = max(0, low - margin, at - reach)
        last = min(judged.inner.shape[axis] - 1, high + margin, at + reach)
        slices.append(slice(min(first, at), max(last, at) + 1))
    return Window(*slices)


def opened(judged: JudgedBeads, worst: Worst) -> tuple[Window, Array]:
    """The window cut open at the worst bead, and the direction (3,) to the eye, which looks upon the cut.

    All above its layer is left out, and all on one side of the plane across it: the side that holds less. The eye
    stands on the outside of the part, where there is one.
    """
    whole = drawn_window(judged, worst)
    layers = slice(whole.layers.start, worst.layer + 1)
    share = judged.beads.share
    turn = math.radians(float(judged.beads.way[worst.layer, worst.row, worst.column]) * 180 / WAYS)
    across_columns = abs(math.cos(turn)) >= abs(math.sin(turn))
    if across_columns:
        low = Window(layers, whole.rows, slice(whole.columns.start, worst.column + 1))
        high = Window(layers, whole.rows, slice(worst.column, whole.columns.stop))
        side = is_filled(share[layers, whole.rows, whole.columns]).sum(axis=(0, 2))
    else:
        low = Window(layers, slice(whole.rows.start, worst.row + 1), whole.columns)
        high = Window(layers, slice(worst.row, whole.rows.stop), whole.columns)
        side = is_filled(share[layers, whole.rows, whole.columns]).sum(axis=(0, 1))
    keep_low = is_filled(share[low.cut]).sum() >= is_filled(share[high.cut]).sum()
    thin = max(1, len(side) // 8)
    front = 0.85 if keep_low else -0.85
    outside = 0.65 if side[-thin:].sum() < side[:thin].sum() else -0.65
    eye = (front, outside) if across_columns else (outside, front)
    return (low if keep_low else high), np.array([*eye, 0.72])


def strokes(judged: JudgedBeads, window: Window) -> Array:
    """Ends (n, 2, 3) [mm, print axes, height 0] of short strokes along the beads of a window's first layer.

    They lie in the middle of beads, no two nearer than STROKES_APART.
    """
    from scipy.ndimage import distance_transform_edt

    cut = (window.layers.start, window.rows, window.columns)
    grid, beads = judged.beads.grid, judged.beads
    filled = is_filled(beads.share[cut])
    key = np.where(filled, beads.zone[cut].astype(np.int64) * 65536 + beads.bead[cut] + 1, 0)
    inside = np.zeros(key.shape)
    for one in np.unique(key[filled]):
        mine = np.pad(key == one, 1)
        depth = distance_transform_edt(mine, sampling=tuple(grid.step[1::-1]))[1:-1, 1:-1]
        inside = np.maximum(inside, depth)
    # A stroke may not leave the window
    half = STROKE / 2
    room = np.minimum.reduce(
        [np.minimum(i, n - 1 - i) for i, n in zip(np.indices(key.shape), key.shape, strict=True)]
    )
    rows, columns = np.nonzero(filled & (room * min(grid.step[:2]) >= half))
    order = np.argsort(-np.round(inside[rows, columns], 6), kind="stable")
    at = np.column_stack([columns + window.columns.start + 0.5, rows + window.rows.start + 0.5]) * grid.step[:2]
    at = (at + grid.origin[:2])[order]
    kept = spread_out(at, apart=STROKES_APART)
    turn = np.radians(beads.way[cut][rows, columns][order][kept].astype(float) * 180 / WAYS)
    reach, middle = half * np.column_stack([np.cos(turn), np.sin(turn)]), at[kept]
    flat = np.stack([middle - reach, middle + reach], axis=1)
    return np.concatenate([flat, np.zeros((*flat.shape[:2], 1))], axis=-1)


def spread_out(at: Array, *, apart: float) -> Any:
    """Indices of points (n, 2) of which no two are nearer than `apart`; earlier ones come first."""
    from scipy.spatial import cKDTree

    near_each = cKDTree(at).query_ball_point(at, apart * (1 - 1e-9)) if len(at) else []
    free, kept = np.ones(len(at), dtype=bool), []
    for i, others in enumerate(near_each):
        if free[i]:
            kept.append(i)
            free[others] = False
    return np.array(kept, dtype=np.int64)


# ---- on the stage and on the page


def _judged_in(judged: JudgedBeads, window: Window) -> Bools:
    cut = window.cut
    return np.asarray(judged.inner[cut] & is_filled(judged.beads.share[cut]) & ~np.isnan(judged.reserve[cut]))


def _coloured(stage: Stage, judged: JudgedBeads, window: Window, surface: BeadSurface, scale: ReserveScale) -> bool:
    """Put the beads on the stage, coloured where they are judged; whether any are not."""
    known = _judged_in(judged, window).ravel()[surface.box]
    reserve = judged.reserve[window.cut].ravel()[surface.box]
    matter: dict[str, Any] = {"ambient": 0.66, "diffuse": 0.40}
    if known.any():
        part = _polygons(surface, known)
        part.cell_data["utilisation"] = painted(reserve[known].astype(float))
        stage.add_reserve(part, scale, **matter)
    if not known.all():
        stage.add(_polygons(surface, ~known), colour=PALE, **matter)
    return not known.all()


def _polygons(surface: BeadSurface, which: Bools) -> Any:
    import pyvista as pv

    quads = surface.quads[which]
    return pv.PolyData(surface.points, np.column_stack([np.full(len(quads), 4), quads]).ravel())


def _keep_off(canvas: Canvas, view: View, surface: BeadSurface) -> None:
    """Keep labels off the beads: off every square of the scene in which a point of them lies."""
    for x, y in np.unique(np.floor(view.pixels(surface.points) / SQUARE), axis=0) * SQUARE:
        canvas.taken.append((x, y + TOP, x + SQUARE, y + TOP + SQUARE))


def _add_lines(stage: Stage, segments: Array, *, width: float, colour: Colour = LINE) -> None:
    import pyvista as pv

    if len(segments):
        ends = np.arange(2 * len(segments)).reshape(-1, 2)
        cells = np.column_stack([np.full(len(ends), 2), ends]).ravel()
        stage.add(pv.PolyData(segments.reshape(-1, 3), lines=cells), colour=colour, width=width, lighting=False)


def _from_above(judged: JudgedBeads, window: Window, worst: Worst) -> View:
    """The view along axis 3 that leaves room for the tripod on the left and the numbers on the right."""
    grid = judged.beads.grid
    low = np.array([window.columns.start, window.rows.start]) * grid.step[:2]
    high = np.array([window.columns.stop, window.rows.stop]) * grid.step[:2]
    middle, size = grid.origin[:2] + (low + high) / 2, high - low
    view = near(np.array([*middle, worst.top[2]]), towards=(0, 0, 1), half=1.0)
    left, right = 200, COLUMN - 40
    half = max(size[1] / 2 * 1.04, size[0] / (right - left) * view.size[1] / 2)
    shift = ((left + right) / 2 - view.size[0] / 2) * 2 * half / view.size[1]
    return View(view.focal - np.array([shift, 0.0, 0.0]), view.towards, view.up, float(half), view.size)


def _seen_in(view: View, axes: Array) -> View:
    """The view of print axes as one of part axes."""
    return View(view.focal @ axes, view.towards @ axes, view.up @ axes, view.half, view.size)


def _numbers(canvas: Canvas, zoom: ZoomView, *, grey: bool, beyond: bool) -> None:
    """Both numbers, the minimum of each zone and the key, beside the layer."""
    found, y = zoom.findings, TOP + 30
    band = band_text(found.band)
    for head, number, below in (
        ("bead by bead", found.least, f"{band + ', ' if band else ''}in the {found.zone}"),
        ("homogenised", found.homogenised, f"in the {found.homogenised_zone}" if found.homogenised_zone else ""),
    ):
        canvas.write((COLUMN, y), f"{head}  {short_reserve(number)}", size=34, bold=True)
        canvas.write((COLUMN, y + 46), below, size=27)
        y += 106
    canvas.write((COLUMN, y), "minimum by zone, bead by bead", size=27, bold=True)
    for zone in zones_in(found.by_zone):
        y += 40
        least = found.by_zone.get(zone)
        canvas.write((COLUMN, y), zone, size=27)
        canvas.write((COLUMN + 150, y), reserve_or_none(least), size=27)
    y += 74
    canvas.pen.line([(COLUMN, y + 16), (COLUMN + 40, y + 16)], fill=rgb(LINE), width=5)
    canvas.write((COLUMN + 56, y), "bead direction (1)", size=27)
    if beyond:
        y += 48
        canvas.pen.rectangle([COLUMN + 2, y, COLUMN + 38, y + 30], outline=rgb(LINE), width=7)
        canvas.write((COLUMN + 56, y), "beyond strength", size=27)
    if grey:
        _key(canvas, (COLUMN, y + 48), PALE, "not judged: near the cut faces")


def _key(canvas: Canvas, at: tuple[int, int], colour: Colour, text: str) -> None:
    x, y = at
    canvas.pen.rectangle([x + 2, y, x + 38, y + 30], fill=rgb(colour), outline=rgb(LINE), width=2)
    canvas.write((x + 56, y - 1), text, size=27)
    canvas.taken.append((x, y, canvas.width, y + 34))


def _share(some: Bools, of: Bools) -> str:
    return f"{100 * float(some.sum()) / max(1, int(of.sum())):.3g}"


def boxes_text(voxel: Sequence[float]) -> str:
    """The sides of a box: "0.15 x 0.15 x 0.2 mm"."""
    return " x ".join(f"{v:.3g}" for v in voxel) + " mm"


def _near(found: Any) -> str:
    return f", {found.face_distance_mm:.1f} mm from face {found.face}" if found.face else ""


def _by_zone(least: dict[str, float | None]) -> str:
    told = ", ".join(f"{zone} {short_reserve(v)}" for zone, v in least.items() if v is not None)
    return f"Minimum by zone: {told}" if told else "No zone was judged"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
