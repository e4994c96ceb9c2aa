"""Strength: the reserve factor by case and criterion, and the places where the part fails first, close up."""

from __future__ import annotations

import math

from fem.digits import number, reserve_text
from fem.judging.advice import advised, is_singular, rests_on_singular
from fem.judging.verdict import verdict_of
from fem.telling.bead_axes import ALT, CAPTION, RATIO, axes_figure
from fem.telling.blocks import PHOTO_MM, Beside, Block, Cell, Figure, Heading, Section, Table, Text, table
from fem.telling.chance_words import CHANCE_EXPLAINED, chance_lines
from fem.telling.reactions import failing_load
from fem.telling.review.infill_strength import infill_strengths
from fem.telling.review.material import APART, Material
from fem.telling.review.numbers import components, reserve_cell
from fem.telling.review.plots import COLOURS, INK, MARKS, drawing, svg_of
from fem.telling.words import SINGULAR, criterion, place, plain_name, standing, worst_hot_spots
from fem.telling.zoom_words import HOMOGENISED, aside, is_beads, is_told, reserve_line

MOST_ROWS, MOST_TABLED, MOST_BESIDE, AXES_MM = 8, 60, 4, 125.0
PRINT_ORDER = ("σ11", "σ22", "σ33", "τ23", "τ13", "τ12")


def hot_spots(material: Material) -> Section:
    """Reserve factors, then the worst places over all cases, each with its close-up."""
    f = material.findings
    if not f.cases:
        return Section("strength", "Strength and hot spots", (Text("No load case was computed."),))
    blocks: list[Block] = [
        Text(
            "The reserve factor is the factor on a case's variable loads at which the first failure criterion is met "
            "anywhere in the part; permanent loads stay at their own value. Below 1 the part fails under the case "
            "itself."
        ),
        _cases(material),
        *_chances(material),
        *_by_criterion(material),
        *infill_strengths(material),
    ]
    worst = f.worst_case
    for name, told in (
        (f"reserve_{plain_name(worst)}.png", f"Reserve factor on the surface, case {worst}"),
        (
            f"reserve_cut_{plain_name(worst)}.png",
            f"Reserve factor on a section through the minimum, case {worst}",
        ),
    ):
        file = material.picture(name)
        if file:
            r = f.cases[worst].reserve
            say = f"{told}: minimum of the case {reserve_text(r.minimum)} at {place(r.at_mm)}."
            if is_beads(r):
                say = f"{told}. The colours are {HOMOGENISED}; the minimum of the case is {reserve_line(r)}."
            blocks.append(Figure(say, say, PHOTO_MM, file))
    blocks.append(Heading("Hot spots"))
    blocks.append(
        Text(
            "Locations where the reserve factor has a local minimum, the smallest first over all cases. At the edge "
            "of a fixed face and under a concentrated load the stress of the idealised model is singular: the value "
            "does not converge with mesh refinement. Such locations come last; judge them with a support or a load "
            "patch as it will be built, or by hand calculation."
        )
    )
    spots = worst_hot_spots(f, count=MOST_ROWS, apart=APART * material.diagonal)
    if not spots:
        blocks.append(Text("None: the reserve factor has no local minimum."))
        return Section("strength", "Strength and hot spots", tuple(blocks))
    blocks += [*_axes(material), *_spot_tables(material)]
    for rank, (case, s) in enumerate(spots, start=1):
        file = material.picture(f"hot_spot_{rank}.png")
        if file:
            near = f", {number(s.face_distance_mm)} mm from face {s.face}" if s.face else ""
            told = (
                f"Hot spot {rank}: reserve factor {reserve_text(s.reserve)} in case {case}, failure mode {s.mode}, "
                f"in the {s.zone} of {s.body}, at {place(s.at_mm)}{near}."
            )
            why = s.singular_reason or standing(s)
            told += f" {SINGULAR[0].upper()}{SINGULAR[1:]} ({why})." if is_singular(s) else ""
            blocks.append(Figure(f"Close-up. {told}", told, PHOTO_MM, file))
    return Section("strength", "Strength and hot spots", tuple(blocks))


