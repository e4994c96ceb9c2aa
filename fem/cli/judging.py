"""The options that say what is solved bead by bead; they come before the study's own [judge]."""

from __future__ import annotations

import argparse
import re
from typing import Any

from fem.errors import InputError, shown


def add_options(parser: Any) -> None:
    """`--zoom`, `--whole` and `--voxel`."""
    add_zoom(parser)
    parser.add_argument("--whole", action="store_true", help="solve every printed body bead by bead as a whole")
    parser.add_argument("--voxel", help='edge in the layer of the boxes that beads are made of, such as "0.225 mm"')


def add_zoom(
    parser: Any, told: str = "solve the N worst places of each case bead by bead; 0 for none (default: where needed)"
) -> None:
    """`--zoom` alone, with what its help says."""
    parser.add_argument("--zoom", metavar="N", help=told)


def add_variant(
    parser: Any, *, told: str = "take this variant of the study in place of the study as written"
) -> None:
    """`--variant` alone."""
    parser.add_argument("--variant", metavar="NAME", help=told)


def add_no_pictures(parser: Any) -> None:
    """`--no-pictures` alone."""
    parser.add_argument("--no-pictures", action="store_true", help="draw no pictures; for scripts that read numbers")


def changes_of(options: argparse.Namespace) -> dict[str, Any]:
    """What the options change in the study, by paths of keys."""
    said: dict[str, Any] = {key: getattr(options, key, None) for key in ("zoom", "whole", "voxel")}
    if said["zoom"] is not None:
        said["zoom"] = _places(said["zoom"])
    return {f"judge.{key}": value for key, value in said.items() if value is not None and value is not False}


def _places(text: str) -> int:
    """How many places `--zoom` asks for. Errors: InputError."""
    from fem.study.plans import MOST_ZOOMS

    if not re.fullmatch(r"\d{1,9}", text.strip()) or int(text) > MOST_ZOOMS:
        raise InputError(f"must be a whole number from 0 to {MOST_ZOOMS}, not {shown(text)}.", where="--zoom")
    return int(text)
