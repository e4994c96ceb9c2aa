"""`beadwork run` and `beadwork check`."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from fem.cli.console import number_text, place_text, progress, reserve_text, ruled, screen

if TYPE_CHECKING:
    from fem.judging.findings import Findings

CAUTION = (
    "An engineering estimate: test coupons from your own printer; never let one printed part alone stand between a "
    "person and injury; follow local codes and have a qualified engineer sign what can hurt someone."
)


def run(options: argparse.Namespace) -> int:
    from fem.study.run import run_study

    with progress() as say:
        findings, report = run_study(options.study, out=options.out, progress=say)
    console = screen()
    _print_findings(console, findings)
    console.print(f"Report: {report}", soft_wrap=True)
    console.print(CAUTION, style="dim")
    return 3 if options.strict and not findings.met else 0


def _print_findings(console: Any, findings: Findings) -> None:
    rows = []
    for name, case in findings.cases.items():
        r = case.reserve
        mark = " *" if r.singular else ""
        rows.append(
            [
                name,
                f"{case.maximum_displacement_mm:.3g}",
                reserve_text(r.minimum) + mark,
                f"{r.mode}, in the {r.zone}",
                f"{r.face} {place_text(r.at_mm)}",
                f"{max(case.force_error, case.moment_error):.0e}",
            ]
        )
    columns = ["case", "maximum deflection [mm]", "minimum reserve factor", "mode", "near, at [mm]", "balance error"]
    console.print(ruled(findings.title, columns, rows))
    if any(c.reserve.singular for c in findings.cases.values()):
        console.print("* at a place made by a support or a load's edge; it depends on the mesh (see the report).")
    if findings.requirements:
        rows = [
            [
                r.name,
                f"{number_text(r.limit)} {r.unit}".strip(),
                f"{reserve_text(r.value) if r.name == 'reserve' else number_text(r.value)} {r.unit}".strip(),
                "met" if r.met else "NOT MET",
                r.where,
            ]
            for r in findings.requirements
        ]
        console.print(ruled("Requirements", ["what", "limit", "value", "", "decided by"], rows))
    _print_plans(console, findings.bodies, currency=findings.currency)
    flagged = [b for b in findings.bodies.values() if b.estimates]
    for body in flagged:
        console.print(
            f"Estimates, not measurements, in card {body.material} ({body.state}): {', '.join(body.estimates)}.",
            soft_wrap=True,
        )


def check(options: argparse.Namespace) -> int:
    from fem.study.file import read_study
    from fem.study.run import check_study
    from fem.study.variants.expand import count_variants, expand

    study = read_study(options.study)
    variants = expand(study) if count_variants(study) else ()
    with progress() as say:
        found = check_study(study, progress=say)
    console = screen()
    console.print(f"{found.study.title}\n{found.study.question}", soft_wrap=True)
    rows = [
        [name, f"{b.material} ({b.state})", f"{b.volume_mm3:,.0f}", f"{b.mass_g:.1f}", f"{found.unknowns[name]:,}"]
        for name, b in found.bodies.items()
    ]
    heads = ["body", "material", "volume [mm³]", "mass [g]", "unknowns to come, about"]
    console.print(ruled("Bodies", heads, rows))
    _print_plans(console, found.bodies, currency=study.currency)
    rows = [[n, str(g.count), f"{g.area:,.1f}", place_text(g.centre)] for n, g in found.groups.items()]
    console.print(ruled("Faces", ["name", "count", "area [mm²]", "centre [mm]"], rows))
    rows = [[n, ", ".join(f"{k} {_fact(v)}" for k, v in facts.items())] for n, facts in found.loads.items()]
    console.print(ruled("Loads at factor one (moments about the origin of the part axes)", ["load", "numbers"], rows))
    rows = [[n, place_text(force), place_text(moment)] for n, (force, moment) in found.totals.items()]
    console.print(ruled("Cases", ["case", "total force [N]", "total moment [N mm]"], rows))
    for caution in found.cautions:
        console.print(f"Caution: {caution}", soft_wrap=True)
    for body in found.bodies.values():
        if body.estimates:
            console.print(f"Estimates in card {body.material} ({body.state}): {', '.join(body.estimates)}.")
    for variant in variants:
        if variant.error:
            console.print(f"Variant {variant.name} cannot be answered: {variant.error}", soft_wrap=True)
    if variants:
        console.print(
            f"It holds {len(variants)} variants, which beadwork compare answers; the above is the study itself."
        )
    console.print("The study can be run.")
    return 0


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


def _fact(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.4g}"
    if isinstance(value, (list, tuple)):
        return "(" + ", ".join(_fact(v) for v in value) + ")"
    return str(value)
