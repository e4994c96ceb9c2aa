"""The free-body picture: the part in three views with the resultants that act on it, as a vector drawing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from fem.judging.scene import Arrow
from fem.telling.blocks import FULL_MM
from fem.telling.load_picture import placed
from fem.telling.review.plots import BLUE, INK, SOFT, drawing, svg_of
from fem.telling.review.pulls import NOISE, FreeBody, Pull
from fem.telling.review.shape import VIEWS, Drawn, Shape, View
from fem.telling.words import force
from fem.tensors import Array

SEEN = 0.02
"""A part of a wrench below this share of the case's largest is not drawn in a view."""
LETTER_MM = 1.75
"""Width of a letter in the drawing [mm]: DejaVu Sans, bold, at 7.5 points."""
GAP, HEAD, KEY_ROW, MOST_HIGH = 4.0, 6.0, 4.4, 100.0
"""Between views, above them for their names, a row of the key, and the tallest view [mm]."""
KEY = (
    (
        ("load (solid)", BLUE),
        ("straight arrow: force, with the magnitude of", INK),
        ("curved arrow: moment about the line of sight,", INK),
    ),
    (
        ("reaction (dashed)", SOFT),
        ("its part in the view; ring: along line of sight", INK),
        ("about its point of application", INK),
    ),
)
"""What the signs mean."""


def draw_free_body(body: FreeBody, *, shape: Shape | None, box: Sequence[Sequence[float]]) -> str:
    """The drawing as SVG text; without a shape the part is its box."""
    low, high = np.array(box[0]), np.array(box[1])
    views = {v.name: v for v in VIEWS}
    lines = {name: shape.drawn(v) if shape else _box(v, low, high) for name, v in views.items()}
    limits = {name: _limits(body, v, low, high) for name, v in views.items()}
    wide = {name: r[1] - r[0] for name, r in limits.items()}
    tall = {name: r[3] - r[2] for name, r in limits.items()}
    gaps = GAP * (len(views) - 1)
    scale = min((FULL_MM - gaps) / sum(wide.values()), MOST_HIGH / max(tall.values()))
    row = scale * max(tall.values())
    height = HEAD + row + KEY_ROW * len(KEY) + 2
    left = 0.0
    with drawing(height=height) as figure:
        figure.set_layout_engine("none")
        for name, view in views.items():
            spot = (left, height - HEAD - (row + scale * tall[name]) / 2, scale * wide[name], scale * tall[name])
            axes = figure.add_axes(tuple(v / m for v, m in zip(spot, (FULL_MM, height) * 2, strict=True)))
            axes.set_xlim(*limits[name][:2])
            axes.set_ylim(*limits[name][2:])
            axes.set_axis_off()
            head = f"{name}: {'xyz'[view.right]} right, {'xyz'[view.up]} up"
            figure.text((left + 1) / FULL_MM, (height - 1) / height, head, fontsize=8, color=SOFT, va="top")
            _draw_view(axes, view, lines[name], body, box=np.array([low, high]), scale=scale)
            left += scale * wide[name] + GAP
        for i, line in enumerate(KEY):
            y = (KEY_ROW * (len(KEY) - i) - 1) / height
            for x, (text, colour) in zip((1, 40, 105), line, strict=False):
                figure.text(x / FULL_MM, y, text, color=colour, fontsize=7.5, va="center")
        return svg_of(figure)


def _box(view: View, low: Array, high: Array) -> Drawn:
    a, b = low[[view.right, view.up]], high[[view.right, view.up]]
    return Drawn((np.array([a, [b[0], a[1]], b, [a[0], b[1]], a]),), np.zeros((0, 2, 2)))


def _shafts(body: FreeBody, box: Array) -> list[tuple[Pull, Array, Array]]:
    """Each pull with the tail and tip (3,) of its force's arrow."""
    arrows = tuple(Arrow(p.name, "force", p.at, p.force, "") for p in body.pulls)
    diagonal = float(np.linalg.norm(box[1] - box[0]))
    return [(p, *placed(a, arrows, box, diagonal)) for p, a in zip(body.pulls, arrows, strict=True)]


def _limits(body: FreeBody, view: View, low: Array, high: Array) -> tuple[float, float, float, float]:
    """Left, right, bottom, top [mm] that hold the part and the arrows with room for their labels."""
    ends = [e for _, tail, tip in _shafts(body, np.array([low, high])) for e in (tail, tip)]
    points = np.array([low, high, *ends])[:, [view.right, view.up]]
    room = 0.10 * float(np.linalg.norm(high - low))
    a, b = points.min(axis=0) - room, points.max(axis=0) + room
    return float(a[0]), float(b[0]), float(a[1]), float(b[1])


