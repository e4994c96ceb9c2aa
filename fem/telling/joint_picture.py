"""Draws what a bearing joint does in a case: pressure in colours, what is open hatched, what slips dotted.

The faces are laid flat (`joint_panels`), all to one scale, each as its counterpart sees it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fem.judging.pressed import PressedJoint
from fem.telling.album import Album, Picture
from fem.telling.canvas import BOTTOM, INK, SCENE, TOP, WHITE, Canvas, Label, font, ground_lines
from fem.telling.colours import use_map
from fem.telling.joint_panels import Panel, panels_of
from fem.telling.words import number, place, plain_name, round_factor
from fem.tensors import Array

MOST_PANELS = 9
"""The largest panels are drawn; a joint of more faces says how many are left out."""
SIDE, HEAD, KEY = 70, 84, 74
"""Room [px] around each panel, for its name above it, and for the key at the foot of the scene."""
OPEN, LINES = (222, 226, 230), (120, 126, 132)
"""Ground and lines of what is open."""
REACH = 2.0
"""A place belongs to the joint where one of the nearest points lies within so many of its own widths."""
NEAREST, SHARP = 6, 0.3
"""Points that say whether a place touches, by their areas over the distance squared; within so many widths alike."""
AROUND, SOFT = 32, 0.3
"""Points whose pressure is blended at a place, and over how many edges: single points scatter."""
SPECK = 6
"""Holes narrower than twice this [px] between points are none."""
DOT_STEP, DOT = 18, 3.6
"""Distance and radius [px] of the dots on what slips."""
SMALL = 0.2
"""Points of less than this share of the middle area are not taken for the place where pressure is highest."""


@dataclass(frozen=True)
class Seat:
    """A panel with its lower left corner at `left`, `bottom` [px] of the scene, at `scale` [px/mm]."""

    panel: Panel
    left: float
    bottom: float
    scale: float

    def pixels(self, at: Array) -> Array:
        """Places (n, 2) [px] of the scene of places (n, 2) [mm] of the panel."""
        step = (np.atleast_2d(at) - self.panel.low) * self.scale
        return np.column_stack([self.left + step[:, 0], self.bottom - step[:, 1]])


@dataclass(frozen=True)
class Painted:
    """What a panel shows, by its pixels (rows, columns) from `top`, `left` [px] of the scene: what lies `inside`,
    what is `there` opposite a counterpart, what `touches` of it and what `slips` of that, and the `pressure` [MPa].
    """

    top: int
    left: int
    inside: NDArray[np.bool_]
    there: NDArray[np.bool_]
    touches: NDArray[np.bool_]
    slips: NDArray[np.bool_]
    pressure: Array


def joint_file(joint: str, case: str) -> str:
    """The file of a joint's picture in a case."""
    return f"joint_{plain_name(joint)}_{plain_name(case)}.png"


def draw_joint(run: Album, *, case: str, joint: str) -> Picture:
    """The picture of a joint in a case."""
    pressed = next(j for j in run.scene.cases[case].joints if j.name == joint)
    told = run.findings.cases[case].joints[joint]
    panels = panels_of(run.scene.mesh, pressed)
    kept = sorted(sorted(range(len(panels)), key=lambda i: -float(panels[i].size.prod()))[:MOST_PANELS])
    seats = seated([panels[i] for i in kept])
    high = told.pressure_max_MPa or 1.0
    scene: Any = np.full((SCENE[1], SCENE[0], 3), 255, dtype=np.uint8)
    bare = [_paint(scene, seat, pressed, high) for seat in seats]
    title = f"Joint {joint}, case {case}"
    canvas = Canvas(scene, title=title, note=f"{told.state[:1].upper()}{told.state[1:]}")
    for seat in seats:
        _name(canvas, seat)
    if len(kept) < len(panels):
        canvas.write((canvas.width - 40, 80), f"{len(panels) - len(kept)} smaller faces are left out", anchor="ra")
    _key(canvas, seats[0].scale, bare=any(bare))
    canvas.bar(use_map(), low=0.0, high=high, title="bearing pressure [MPa]")
    labels, said = [], []
    for what, name, value, unit in (
        ("pressure", "highest pressure", told.pressure_max_MPa, "MPa"),
        ("opening", "widest opening", told.gap_max_mm, "mm"),
    ):
        if value > 0:
            most = _at_most(pressed, what)
            said.append(f"{name} {number(value)} {unit} at {place(pressed.facing.places[most])}")
            labels += _label(seats, most, f"{number(value)} {unit}{' open' if what == 'opening' else ''}")
    canvas.labels(labels)
    faces = ", ".join(label for seat in seats for label in seat.panel.faces)
    said.append(f"{number(100 * told.touching)} % of the area touches, {number(100 * told.slipping)} % slips")
    numbers = "; ".join(said)
    return run.finish(
        canvas,
        file=joint_file(joint, case),
        kind="joint",
        case=case,
        title=title,
        caption=f"The faces of the finer mesh ({faces}), laid flat as their counterpart sees them: {numbers}.",
        alt=f"Bearing pressure on joint {joint} in case {case}, from 0 to {number(high)} MPa; {numbers}.",
        unit="MPa",
        high=high,
    )


