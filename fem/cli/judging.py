"""The options that say what is solved bead by bead; they come before the study's own [judge]."""

from __future__ import annotations

import argparse
from typing import Any


def add_options(parser: Any) -> None:
    """`--zoom`, `--whole` and `--voxel`."""
    add_zoom(parser)
    parser.add_argument("--whole", action="store_true", help="solve every printed body bead by bead as a whole")
    parser.add_argument("--voxel", help='edge in the layer of the boxes that beads are made of, such as "0.225 mm"')


def add_zoom(
    parser: Any, told: str = "solve the N worst places of each case bead by bead; 0 for none (default: where needed)"
) -> None:
    """`--zoom` alone, with what its help says."""
    parser.add_argument("--zoom", type=int, metavar="N", help=told)


def changes_of(options: argparse.Namespace) -> dict[str, Any]:
    """What the options change in the study, by paths of keys."""
    said = {key: getattr(options, key, None) for key in ("zoom", "whole", "voxel")}
    return {f"judge.{key}": value for key, value in said.items() if value is not None and value is not False}