def _draw_view(axes: Any, view: View, lines: Drawn, body: FreeBody, *, box: Array, scale: float) -> None:
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    if lines.outline:
        shadow = Path.make_compound_path(*[Path(p) for p in lines.outline])
        axes.add_patch(PathPatch(shadow, fc="#e9edeb", ec=INK, lw=0.9))
    if len(lines.edges):
        codes = np.tile([Path.MOVETO, Path.LINETO], len(lines.edges))
        axes.add_patch(PathPatch(Path(lines.edges.reshape(-1, 2), codes), fc="none", ec="#7d8986", lw=0.4))
    diagonal = float(np.linalg.norm(box[1] - box[0]))
    strongest = max((float(np.linalg.norm(p.force)) for p in body.pulls), default=0.0)
    most = max((float(np.abs(p.moment).max()) for p in body.pulls), default=0.0)
    labels = _Labels(axes, scale)
    plane = [view.right, view.up]
    for pull, tail, tip in _shafts(body, box):
        colour, style = (SOFT, (0, (3, 1.4))) if pull.role == "reaction" else (BLUE, "solid")
        inside = float(np.linalg.norm(pull.force[plane]))
        a, b, at = tail[plane], tip[plane], pull.at[plane]
        if inside > SEEN * strongest:
            _arrow(axes, a, b, colour, style)
            labels.keep_clear(np.linspace(a, b, 9))
            away = b - a if np.allclose(tail, pull.at) else a - b
            labels.ask(f"{pull.name} {force(inside)}", b if np.allclose(tail, pull.at) else a, away, colour)
        elif float(np.linalg.norm(pull.force)) > SEEN * strongest:
            sign = "." if pull.force @ view.towards > 0 else "x"
            axes.plot(*at, marker="o", mfc="white", mec=colour, ms=7, mew=1.2)
            axes.plot(*at, marker=sign, color=colour, ms=4, mew=1.2)
            labels.keep_clear(at[None])
            labels.ask(
                f"{pull.name} {force(float(np.linalg.norm(pull.force)))}",
                at,
                at - np.mean(box, axis=0)[plane],
                colour,
            )
        turn = float(pull.moment @ view.towards)
        if most > 0 and abs(turn) > max(SEEN * most, NOISE * strongest * diagonal):
            labels.keep_clear(_curl(axes, at, 0.055 * diagonal, turn, colour, style))
            text = f"{pull.name} {abs(turn) / 1000:.3g} N·m"
            labels.ask(text, at, np.array([1.0, -0.6]), colour, off=0.075 * diagonal)
    labels.place()


def _arrow(axes: Any, tail: Array, tip: Array, colour: str, style: Any) -> None:
    shape = {"arrowstyle": "-|>", "color": colour, "lw": 1.6, "ls": style, "mutation_scale": 9}
    axes.annotate("", tip, tail, arrowprops={**shape, "shrinkA": 0, "shrinkB": 0})


def _curl(axes: Any, at: Array, radius: float, turn: float, colour: str, style: Any) -> Array:
    """A curved arrow, counterclockwise where the moment points to the eye; returns its points (k, 2) [mm]."""
    angles = np.radians(np.linspace(-60, 200, 60) if turn > 0 else np.linspace(240, -20, 60))
    points = at + radius * np.column_stack([np.cos(angles), np.sin(angles)])
    axes.plot(*points[:-3].T, color=colour, lw=1.3, ls=style)
    axes.annotate("", points[-1], points[-4], arrowprops={"arrowstyle": "-|>", "color": colour, "lw": 1.3})
    return points[::6]


Box = tuple[float, float, float, float]


class _Labels:
    """Text beside arrows; each takes the nearest place that no arrow and no earlier text covers."""

    def __init__(self, axes: Any, scale: float) -> None:
        self.axes, self.scale = axes, scale
        self.taken: list[Box] = []
        self.wanted: list[tuple[str, Array, Array, str, float]] = []

    def keep_clear(self, points: Array) -> None:
        """Keep texts off these points (k, 2) [mm]."""
        half = 0.8 / self.scale
        self.taken += [(x - half, y - half, x + half, y + half) for x, y in points.tolist()]

    def ask(self, text: str, at: Array, along: Array, colour: str, *, off: float = 0.0) -> None:
        """Want a text by `at`, best in the direction `along`, at least `off` [mm] away."""
        self.wanted.append((text, at, along, colour, off))

    def place(self) -> None:
        """Write all texts that were asked for."""
        patch = {"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.6}
        for text, at, along, colour, off in self.wanted:
            box = self._spot(text, at, along, off)
            self.taken.append(box)
            x, y = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
            self.axes.text(
                x, y, text, ha="center", va="center", color=colour, bbox=patch, weight="bold", fontsize=7.5
            )

    def _spot(self, text: str, at: Array, along: Array, off: float) -> Box:
        half_w, half_h = LETTER_MM * len(text) / 2 / self.scale, 1.7 / self.scale
        (left, right), (bottom, top) = self.axes.get_xlim(), self.axes.get_ylim()
        first = float(np.arctan2(along[1], along[0]))
        turns = np.array([0, 0.5, -0.5, 1, -1, 1.57, -1.57, 2.1, -2.1, 2.6, -2.6, np.pi])
        for ring in range(30):
            away = off + (1.2 + 1.0 * ring) / self.scale
            for turn in first + turns:
                x = float(at[0] + np.cos(turn) * (away + half_w * abs(np.cos(turn))))
                y = float(at[1] + np.sin(turn) * (away + half_h))
                # A text that would leave the view is moved in sideways: its height tells what it belongs to
                x = min(max(x, left + half_w), right - half_w)
                box = (x - half_w, y - half_h, x + half_w, y + half_h)
                if box[1] >= bottom and box[3] <= top and not any(_meet(box, t) for t in self.taken):
                    return box
        x, y = min(max(float(at[0]), left + half_w), right - half_w), float(at[1])
        return (x - half_w, y - half_h, x + half_w, y + half_h)


def _meet(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]