def _axes(material: Material) -> list[Block]:
    """The bead axes, once, where a body is printed."""
    if not any(body.print for body in material.findings.bodies.values()):
        return []
    with drawing(width=AXES_MM, height=AXES_MM * RATIO) as figure:
        figure.set_layout_engine("none")
        return [Figure(ALT, CAPTION, AXES_MM, svg=svg_of(axes_figure(figure)))]


def _chances(material: Material) -> list[Block]:
    """The chance of each case's reserve factor, and what it is not."""
    lines = [Text(line) for line in chance_lines(material.findings)]
    return [*lines, Text(CHANCE_EXPLAINED, "soft")] if lines else []


def _cases(material: Material) -> Table:
    f = material.findings
    required, asked = verdict_of(f).required, verdict_of(f).asked
    rows, kinds = [], is_told(f)
    for name, c in f.cases.items():
        r = c.reserve
        limited = math.isfinite(r.minimum)
        elsewhere, band = advised(c)
        away = reserve_cell(elsewhere, required=required, band=band) if rests_on_singular(c) else Cell("the same")
        where = f"{place(r.at_mm)}, near {r.face}" if r.face else place(r.at_mm)
        phase = f"{r.zone} of {r.body}" + (f", {r.phase}" if r.phase else "")
        rows.append(
            [
                Cell(name),
                reserve_cell(r.minimum, required=required, band=r.band),
                *([Cell(aside(r, band=False))] if kinds else []),
                away,
                Cell(failing_load(c) if limited else "–"),
                Cell(r.mode if limited else "–"),
                Cell(f"{where}, {phase}" if limited else "–"),
            ]
        )
    goal = f"{'required' if asked else 'taken as target'}: {number(required)}"
    told = ("Calculated",) if kinds else ()
    head = ("Case", "Minimum reserve factor", *told, "Away from singularities", "Failure load", "Failure mode")
    align = "lrlrrll" if kinds else "lrrrll"
    return table((*head, "Location, zone"), rows, align=align, caption=f"Minimum reserve factor by case ({goal}).")


def _by_criterion(material: Material) -> list[Block]:
    f = material.findings
    required = verdict_of(f).required
    of = f", {HOMOGENISED}" if is_told(f) else ""
    names = list(dict.fromkeys(n for c in f.cases.values() for n in c.reserve.criteria))
    caption = (
        f"Minimum reserve factor by each failure criterion on its own{of}; none: not admissible for the material, or "
        "unlimited."
    )
    beside = len(f.cases) <= MOST_BESIDE

    def told_of(case: str, name: str) -> Cell:
        return reserve_cell(f.cases[case].reserve.criteria.get(name), required=required)

    if beside:
        numbers = table(
            ("Criterion", *f.cases),
            [[criterion(n), *(told_of(c, n) for c in f.cases)] for n in names],
            caption=caption,
        )
    else:
        numbers = table(
            ("Case", *map(criterion, names)), [[c, *(told_of(c, n) for n in names)] for c in f.cases], caption=caption
        )
    told = "; ".join(
        f"case {case}: "
        + ", ".join(f"{criterion(n)} {reserve_text(v)}" for n, v in c.reserve.criteria.items() if v is not None)
        for case, c in f.cases.items()
    )
    caption = "Reserve factor by case and failure criterion; the lines mark failure (1) and the required value."
    svg = _criteria_plot(material, names, required)
    plot = Figure(f"{caption} {told}.", caption, 84 if beside else 120, svg=svg)
    return [Beside((plot, numbers), (0.5, 0.5))] if beside else [plot, numbers]


