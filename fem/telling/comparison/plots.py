"""Mass against stiffness and mass against reserve, with the Pareto-optimal variants marked."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from fem.digits import number, reserve_text
from fem.judging.choice import Comparison, VariantNumbers
from fem.telling.vector import INK, SOFT, styled
from fem.telling.zoom_words import band_text

FRONT, DOMINATED, METAL = "#0b5d8f", "#b35900", "#4c5a57"
"""Blue and brown-orange stay apart for readers who lack one kind of cone; fill and line say the same again."""
SHAPES = ("o", "s", "^", "D", "v", "P")
MOST_NAMED = 8
"""So many variants of a front bear their number in the plot."""


@dataclass(frozen=True)
class Trade:
    """One plot: `key` the front's name in the comparison; `ratio` whether values are over the reference part's."""

    key: str
    title: str
    label: str
    ratio: bool

    def value(self, comparison: Comparison, v: VariantNumbers) -> float | None:
        """The number drawn upwards for a variant, None where it has none or it is unlimited."""
        if self.ratio:
            return comparison.ratios.get(v.name, {}).get(self.key)
        value = v.stiffness if self.key == "stiffness" else v.advised
        return value if value is not None and math.isfinite(value) else None

    def text(self, value: float | None) -> str:
        """The number in words."""
        if value is None:
            return "unlimited or not known"
        if self.key == "reserve":
            return reserve_text(value)
        return f"{number(value)} × the reference part's" if self.ratio else f"{number(value)} 1/mm"


def trades(comparison: Comparison) -> tuple[Trade, Trade]:
    """The two plots; stiffness is over the reference part's where there is one."""
    away = " away from singular places" if any(v.singular for v in comparison.variants) else ""
    known = any("stiffness" in r for r in comparison.ratios.values())
    label = "stiffness over the reference part's [1]" if known else "1 / maximum deflection [1/mm]"
    return (
        Trade("stiffness", "Mass against stiffness", label, known),
        Trade("reserve", "Mass against reserve", f"minimum reserve factor{away} [1]", False),
    )


def shown(comparison: Comparison, trade: Trade) -> list[tuple[int, VariantNumbers, float]]:
    """The variants that a plot holds: number in the table (from 1), variant, value."""
    out = []
    for i, v in enumerate(comparison.variants, start=1):
        value = trade.value(comparison, v)
        if v.answered and v.mass_g is not None and value is not None:
            out.append((i, v, value))
    return out


def trade_figure(comparison: Comparison, trade: Trade) -> tuple[Any, dict[str, list[str]]]:
    """The figure, and the text of each variant's mark by its gid."""
    from matplotlib.figure import Figure

    points = shown(comparison, trade)
    front = set(comparison.fronts.get(trade.key, ()))
    shapes = _shapes(comparison)
    tips: dict[str, list[str]] = {}
    with styled():
        figure = Figure(figsize=(5.4, 4.9), layout="constrained")
        axes = figure.add_subplot()
        best = sorted((v.mass_g or 0.0, value) for _, v, value in points if v.name in front)
        if len(best) > 1:
            axes.step([m for m, _ in best], [x for _, x in best], where="post", color=FRONT, linewidth=1.0, zorder=1)
        if trade.key == "reserve":
            wanted = comparison.required_reserve
            axes.axhline(wanted, color=INK, linewidth=1.0, linestyle=(0, (5, 3)), zorder=1)
            told = "required" if comparison.reserve_asked else "target"
            axes.annotate(
                f"{told} {wanted:g}", (0, wanted), xycoords=("axes fraction", "data"), xytext=(4, 3),
                textcoords="offset points", fontsize=9, ha="left",
            )  # fmt: skip
        limits = _limits(points, floor=comparison.required_reserve if trade.key == "reserve" else 0.0)
        if trade.key == "reserve":
            tops = [1.05 * _reach(v, value)[1] for _, v, value in points if v.printed and not v.reference]
            limits = limits[0], (0.0, max(limits[1][1], *tops, 0.0))
        beyond: list[str] = []
        for i, v, value in points:
            gid = f"v{i}"
            (x, y), off = _inside(v.mass_g or 0.0, value, limits)
            beside = 3 + (v.name in front)
            if trade.key == "reserve" and v.has_band and not off:
                _whisker(axes, x, value, v)
            axes.plot([x], [y], linestyle="none", gid=gid, zorder=beside, **_mark(v, v.name in front, shapes))
            if off:
                beyond.append(f"★ {i}, beyond the plot: {number(v.mass_g)} g, {trade.text(value)}")
            told = f"{number(v.mass_g)} g, {trade.label.split(' [')[0]} {trade.text(value)}"
            tips[gid] = [f"{i}: {v.name}: {told}{_within(trade, v)}"]
        if comparison.best:
            for _, v, value in points:
                if v.name == comparison.best:
                    look: Any = {"markersize": 17, "markerfacecolor": "none", "markeredgecolor": INK}
                    axes.plot([v.mass_g or 0.0], [value], "o", zorder=2, **look)
        named = [p for p in points if p[1].name in front or p[1].reference or p[1].name == comparison.best]
        _name(axes, [p for p in named if not _inside(p[1].mass_g or 0.0, p[2], limits)[1]], best=comparison.best)
        axes.set_xlabel("mass [g]")
        axes.set_ylabel(trade.label)
        axes.annotate("\n".join(beyond), (0.98, 0.02), xycoords="axes fraction", fontsize=9, ha="right", va="bottom")
        axes.set_xlim(*limits[0])
        axes.set_ylim(*limits[1])
        _legend(axes, comparison, shapes)
    return figure, tips


