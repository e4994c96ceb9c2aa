"""Tables of a comparison that its own page and the design review share."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from fem.digits import number, reserve_text
from fem.judging.choice import Comparison
from fem.telling.blocks import Table, table
from fem.telling.comparison.plots import Trade, shown
from fem.telling.comparison.steps import StepRow
from fem.telling.words import money


def short_names(keys: Iterable[str]) -> dict[str, str]:
    """The last word of each dotted path, or as many words as it takes to tell the paths apart."""
    paths = list(dict.fromkeys(keys))
    out = {}
    for path in paths:
        parts = path.split(".")
        for count in range(1, len(parts) + 1):
            short = ".".join(parts[-count:])
            if sum(other == short or other.endswith("." + short) for other in paths) == 1:
                break
        out[path] = short.replace("_", " ")
    return out


def plain_setting(text: str) -> str:
    """A setting in the file's words without the quotes around a text."""
    return text[1:-1] if len(text) > 1 and text[0] == text[-1] == '"' else text


def plot_table(comparison: Comparison, trade: Trade, *, front_only: bool = False) -> Table:
    """The numbers of a plot by mass, of all variants or of the Pareto-optimal ones alone."""
    front = comparison.fronts.get(trade.key, ())
    rows = [
        [
            str(i),
            v.name,
            number(v.mass_g, digits=4),
            reserve_text(value) if trade.key == "reserve" else number(value),
            "Pareto-optimal" if v.name in front else "dominated",
        ]
        for i, v, value in sorted(shown(comparison, trade), key=lambda p: p[1].mass_g or 0.0)
        if v.name in front or not front_only
    ]
    head = ("No.", "Variant", "Mass [g]", trade.label[0].upper() + trade.label[1:], "Pareto front")
    caption = f"Pareto-optimal variants in mass and {trade.key}." if front_only else ""
    return table(head, rows, align="llrrl", caption=caption, small=True)


def steps_table(comparison: Comparison, rows: Sequence[StepRow], *, caption: str = "", brief: bool = False) -> Table:
    """The effect of each step of a swept number, over all pairs of variants that differ by it; `brief` for paper."""
    names = short_names(comparison.sweep)
    cost = any(v.cost is not None for v in comparison.variants)
    head = ["Step", "Pairs", "Mass [g]", "Time [h]", "Reserve factor [1]", "per 10 g", "Stiffness [%]"]
    if not brief:
        head += ["Reserve per hour", "[%] per 10 g", "[%] per hour"]
        head += [f"Cost [{money(comparison.currency)}]"] if cost else []
    out = []
    for s in rows:
        level = f"; level in {s.level} of {s.count}" if s.level else ""
        row = [f"{names[s.key]} {plain_setting(s.start)} → {plain_setting(s.end)}", str(s.count), s.mass_g.text()]
        row += [s.time_h.text(), s.reserve.text() + level, s.reserve_per_g.text(scale=10.0)]
        row += [s.stiffness.text(scale=100.0), s.reserve_per_h.text(), s.stiffness_per_g.text(scale=1000.0)]
        row += [s.stiffness_per_h.text(scale=100.0), s.cost.text()]
        out.append(row[: len(head)])
    return table(head, out, caption=caption, small=True)


def failed_table(comparison: Comparison) -> Table:
    """The variants that could not be computed, and why."""
    rows = [[str(i), v.name, v.error] for i, v in enumerate(comparison.variants, start=1) if not v.answered]
    return table(("No.", "Variant", "Why"), rows, align="lll")
