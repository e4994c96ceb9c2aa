"""What is left of the bolts' clamp with time: a table of all bolts and a plot of the one that keeps least."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fem.digits import number
from fem.judging.clamp_time import ClampKept, ClampWithTime
from fem.telling.blocks import Block, Cell, Figure, Heading, Items, Notice, Table, Text, table
from fem.telling.review.plots import BLUE, GREEN, INK, ORANGE, PURPLE, SOFT, drawing, svg_of

MARKS_AT = ((1 / 60, "1 min"), (1.0, "1 h"), (24.0, "1 day"), (168.0, "1 week"), (720.0, "30 d"), (2160.0, "90 d"))
"""Hours that stand below the plot."""
TOLD_AT = ((1.0, "1 hour"), (24.0, "1 day"), (2160.0, "90 days"))
"""Hours that stand in the table."""
LOOKS = {
    "as planned": (BLUE, "-", "o"),
    "large washers": (GREEN, (0, (4, 2)), "s"),
    "metal sleeve": (ORANGE, (0, (1, 1.3)), "^"),
}
PLANNED = "as planned"
NEAR = 0.05
"""Ends of lines closer than this share of the plot's height are labelled one above the other."""


def clamp_time_blocks(bolts: Mapping[str, ClampWithTime]) -> list[Block]:
    """The pieces of a section on bolts, by their names: a warning where creep is an estimate, plot and table."""
    if not bolts:
        return []
    name = min(bolts, key=lambda each: bolts[each].as_planned.low_N[-1] / bolts[each].preload_low_N)
    out: list[Block] = [Heading("Clamp with time")]
    guessed = [each for each, found in bolts.items() if found.estimate]
    if guessed:
        whose = "all bolts" if 1 < len(guessed) == len(bolts) else f"bolt {', '.join(guessed)}"
        out.append(
            Notice(
                "Creep is a default estimate",
                f"The cards hold no creep data for what {whose} clamp{'s' if len(guessed) == 1 else ''}. What stays "
                f"of the clamp may be far off; measure it, or retighten. Taken: {bolts[guessed[0]].creep_source}.",
            )
        )
    out += [_figure(name, bolts[name]), _table(bolts)]
    told = [
        f"{each}: {way} left out, {reason}" for each, found in bolts.items() for way, reason in found.left_out.items()
    ]
    if told:
        out.append(Items(tuple(told)))
    out.append(
        Text(
            "A tightened bolt holds its length; what the parts lose in height by settling and creep, bolt and parts "
            "give back as springs. Loads are left out. Creep is taken as linear, so it takes the same share at any "
            "pressure: a larger washer protects the part from being crushed rather than the clamp from fading.",
            "soft",
        )
    )
    return out


def _ways(found: ClampWithTime) -> dict[str, ClampKept]:
    return {PLANNED: found.as_planned, **found.remedies}


def _table(bolts: Mapping[str, ClampWithTime]) -> Table:
    """Low and high clamp of every bolt and way, as tightened and at the times that are told."""
    rows = []
    for name, found in bolts.items():
        for label, way in _ways(found).items():
            cells = [Cell(name if label == PLANNED else ""), Cell(label), Cell(number(way.pressure_MPa))]
            cells.append(Cell(_kilonewtons(found.preload_low_N, found.preload_high_N)))
            for hours, _ in TOLD_AT:
                at = found.hours.index(hours)
                cells.append(Cell(_kilonewtons(way.low_N[at], way.high_N[at])))
            cells.append(Cell(f"{100 * found.kept(found.hours[-1], way):.0f} %"))
            rows.append(cells)
    states = dict.fromkeys(state for found in bolts.values() for state in found.states)
    words = ", ".join(state.replace("_", " ") for state in states)
    return table(
        ("bolt", "way", "under head [MPa]", "tightened [kN]", *(f"{t} [kN]" for _, t in TOLD_AT), "kept"),
        rows,
        align="llrrrrrr",
        caption=f"Clamp with time, from the lowest to the highest preload; materials in service: {words}.",
        small=True,
    )


