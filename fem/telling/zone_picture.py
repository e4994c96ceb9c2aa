"""Draws a cut through a printed body: its zones in their own colours, the way the beads run, a scale, and a key."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from fem.judging.findings import BodyFindings
from fem.printing.cut import OUTSIDE, PLACES, ZoneCut
from fem.telling.album import Picture
from fem.telling.canvas import font, write_png
from fem.telling.colours import ZONES
from fem.telling.embedding import page_bytes
from fem.telling.printed import plan_line, zone_rows
from fem.telling.words import number, plain_name, round_factor
from fem.tensors import Array

WIDTH, DPI = 2000, 200
"""Width [px] of the picture, and the dots per inch that it is written with: a page's width in print."""
LEFT, RIGHT, TOP, FOOT = 190, 60, 190, 150
"""Room [px] left of the cut, right of it, above it (title) and below it (numbers and name of the axis)."""
KEY_COLUMN, KEY_ROW = 583, 122
MOST_WIDE, MOST_HIGH = WIDTH - LEFT - RIGHT, 1300
MOST_WIDE_BESIDE, MOST_HIGH_BESIDE = MOST_WIDE - KEY_COLUMN, 1500
"""Largest cut [px] with the key below it, and with the key beside it, which is where it goes for a tall cut."""
INK, WHITE, SOFT = (0.08, 0.09, 0.11), (1.0, 1.0, 1.0), (0.37, 0.40, 0.43)
TICKS_APART = (120, 70)
"""Marks of a scale are so many pixels apart or more, unless fewer than two would be left."""
END_ON = 0.15
"""A stroke shorter than this share of a bead's direction is drawn as a dot: the bead runs through the cut."""


@dataclass(frozen=True)
class Frame:
    """Where a cut lies in its picture: `left`, `top` [px] of its upper left corner, `scale` [px] of one of its cells,
    `wide`, `high` [px] of the cut, `size` [px] of the picture; `beside` whether the key stands to the right.
    """

    left: int
    top: int
    scale: float
    wide: int
    high: int
    size: tuple[int, int]
    beside: bool

    def pixel(self, row: float, column: float) -> tuple[float, float]:
        """Place (x, y) [px] of the middle of a cell; row 0 is at the bottom."""
        return self.left + (column + 0.5) * self.scale, self.top + self.high - (row + 0.5) * self.scale