def _reach(v: VariantNumbers, value: float) -> tuple[float, float]:
    """The lowest and the highest that a drawn reserve factor may be; an unlimited end is drawn far above."""
    band = v.advised_band
    return (band.low, min(band.high, 3 * value)) if v.has_band else (value, value)


def _whisker(axes: Any, x: float, value: float, v: VariantNumbers) -> None:
    """A thin line from the lowest to the highest that a reserve factor may be."""
    low, high = _reach(v, value)
    axes.errorbar(
        [x], [value], yerr=[[value - low], [high - value]], color=SOFT, linewidth=1.1, capsize=3.5, zorder=2
    )


def _within(trade: Trade, v: VariantNumbers) -> str:
    if trade.key != "reserve" or not v.has_band:
        return ""
    return f" (within {band_text((v.advised_band.low, v.advised_band.high))})"


Limits = tuple[tuple[float, float], tuple[float, float]]
BEYOND = 1.5
"""A part that is not printed and lies farther out than this times the printed ones' range stays beyond the plot."""


def _limits(points: Sequence[tuple[int, VariantNumbers, float]], *, floor: float) -> Limits:
    """Ranges of mass and value that hold the printed variants, and the others where they are not far off."""
    printed = [(v.mass_g or 0.0, value) for _, v, value in points if v.printed and not v.reference]
    others = [(v.mass_g or 0.0, value) for _, v, value in points if not (v.printed and not v.reference)]
    known = printed or others or [(0.0, 1.0)]
    (left, right), top = (min(m for m, _ in known), max(m for m, _ in known)), max(y for _, y in known)
    reach, high = left + BEYOND * max(right - left, 0.05 * right), BEYOND * max(top, floor)
    near = [(m, y) for m, y in others if m <= reach and y <= high]
    every = known + near
    left, right = min(m for m, _ in every), max(m for m, _ in every)
    pad = 0.09 * max(right - left, 0.05 * right, 1e-9)
    return (left - pad, right + pad), (0.0, 1.12 * max(floor, *(y for _, y in every)) or 1.0)


def _inside(x: float, y: float, limits: Limits) -> tuple[tuple[float, float], bool]:
    """A place drawn in to the edge of the plot, and whether it had to be."""
    (left, right), (low, high) = limits
    place = (
        min(max(x, left), right - 0.02 * (right - left)) if x > right else x,
        high - 0.04 * (high - low) if y > high else y,
    )
    return place, place != (x, y)


def _shapes(comparison: Comparison) -> dict[str, str]:
    """A mark's shape by the value of the first swept key whose values are words, such as the infill's pattern."""
    from fem.judging.choice import leading_number

    for key, values in comparison.sweep.items():
        if 1 < len(values) <= len(SHAPES) and any(leading_number(text) is None for text in values):
            return {f"{key}\n{text}": shape for text, shape in zip(values, SHAPES, strict=False)}
    return {}