def _kilonewtons(low: float, high: float) -> str:
    return f"{number(low / 1e3)} to {number(high / 1e3)}"


def _figure(name: str, found: ClampWithTime) -> Figure:
    """Clamp against time of one bolt, on a logarithmic axis of time."""
    with drawing(height=78) as figure:
        axes = figure.add_subplot()
        axes.set_xscale("log")
        planned = found.as_planned
        axes.fill_between(
            found.hours, _kilo(planned.low_N), _kilo(planned.high_N), color=BLUE, alpha=0.12, linewidth=0
        )
        axes.plot(found.hours, _kilo(planned.high_N), color=BLUE, linewidth=0.7)
        ends = []
        for label, way in _ways(found).items():
            colour, dashes, mark = LOOKS.get(label, (PURPLE, "-", "D"))
            low = _kilo(way.low_N)
            axes.plot(
                found.hours,
                low,
                color=colour,
                linestyle=dashes,
                marker=mark,
                markersize=3.5,
                linewidth=1.4,
                label=label,
            )
            ends.append((low[-1], f"{label}, {100 * found.kept(found.hours[-1], way):.0f} %", colour))
        top = 1.12 * max(found.preload_high_N / 1e3, *_kilo(planned.high_N), *(end[0] for end in ends))
        axes.set_ylim(0, top)
        _marks(axes, found)
        _labels(axes, found, ends, top)
        kind = " (creep estimated)" if found.estimate else ""
        axes.set_ylabel("clamp [kN]")
        axes.set_xlabel(f"time after tightening{kind}")
        svg = svg_of(figure)
    caption = f"Clamp of bolt {name}, which keeps least, with time{kind}. Lines: from the lowest preload; band: as "
    caption += "planned, up to the highest preload."
    last = ", ".join(f"{label} {number(way.low_N[-1] / 1e3)} kN" for label, way in _ways(found).items())
    start = f"From {number(found.preload_low_N / 1e3)} kN there are left after {found.hours[-1] / 24:g} days"
    alt = f"{caption} {start}: {last}."
    return Figure(alt, caption, svg=svg)


def _kilo(values: tuple[float, ...]) -> list[float]:
    return [value / 1e3 for value in values]


def _marks(axes: Any, found: ClampWithTime) -> None:
    """Times in words below the plot, and the preloads at its left."""
    from matplotlib.ticker import NullLocator

    first, last = found.hours[0], found.hours[-1]
    marks = [(hours, words) for hours, words in MARKS_AT if first <= hours <= last]
    axes.set_xticks([hours for hours, _ in marks], [words for _, words in marks])
    axes.xaxis.set_minor_locator(NullLocator())
    axes.set_xlim(first / 1.3, last * 12)
    for preload, words in ((found.preload_low_N, "lowest preload"), (found.preload_high_N, "highest preload")):
        axes.axhline(preload / 1e3, color=SOFT, linewidth=0.7, linestyle=(0, (2, 2)), zorder=1)
        axes.annotate(
            f"{words} {number(preload / 1e3)} kN", (last * 11, preload / 1e3), xytext=(0, 2),
            textcoords="offset points", fontsize=7, ha="right", color=INK,
        )  # fmt: skip


def _labels(axes: Any, found: ClampWithTime, ends: list[tuple[float, str, str]], top: float) -> None:
    """What each line is, at its end; labels that would touch stand one above the other, or below a preload's name."""
    at, preloads = found.hours[-1], (found.preload_low_N / 1e3, found.preload_high_N / 1e3)
    least = -top
    for value, words, colour in sorted(ends):
        least = max(value, least + NEAR * top)
        axes.annotate(
            words,
            (at, least),
            xytext=(7, -6 if any(abs(least - p) < NEAR * top for p in preloads) else 0),
            textcoords="offset points",
            va="center",
            fontsize=7.5,
            color=colour,
        )
