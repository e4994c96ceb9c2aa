"""`beadwork run` and `beadwork check`."""

from __future__ import annotations

import argparse
import math
from typing import TYPE_CHECKING, Any

from fem.cli.console import place_text, progress, ruled, screen, tell_cautions
from fem.cli.judging import changes_of
from fem.digits import number, reserve_text, with_unit

if TYPE_CHECKING:
    from fem.judging.findings import Findings

CAUTION = (
    "An engineering estimate: test coupons from your own printer; never let one printed part alone stand between a "
    "person and injury; follow local codes and have a qualified engineer sign what can hurt someone."
)


def run(options: argparse.Namespace) -> int:
    from fem.judging.verdict import verdict_of
    from fem.study.run import run_study
    from fem.telling.zoom_words import BEADS, is_told

    with progress() as say:
        findings, report = run_study(
            options.study,
            changes=changes_of(options),
            variant=options.variant,
            out=options.out,
            pictures=not options.no_pictures,
            progress=say,
        )
    console = screen()
    _print_findings(console, findings)
    if (options.zoom or options.whole or options.voxel) and not is_told(findings):
        console.print(f"No body is printed: nothing was solved {BEADS}.")
    console.print(f"Report: {report}", soft_wrap=True)
    console.print(CAUTION, style="dim")
    verdict = verdict_of(findings)
    if options.strict and not verdict.asked and verdict.passes:
        console.print("The study asks for no reserve factor: --strict asked for 1, at which a part just fails.")
    return 3 if options.strict and not verdict.passes else 0


MOST_ROWS = 24
"""Rows of reactions up to which those of all cases are printed; beyond, those of the case with the least reserve."""


MOST_SPOTS, APART = 6, 0.03
"""So many hot spots are printed, no two nearer than this share of the part's diagonal; the report holds all."""


def _print_reactions(console: Any, findings: Findings) -> None:
    from fem.telling.reactions import HEAD, reaction_rows

    rows = {name: reaction_rows(case) for name, case in findings.cases.items()}
    if sum(map(len, rows.values())) > MOST_ROWS:
        rows = {findings.worst_case: rows[findings.worst_case]}
    told = [[name, *row] for name, some in rows.items() for row in some]
    if told:
        # A column in which nothing stands is left out
        used = [i for i in range(len(told[0])) if any(row[i] for row in told)]
        columns = ["case", *(h if h.startswith(("F", "M")) else h.lower() for h in HEAD)]
        title = "Reactions: what each support exerts on the part"
        if len(rows) < len(findings.cases):
            title += f", case {findings.worst_case} (the others are in the report)"
        console.print(ruled(title, [columns[i] for i in used], [[row[i] for i in used] for row in told]))


def _print_joints(console: Any, findings: Findings) -> None:
    """Joints and bolts of all cases, or of the worst one where these are too many."""
    from fem.telling import bolt_rows
    from fem.telling.reactions import JOINT_HEAD, joint_rows

    worst = findings.worst_case
    for title, head, rows_of in (
        ("Joints: on the finer-meshed of both faces", JOINT_HEAD, joint_rows),
        ("Bolts", bolt_rows.HEAD, bolt_rows.bolt_rows),
    ):
        rows = {name: rows_of(case) for name, case in findings.cases.items()}
        if sum(map(len, rows.values())) > MOST_ROWS:
            rows, title = {worst: rows[worst]}, f"{title}, case {worst} (the others are in the report)"
        if told := [[name, *row] for name, some in rows.items() for row in some]:
            columns = [h if h.startswith(("F", "M")) else h[0].lower() + h[1:] for h in head]
            console.print(ruled(title, ["case", *columns], told))


def _print_bolts(console: Any, bolts: Any) -> None:
    """How the bolts of a study are tightened, and where they go."""
    rows = [
        [
            bolt.name,
            f"{bolt.plan.size} {bolt.plan.grade}",
            f"{number(bolt.tightened.torque / 1000)} N·m",
            f"{number(bolt.tightened.low / 1000)} to {number(bolt.tightened.high / 1000)} kN",
            f"{100 * bolt.tightened.used:.0f} %",
            f"{number(bolt.seat.inner)} to {number(bolt.seat.outer)} mm",
            f"{number(bolt.grip)} mm",
            number(bolt.engagement) + " mm" if bolt.engagement else bolt.held_by or "not meshed",
            place_text(bolt.at),
        ]
        for bolt in bolts
    ]
    if rows:
        heads = ["bolt", "size", "torque", "pulls", "of its yield", "presses on", "grip", "thread", "head at [mm]"]
        console.print(ruled("Bolts as tightened", heads, rows))


