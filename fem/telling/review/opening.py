"""The first page: the question, the verdict, the figures that carry it, and the caution."""

from __future__ import annotations

import math

from fem.digits import number
from fem.judging.band import NOT_DECIDED, NOT_MET
from fem.judging.deciding import outcome
from fem.judging.verdict import verdict_of
from fem.telling import words
from fem.telling.blocks import Block, Cell, Notice, Section, Table, Text, Verdict, table
from fem.telling.printed import clock
from fem.telling.review.material import CAUTION, Material
from fem.telling.review.numbers import reserve_cell
from fem.telling.zoom_words import band_text, is_beads, is_told, reserve_line

WORDS = {
    "holds": ("Holds", "good"),
    "short": ("Falls short", "warn"),
    "not decided": ("Not decided", "warn"),
    "fails": ("Fails", "bad"),
}
NO_PICTURES = "This review is without pictures; drawings made of numbers alone are in it."


def opening(material: Material) -> Section:
    """Question, verdict, key figures and caution."""
    f = material.findings
    word, tone = WORDS[verdict_of(f).word]
    asked: list[Block] = [Text(f.question)] if f.question else []
    subject: list[Block] = [Text(material.subject)] if material.subject else []
    left_out: list[Block] = [] if material.pictures else [Text(NO_PICTURES, "soft")]
    blocks = [*subject, *asked, Verdict(word, tone, words.answer(f)), key_figures(material), *left_out]
    decisive = [c.text for c in f.cautions if c.decisive]
    if decisive:
        blocks.append(Notice("What may turn this verdict", " ".join(decisive)))
    blocks.append(Notice("Before anyone relies on this part", CAUTION))
    flagged = [f"{n} (card {b.material}, {b.state})" for n, b in f.bodies.items() if b.estimates]
    if flagged:
        blocks.append(
            Text(
                f"Material values behind these numbers are estimates, not measurements, for {', '.join(flagged)}; "
                "the section on assumptions names them."
            )
        )
    return Section("verdict", "Question and verdict" if f.question else "Verdict", tuple(blocks))


def key_figures(material: Material) -> Table:
    """What a reader asks for first, each with the case or body that decides."""
    f = material.findings
    verdict = verdict_of(f)
    required, asked = verdict.required, verdict.asked
    rows: list[list[str | Cell]] = []
    if f.cases:
        name = f.worst_case
        r = f.cases[name].reserve
        where = f"case {name}, {words.place(r.at_mm)}" if math.isfinite(r.minimum) else "every case"
        rows.append(["Minimum reserve factor", reserve_cell(r.minimum, required=required), where])
        if verdict.band:
            rows.append(["It may lie between", band_text(verdict.band), "all cases"])
        if is_told(f) and math.isfinite(r.minimum):
            rows.append(["Calculated", reserve_line(r), f"case {name}" if is_beads(r) else ""])
        goal = number(required)
        rows.append(
            ["Reserve factor " + ("required" if asked else "taken as target"), goal, "" if asked else "usual"]
        )
        name, case = max(f.cases.items(), key=lambda item: item[1].maximum_displacement_mm)
        rows.append(
            [
                "Maximum deflection",
                f"{number(case.maximum_displacement_mm)} mm",
                f"case {name}, {words.place(case.maximum_displacement_at_mm)}",
            ]
        )
        turns = [
            (math.hypot(*w.rotation_deg), face, name) for name, c in f.cases.items() for face, w in c.faces.items()
        ]
        if turns:
            turn, face, name = max(turns)
            rows.append([f"Maximum rotation of {face}", f"{number(turn)} deg", f"case {name}"])
    rows.append(["Mass", f"{number(sum(b.mass_g for b in f.bodies.values()))} g", ", ".join(f.bodies)])
    plans = {n: b.print for n, b in f.bodies.items() if b.print}
    if plans:
        rows.append(["Print time, estimated", clock(sum(p.time_h for p in plans.values())), ", ".join(plans)])
        if any(p.price_per_kg > 0 for p in plans.values()):
            cost = sum(p.cost for p in plans.values())
            rows.append(["Filament cost, estimated", f"{number(cost)} {words.money(f.currency)}", ", ".join(plans)])
    met = sum(r.met for r in f.requirements)
    if f.requirements:
        names = {kind: [r.name for r in f.requirements if outcome(r) == kind] for kind in (NOT_MET, NOT_DECIDED)}
        left = [f"{kind}: {', '.join(some)}" for kind, some in names.items() if some]
        tone = "bad" if names[NOT_MET] else "warn" if left else "good"
        rows.append(["Requirements", Cell(f"{met} of {len(f.requirements)} met", tone), "; ".join(left)])
    return table(("Quantity", "Value", "Governing case, location"), rows, align="lrl", caption="Key figures.")
