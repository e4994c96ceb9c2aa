"""The half sphere of build directions drawn flat, so that equal areas stay equal, with a number painted on it.

Projection: Lambert's azimuthal equal-area one; source: J. P. Snyder, Map Projections, USGS Professional Paper 1395
(1987), chapter 24.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.judging.orientation import AXES, DirectionNumbers, Orientation, direction_words, reserve_words, upper
from fem.telling.colours import displacement_map, reserve_scale, use_map, utilisation
from fem.telling.vector import INK, styled
from fem.telling.words import number
from fem.tensors import Array

GRID = 360
"""Pixels across the painted disc."""
TILTS = (30, 60)
"""Circles [degrees] of tilt drawn for the eye."""


@dataclass(frozen=True)
class Quantity:
    """One of the numbers on the sphere: `value` reads it; `unit`; `more` says whether more is better, `jumps`
    that it may change at once from one direction to the next, so that nothing between two can be told.
    """

    key: str
    title: str
    unit: str
    more: bool
    value: Callable[[DirectionNumbers], float]
    jumps: bool = False

    def text(self, d: DirectionNumbers) -> str:
        """The number with its unit."""
        v = self.value(d)
        if self.key == "reserve":
            return reserve_words(v)
        shown = f"{v:,.0f}" if self.key == "overhang" else number(v)
        return f"{shown} {self.unit}"


QUANTITIES = (
    Quantity("reserve", "Least reserve factor", "1", True, lambda d: d.reserve),
    Quantity("deflection", "Largest deflection", "mm", False, lambda d: d.deflection_mm),
    Quantity("interlayer", "Largest interlayer tension", "MPa", False, lambda d: d.interlayer_MPa),
    Quantity("overhang", "Overhang, built the better way up", "mm²", False, lambda d: d.support_mm2, jumps=True),
)


def flat(directions: Array, *, axis: int) -> Array:
    """Places (k, 2) on the disc of radius 1 of directions (k, 3), each turned into the half sphere around `axis`."""
    up = upper(np.atleast_2d(directions), axis=axis)
    rest = up[:, [(axis + 1) % 3, (axis + 2) % 3]]
    size = np.linalg.norm(rest, axis=1)
    radius = np.sqrt(np.maximum(1 - up[:, axis], 0))
    return rest * np.divide(radius, size, out=np.zeros_like(size), where=size > 1e-12)[:, None]


def round_again(places: Array, *, axis: int) -> Array:
    """Directions (k, 3) of places (k, 2) within the disc: `flat` turned back."""
    square = (places**2).sum(axis=1)
    out = np.empty((len(places), 3))
    out[:, axis] = 1 - square
    out[:, [(axis + 1) % 3, (axis + 2) % 3]] = places * np.sqrt(np.maximum(2 - square, 0))[:, None]
    return out


def between(known: Array, values: Array, asked: Array) -> Array:
    """Values (k,) at directions `asked` (k, 3) from those at `known` (j, 3); a direction and its opposite are one.

    Interpolation by distances between d d^T, which do not feel the sign of d, without going beyond the known values.
    """
    from scipy.interpolate import RBFInterpolator

    _, first = np.unique(_even(known).round(9), axis=0, return_index=True)
    if len(first) < 2:
        return np.full(len(asked), float(values[0]))
    found = RBFInterpolator(_even(known[first]), values[first], kernel="linear", degree=0)(_even(asked))
    return np.clip(found, values.min(), values.max())


def nearest_known(known: Array, values: Array, asked: Array) -> Array:
    """The value (k,) of the nearest of the directions `known` (j, 3), or its opposite, to each asked for (k, 3)."""
    near = np.concatenate([np.abs(part @ known.T).argmax(axis=1) for part in np.array_split(asked, 64)])
    return np.asarray(values[near])


def _even(d: Array) -> Array:
    r = np.sqrt(2.0)
    x, y, z = d.T
    return np.column_stack([x * x, y * y, z * z, r * y * z, r * x * z, r * x * y])


def draw_disc(axes: Any, scan: Orientation, what: Quantity, *, prefix: str) -> dict[str, str]:
    """Paint one quantity into matplotlib axes; returns the text that belongs to each mark, by its gid."""
    known = scan.answered
    directions = np.array([d.direction for d in known])
    raw = np.array([what.value(d) for d in known], dtype=float)
    steps = (np.arange(GRID) + 0.5) / GRID * 2 - 1
    places = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    inside = (places**2).sum(axis=1) <= 1
    values = np.full(len(places), np.nan)
    reserve = what.key == "reserve"
    # Between directions the reserve is led like the stress, whose peaks an unlimited neighbour must not hide
    asked = round_again(places[inside], axis=scan.axis)
    if what.jumps:
        values[inside] = nearest_known(directions, raw, asked)
    else:
        led = between(directions, utilisation(raw) if reserve else raw, asked)
        values[inside] = 1 / np.maximum(led, 1e-6) if reserve else led
    _paint(axes, scan, what, values.reshape(GRID, GRID), steps, raw)
    _frame(axes, scan.axis)
    return _marks(axes, scan, what, prefix=prefix)


def _paint(axes: Any, scan: Orientation, what: Quantity, image: Array, steps: Array, raw: Array) -> None:
    from cmcrameri import cm
    from matplotlib.colors import BoundaryNorm, ListedColormap

    box = (-1, 1, -1, 1)
    bar: dict[str, Any] = {"ax": axes, "shrink": 0.78, "pad": 0.09, "orientation": "horizontal", "aspect": 28}
    if what.key == "reserve":
        scale = reserve_scale(scan.required_reserve)
        bands = len(scale.colours)
        shown = np.where(np.isnan(image), np.nan, scale.band(np.nan_to_num(image, nan=1.0)))
        colours, norm = ListedColormap(scale.colours), BoundaryNorm(np.arange(bands + 1), bands)
        painted = axes.imshow(shown, extent=box, origin="lower", cmap=colours, norm=norm, interpolation="nearest")
        colourbar = axes.figure.colorbar(painted, **bar, ticks=range(1, bands))
        colourbar.ax.set_xticklabels(scale.labels())
        image = np.minimum(image, 2 * scale.edges[-2])
    else:
        colours = {"deflection": displacement_map(), "interlayer": use_map()}.get(what.key, cm.bamako_r)
        painted = axes.imshow(image, extent=box, origin="lower", cmap=colours, interpolation="nearest")
        colourbar = axes.figure.colorbar(painted, **bar)
        colourbar.ax.locator_params(nbins=5)
    colourbar.set_label(f"{what.title.lower()} [{what.unit}]")
    colourbar.outline.set_linewidth(0.6)
    finite = raw[np.isfinite(raw)]
    if not what.jumps and len(finite) and np.ptp(finite) > 0.02 * abs(finite.mean()):
        lines = axes.contour(steps, steps, image, levels=6, colors=INK, linewidths=0.6, alpha=0.75)
        axes.clabel(lines, fontsize=8, inline_spacing=2)


def _frame(axes: Any, axis: int) -> None:
    turn = np.linspace(0, 2 * np.pi, 361)
    axes.plot(np.cos(turn), np.sin(turn), color=INK, linewidth=1.2)
    for tilt in TILTS:
        r = np.sqrt(1 - np.cos(np.radians(tilt)))
        axes.plot(r * np.cos(turn), r * np.sin(turn), color=INK, linewidth=0.5, linestyle=(0, (2, 3)))
        axes.annotate(f"{tilt}°", (r * np.cos(-2.2), r * np.sin(-2.2)), fontsize=8, ha="center", va="center",
                      bbox={"boxstyle": "square,pad=0.1", "fc": "white", "ec": "none", "alpha": 0.75})  # fmt: skip
    right, top = AXES[(axis + 1) % 3], AXES[(axis + 2) % 3]
    for x, y, name in ((1.09, 0, right), (-1.11, 0, f"-{right}"), (0, 1.09, top), (0, -1.09, f"-{top}")):
        axes.annotate(name, (x, y), fontsize=12, ha="center", va="center", fontweight="bold", annotation_clip=False)
    axes.annotate(
        AXES[axis], (0.0, 0.0), xytext=(9, 9), textcoords="offset points", fontsize=12, fontweight="bold",
        bbox={"boxstyle": "square,pad=0.1", "fc": "white", "ec": "none", "alpha": 0.75},
    )  # fmt: skip
    axes.plot(0, 0, marker="+", color=INK, markersize=8)
    axes.set_xlim(-1.2, 1.2)
    axes.set_ylim(-1.2, 1.2)
    axes.set_aspect("equal")
    axes.set_axis_off()


def _marks(axes: Any, scan: Orientation, what: Quantity, *, prefix: str) -> dict[str, str]:
    tips = {}
    for i, d in enumerate(scan.answered):
        x, y = flat(np.array(d.direction), axis=scan.axis)[0]
        gid = f"{prefix}d{i}"
        axes.plot(x, y, "o", markersize=4, markerfacecolor="white", markeredgecolor=INK, markeredgewidth=0.6, gid=gid)
        tips[gid] = tip(d)
    for k, pick in enumerate(scan.picks, start=1):
        x, y = flat(np.array(pick.scanned.direction), axis=scan.axis)[0]
        gid = f"{prefix}p{k}"
        marker = "D" if pick.scanned.kind == "study" else "o"
        axes.plot(
            x, y, marker, markersize=14, markerfacecolor="white", markeredgecolor=INK, markeredgewidth=1.6, gid=gid
        )
        axes.annotate(str(k), (x, y), fontsize=9, ha="center", va="center_baseline", fontweight="bold", zorder=9)
        tips[gid] = f"{k}: {'; '.join(pick.why)}. {tip(pick.scanned)}"
    return tips


def tip(d: DirectionNumbers) -> str:
    """All numbers of a direction in one line."""
    return f"{direction_words(d.direction)}: " + ", ".join(f"{q.title.lower()} {q.text(d)}" for q in QUANTITIES)


def label(scan: Orientation, what: Quantity) -> str:
    """The picture in words: range, where it is best, and the marked directions."""
    known = scan.answered
    best = (max if what.more else min)(known, key=what.value)
    worst = (min if what.more else max)(known, key=what.value)
    marked = "; ".join(
        f"{k} ({direction_words(p.scanned.direction)}) {what.text(p.scanned)}" for k, p in enumerate(scan.picks, 1)
    )
    return (
        f"{what.title} over the half sphere of build directions, seen along {AXES[scan.axis]}: from "
        f"{what.text(worst)} ({direction_words(worst.direction)}) to {what.text(best)} "
        f"({direction_words(best.direction)}). Marked directions: {marked}."
    )


def one_figure(scan: Orientation, what: Quantity) -> tuple[Any, dict[str, str]]:
    """A figure of one quantity for the page, and the texts of its marks."""
    from matplotlib.figure import Figure

    with styled(axes_grid=False):
        figure = Figure(figsize=(5.2, 5.6), layout="constrained")
        axes = figure.add_subplot()
        tips = draw_disc(axes, scan, what, prefix="")
        axes.set_title(f"{what.title} [{what.unit}]", fontsize=12)
    return figure, tips


def four_figure(scan: Orientation) -> Any:
    """All four quantities in one picture."""
    from matplotlib.figure import Figure

    with styled(axes_grid=False):
        figure = Figure(figsize=(10.4, 11.2), layout="constrained")
        for axes, what in zip(figure.subplots(2, 2).ravel(), QUANTITIES, strict=True):
            draw_disc(axes, scan, what, prefix=what.key)
            axes.set_title(f"{what.title} [{what.unit}]", fontsize=13)
        figure.suptitle(
            f"{scan.title}: build directions of {scan.body}, seen along {AXES[scan.axis]}", fontsize=14, wrap=True
        )
    return figure