def _print_findings(console: Any, findings: Findings) -> None:
    from fem.judging.verdict import is_reserve, outcome_text
    from fem.telling.words import answer
    from fem.telling.zoom_words import value_and_kind

    for sentence in answer(findings):
        console.print(sentence, soft_wrap=True)
    tell_cautions(console, [c for c in findings.cautions if c.decisive])
    _print_cases(console, findings)
    _print_hot_spots(console, findings)
    _print_reactions(console, findings)
    _print_joints(console, findings)
    if findings.requirements:
        rows = [
            [
                "reserve factor" if is_reserve(r) else r.name,
                with_unit(r.limit, r.unit),
                value_and_kind(findings, r),
                outcome_text(r),
                r.where,
            ]
            for r in findings.requirements
        ]
        console.print(ruled("Requirements", ["what", "limit", "value", "", "governing case"], rows))
    _print_bench(console, findings)
    _print_plans(console, findings.bodies, currency=findings.currency)
    tell_cautions(console, [c for c in findings.cautions if not c.decisive])


def _print_hot_spots(console: Any, findings: Findings) -> None:
    from fem.telling.words import standing, worst_hot_spots
    from fem.telling.zoom_words import aside, band_text, is_told

    low, high = (list(zip(*(b.box_mm[end] for b in findings.bodies.values()), strict=True)) for end in (0, 1))
    diagonal = math.dist(list(map(min, low)), list(map(max, high)))
    spots = worst_hot_spots(findings, count=MOST_SPOTS, apart=APART * diagonal)
    if not spots:
        return
    kinds = is_told(findings)
    rows = [
        [
            name,
            reserve_text(s.reserve) + (f" ({band_text(s.band)})" if s.band and not kinds else ""),
            *([aside(s)] if kinds else []),
            f"{s.mode}, in the {s.zone}",
            f"{s.face} {place_text(s.at_mm)}",
            standing(s),
        ]
        for name, s in spots
    ]
    columns = ["case", "reserve factor", *(["calculated"] if kinds else []), "failure mode", "near, at [mm]"]
    console.print(ruled("Hot spots", [*columns, "does it stand?"], rows))


def _print_cases(console: Any, findings: Findings) -> None:
    from fem.telling.bead_files import is_told_in
    from fem.telling.chance_words import chance_lines
    from fem.telling.reactions import failing_load
    from fem.telling.zoom_rows import whole_line
    from fem.telling.zoom_words import BEADS, IN_BRACKETS, band_text, is_told, kind_of, zoom_line

    def of(reserve: Any) -> str:
        return f"{reserve.body}: " if len(findings.bodies) > 1 and ":" not in reserve.face else ""

    rows = []
    for name, case in findings.cases.items():
        r = case.reserve
        kind = f"\n{kind_of(r)}" if is_told(findings) else ""
        within = f" ({band_text(r.band)})" if r.band else ""
        rows.append(
            [
                name,
                number(case.maximum_displacement_mm),
                reserve_text(r.minimum) + (" *" if r.singular else "") + within + kind,
                failing_load(case),
                f"{r.mode}, in the {r.zone}",
                f"{of(r)}{r.face} {place_text(r.at_mm)}",
                f"{max(case.force_error, case.moment_error):.0e}",
            ]
        )
    columns = ["case", "maximum deflection [mm]", "reserve factor", "failure load", "failure mode"]
    console.print(ruled(findings.title, [*columns, "near, at [mm]", "residual [1]"], rows))
    if any(c.reserve.singular for c in findings.cases.values()):
        console.print("* singular: at a support's or load's edge; the value does not converge with refinement.")
    for line in chance_lines(findings):
        console.print(line, soft_wrap=True)
    for name, case in findings.cases.items():
        for z in case.zooms:
            if is_told_in(findings, name, z):
                console.print(f"Case {name}, cube around {place_text(z.at_mm)} mm: {zoom_line(z)}.", soft_wrap=True)
        if case.whole is not None:
            console.print(f"Case {name}, the whole part {BEADS}: {whole_line(case.whole)}", soft_wrap=True)
    scans = sum(z.scan for case in findings.cases.values() for z in case.zooms) // max(len(findings.cases), 1)
    if scans:
        console.print(f"{scans} further {'place' if scans == 1 else 'places'} scanned: the beads there bear more.")
    if any(z.band for case in findings.cases.values() for z in case.zooms):
        console.print(IN_BRACKETS)


def _print_bench(console: Any, findings: Findings) -> None:
    """Tests of the printed part beside their predictions, and what would make both agree."""
    if not findings.bench:
        return
    from fem.telling.review.bench import HEAD, bench_rows, fit_lines

    rows = [[cell.text for cell in row] for row in bench_rows(findings.bench)]
    console.print(ruled("On the bench", list(HEAD), rows))
    for fit in findings.bench_fit:
        console.print(f"For body {fit.body} to agree with its tests (nothing was changed):")
        for line in fit_lines(fit):
            console.print(f"  {line}", soft_wrap=True)


