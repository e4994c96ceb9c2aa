"""Draws a case with joints as its load grows: deflection, opening, what is left of the strength."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from fem.digits import number, reserve_text
from fem.judging.findings import CaseFindings, PathPoint
from fem.judging.growing import LIFTS_OFF
from fem.judging.path import Between, opens, slips
from fem.telling.blocks import FULL_MM, Figure, Table, table
from fem.telling.review.plots import BLUE, COLOURS, GREEN, INK, MARKS, ORANGE, drawing, svg_of
from fem.telling.words import force

HIGH_MM = 84.0
SAFE = "#dcebf3"
BEYOND = 1.25
"""Points farther up than this times the load of failure are not drawn."""
UNLIMITED = 3.0
"""And farther than this where nothing fails."""


def path_figure(case: CaseFindings, *, name: str, required: float) -> Figure | None:
    """The drawing of a case's path; None where there are not two points to draw."""
    points = drawn_points(case)
    if len(points) < 2:
        return None
    svg = _svg(case, points, required)
    solved = len(case.path)
    more = sum(point.asked_by == "path" for point in case.path)
    caption = (
        f"Case {name} as its growing loads grow, each load factor by itself ({solved} solved, {more} of them for "
        "this drawing alone). Left: deflection; the shaded load factors keep the required reserve. Middle: the "
        "widest opening of each joint. Right: how often all stress there could be multiplied until failure."
    )
    told = "; ".join(
        f"load factor {number(p.factor)}: {number(p.maximum_displacement_mm)} mm, reserve {reserve_text(p.reserve)}, "
        + ", ".join(f"{j} opened {number(at.gap_max_mm)} mm" for j, at in p.joints.items())
        for p in points
    )
    return Figure(f"{caption} {told}.", caption, FULL_MM, svg=svg)


def drawn_points(case: CaseFindings) -> list[PathPoint]:
    """The points of a path that are drawn, in order of their factors."""
    least = case.reserve.minimum
    top = BEYOND * max(least, 1.0) if math.isfinite(least) else UNLIMITED
    return [point for point in case.path if point.factor <= top]


def changes_table(case: CaseFindings, *, name: str) -> Table | None:
    """Where each joint begins to open and to slip all over; None where no path is known."""
    if not case.path:
        return None
    rows = [
        (joint, between_text(opens(case.path, joint), case), between_text(slips(case.path, joint), case))
        for joint in case.path[0].joints
    ]
    caption = (
        f"Joints in case {name} as the load grows. A change lies between the two solved load factors; a joint opens "
        "where it begins to touch on less of its area than at the lowest of them."
    )
    head = ("Joint", "Opens at load factor", "Slips all over at load factor")
    return table(head, rows, align="lll", caption=caption, small=True) if rows else None


def between_text(change: Between | None, case: CaseFindings) -> str:
    """A change in words, with its load where the growing loads have one resultant."""
    if change is None:
        return f"not up to {number(case.path[-1].factor)}"
    if change.high == change.low:
        return "from the start"
    unit = load_at_one(case)
    loads = "" if unit is None else f" ({force(change.low * unit)} and {force(change.high * unit)})"
    return f"between {number(change.low)} and {number(change.high)}{loads}"


def load_at_one(case: CaseFindings) -> float | None:
    """The resultant [N] of the growing loads at factor one; None where they have none, or it is not known."""
    least = case.reserve.minimum
    if case.failing_load_N is None or not math.isfinite(least) or least <= 0:
        return None
    return case.failing_load_N / least


