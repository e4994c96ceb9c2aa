"""`beadwork compare`: variants ranked by the homogenised answer, the leaders bead by bead, one to print."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from fem.cli.console import progress, ruled, screen, tell_cautions
from fem.cli.guard import stopped
from fem.cli.judging import add_no_pictures, add_zoom, changes_of
from fem.cli.studies import CAUTION
from fem.digits import number, reserve_text

if TYPE_CHECKING:
    from fem.judging.choice import Comparison, VariantNumbers


def add_to(sub: Any) -> None:
    """Add the command to the parser's commands."""
    from pathlib import Path

    command = sub.add_parser("compare", help="solve all variants of a study and choose the one to print")
    command.add_argument("study", help="study file (TOML) with [variants] or [sweep]")
    command.add_argument("--out", type=Path, help="folder for the results (default: results/<study>)")
    command.add_argument("--jobs", type=int, help="parallel processes (default: one per core, as memory allows)")
    command.add_argument(
        "--resume", action="store_true", help="resume an interrupted run, and report how much of it was finished"
    )
    command.add_argument("--yes", action="store_true", help="compute more than 500 variants without confirmation")
    add_zoom(
        command,
        "solve the N worst places of each case of the leaders bead by bead; 0 for none (default: where needed)",
    )
    add_no_pictures(command)
    command.add_argument("--cluster", metavar="ADDRESS", help='work on a Dask cluster: its address, or "local"')
    command.add_argument(
        "--strict", action="store_true", help="exit with status 3 when no variant meets all requirements"
    )
    command.set_defaults(command=compare)


def compare(options: argparse.Namespace) -> int:
    from fem.study.variants.story import compare_study

    try:
        with progress() as say:
            found = compare_study(
                options.study,
                out=options.out,
                jobs=options.jobs,
                resume=options.resume,
                yes=options.yes,
                cluster=options.cluster,
                changes=changes_of(options),
                pictures=not options.no_pictures,
                progress=say,
            )
    except KeyboardInterrupt as stop:
        return stopped(stop, "finished variants are kept, and compare --resume resumes the run")
    console = screen()
    _print_comparison(console, found.comparison)
    for note in found.notes:
        console.print(note, soft_wrap=True)
    console.print(f"Comparison: {found.page}", soft_wrap=True)
    console.print(CAUTION, style="dim")
    return 3 if options.strict and not _any_meets(found.comparison) else 0


def _any_meets(comparison: Comparison) -> bool:
    """Whether a variant meets all requirements, though none be chosen because nothing but the mesh differs."""
    from fem.judging.choosing import meeting_of

    asked, wanted = comparison.reserve_asked, comparison.required_reserve
    found = meeting_of(comparison.variants, required_reserve=wanted, reserve_asked=asked, base=comparison.base)
    return bool(found)


def _print_comparison(console: Any, comparison: Comparison) -> None:
    from fem.telling.words import money
    from fem.telling.zoom_words import leaders_line

    cost = f"cost [{money(comparison.currency)}]"
    heads = ["variant", "mass [g]", "time [h]", cost, "minimum reserve factor", "deflection [mm]"]
    rows = [_row(v, comparison) for v in comparison.variants]
    tell_cautions(console, (c for c in comparison.decisive if c.text != comparison.reason))
    console.print(ruled(comparison.title, [*heads, "requirements missed"], rows))
    if comparison.printed:
        console.print(leaders_line(comparison), soft_wrap=True)
    if any(v.singular for v in comparison.variants):
        console.print(
            "* singular: the value does not converge with mesh refinement; it counts for the verdict, while variants "
            "are ranked by the minimum away from such places."
        )
    console.print(comparison.reason, soft_wrap=True)


def _row(v: VariantNumbers, comparison: Comparison) -> list[str]:
    from fem.telling.zoom_words import BEADS, band_text, is_beads

    name = f"{v.name} (reference)" if v.reference else v.name
    name = f"{name} <-" if v.name == comparison.best else name
    if not v.answered:
        return [name, "", "", "", "", "", f"not computed: {v.error}"]
    plain = ["" if n is None else number(n, digits=4) for n in (v.mass_g, v.time_h, v.cost)]
    within = f" ({band_text(v.band)})" if v.band else ""
    reserve = reserve_text(v.reserve or 0.0) + (" *" if v.singular else "") + within
    reserve += f", {BEADS}" if is_beads(v) else ""
    bend = f"{v.deflection_mm or 0.0:.3g}"
    return [name, *plain, reserve, bend, "; ".join(v.missed)]