def _criteria_plot(material: Material, names: list[str], required: float) -> str:
    """Marks on a logarithmic line for each case; unlimited values are left out."""
    cases = material.findings.cases
    height = 26 + 9 * len(cases) + 4.5 * ((len(names) + 1) // 2)
    with drawing(width=84, height=height) as figure:
        axes = figure.add_subplot()
        axes.set_xscale("log")
        seen = [1.0, required]
        for k, name in enumerate(names):
            values = [(i, c.reserve.criteria.get(name)) for i, c in enumerate(cases.values())]
            known = [(i, v) for i, v in values if v is not None and math.isfinite(v) and v > 0]
            if known:
                seen += [v for _, v in known]
                spread = 0.5 * (k - (len(names) - 1) / 2) / max(len(names), 1)
                axes.plot(
                    [v for _, v in known],
                    [i + spread for i, _ in known],
                    ls="",
                    marker=MARKS[k % len(MARKS)],
                    color=COLOURS[k % len(COLOURS)],
                    ms=5,
                    label=criterion(name),
                )
        axes.axvline(1, color=INK, lw=1.4)
        axes.axvline(required, color=INK, lw=1.0, ls="--")
        goal = "required" if verdict_of(material.findings).asked else "target"
        marks = [(1.0, "failure 1"), (required, f"{goal} {required:g}")]
        for value, text in marks if abs(required - 1) > 0.05 else [(1.0, f"failure, {goal} {required:g}")]:
            axes.annotate(
                text, (value, 1), (3, -3), xycoords=("data", "axes fraction"), textcoords="offset points",
                rotation=90, va="top", fontsize=7,
            )  # fmt: skip
        axes.set_xlim(min(seen) / 1.5, max(seen) * 1.5)
        axes.set_ylim(len(cases) - 0.5, -0.5)
        axes.set_yticks(range(len(cases)), list(cases))
        axes.set_xlabel("reserve factor [1]")
        axes.xaxis.set_major_formatter("{x:g}")
        axes.xaxis.set_minor_formatter("")
        figure.legend(loc="outside upper left", ncols=2, handletextpad=0.2, columnspacing=1.0)
        return svg_of(figure)


def _spot_tables(material: Material) -> list[Block]:
    f = material.findings
    required = verdict_of(f).required
    rows, stresses, kinds = [], [], is_told(f)
    ranked = worst_hot_spots(f, count=MOST_ROWS, apart=APART * material.diagonal)
    ranks = {id(s): str(rank) for rank, (_, s) in enumerate(ranked, start=1)}
    for case, s in worst_hot_spots(f, count=MOST_TABLED):
        rank = ranks.get(id(s), "–")
        where = f"{s.zone} of {s.body}" + (f", {s.phase}" if s.phase else "")
        rows.append(
            [
                Cell(rank),
                Cell(case),
                reserve_cell(s.reserve, required=required, band=s.band),
                *([Cell(aside(s, band=False))] if kinds else []),
                Cell(s.mode),
                Cell(f"{place(s.at_mm)}, {where}"),
                Cell(f"{s.face}, {number(s.face_distance_mm)} mm" if s.face else "–"),
                Cell(standing(s), "warn" if is_singular(s) else ""),
            ]
        )
        scale = max(abs(v) for v in s.print_stress_MPa)
        stresses.append([rank, case, *components(s.print_stress_MPa, scale=1e3 * scale)])
    head: tuple[str, ...] = (
        "No.",
        "Case",
        "Reserve factor",
        *(("Calculated",) if kinds else ()),
        "Failure mode",
        "Location, zone",
        "Nearest face",
        "Does it stand?",
    )
    tell = table(
        head,
        rows,
        align=("llrlllll" if kinds else "llrllll")[: len(head)],
        caption="Local minima of the reserve factor over all cases; numbers are those of the close-ups.",
        small=True,
    )
    caption = "Stress [MPa] there in the axes of the beads that fail first."
    return [tell, table(("No.", "Case", *PRINT_ORDER), stresses, align="llrrrrrr", caption=caption, small=True)]