def _svg(case: CaseFindings, points: Sequence[PathPoint], required: float) -> str:
    factors = [p.factor for p in points]
    least = case.reserve.minimum
    top = 1.08 * max(*factors, 1.0, min(least, 1.1 * max(factors)))
    with drawing(width=FULL_MM, height=HIGH_MM) as figure:
        bend, gap, left = figure.subplots(1, 3, sharey=True, width_ratios=(2.0, 1.1, 1.1))
        for axes in (bend, gap, left):
            axes.axhline(1.0, color=INK, lw=0.8, ls=":")
            if math.isfinite(least):
                axes.axhspan(0.0, min(least / required, top), color=SAFE, lw=0, zorder=0)
                axes.axhline(least, color=ORANGE, lw=1.2, ls="--")
        _deflection(bend, case, points)
        for number_, joint in enumerate(points[0].joints):
            look = {"color": COLOURS[number_ % len(COLOURS)], "marker": MARKS[number_ % len(MARKS)]}
            gap.plot([p.joints[joint].gap_max_mm for p in points], factors, ms=4, lw=1.2, label=joint, **look)
        gap.set_xlim(left=0 if any(p.joints[j].gap_max_mm > 0 for p in points for j in p.joints) else None)
        gap.set_xlabel("widest opening [mm]")
        finite = [(p.reserve, p.factor) for p in points if math.isfinite(p.reserve)]
        left.plot([r for r, _ in finite], [f for _, f in finite], "o-", color=GREEN, ms=4, lw=1.2)
        left.axvline(1.0, color=INK, lw=1.0)
        left.set_xlabel("least reserve\nof all stress [1]")
        if finite and max(r for r, _ in finite) > 8 * min(r for r, _ in finite) > 0:
            left.set_xscale("log")
            left.xaxis.set_major_formatter("{x:g}")
            left.xaxis.set_minor_formatter("")
        else:
            left.set_xlim(left=0)
        bend.set_ylim(0, top)
        bend.set_ylabel("load factor [1]")
        if (unit := load_at_one(case)) is not None:
            other = left.secondary_yaxis("right", functions=(lambda f: f * unit, lambda n: n / unit))
            other.set_ylabel("growing loads [N]")
        handles, labels = bend.get_legend_handles_labels()
        own, names = gap.get_legend_handles_labels()
        if len(names) > 1:
            handles, labels = handles + own, labels + [f"opening of {n}" for n in names]
        figure.legend(handles, labels, loc="outside upper left", ncols=2, handletextpad=0.4, columnspacing=1.2)
        return svg_of(figure)


def _deflection(axes: Any, case: CaseFindings, points: Sequence[PathPoint]) -> None:
    """Load against deflection, with the marks of what happens on the way."""
    factors, moved = [p.factor for p in points], [p.maximum_displacement_mm for p in points]
    axes.plot(moved, factors, "o-", color=BLUE, ms=4, lw=1.4)
    least, end = case.reserve.minimum, axes.get_ylim()[1]
    end_is = "comes free" if case.reserve.mode == LIFTS_OFF else "fails"
    where = {"va": "bottom", "fontsize": 7, "textcoords": "offset points", "xycoords": axes.get_yaxis_transform()}
    axes.annotate("this case", (0, 1.0), (3, 1), **where)
    if math.isfinite(least) and least <= max(end, max(factors)) * 1.05:
        at = float(np.interp(least, factors, moved))
        axes.plot([at], [least], "X", color=ORANGE, ms=8, ls="", label=f"{end_is} at {reserve_text(least)}")
        axes.annotate(end_is, (0.6, least), (0, 1), **where)
    for number_, joint in enumerate(points[0].joints):
        colour = COLOURS[(number_ + 2) % len(COLOURS)]
        for change, mark, what in (
            (opens(points, joint), "v", "opens"),
            (slips(points, joint), "D", "slips all over"),
        ):
            if change is None or change.high == change.low:
                continue
            along = np.linspace(change.low, change.high, 9)
            bends = np.interp(along, factors, moved)
            axes.plot(bends, along, color=colour, lw=5, alpha=0.45, solid_capstyle="butt", zorder=1)
            said = f"{joint} {what}: {number(change.low)} to {number(change.high)}"
            axes.plot([bends[4]], [along[4]], mark, color=colour, ms=7, ls="", label=said)
    axes.set_xlim(left=0)
    axes.set_xlabel("largest deflection [mm]")