def check(options: argparse.Namespace) -> int:
    from fem.study.check import check_study
    from fem.study.variants.asked import asked_study, title_of
    from fem.study.variants.expand import count_variants, expand

    study = asked_study(options.study, variant=options.variant)
    variants = expand(study) if count_variants(study) else ()
    with progress() as say:
        found = check_study(study, progress=say)
    console = screen()
    console.print("\n".join(filter(None, (title_of(study), study.question))), soft_wrap=True)
    console.print(ruled("Solids", ["file", "part", "body", "volume [mm³]", "box", "contact"], _solid_rows(found)))
    rows = [
        [name, f"{b.material} ({b.state})", f"{b.volume_mm3:,.0f}", f"{b.mass_g:.1f}", f"{found.unknowns[name]:,}"]
        for name, b in found.bodies.items()
    ]
    heads = ["body", "material", "volume [mm³]", "mass [g]", "unknowns (estimate)"]
    console.print(ruled("Bodies", heads, rows))
    _print_plans(console, found.bodies, currency=study.currency)
    rows = [[n, g.what, f"{g.area:,.1f}", place_text(g.centre)] for n, g in found.groups.items()]
    console.print(ruled("Faces", ["name", "what", "area [mm²]", "centre [mm]"], rows))
    rows = [[n, _in_words(facts)] for n, facts in found.supports.items()]
    console.print(ruled("Supports", ["support", "what"], rows))
    rows = [[n, _in_words(facts)] for n, facts in found.loads.items()]
    console.print(
        ruled("Loads at unit factor (moments about the origin of the part axes)", ["load", "numbers"], rows)
    )
    rows = [[n, place_text(force), place_text(moment)] for n, (force, moment) in found.totals.items()]
    console.print(ruled("Cases", ["case", "total force [N]", "total moment [N mm]"], rows))
    _print_bolts(console, found.bolts)
    tell_cautions(console, found.cautions)
    flagged = {(b.material, b.state): b.estimates for b in found.bodies.values() if b.estimates}
    for (card, state), values in flagged.items():
        console.print(f"Estimates in card {card} ({state}): {', '.join(values)}.")
    for variant in variants:
        if variant.error:
            console.print(f"Variant {variant.name} cannot be solved: {variant.error}", soft_wrap=True)
    if variants:
        console.print(
            f"It holds {len(variants)} variants, which beadwork compare solves; the above is the study itself."
        )
    console.print("The study can be run.")
    return 0


def _solid_rows(found: Any) -> list[list[str]]:
    """Every solid of the study's files, which body it is, and what it touches in its file."""
    from fem.part.several import chosen

    takers: dict[tuple[str, int], list[str]] = {}
    files: dict[str, Any] = {}
    for name, solid in found.solids.items():
        file = str(solid.path)
        files.setdefault(file, solid)
        names = [p.name for p in solid.parts]
        which = range(len(names)) if solid.part is None else [chosen(names, solid.part, where=file)]
        for i in which:
            takers.setdefault((file, i + 1), []).append(name)
    return [
        [
            solid.path.name,
            part.label,
            ", ".join(takers.get((file, part.number), ["none"])),
            f"{part.volume:,.0f}",
            part.size,
            part.contact,
        ]
        for file, solid in files.items()
        for part in solid.parts
    ]


def _print_plans(console: Any, bodies: Any, *, currency: str) -> None:
    """What each printed body takes, and what its zones hold."""
    from fem.telling.words import money

    rows = []
    for name, body in bodies.items():
        if body.print is None:
            continue
        plan = body.print
        zones = ", ".join(
            f"{zone} {100 * share:.1f} % ({body.zone_mass_g[zone]:.1f} g)" for zone, share in body.zones.items()
        )
        rows.append(
            [
                name,
                zones,
                f"{body.mass_g:.1f}",
                f"{plan.bead_length_m:,.0f}",
                f"{plan.time_h:.1f}",
                f"{plan.filament_m:.1f}",
                f"{plan.cost:.2f}",
                ", ".join(plan.assumed),
            ]
        )
    if rows:
        heads = ["body", "share of the volume (mass)", "mass [g]", "bead [m]", "time [h]", "filament [m]"]
        console.print(ruled("As printed, estimated", [*heads, f"cost [{money(currency)}]", "assumed"], rows))


def _in_words(facts: dict[str, Any]) -> str:
    from fem.telling.facts import flat

    return ", ".join(f"{name} {text}".strip() for name, text in flat(facts))
