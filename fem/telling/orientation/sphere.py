"""The half sphere of build directions drawn flat, so that equal areas stay equal, with a number painted on it.

Projection: Lambert's azimuthal equal-area one; source: J. P. Snyder, Map Projections, USGS Professional Paper 1395
(1987), chapter 24.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.digits import number, reserve_text
from fem.judging.orientation import AXES, DirectionNumbers, Orientation, direction_words, upper
from fem.telling.colours import displacement_map, reserve_scale, use_map, utilisation
from fem.telling.vector import INK, styled
from fem.tensors import Array

GRID = 300
"""Pixels across the painted disc."""
ON_PAINT = "#101418"
"""Lines over the painted disc, which is as light in the dark."""
STEPS = (np.arange(GRID) + 0.5) / GRID * 2 - 1
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
            return reserve_text(v)
        shown = f"{v:,.0f}" if self.key == "overhang" else number(v)
        return f"{shown} {self.unit}"


QUANTITIES = (
    Quantity("reserve", "Minimum reserve factor", "1", True, lambda d: d.advised),
    Quantity("deflection", "Maximum deflection", "mm", False, lambda d: d.deflection_mm),
    Quantity("interlayer", "Maximum interlayer tension", "MPa", False, lambda d: d.interlayer_MPa),
    Quantity(
        "overhang",
        "Overhang, the smaller of the two opposite directions",
        "mm²",
        False,
        lambda d: d.support_mm2,
        jumps=True,
    ),
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

    Interpolation by the sines of the angles between directions (a radial basis whose distance is that between
    d d^T), without going beyond the known values.
    Source: M. D. Buhmann, Radial Basis Functions (2003), chapter 2 (distances and a constant).
    """
    rows = np.sort(np.unique(upper(known, axis=2).round(9), axis=0, return_index=True)[1])
    known, values = known[rows], values[rows]
    j = len(known)
    whole = np.ones((j + 1, j + 1))
    whole[:j, :j], whole[j, j] = -_sine(known, known), 0.0
    weight = np.linalg.solve(whole, np.append(values, 0.0))
    parts = np.array_split(asked, max(1, len(asked) // 5000))
    found = np.concatenate([weight[j] - _sine(part, known) @ weight[:j] for part in parts])
    return np.clip(found, values.min(), values.max())


def _sine(a: Array, b: Array) -> Array:
    return np.sqrt(np.maximum(1 - (a @ b.T) ** 2, 0.0))


def nearest_known(known: Array, values: Array, asked: Array) -> Array:
    """The value (k,) of the nearest of the directions `known` (j, 3), or its opposite, to each asked for (k, 3)."""
    near = np.concatenate([np.abs(part @ known.T).argmax(axis=1) for part in np.array_split(asked, 64)])
    return np.asarray(values[near])


@dataclass(frozen=True)
class Disc:
    """One quantity spread over the disc: `image` (g, g), not a number outside; `raw` (k,) at the directions."""

    what: Quantity
    image: Array
    raw: Array


def disc_of(scan: Orientation, what: Quantity) -> Disc:
    """Values all over the disc from those of the directions that were computed."""
    known = scan.answered
    directions = np.array([d.direction for d in known])
    raw = np.array([what.value(d) for d in known], dtype=float)
    places = np.stack(np.meshgrid(STEPS, STEPS), axis=-1).reshape(-1, 2)
    inside = (places**2).sum(axis=1) <= 1
    values = np.full(len(places), np.nan)
    asked = round_again(places[inside], axis=scan.axis)
    if what.jumps:
        values[inside] = nearest_known(directions, raw, asked)
    elif what.key == "reserve":
        # Between directions the reserve is led like the stress, whose peaks an unlimited neighbour must not hide
        values[inside] = 1 / np.maximum(between(directions, utilisation(raw), asked), 1e-6)
    else:
        values[inside] = between(directions, raw, asked)
    return Disc(what, values.reshape(GRID, GRID), raw)


def draw_disc(axes: Any, bar: Any, scan: Orientation, disc: Disc) -> dict[str, list[str]]:
    """Paint one quantity into matplotlib axes, its colours into `bar`; returns the marks' texts by gid."""
    _paint(axes, bar, scan, disc)
    _frame(axes, scan.axis)
    axes.set_title(f"{disc.what.title} [{disc.what.unit}]", fontsize=12)
    return _marks(axes, scan)


def _paint(axes: Any, bar: Any, scan: Orientation, disc: Disc) -> None:
    from cmcrameri import cm
    from matplotlib.colors import BoundaryNorm, ListedColormap

    what, image = disc.what, disc.image
    look: dict[str, Any] = {"extent": (-1, 1, -1, 1), "origin": "lower", "interpolation": "nearest"}
    if what.key == "reserve":
        scale = reserve_scale(scan.required_reserve)
        bands = len(scale.colours)
        shown = np.where(np.isnan(image), np.nan, scale.band(np.nan_to_num(image, nan=1.0)))
        colours, norm = ListedColormap(scale.colours), BoundaryNorm(np.arange(bands + 1), bands)
        painted = axes.imshow(shown, cmap=colours, norm=norm, **look)
        colourbar = axes.figure.colorbar(painted, cax=bar, orientation="horizontal", ticks=range(1, bands))
        mark = "required" if scan.reserve_asked else "target"
        colourbar.ax.set_xticklabels(list(scale.labels()))
        for at, (edge, text) in enumerate(zip(scale.edges[1:-1], scale.labels(), strict=True), start=1):
            if edge == scale.required:
                where = colourbar.ax.get_xaxis_transform()
                colourbar.ax.text(at, 1.25, f"{mark} {text}", transform=where, ha="center", va="bottom")
        image = np.minimum(image, 2 * scale.edges[-2])
    else:
        colours = {"deflection": displacement_map(), "interlayer": use_map()}.get(what.key, cm.bamako_r)
        painted = axes.imshow(image, cmap=colours, **look)
        colourbar = axes.figure.colorbar(painted, cax=bar, orientation="horizontal")
        colourbar.ax.locator_params(nbins=5)
    colourbar.outline.set_linewidth(0.6)
    finite = disc.raw[np.isfinite(disc.raw)]
    if not what.jumps and len(finite) and np.ptp(finite) > 0.02 * abs(finite.mean()):
        lines = axes.contour(STEPS, STEPS, image, levels=6, colors=ON_PAINT, linewidths=0.6, alpha=0.75)
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


def _marks(axes: Any, scan: Orientation) -> dict[str, list[str]]:
    places = flat(np.array([d.direction for d in scan.answered]), axis=scan.axis)
    look: dict[str, Any] = {"linestyle": "none", "markerfacecolor": "white", "markeredgecolor": INK}
    axes.plot(*places.T, marker="o", markersize=4, markeredgewidth=0.6, gid="dots", **look)
    tips = {"dots": [tip(d) for d in scan.answered]}
    for k, pick in enumerate(scan.picks, start=1):
        x, y = flat(np.array(pick.scanned.direction), axis=scan.axis)[0]
        marker = "D" if pick.scanned.kind == "study" else "o"
        axes.plot([x], [y], marker=marker, markersize=14, markeredgewidth=1.6, gid=f"pick{k}", **look)
        axes.annotate(str(k), (x, y), fontsize=9, ha="center", va="center_baseline", fontweight="bold", zorder=9)
        tips[f"pick{k}"] = [f"{k}: {'; '.join(pick.why)}. {tip(pick.scanned)}"]
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


def one_figure(scan: Orientation, disc: Disc) -> tuple[Any, dict[str, list[str]]]:
    """A figure of one quantity for the page, and the texts of its marks."""
    from matplotlib.figure import Figure

    with styled(axes_grid=False):
        figure = Figure(figsize=(5.2, 5.6))
        axes, bar = figure.add_axes((0.02, 0.11, 0.96, 0.84)), figure.add_axes((0.12, 0.08, 0.76, 0.025))
        tips = draw_disc(axes, bar, scan, disc)
    return figure, tips


def four_figure(scan: Orientation, discs: Sequence[Disc]) -> Any:
    """All four quantities in one picture."""
    from matplotlib.figure import Figure

    with styled(axes_grid=False):
        figure = Figure(figsize=(10.4, 11.4))
        for k, disc in enumerate(discs):
            left, low = 0.5 * (k % 2), 0.47 * (1 - k // 2)
            axes = figure.add_axes((left + 0.01, low + 0.065, 0.48, 0.40))
            draw_disc(axes, figure.add_axes((left + 0.06, low + 0.045, 0.38, 0.012)), scan, disc)
        title = f"{scan.title}: build directions of {scan.body}, seen along {AXES[scan.axis]}"
        figure.suptitle(title, fontsize=14, wrap=True)
    return figure