def frame_of(shape: tuple[int, int], *, entries: int) -> Frame:
    """The largest frame for a cut of `shape` (rows, columns) and a key of so many entries.

    Cells are a whole number of pixels wide wherever they are large enough to see, so that their edges are crisp.
    """
    rows, columns = shape
    beside = rows > 0.75 * columns
    room = (MOST_WIDE_BESIDE, MOST_HIGH_BESIDE) if beside else (MOST_WIDE, MOST_HIGH)
    scale = min(room[0] / columns, room[1] / rows)
    if scale >= 3:
        scale = float(int(scale))
    wide, high = max(1, round(columns * scale)), max(1, round(rows * scale))
    per_row = max(1, MOST_WIDE // KEY_COLUMN)
    if beside:
        whole = TOP + max(high + FOOT, entries * KEY_ROW + 40)
    else:
        whole = TOP + high + FOOT + -(-entries // per_row) * KEY_ROW + 20
    return Frame(LEFT, TOP, scale, wide, high, (WIDTH, whole), beside)


def cut_title(cut: ZoneCut) -> str:
    """What the picture shows, in a few words."""
    if cut.kind == "layer":
        return f"{cut.body}: layer at {cut.height:.1f} mm above the build plate"
    return f"{cut.body}: vertical section at print axis 2 = {cut.height:.1f} mm"


def cut_file(cut: ZoneCut, *, rank: int = 0) -> str:
    """The file of a cut; `rank` sets further cuts of one kind through a body apart."""
    return f"zones_{plain_name(cut.body)}_{plain_name(cut.kind)}{f'_{rank + 1}' if rank else ''}.png"


def draw_zones(cut: ZoneCut, *, body: BodyFindings, path: Path) -> Picture:
    """Write the picture of a cut through `body` to `path`."""
    from matplotlib import rc_context
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from PIL import Image

    entries = _entries(cut, body)
    frame = frame_of((cut.place.shape[0], cut.place.shape[1]), entries=len(entries))
    title, texts = cut_title(cut), []
    with rc_context({"font.family": ["DejaVu Sans"], "svg.fonttype": "none", "text.usetex": False}):
        figure: Any = Figure(figsize=(frame.size[0] / DPI, frame.size[1] / DPI), dpi=DPI, facecolor="white")
        canvas = FigureCanvasAgg(figure)
        for text, y, size, bold, colour in (
            (title, 30, 46, True, INK),
            (plan_line(body.print) if body.print else "", 104, 32, False, SOFT),
        ):
            if text:
                _write(figure, frame, (LEFT // 3, y), text, size=size, bold=bold, colour=colour)
                texts.append(text)
        axes = _axes(figure, frame, cut)
        texts += [axes.get_xlabel(), axes.get_ylabel()]
        _outline(axes, cut)
        _strokes(axes, cut)
        texts += _key(figure, frame, entries)
        canvas.draw()
        image = Image.fromarray(np.asarray(canvas.buffer_rgba())[..., :3])
    write_png(image, path)
    zones = "; ".join(row.text for row in zone_rows(body))
    strokes = "Short strokes: bead direction (1)." if len(cut.stroke) else ""
    where = "seen from above" if cut.kind == "layer" else "seen along print axis 2"
    return Picture(
        file=path.name,
        kind="zones",
        case="",
        title=title,
        caption=f"{where[:1].upper()}{where[1:]}. {strokes}".strip(),
        alt=f"Section of {title}, {where}, {number(cut.place.shape[1] * cut.pixel)} mm by "
        f"{number(cut.place.shape[0] * cut.pixel)} mm. Of the whole body: {zones}. {strokes}".strip(),
        unit="mm",
        labels=tuple(texts),
        body=cut.body,
        inside=page_bytes(image),
    )


def _axes(figure: Any, frame: Frame, cut: ZoneCut) -> Any:
    from matplotlib.ticker import MultipleLocator

    wide, high = frame.size
    axes = figure.add_axes(
        (frame.left / wide, 1 - (frame.top + frame.high) / high, frame.wide / wide, frame.high / high)
    )
    rows, columns = cut.place.shape
    x, y = cut.corner
    right, top = x + columns * cut.pixel, y + rows * cut.pixel
    table = np.array([[*ZONES[name], 1.0] for name in PLACES])
    axes.imshow(
        table[cut.place],
        origin="lower",
        extent=(x, right, y, top),
        interpolation="nearest" if frame.scale >= 1 else "hanning",
        interpolation_stage="rgba",
        aspect="auto",
    )
    names = (f"{cut.across} [mm]", f"{cut.up} [mm]")
    for axis, pixels, apart, name, end in zip(
        (axes.xaxis, axes.yaxis), (frame.wide, frame.high), TICKS_APART, names, ("left", "top"), strict=True
    ):
        mm = cut.pixel / frame.scale
        axis.set_major_locator(MultipleLocator(min(_step(apart * mm), round_factor(pixels / 2 * mm))))
        # A name longer than its axis starts at the axis' end, so that it never runs into the title
        short = font(30).getlength(name) > pixels
        write = axes.set_xlabel if end == "left" else axes.set_ylabel
        write(name, fontsize=_points(30), color=INK, labelpad=_points(8), loc=end if short else "center")
    axes.tick_params(labelsize=_points(28), length=_points(12), width=_points(3), colors=INK, pad=_points(8))
    # A frame through the very edge of the cut would hide its outermost cells
    for name, side in axes.spines.items():
        side.set(
            color=SOFT, linewidth=_points(2), position=("outward", _points(6)), visible=name in ("left", "bottom")
        )
    axes.set_xlim(x, right)
    axes.set_ylim(y, top)
    return axes


def _step(least: float) -> float:
    """The smallest of 1, 2, 5 times a power of ten that is not below `least`."""
    power = 10.0 ** np.floor(np.log10(least))
    return float(min(f * power for f in (1, 2, 5, 10) if f * power >= least * (1 - 1e-9)))


def _outline(axes: Any, cut: ZoneCut) -> None:
    """A thin line along the edges of the cells where the part ends."""
    from matplotlib.collections import LineCollection

    lines = edges(cut.place != OUTSIDE) * cut.pixel + np.array(cut.corner)
    axes.add_collection(
        LineCollection(
            list(lines), colors=[INK], linewidths=_points(3), capstyle="projecting", clip_on=False, zorder=3
        )
    )


def edges(inside: Any) -> Array:
    """Edges (n, 2, 2) between cells inside and outside, in cells from the lower left corner, whole runs as one."""
    padded = np.pad(np.asarray(inside, dtype=bool), 1)
    out = []
    for across, grid in ((False, padded), (True, padded.T)):
        change = grid[1:] != grid[:-1]
        step = np.diff(np.pad(change.astype(np.int8), ((0, 0), (1, 1))), axis=1)
        line, start = np.nonzero(step == 1)
        _, end = np.nonzero(step == -1)
        # Cell 0 is the padding, so the edge with index 0 lies at 0 and columns count from -1
        run = np.stack([np.stack([start - 1, line], axis=1), np.stack([end - 1, line], axis=1)], axis=1)
        out.append(run[..., ::-1] if across else run)
    return np.concatenate(out).astype(float)


def stroke_length(at: Array, *, extent: float) -> float:
    """Length [mm] of the longest strokes, so that neighbours stay apart; `extent` [mm] is that of the cut."""
    if len(at) < 2:
        return 0.05 * extent
    square = ((at[:, None] - at) ** 2).sum(axis=2)
    np.fill_diagonal(square, np.inf)
    apart = float(np.sqrt(np.median(square.min(axis=1))))
    return float(np.clip(0.6 * apart, 0.012 * extent, 0.06 * extent))


def _strokes(axes: Any, cut: ZoneCut) -> None:
    from matplotlib.collections import LineCollection

    if not len(cut.stroke):
        return
    rows, columns = cut.place.shape
    half = stroke_length(cut.stroke_at, extent=max(rows, columns) * cut.pixel) / 2
    seen = np.linalg.norm(cut.stroke, axis=1) > END_ON
    ends = np.stack([cut.stroke_at - half * cut.stroke, cut.stroke_at + half * cut.stroke], axis=1)[seen]
    dots = cut.stroke_at[~seen]
    for colour, thick, order in ((WHITE, 8.0, 4), (INK, 3.5, 5)):
        axes.add_collection(
            LineCollection(
                list(ends), colors=[colour], linewidths=_points(thick), capstyle="round", clip_on=True, zorder=order
            )
        )
        axes.plot(
            dots[:, 0], dots[:, 1], ".", color=colour, markersize=_points(4 * thick), markeredgewidth=0, zorder=order
        )


def _entries(cut: ZoneCut, body: BodyFindings) -> list[tuple[str, str, str]]:
    """Key entries: what to draw (a name in ZONES, "stroke" or "dot"), its name, and further lines."""
    out = []
    for row in zone_rows(body):
        weight = f"\n{number(row.mass)} g, {number(100 * (row.mass_share or 0))} % of the mass" if row.mass else ""
        out.append((row.name, row.name, f"{number(100 * row.share)} % of the volume{weight}"))
    places = {PLACES[i] for i in np.unique(cut.place)}
    known = {name for name, _, _ in out} | {"outside"}
    out += [(p, p, "between the beads" if p == "air" else "") for p in PLACES if p in places - known]
    if len(cut.stroke):
        seen = np.linalg.norm(cut.stroke, axis=1) > END_ON
        if seen.any():
            out.append(("stroke", "beads", "in the plane of the section"))
        if not seen.all():
            out.append(("dot", "beads", "normal to the section"))
    return out


def _key(figure: Any, frame: Frame, entries: list[tuple[str, str, str]]) -> list[str]:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Rectangle

    texts = []
    per_row = 1 if frame.beside else MOST_WIDE // KEY_COLUMN
    x0 = frame.left + frame.wide + RIGHT if frame.beside else LEFT
    y0 = TOP if frame.beside else TOP + frame.high + FOOT
    wide, high = frame.size
    for i, (sign, name, more) in enumerate(entries):
        x, y = x0 + (i % per_row) * KEY_COLUMN, y0 + (i // per_row) * KEY_ROW
        if sign in ZONES:
            box = Rectangle(
                (x / wide, 1 - (y + 46) / high),
                46 / wide,
                46 / high,
                transform=figure.transFigure,
                facecolor=ZONES[sign],
                edgecolor=INK,
                linewidth=_points(2),
            )
            figure.add_artist(box)
        else:
            ends = ([x, x + 46], [y + 23, y + 23]) if sign == "stroke" else ([x + 23], [y + 23])
            figure.add_artist(
                Line2D(
                    [v / wide for v in ends[0]],
                    [1 - v / high for v in ends[1]],
                    transform=figure.transFigure,
                    color=INK,
                    linewidth=_points(5),
                    marker="." if sign == "dot" else "",
                    markersize=_points(32),
                )
            )
        _write(figure, frame, (x + 64, y - 2), name, size=30, bold=True, colour=INK)
        for k, line in enumerate(more.split("\n")):
            _write(figure, frame, (x + 64, y + 34 * (k + 1)), line, size=27, bold=False, colour=INK)
        texts.append(f"{name} {more}".replace("\n", ", ").strip())
    return texts


def _write(
    figure: Any, frame: Frame, at: tuple[float, float], text: str, *, size: int, bold: bool, colour: Any
) -> None:
    """Text whose upper left corner lies at `at` [px], made smaller where it would leave the picture."""
    wide, high = frame.size
    while size > 18 and font(size, bold=bold).getlength(text) > wide - at[0] - 30:
        size -= 2
    figure.text(
        at[0] / wide,
        1 - at[1] / high,
        text,
        fontsize=_points(size),
        fontweight="bold" if bold else "normal",
        color=colour,
        va="top",
        ha="left",
        parse_math=False,
    )


def _points(pixels: float) -> float:
    """A length in the picture's pixels as the points that matplotlib counts in."""
    return pixels * 72 / DPI
