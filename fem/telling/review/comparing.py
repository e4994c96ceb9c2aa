"""The comparison: ways to print the part side by side, against mass and the reference part."""

from __future__ import annotations

import math
import re
from collections.abc import Callable

from fem.judging.choice import Comparison, VariantNumbers
from fem.telling.blocks import Block, Cell, Figure, Items, Section, Table, Text, Verdict, table
from fem.telling.review.material import Material
from fem.telling.review.numbers import reserve_cell
from fem.telling.review.plots import BLUE, INK, ORANGE, SOFT, drawing, svg_of
from fem.telling.words import money, number, reserve_text
from fem.telling.zoom_words import BEADS, is_beads, leaders_line

MOST_VARIANTS, MOST_STEPS = 60, 24
"""Rows shown; the comparison's own page and file hold all of them."""


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
    shown = _shown(found)
    answered = sum(v.answered for v in found.variants)
    if len(shown) < answered:
        blocks.append(
            Text(
                f"Of {answered} variants the {len(shown)} that matter most are shown: named ones, those "
                "that are Pareto-optimal, and the lightest. comparison.csv holds all.",
                "soft",
            )
        )
    blocks += [_variants(found, shown), *_plots(found)]
    if found.steps:
        blocks.append(_steps(found))
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


def _variants(found: Comparison, shown: tuple[VariantNumbers, ...]) -> Table:
    rows = []
    ratios = found.ratios
    for v in shown:
        mark = "reference part" if v.reference else "to print" if v.name == found.best else ""
        mark += ("; " if mark and v.missed else "") + missed_names(v.missed)
        row = [
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
    head = ["Variant", "Mass [g]", "Time [h]", "Cost", "Reserve factor", "Deflection [mm]"]
    if ratios:
        head += ["mass", "stiffness", "reserve"]
    head.append("Remark")
    base = found.reference
    of = f"; mass, stiffness and reserve without a unit are over those of {base.name}" if base else ""
    beads = f" {leaders_line(found)}" if found.printed else ""
    caption = f"Variants of the study; cost in {money(found.currency)}{of}.{beads}"
    return table(head, rows, align="l" + "r" * (len(head) - 2) + "l", caption=caption, small=True)


def _reserve(v: VariantNumbers, required: float) -> Cell:
    if v.reserve is None:
        return Cell("–")
    cell = reserve_cell(v.reserve, required=required, band=v.band)
    return Cell(f"{cell.text}, {BEADS}", cell.tone) if is_beads(v) else cell


def _plots(found: Comparison) -> list[Block]:
    def stiff(v: VariantNumbers) -> float | None:
        return v.stiffness

    def held(v: VariantNumbers) -> float | None:
        return v.advised if v.advised is not None and math.isfinite(v.advised) else None

    out: list[Block] = []
    away = " away from singular places" if any(v.singular for v in found.variants) else ""
    for key, label, unit, get in (
        ("stiffness", "stiffness, 1 / maximum deflection", "1/mm", stiff),
        ("reserve", f"minimum reserve factor{away}", "1", held),
    ):
        points = [(v, v.mass_g, get(v)) for v in found.variants if v.answered]
        known = [(v, m, y) for v, m, y in points if m is not None and y is not None]
        if len(known) < 2:
            continue
        known, outside = _near(known)
        front = [(v, m, y) for v, m, y in known if v.name in found.fronts.get(key, ())]
        front.sort(key=lambda p: p[1])
        caption = f"Mass against {label}; the line joins the Pareto-optimal printed variants."
        told = "; ".join(f"{v.name} {number(m)} g, {number(y)} {unit}".removesuffix(" 1") for v, m, y in front)
        goal = found.required_reserve if key == "reserve" else None
        if outside:
            caption += " Outside the plot: " + "; ".join(
                f"{v.name}, {number(m)} g, {number(y)} {unit}".removesuffix(" 1") for v, m, y in outside
            )
            caption += "."
        svg = _scatter(known, front, found.best, f"{label} [{unit}]", goal)
        caption += " Thin lines: how far a value may lie off." if _banded(known, goal) else ""
        out.append(Figure(f"{caption} These are: {told}.", caption, 150, svg=svg))
        rows = [[v.name, number(m), reserve_text(y) if key == "reserve" else number(y)] for v, m, y in front]
        out.append(
            table(
                ("Variant", "Mass [g]", f"{label} [{unit}]"),
                rows,
                caption=f"Pareto-optimal variants in mass and {key}.",
                small=True,
            )
        )
    return out


Point = tuple[VariantNumbers, float, float]
FAR = 2.0
"""A reference part with more than so many times the mass or gain of all others would press them into a corner."""


def _near(points: list[Point]) -> tuple[list[Point], list[Point]]:
    """The points to draw, and the reference part where it lies too far from them."""
    mass = max((m for v, m, _ in points if not v.reference), default=0.0)
    gain = max((y for v, _, y in points if not v.reference), default=0.0)
    far = [p for p in points if p[0].reference and mass > 0 and (p[1] > FAR * mass or p[2] > FAR * gain)]
    return [p for p in points if p not in far], far


def _scatter(points: list[Point], front: list[Point], best: str | None, label: str, goal: float | None) -> str:
    with drawing(width=150, height=85) as figure:
        axes = figure.add_subplot()
        kinds: list[tuple[Callable[[VariantNumbers], bool], str, str, str]] = [
            (lambda v: not v.reference and not v.missed, "o", BLUE, "meets all requirements"),
            (lambda v: not v.reference and bool(v.missed), "x", SOFT, "misses a requirement"),
            (lambda v: v.reference, "D", ORANGE, "reference part"),
        ]
        for fits, mark, colour, name in kinds:
            own = [(m, y) for v, m, y in points if fits(v)]
            if own:
                axes.plot(*zip(*own, strict=True), ls="", marker=mark, color=colour, ms=6, label=name)
        if front:
            axes.plot([p[1] for p in front], [p[2] for p in front], color=INK, lw=0.9, label="Pareto-optimal")
        chosen = [(m, y) for v, m, y in points if v.name == best]
        if chosen:
            axes.plot(*chosen[0], marker="o", mfc="none", mec=INK, ms=12, mew=1.5, ls="", label="to print")
        for v, m, y in points if _banded(points, goal) else []:
            band = v.advised_band
            reach = [[y - band.low], [min(band.high, 3 * y) - y]]
            axes.errorbar([m], [y], yerr=reach, color=SOFT, lw=0.8, capsize=2.5, zorder=1)
        if goal is not None:
            axes.axhline(goal, color=INK, lw=1, ls="--", label=f"required {goal:g}")
        axes.set_xlabel("mass [g]")
        axes.set_ylabel(label)
        axes.set_ylim(0, 1.1 * max([y for _, _, y in points] + ([goal] if goal else [])))
        figure.legend(loc="outside upper left", ncols=3)
        return svg_of(figure)


def _banded(points: list[Point], goal: float | None) -> bool:
    """Whether bands are drawn: in the plot of the reserve, where any is known."""
    return goal is not None and any(v.has_band for v, _, _ in points)


def _steps(found: Comparison) -> Table:
    """The effect of each step of a swept number, the largest gain in reserve per gram first."""
    ends = [key.split(".")[-1] for key in found.sweep]
    short = {key: end if ends.count(end) == 1 else key for key, end in zip(found.sweep, ends, strict=True)}
    order = sorted(found.steps, key=lambda s: -(s.reserve_per_g if s.reserve_per_g is not None else -math.inf))
    rows = [
        [
            f"{short[s.key]}: {s.from_setting} to {s.to_setting}",
            s.name_from,
            signed(s.mass_g),
            signed(s.time_h),
            signed(s.reserve) + (", level" if s.level and s.reserve else ""),
            "–" if s.stiffness is None else f"{signed(100 * s.stiffness)} %",
            signed(s.reserve_per_g),
            signed(s.reserve_per_h),
        ]
        for s in order[:MOST_STEPS]
    ]
    head = ("Step", "from", "Mass [g]", "Time [h]", "Reserve", "Stiffness", "Reserve per g", "Reserve per h")
    more = f"; the {MOST_STEPS} largest gains per gram of {len(order)}" if len(order) > MOST_STEPS else ""
    return table(head, rows, align="llrrrrrr", caption=f"Effect of each step{more}.", small=True)


def missed_names(missed: tuple[str, ...]) -> str:
    """The requirements that are missed, by name; their numbers stand in the columns and in the comparison's page."""
    names = [re.split(r"[ ,:]+[-+]?[\d.]+", text, maxsplit=1)[0] for text in missed]
    return "misses " + ", ".join(names) if names else ""


def signed(value: float | None) -> str:
    """A difference with its sign."""
    return "–" if value is None else ("+" if value > 0 else "") + number(value)
