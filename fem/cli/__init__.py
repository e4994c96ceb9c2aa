"""The command `beadwork`: parses and prints, nothing else."""

from __future__ import annotations

import argparse
import os
import re
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NoReturn

from fem.cli import (
    comparing,
    drafting,
    judging,
    materials,
    orienting,
    own_card,
    picking,
    proving,
    reviewing,
    solids,
    studies,
    zooming,
)
from fem.cli.guard import guarded
from fem.cli.which_solid import ask_for_solid
from fem.errors import clean
from fem.solving.distributed.ranks import company, place, serve


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command and return its exit status.

    0 done, 1 a fault of the program, 2 input wrong, 3 requirement missed, 4 no answer, 130 Ctrl-C, 143 SIGTERM.

    Of the processes that `mpirun` starts together, the first runs the command and the others help it to solve.
    """
    # Dense matrices are small here: threads of the algebra library would only be in the way of the loops
    for name in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    rank, ranks = place()
    if rank > 0:
        return serve()
    if ranks == 1:
        return guarded(lambda: _run(arguments))
    return guarded(lambda: _run_in_company(arguments))


def _run_in_company(arguments: Sequence[str] | None) -> int:
    others = company()
    try:
        return _run(arguments)
    finally:
        others.dismiss()


def _run(arguments: Sequence[str] | None) -> int:
    options = _parser().parse_args(_with_points(sys.argv[1:] if arguments is None else arguments))
    return int(options.command(options))


def _with_points(arguments: Sequence[str]) -> list[str]:
    """The arguments with a point bound to its option: one that begins with a minus would look like another option."""
    out: list[str] = []
    for text in arguments:
        if out and out[-1] == "--at" and re.match(r"-\s*[\d.,]", text):
            out[-1] = f"--at={text}"
        else:
            out.append(text)
    return out


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="beadwork",
        description="Tells whether a 3D-printed part will hold, how stiff it is, and where it fails first.",
        epilog=studies.CAUTION,
    )
    parser.add_argument("--version", action=_Version, nargs=0, help="print the version and exit")
    sub = parser.add_subparsers(required=True, metavar="COMMAND")

    run = sub.add_parser("run", help="solve a study and write its report")
    run.add_argument("study", help="study file (TOML)")
    run.add_argument("--out", type=Path, help="folder for the results (default: results/<study>)")
    run.add_argument(
        "--strict", action="store_true", help="exit with status 3 when a requirement is not met or not decided"
    )
    judging.add_options(run)
    judging.add_variant(run)
    judging.add_no_pictures(run)
    run.set_defaults(command=studies.run)

    check = sub.add_parser("check", help="read a study, match its faces and add up its loads, without solving")
    check.add_argument("study", help="study file (TOML)")
    judging.add_variant(check)
    check.set_defaults(command=studies.check)

    orient = sub.add_parser(
        "orient", help="scan the build directions of a printed body by the homogenised answer, and name the best"
    )
    orient.add_argument("study", help="study file (TOML)")
    orient.add_argument("--body", help="the printed body to orient (needed where there are several)")
    orient.add_argument("--directions", type=int, default=100, help="directions over the half sphere (default: 100)")
    orient.add_argument("--jobs", type=int, help="parallel processes (default: one per core, as memory allows)")
    orient.add_argument("--out", type=Path, help="folder for the results (default: results/<study>)")
    orient.set_defaults(command=orienting.orient)

    comparing.add_to(sub)

    report = sub.add_parser("report", help="write the design review of a study as PDF and HTML, solving it if needed")
    report.add_argument("study", help="study file (TOML)")
    report.add_argument("--out", type=Path, help="folder for the results (default: results/<study>)")
    judging.add_options(report)
    judging.add_variant(
        report,
        told='review this variant (default: the one a valid comparison chose); "base" for the study as written',
    )
    judging.add_no_pictures(report)
    report.set_defaults(command=reviewing.report)

    zooming.add_to(sub)

    faces = sub.add_parser("faces", help="list the faces of a solid, or the solids of a file, and draw the numbers")
    ask_for_solid(faces)
    faces.add_argument(
        "--picture", type=Path, help="where the picture goes (default: <solid>_<format>_faces.png here)"
    )
    faces.add_argument("--json", action="store_true", help="print JSON for scripts instead of a table")
    faces.set_defaults(command=solids.faces)

    drafting.add_to(sub)
    picking.add_to(sub)

    cards = sub.add_parser("cards", help="list the material cards, or show one with its sources")
    cards.add_argument("name", nargs="?", help="the card to show (a name, or a file)")
    cards.add_argument("--json", action="store_true", help="print all numbers for scripts")
    cards.set_defaults(command=materials.cards)

    cell = sub.add_parser(
        "cell", help="calculate the effective properties of an infill pattern as a homogenised material"
    )
    cell.add_argument("pattern", help="woodpile, grid, triangle, honeycomb, cubic or gyroid")
    cell.add_argument("--density", required=True, help="infill density: volume fraction of the beads, such as 0.3")
    cell.add_argument(
        "--no-collapse", action="store_true", help="leave out the collapse of the cell, which takes minutes once"
    )
    cell.add_argument("--polymer", default="pa12-cf", help="card of the bead, a name or a file (default: pa12-cf)")
    cell.add_argument("--state", help="state of the polymer (default: the card's first)")
    cell.add_argument("--temperature", help='service temperature, such as "60 degC" (default: 23 degC)')
    cell.add_argument("--bead-width", default="0.45 mm", help="width of a bead (default: 0.45 mm)")
    cell.add_argument("--bead-height", default="0.20 mm", help="height of a bead (default: 0.20 mm)")
    cell.add_argument(
        "--picture", type=Path, help="where the picture goes (default: cell_<pattern>_<density>.png here)"
    )
    cell.add_argument("--json", action="store_true", help="print JSON for scripts instead of tables")
    cell.set_defaults(command=materials.cell)

    own_card.add_to(sub)
    proving.add_to(sub)
    return parser


class _Parser(argparse.ArgumentParser):
    """Repeats what was typed without what a terminal would take for commands."""

    def error(self, message: str) -> NoReturn:
        super().error(clean(message))


class _Version(argparse.Action):
    """Prints the version without importing the program's heavier half."""

    def __call__(self, parser: argparse.ArgumentParser, *_: Any) -> None:
        from importlib.metadata import version

        print(f"beadwork {version('beadwork')}")
        parser.exit(0)
