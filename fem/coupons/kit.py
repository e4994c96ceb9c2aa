"""A kit for the bench: solids to print, one file that names them, a table each to fill in, and what to heed."""

from __future__ import annotations

import json
import textwrap
from dataclasses import dataclass
from pathlib import Path

from fem.coupons.batches import expected
from fem.coupons.kinds import KINDS, SMALL, Kind
from fem.coupons.nouns import Batch
from fem.coupons.reading import FILE
from fem.coupons.shapes import Shape
from fem.errors import CardError, InputError
from fem.part.extruded import write_extruded
from fem.printing.card.nouns import Card, CardState
from fem.printing.polymer import load_card

README = "README.txt"
STAY = (
    "G13 and G23, shear 13 and 23 (no simple coupon shears printed layers cleanly), nu13 and nu23",
    "compression across the beads, toughness along and across",
    "expansion, what temperature and water do, and the density unless coupons are weighed",
)
"""What no coupon of the kit measures: it follows from the other card, scaled, and stays marked as an estimate."""
CAUTIONS = (
    "Print all coupons with the spool, printer, nozzle, layer height, bead width and temperatures of your parts, in "
    "one job a kind, and dry the spool as you do for parts: a card is of one way of printing.",
    "No walls: a wall runs along the coupon and bears more than beads across. If your slicer demands one, print "
    "a plate and cut the coupons from it.",
    "Measure width and thickness of each coupon with a caliper, in three places, and write the mean, not "
    "the drawn size. Across printed layers the true section is smaller by the ridges; that stays within the numbers.",
    'Path at the coupon (clip-on gauge, camera, strain gauge: read = "coupon", gauge_length) is best. At the machine '
    '(read = "crosshead", grips) press a steel block of the same height first, and give the slope of load over path '
    "as machine_stiffness; without it moduli come out too low, often by a third.",
    "Record at least 20 readings below 0.3 % strain, and go on to the break. Cut off preloads and unloading. "
    "Strengths are read up to 10 % strain: what a drawn coupon bears beyond is no use to a part.",
    "Five coupons of each kind or more: with fewer than three there is no characteristic value.",
    'Keep dry coupons sealed until the test. Conditioned ones take weeks; write state = "conditioned" there.',
    "Coupons that break in the grips or at a shoulder tell no strength: leave them out, and say so.",
    "Wear glasses, and stand aside of a hand press: blocks and strips burst.",
)


INFILL_LINES = (
    '# pattern = "gyroid"       # what the blocks are filled with, to compare them with their cell',
    "# density = 0.3",
    '# bead_width = "0.45 mm"',
    '# bead_height = "0.20 mm"',
)


@dataclass(frozen=True)
class Kit:
    """What was written: the `folder`, its `files`, and the volume [mm^3] of each solid by its file."""

    folder: Path
    files: tuple[str, ...]
    volumes: dict[str, float]


def write_kit(folder: Path, *, card: str) -> Kit:
    """Write a kit for a material like `card` into `folder`, which must hold no coupons.toml yet.

    Errors: CardError for a card that is no polymer's, InputError where the folder is in use or cannot be written.
    """
    like = load_card(card)
    if like.kind != "polymer":
        raise CardError(f"{like.name} is a {like.kind}; coupons are printed of a polymer.", where="--card")
    if (folder / FILE).exists():
        advice = "Choose another folder with --out; filled-in tables are never overwritten."
        raise InputError(f"there is a {FILE} already.", where=str(folder), advice=advice)
    state = next(iter(like.states.values()))
    try:
        folder.mkdir(parents=True, exist_ok=True)
        volumes = {name: _solid(folder / name, *what) for name, what in _solids().items()}
        texts = {FILE: toml_text(card, state), README: readme_text(like, state)}
        texts |= {f"{kind.batch}.csv": ",".join(kind.columns) + "\n" for kind in KINDS}
        for name, text in texts.items():
            (folder / name).write_text(text, encoding="utf-8")
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror}.", where=str(folder)) from None
    return Kit(folder, (*volumes, *texts), volumes)


def _solids() -> dict[str, tuple[Shape, bool]]:
    """The solids by their file: outline, and whether it stands."""
    return {**{kind.solid: (kind.outline, kind.standing) for kind in KINDS}, SMALL[0]: (SMALL[1], False)}


def _solid(path: Path, shape: Shape, standing: bool) -> float:
    return write_extruded(shape.outline, height=shape.thickness, path=path, standing=standing)


def toml_text(card: str, state: CardState) -> str:
    """coupons.toml: what all tests share, then a batch a kind."""
    head = f"""\
# What was printed and how it was tested. Fill in what you measured, and the CSV files beside; then:
#   beadwork card . --name my-material
date = ""                          # day of the tests, such as 2026-11-20
from = {json.dumps(card)}                   # the card that fills in what you do not measure
state = {json.dumps(state.name)}                      # or another state of that card, also batch by batch
temperature = "23 degC"
read = "coupon"                    # "crosshead" where the path was read at the machine: give grips then, and
# machine_stiffness = "8 kN/mm"    # how stiff the machine is; taken off where read = "crosshead"
# decimal = ","                    # only where a table leaves it open

[columns]                          # what your tables call them, without the unit
force = "force"
path = "path"
# coupon = "coupon", sideways = "sideways" where yours has them by another name
"""
    return head + "".join("\n" + _batch_text(kind) for kind in KINDS)