def seated(panels: Sequence[Panel]) -> list[Seat]:
    """The panels in rows, in their order, as large as the scene allows, all to one scale."""
    best: tuple[float, list[list[Panel]]] = (0.0, [])
    room = SCENE[1] - KEY
    for count in range(1, len(panels) + 1):
        rows = _rows(panels, count)
        wide = min((SCENE[0] - SIDE * (len(r) + 1)) / sum(float(p.size[0]) for p in r) for r in rows)
        tall = (room - (HEAD + SIDE / 2) * len(rows)) / sum(max(float(p.size[1]) for p in r) for r in rows)
        if min(wide, tall) > best[0]:
            best = min(wide, tall), rows
    scale, rows = best
    used = sum(scale * max(float(p.size[1]) for p in r) + HEAD + SIDE / 2 for r in rows)
    top, out = (room - used) / 2, []
    for row in rows:
        bottom = top + HEAD + scale * max(float(p.size[1]) for p in row)
        long = sum(scale * float(p.size[0]) for p in row)
        gap = (SCENE[0] - long) / (len(row) + 1)
        left = gap
        for panel in row:
            out.append(Seat(panel, left, bottom, scale))
            left += scale * float(panel.size[0]) + gap
        top = bottom + SIDE / 2
    return out


def _rows(panels: Sequence[Panel], count: int) -> list[list[Panel]]:
    """The panels cut into `count` rows of about the same length."""
    ends = np.cumsum([float(p.size[0]) for p in panels])
    middle = ends - np.diff(np.append(0.0, ends)) / 2
    row = np.minimum((middle / ends[-1] * count).astype(int), count - 1)
    return [[p for p, r in zip(panels, row, strict=True) if r == i] for i in range(count) if (row == i).any()]


def _paint(scene: NDArray[np.uint8], seat: Seat, pressed: PressedJoint, high: float) -> bool:
    """A panel's colours, hatching and dots; whether some of it has no counterpart."""
    from scipy.ndimage import binary_dilation, binary_erosion

    shown = painted(seat, pressed)
    rows, columns = shown.inside.shape
    tile = scene[shown.top : shown.top + rows, shown.left : shown.left + columns]
    tile[shown.there] = OPEN
    tile[shown.there & ~shown.touches & ground_lines((rows, columns))] = LINES
    colours = (255 * use_map()(np.clip(shown.pressure / high, 0.0, 1.0))[..., :3]).round().astype(np.uint8)
    tile[shown.touches] = colours[shown.touches]
    far = _to_dots((rows, columns))
    tile[shown.slips & (far < DOT + 1.6)] = WHITE
    tile[shown.slips & (far < DOT)] = INK
    for area in (shown.slips, shown.touches, shown.inside):
        rim = binary_dilation(area) & ~binary_erosion(area, iterations=2)
        tile[rim & shown.inside] = INK
    return bool((shown.inside & ~shown.there).sum() > 0.002 * shown.inside.sum())


def painted(seat: Seat, pressed: PressedJoint) -> Painted:
    """What a panel of a joint shows."""
    top, left, inside = _inside(seat)
    there, pressure, touching, slipping = _blended(seat, pressed, top, left, inside)
    touches = there & _closed(touching >= 0.5)
    slips = touches & _closed(slipping >= 0.5 * touching)
    return Painted(top, left, inside, there, touches, slips, pressure)


def _inside(seat: Seat) -> tuple[int, int, NDArray[np.bool_]]:
    """The upper left pixel of a panel, and which (rows, columns) its triangles cover."""
    from PIL import Image, ImageDraw

    at = seat.pixels(seat.panel.at)
    left, top = (max(int(v), 0) for v in np.floor(at.min(axis=0)))
    right, bottom = (int(v) + 2 for v in np.ceil(at.max(axis=0)))
    page = Image.new("1", (min(right, SCENE[0]) - left, min(bottom, SCENE[1]) - top))
    pen = ImageDraw.Draw(page)
    for corners in at[seat.panel.triangles] - (left, top):
        pen.polygon([(float(x), float(y)) for x, y in corners], fill=1, outline=1)
    return top, left, np.asarray(page, dtype=bool)


