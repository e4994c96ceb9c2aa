"""How a command says which solid of a file it means."""

from __future__ import annotations

import argparse
from typing import Any


def ask_for_solid(parser: Any, *, otherwise: str = "") -> None:
    """The file and what it does not say itself; `otherwise` tells what counts where no solid is chosen."""
    parser.add_argument("solid", help="STEP, IGES, BREP, STL, OBJ, PLY or 3MF file")
    parser.add_argument("--unit", help="length unit, needed where the format has none (mm, cm, m, in, ft, um)")
    parser.add_argument(
        "--part", help=f"which solid of a file with several: its number, or its name in the file{otherwise}"
    )
    parser.add_argument("--fused", action="store_true", help="take all solids of the file as one")
    parser.add_argument("--any-size", action="store_true", help="accept a part under 1 mm or over 5 m")


def chosen_solid(options: argparse.Namespace) -> dict[str, Any]:
    """What was said, by the names that `read_solid` takes."""
    part = int(options.part) if options.part and options.part.isdecimal() else options.part
    return {"unit": options.unit, "part": part, "fused": options.fused, "any_size": options.any_size}
