"""`beadwork zoom`: a place of one's choice, bead by bead."""

from __future__ import annotations

import argparse
import json
import re
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fem.cli.console import place_text, progress, ruled, screen, tell_cautions
from fem.cli.studies import CAUTION
from fem.errors import InputError, shown
from fem.numerals import number_and_rest
from fem.units import quantity

if TYPE_CHECKING:
    from fem.judging.zoomed import ZoomFindings

AT_ADVICE = 'Write --at "36.5 mm, -5.4 mm, 15.4 mm" or --at 36.5,-5.4,15.4 (in mm).'
_SEPARATORS = (r"\s*;\s*", r"\s*,\s+", r"\s*,\s*", r"\s+")
"""What may part three numbers, tried in turn; a comma before a space parts before it is a decimal comma."""


def add_to(sub: Any) -> None:
    """Add the command to the parser's commands."""
    command = sub.add_parser("zoom", help="solve a small cube of a part bead by bead, at a place of your choice")
    command.add_argument("study", help="study file (TOML)")
    command.add_argument("--at", required=True, help='the place, such as 36.5,-5.4,15.4 (mm), or "1 in, 0 in, 2 in"')
    command.add_argument("--case", help="one load case (default: all)")
    command.add_argument("--size", help='edge of the cube, such as "12 mm" (default: chosen from the print)')
    command.add_argument("--voxel", help='edge of the boxes in the layer, such as "0.11 mm" (default: from the bead)')
    command.add_argument("--out", type=Path, help="folder for the results (default: results/<study>)")
    command.add_argument("--json", action="store_true", help="print JSON for scripts instead of a table")
    command.set_defaults(command=zoom)


def zoom(options: argparse.Namespace) -> int:
    """Solve the cube, print what its beads bear and where picture and fields lie."""
    from fem.study.zoom import zoom_study

    at = point(options.at, where="--at")
    size, voxel = (
        None if text is None else _extent(text, where=f"--{name}")
        for name, text in (("size", options.size), ("voxel", options.voxel))
    )
    with progress() as say:
        made = zoom_study(
            options.study, at=at, case=options.case, size=size, voxel=voxel, out=options.out, progress=say
        )
    if options.json:
        from fem.judging.sealed import plain

        case, worst = min(made.findings.items(), key=lambda item: item[1].least)
        print(json.dumps({"case": case, **plain(worst, unlimited=None)}, indent=1, ensure_ascii=False))
        return 0
    console = screen()
    tell_cautions(console, made.cautions)
    _print_zooms(console, made.findings)
    console.print(f"Picture: {made.picture}\nBeads: {made.fields}", soft_wrap=True)
    console.print(CAUTION, style="dim")
    return 0


def _print_zooms(console: Any, found: Mapping[str, ZoomFindings]) -> None:
    from fem.telling.zoom_words import IN_BRACKETS, reserve_or_none, zones_in, zoom_line

    for case, z in found.items():
        console.print(f"Case {case}: {zoom_line(z)}.", soft_wrap=True)
    if any(z.band for z in found.values()):
        console.print(IN_BRACKETS)
    first = next(iter(found.values()))
    zones = zones_in({zone: None for z in found.values() for zone in z.by_zone})
    near = f", {first.face_distance_mm:.1f} mm from face {first.face}" if first.face else ""
    title = f"Bead by bead in {first.body}, around {place_text(first.at_mm)} mm{near}"
    rows = [
        [
            case,
            *(reserve_or_none(z.by_zone.get(zone)) for zone in zones),
            z.mode,
            place_text(z.worst_at_mm),
            f"{z.beads_beyond:,}",
            "yes" if z.settled else f"NO: {100 * abs(z.change):.2g} %",
        ]
        for case, z in found.items()
    ]
    heads = ["case", *zones, "failure mode", "at [mm]", "beads beyond", "settled"]
    console.print(ruled(title, heads, rows))
    console.print(
        f"{', '.join(zones)}: minimum reserve factor of the beads there; beads beyond: past their strength."
    )
    for line in dict.fromkeys(map(_size_line, found.values())):
        console.print(line)
    if not all(z.settled for z in found.values()):
        console.print("Not settled: the number still changed by that much when the cube was last made larger.")


def _size_line(z: ZoomFindings) -> str:
    boxes = " x ".join(f"{v:.3g}" for v in z.voxel_mm)
    return f"Cube of {z.size_mm:.3g} mm in boxes of {boxes} mm: {z.unknowns:,} unknowns, {z.iterations} iterations."


def point(text: str, *, where: str) -> tuple[float, float, float]:
    """Three numbers in mm, or three lengths with a unit each, as people write them.

    Errors: InputError where they are not three, some have a unit and others none, or two readings are possible.
    """
    readings: list[tuple[float, float, float]] = []
    first: InputError | None = None
    for separator in _SEPARATORS:
        parts = re.split(separator, text.strip())
        if len(parts) != 3 or (separator == r"\s*,\s*" and any(re.search(r"\d\s+\d", part) for part in parts)):
            continue
        try:
            x, y, z = _coordinates(parts)
        except InputError as error:
            first = first or error
            continue
        if (x, y, z) not in readings:
            readings.append((x, y, z))
    if len(readings) == 1:
        return readings[0]
    if readings:
        told = " or ".join(str(reading) for reading in readings[:2])
        raise InputError(f"{shown(text)} can be read in two ways: {told} mm.", where=where, advice=AT_ADVICE)
    told = first.message if first else f"{shown(text)} is not three coordinates."
    raise InputError(told, where=where, advice=AT_ADVICE)


def _coordinates(parts: list[str]) -> list[float]:
    read = [number_and_rest(part) for part in parts]
    if not any(unit for _, unit in read):
        return [quantity(f"{part} mm", "length") for part in parts]
    if not all(unit for _, unit in read):
        raise InputError("some of the three coordinates have a unit, others none.")
    return [quantity(part, "length") for part in parts]


def _extent(text: str, *, where: str) -> float:
    value = quantity(text, "length", where=where)
    if not value > 0:
        raise InputError(f"{shown(text)} must be more than zero.", where=where)
    return value
