"""`beadwork evidence`: the published checks, run on this machine."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from fem.cli.console import progress, ruled, screen
from fem.digits import with_unit


def add_to(sub: Any) -> None:
    """Add the command to the parser's commands."""
    command = sub.add_parser(
        "evidence", help="run the published checks on this machine, and tell how far each number lies off"
    )
    command.add_argument("--out", type=Path, help="folder for the page and its numbers (default: results/evidence)")
    command.add_argument("--only", metavar="TEXT", default="", help="only checks whose field or title contains TEXT")
    command.add_argument(
        "--study", help="also solve this study on three meshes, and tell how its answer moves (takes minutes)"
    )
    command.set_defaults(command=evidence)


def evidence(options: argparse.Namespace) -> int:
    """Run the checks, print a line a field and what lies off, and say where the page is."""
    from fem.evidence.page import sentence, share_text
    from fem.evidence.story import gather_evidence, rows_off

    with progress() as say:
        finished, page = gather_evidence(out=options.out, only=options.only, study=options.study, progress=say)
    console = screen()
    lines = []
    for field in dict.fromkeys(one.check.field for one in finished):
        rows = [row for one in finished if one.check.field == field for row in one.rows]
        worst = max(rows, key=lambda row: abs(row.difference) / (row.allowed or 1.0), default=None)
        held = [row for row in rows if row.allowed is not None]
        inside = f"{sum(row.within for row in held)}" if held else "compared"
        told = f"{worst.problem}: {share_text(worst.difference)}" if worst else ""
        lines.append([field, str(len(rows)), inside, told])
    console.print(ruled("Published checks", ["field", "rows", "within their limit", "nearest to its limit"], lines))
    for row in rows_off(finished):
        console.print(
            f"Off: {row.problem}: published {with_unit(row.published, row.unit)}, computed "
            f"{with_unit(row.computed, row.unit)} ({share_text(row.difference)}, limit "
            f"{share_text(row.allowed or 0.0, signed=False)}). {sentence(row.note)}",
            soft_wrap=True,
        )
    console.print(f"Page: {page}\nNumbers: {page.with_name('evidence.json')}", soft_wrap=True)
    return 0