def _blended(
    seat: Seat, pressed: PressedJoint, top: int, left: int, inside: NDArray[np.bool_]
) -> tuple[NDArray[np.bool_], Array, Array, Array]:
    """For each pixel (rows, columns) inside: whether it has a counterpart, the pressure [MPa], and the shares of the
    points around it that touch and that slip.
    """
    from scipy.spatial import cKDTree

    panel = seat.panel
    areas = pressed.facing.areas[panel.of]
    width = seat.scale * np.sqrt(areas)
    rows, columns = np.nonzero(inside)
    tree = cKDTree(seat.pixels(panel.points))
    count = min(AROUND, len(areas))
    far, which = tree.query(np.column_stack([columns + left, rows + top]), k=count)
    far, which = far.reshape(-1, count), which.reshape(-1, count)
    near, beside = far[:, :NEAREST], which[:, :NEAREST]
    sharp = areas[beside] / (near**2 + (SHARP * width[beside]) ** 2)
    touching, slipping = pressed.touching[panel.of], (pressed.slipping & pressed.touching)[panel.of]
    # The mean of what touches alone, so that a small spot keeps its pressure
    soft = areas[which] * touching[which] * np.exp(-(((far - far[:, :1]) / (SOFT * seat.scale * panel.edge)) ** 2))

    def placed(values: Array, weights: Array) -> Array:
        out, whole = np.zeros(inside.shape), weights.sum(axis=1)
        out[rows, columns] = (weights * values).sum(axis=1) / np.where(whole > 0, whole, 1.0)
        return out

    covered = (near <= REACH * width[beside]).any(axis=1).astype(float)[:, None]
    there = inside & _closed(placed(covered, np.ones_like(covered)) > 0)
    pressure = placed(pressed.pressure[panel.of][which], soft)
    return there, pressure, placed(touching[beside], sharp), placed(slipping[beside], sharp)


def _closed(area: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """An area (rows, columns) without its small holes."""
    from scipy.ndimage import binary_closing

    return np.asarray(binary_closing(np.pad(area, SPECK, mode="edge"), iterations=SPECK)[SPECK:-SPECK, SPECK:-SPECK])


def _to_dots(shape: tuple[int, ...]) -> Array:
    """How far (rows, columns) [px] each pixel lies from the next dot."""
    rows, columns = np.indices(shape)
    return np.hypot(columns % DOT_STEP - DOT_STEP / 2, rows % DOT_STEP - DOT_STEP / 2)


def _name(canvas: Canvas, seat: Seat) -> None:
    """The name of a panel's faces above it, and the way one looks."""
    panel = seat.panel
    x = seat.left + seat.scale * float(panel.size[0]) / 2
    y = TOP + seat.bottom - seat.scale * float(panel.size[1])
    room = seat.scale * float(panel.size[0]) + 0.9 * SIDE
    faces = ", ".join(panel.faces)
    up, right = _axis_name(panel.up), _axis_name(panel.right)
    how = f"↑ {up}, unrolled" if panel.unrolled and up else f"→ {right}, ↑ {up}" if up and right else "seen straight"
    for text, step, bold in ((faces, 66, True), (how, 36, False)):
        size = 24
        while size > 14 and canvas.pen.textlength(text, font=font(size, bold=bold)) > room:
            size -= 1
        canvas.pen.text((x, y - step), text, font=font(size, bold=bold), fill=INK, anchor="ma")
        canvas.texts.append(text)
    canvas.taken.append((x - room / 2, y - 68, x + room / 2, y - 6))


def _axis_name(way: Array) -> str:
    """The part axis along which a unit vector runs, with its sign; "" for none."""
    most = int(np.abs(way).argmax())
    return f"{'+' if way[most] > 0 else '−'}{'xyz'[most]}" if abs(way[most]) > 0.999 else ""


def _key(canvas: Canvas, scale: float, *, bare: bool) -> None:
    """What the patterns mean, and a length, at the foot of the scene."""
    from PIL import Image

    size, x, y = (34, 56), 40.0, canvas.height - BOTTOM - 46
    ground = np.full((*size, 3), OPEN, dtype=np.uint8)
    ground[ground_lines(size)] = LINES
    dots = np.full((*size, 3), 255, dtype=np.uint8)
    dots[_to_dots(size) < DOT] = INK
    tiles = [(ground, "open"), (dots, "touches, slips")]
    for tile, text in [*tiles, (np.full_like(dots, 255), "no counterpart")] if bare else tiles:
        canvas.page.paste(Image.fromarray(tile), (round(x), y))
        canvas.pen.rectangle([x, y, x + size[1], y + size[0]], outline=INK, width=2)
        canvas.write((x + size[1] + 12, y + 1), text, size=26)
        x += size[1] + 56 + float(canvas.pen.textlength(text, font=font(26)))
    length = round_factor(220 / scale)
    left = canvas.width - 60 - length * scale
    canvas.pen.line([(left, y + 30), (canvas.width - 60, y + 30)], fill=INK, width=6)
    canvas.write((left, y + 20), f"{length:g} mm", size=26, anchor="ls")
    canvas.taken.append((0, y - 20, canvas.width, y + 60))


def _label(seats: Sequence[Seat], point: int, text: str) -> list[Label]:
    """A label at a point of the joint, if its panel is drawn."""
    for seat in seats:
        own = np.flatnonzero(seat.panel.of == point)
        if len(own):
            x, y = seat.pixels(seat.panel.points[own[0]])[0]
            return [Label(text, float(x), float(y), beside=True)]
    return []


def _at_most(pressed: PressedJoint, what: str) -> int:
    """The point where `what` is highest, of those that stand for more than a sliver."""
    areas = pressed.facing.areas
    values = np.where(areas >= SMALL * np.median(areas), getattr(pressed, what), -1.0)
    return int(values.argmax())