def _shape_of(v: VariantNumbers, shapes: dict[str, str]) -> str:
    return next((s for k, s in shapes.items() if v.settings.get(k.split("\n")[0]) == k.split("\n")[1]), SHAPES[0])


def _mark(v: VariantNumbers, on_front: bool, shapes: dict[str, str]) -> dict[str, Any]:
    if v.reference or not v.printed:
        return {"marker": "*", "markersize": 13, "markerfacecolor": METAL, "markeredgecolor": INK}
    colour = FRONT if on_front else DOMINATED
    face = colour if on_front else "white"
    return {"marker": _shape_of(v, shapes), "markersize": 8, "markerfacecolor": face, "markeredgecolor": colour}


def _name(axes: Any, points: Sequence[tuple[int, VariantNumbers, float]], *, best: str | None) -> None:
    """Numbers of the table beside the marks that stand out, thinned evenly where they are many."""
    step = max(1, math.ceil(len(points) / MOST_NAMED))
    ordered = sorted(points, key=lambda p: p[1].mass_g or 0.0)
    for i, v, value in [p for k, p in enumerate(ordered) if k % step == 0 or p[1].name == best]:
        axes.annotate(
            str(i), (v.mass_g, value), xytext=(-6, 6), textcoords="offset points", fontsize=9, ha="right", zorder=4
        )


def _legend(axes: Any, comparison: Comparison, shapes: dict[str, str]) -> None:
    from matplotlib.lines import Line2D

    def entry(label: str, **look: Any) -> Any:
        return Line2D([], [], linestyle="none", label=label, markersize=8, **look)

    marks = [
        entry("Pareto-optimal", marker=SHAPES[0], markerfacecolor=FRONT, markeredgecolor=FRONT),
        entry("dominated", marker=SHAPES[0], markerfacecolor="white", markeredgecolor=DOMINATED),
    ]
    if any(v.reference or not v.printed for v in comparison.variants):
        name = "reference part" if comparison.reference else "not printed"
        marks.append(entry(name, marker="*", markerfacecolor=METAL, markeredgecolor=INK))
    if comparison.best:
        chosen = f"the one to {'print' if comparison.printed else 'take'}"
        marks.append(entry(chosen, marker="o", markerfacecolor="none", markeredgecolor=INK))
    for key, shape in shapes.items():
        marks.append(
            entry(key.split("\n")[1].strip('"'), marker=shape, markerfacecolor="white", markeredgecolor=SOFT)
        )
    axes.figure.legend(handles=marks, loc="outside upper center", ncols=3, frameon=False, fontsize=9)


def label_of(comparison: Comparison, trade: Trade, *, short: bool = False) -> str:
    """The plot in words: its range and the Pareto-optimal variants, with numbers; `short` without names."""
    points = shown(comparison, trade)
    if not points:
        return f"{trade.title}: no variant has both numbers."
    masses = [v.mass_g or 0.0 for _, v, _ in points]
    values = [value for _, _, value in points]
    front = comparison.fronts.get(trade.key, ())
    best = "; ".join(
        f"{i} ({v.name}) {number(v.mass_g)} g, {trade.text(value)}" for i, v, value in points if v.name in front
    )
    few = [
        f"{i} ({number(v.mass_g)} g, {reserve_text(value) if trade.key == 'reserve' else number(value)})"
        for i, v, value in points
        if v.name in front
    ]
    if short:
        out = f"{trade.title}: {len(points)} variants. Pareto-optimal, with mass and value: {', '.join(few)}."
        limits = _limits(points, floor=comparison.required_reserve if trade.key == "reserve" else 0.0)
        far = [f"{i} ({v.name})" for i, v, value in points if _inside(v.mass_g or 0.0, value, limits)[1]]
        return out + (f" Beyond the plot: {', '.join(far)}." if far else "")
    left = [i for i, v in enumerate(comparison.variants, 1) if v.answered and i not in {p[0] for p in points}]
    apart = f" Not drawn, as unlimited or not known: {', '.join(map(str, left))}." if left else ""
    return (
        f"{trade.title}: {len(points)} variants from {number(min(masses))} to {number(max(masses))} g and from "
        f"{trade.text(min(values))} to {trade.text(max(values))}. Pareto-optimal: {best or 'none'}.{apart}"
    )