def _batch_text(kind: Kind) -> str:
    shape = kind.outline
    width, thickness = shape.tested_width, shape.thickness
    if kind.test == "compression":
        width, thickness = shape.width, shape.thickness
    lines = [
        f"[batch.{kind.batch}]",
        f"solid = {json.dumps(kind.solid)}",
        f"copies = {kind.copies}",
        f"file = {json.dumps(kind.batch + '.csv')}",
        f"test = {json.dumps(kind.test)}",
        f"direction = {json.dumps(kind.direction)}",
        f"shape = {json.dumps(kind.shape)}",
        f'width = "{width:g} mm"      # as drawn: write what you measured, one for all or ["{width:g} mm", ...]',
        f'thickness = "{thickness:g} mm"',
        *(INFILL_LINES if kind.test == "infill" else []),
        *([f'notch = "{shape.notch + 1:g} mm"'] if kind.test == "notched" else []),
        _length_line(kind),
        f"speed = {json.dumps(kind.speed)}",
        f"measure = {json.dumps(kind.measure)}",
        f"gives = {json.dumps(kind.gives)}",
        f"[batch.{kind.batch}.print]",
        *(f"{key} = {json.dumps(text)}" for key, text in kind.print.items()),
    ]
    return "\n".join(lines) + "\n"


def _length_line(kind: Kind) -> str:
    shape = kind.outline
    if kind.test in ("bending", "notched"):
        return f'span = "{shape.gauge:g} mm"'
    grips = f'    # or grips = "{shape.apart:g} mm" with read = "crosshead"' if kind.test == "tension" else ""
    return f'gauge_length = "{shape.gauge:g} mm"{grips}'


def readme_text(card: Card, state: CardState) -> str:
    """What to do, what each coupon gives, what stays an estimate, and what to heed."""
    lines = [
        f"Coupons for a card of your own material, to begin from {card.name} ({card.about}).",
        "",
        "1. Print the solids as coupons.toml says, batch by batch.",
        "2. Test them: a CSV a batch, a row a reading, the coupon's name in the first column.",
        "3. Write sizes, date and way of testing into coupons.toml.",
        "4. beadwork card FOLDER --name my-material",
        "",
        "A CSV that stays empty is left out: one batch along and one up are worth more than none.",
        "",
        "COUPONS (the load is what the card lets expect, to choose a range; yours may lie well off it)",
        *(line for kind in KINDS for line in _kind_lines(kind, state)),
        f'- {SMALL[0]}: instead of 1A.step for a small bed or a weak press; write shape = "1BA", and width, '
        "thickness and gauge_length of it, into the batch.",
        "",
        "WHAT STAYS AN ESTIMATE, taken from the card above, scaled by what you measured, and marked so",
        *(f"- {text}" for text in STAY),
        "",
        "HEED",
        *(f"- {text}" for text in CAUTIONS),
        "",
        "METHODS",
        "Tension ISO 527-1 (modulus between 0.05 and 0.25 % strain), shear ISO 14129, compression ISO 604, bending "
        "ISO 178, notched bars ISO 13586; toe ASTM D638, annex A1; characteristic value EN 1990, annex D7.2.",
    ]
    return (
        "\n".join(textwrap.fill(line, 110, subsequent_indent="  " * line.startswith((" ", "-"))) for line in lines)
        + "\n"
    )


def _kind_lines(kind: Kind, state: CardState) -> list[str]:
    shape = kind.outline
    size = f"{shape.length:g} x {shape.width:g} x {shape.thickness:g} mm"
    needed = "" if kind.needed else "; if corners matter"
    return [
        f"- {kind.batch}: {kind.copies} x {kind.solid} ({size}{needed}). Gives: {kind.gives}."
        f"{_expected_load(kind, state)}",
        f"  Measure: {kind.measure}.",
        f"  Size: {shape.source}.",
    ]


def _expected_load(kind: Kind, state: CardState) -> str:
    """The load at which the card lets it fail, in words."""
    shape = kind.outline
    batch = Batch(kind.batch, kind.test, kind.direction, state.name, 23.0, shape.gauge, ())
    strength = expected(batch, state)[1]
    if strength is None:
        return ""
    area = shape.tested_width * shape.thickness
    force = strength * area
    if kind.test == "bending":
        force = strength * 2 * shape.width * shape.thickness**2 / (3 * shape.gauge)
    return f" About {force / 1000:.2g} kN." if force >= 995 else f" About {10 * round(force / 10)} N."
