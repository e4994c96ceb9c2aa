"""The comparison: ways to print the part side by side, against mass and the reference part."""

from __future__ import annotations

import math
import re

from fem.digits import number
from fem.judging.choice import Comparison, VariantNumbers
from fem.telling.blocks import Block, Cell, Figure, Items, Section, Table, Text, Verdict, table
from fem.telling.comparison.plots import label_of, shown, trade_figure, trades
from fem.telling.comparison.steps import step_rows
from fem.telling.comparison.tables import plot_table, steps_table
from fem.telling.review.material import Material
from fem.telling.review.numbers import reserve_cell
from fem.telling.review.plots import svg_of
from fem.telling.words import money
from fem.telling.zoom_words import BEADS, is_beads, leaders_line

MOST_VARIANTS = 60
"""Rows shown; the comparison's own page and file hold all of them."""
PLOT_MM = 120.0
STEPS = (
    "Effect of each step: the median over all pairs of variants that differ by it alone, with the range in brackets."
)


def comparison(material: Material) -> Section:
    """The choice in a sentence, the variants, the Pareto-optimal ones, the effect of each step."""
    found = material.comparison
    if found is None:
        text = material.remark or (
            "There is no finished comparison of this study beside its results. Give the study [variants] or a "
            "[sweep] and run beadwork compare to see here how other print plans change mass, stiffness and reserve."
        )
        return Section("comparison", "Comparison", (Text(text),))
    blocks: list[Block] = [Verdict("Choice", "good" if found.best else "warn", (found.reason,))]
    chosen = _shown(found)
    answered = sum(v.answered for v in found.variants)
    if len(chosen) < answered:
        blocks.append(
            Text(
                f"Of {answered} variants the {len(chosen)} that matter most are shown: named ones, those "
                "that are Pareto-optimal, and the lightest. comparison.csv holds all.",
                "soft",
            )
        )
    blocks += [_variants(found, chosen), *_plots(found)]
    if rows := step_rows(found):
        blocks.append(steps_table(found, rows, caption=STEPS, brief=True))
    failed = [f"{v.name}: {v.error}" for v in found.variants if v.error]
    if failed:
        blocks += [Text("Not computed:"), Items(tuple(failed))]
    return Section("comparison", "Comparison", tuple(blocks))


def _shown(found: Comparison) -> tuple[VariantNumbers, ...]:
    answered = [v for v in found.variants if v.answered]
    front = {name for names in found.fronts.values() for name in names}
    first = [v for v in answered if v.reference or v.name == found.best or v.name in front]
    named = [v for v in answered if not set(found.sweep) & set(v.settings) or not found.sweep]
    rest = sorted(answered, key=lambda v: v.mass_g or math.inf)
    kept: set[str] = set()
    for v in [*first, *named, *rest]:
        if len(kept) < MOST_VARIANTS:
            kept.add(v.name)
    return tuple(v for v in answered if v.name in kept)


def _variants(found: Comparison, chosen: tuple[VariantNumbers, ...]) -> Table:
    rows = []
    ratios = found.ratios
    numbers = {v.name: i for i, v in enumerate(found.variants, start=1)}
    for v in chosen:
        mark = "reference part" if v.reference else "to print" if v.name == found.best else ""
        mark += ("; " if mark and v.missed else "") + missed_names(v.missed)
        row = [
            Cell(str(numbers[v.name])),
            Cell(v.name, "good" if v.name == found.best else ""),
            Cell(number(v.mass_g)),
            Cell("–" if v.time_h is None else number(v.time_h)),
            Cell("–" if v.cost is None else number(v.cost)),
            _reserve(v, found.required_reserve),
            Cell(number(v.deflection_mm)),
        ]
        if ratios:
            own = ratios.get(v.name, {})
            row += [Cell(number(own[k]) if k in own else "–") for k in ("mass", "stiffness", "reserve")]
        rows.append([*row, Cell(mark, "warn" if v.missed else "")])
    head = ["No.", "Variant", "Mass [g]", "Time [h]", "Cost", "Reserve factor", "Deflection [mm]"]
    if ratios:
        head += ["mass", "stiffness", "reserve"]
    head.append("Remark")
    base = found.reference
    of = f"; mass, stiffness and reserve without a unit are over those of {base.name}" if base else ""
    beads = f" {leaders_line(found)}" if found.printed else ""
    caption = f"Variants of the study; cost in {money(found.currency)}{of}.{beads}"
    return table(head, rows, align="ll" + "r" * (len(head) - 3) + "l", caption=caption, small=True)


def _reserve(v: VariantNumbers, required: float) -> Cell:
    if v.reserve is None:
        return Cell("–")
    cell = reserve_cell(v.reserve, required=required, band=v.band)
    return Cell(f"{cell.text}, {BEADS}", cell.tone) if is_beads(v) else cell


def _plots(found: Comparison) -> list[Block]:
    """Mass against stiffness and reserve as on the comparison's own page, and the Pareto-optimal variants."""
    out: list[Block] = []
    for trade in trades(found):
        if len(shown(found, trade)) > 1:
            figure, _ = trade_figure(found, trade)
            told = label_of(found, trade, short=True)
            out.append(Figure(label_of(found, trade), told, PLOT_MM, svg=svg_of(figure)))
            out.append(plot_table(found, trade, front_only=True))
    return out


def missed_names(missed: tuple[str, ...]) -> str:
    """The requirements that are missed, by name; their numbers stand in the columns and in the comparison's page."""
    names = [re.split(r"[ ,:]+[-+]?[\d.]+", text, maxsplit=1)[0] for text in missed]
    return "misses " + ", ".join(names) if names else ""
