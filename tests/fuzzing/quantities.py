"""Quantities and numbers as text, against an independent reading of them."""

from __future__ import annotations

import random
from decimal import Decimal
from pathlib import Path

from fem.numerals import plain_number
from fem.units import quantity
from fuzzing.damage import QUANTITIES, damaged_bytes
from fuzzing.doors import READ, REFUSED, Wrong, refused, tried
from fuzzing.meaning import plainly

UNITS = {
    "force": {"N": "1", "kN": "1e3", "MN": "1e6", "mN": "1e-3"},
    "length": {"mm": "1", "cm": "10", "m": "1e3", "um": "1e-3", "in": "25.4"},
    "pressure": {"MPa": "1", "Pa": "1e-6", "kPa": "1e-3", "GPa": "1e3", "N/mm^2": "1"},
    "temperature": {"degC": "1", "mdegC": "nan"},
    "temperature difference": {"K": "1", "mK": "1e-3"},
    "mass": {"kg": "1e-3", "g": "1e-6", "t": "1"},
}
"""Units by kind, each with its size in the program's own, from the SI Brochure and the inch of 1959."""


def prepare(folder: Path) -> None:
    """Nothing is needed."""


def case(chance: random.Random, base: None, folder: Path) -> str:
    kind = chance.choice(sorted(UNITS))
    unit = chance.choice(sorted(UNITS[kind]))
    text = _written(chance, unit)
    (folder / "quantity.txt").write_text(repr((text, kind)), encoding="utf-8")
    found = tried(lambda: quantity(text, kind))
    bare = tried(lambda: plain_number(text))
    if not refused(bare) and not refused(found):
        raise Wrong(f"{text!r} is {found} with a unit and {bare} without")
    if refused(found):
        return REFUSED
    plain = plainly(text)
    if plain is None:
        raise Wrong(f"{text!r} was read as {found}, though its number has no one reading")
    number, own = plain.split(" ", 1)
    size = UNITS[kind].get(own)
    if size is not None and found != float(Decimal(number) * Decimal(size)):
        raise Wrong(f"{text!r} was read as {found}, which is not {number} x {size}")
    return READ


def _written(chance: random.Random, unit: str) -> str:
    way = chance.randrange(4)
    if way == 0:
        return chance.choice(QUANTITIES).replace("{u}", unit)
    digits = "".join(chance.choice("0123456789") for _ in range(chance.randrange(1, 9)))
    if way == 1:
        number = f"{chance.uniform(-1e6, 1e6):{chance.choice((',', '_', '', '.3e', '.2f', ',.2f'))}}"
        return f"{number.replace(',', chance.choice(', ’'))} {unit}"
    marks = chance.choices(",. '’eE+-−\u2009\u00a0", k=chance.randrange(4))
    for mark in marks:
        at = chance.randrange(len(digits) + 1)
        digits = digits[:at] + mark + digits[at:]
    text = digits + chance.choice(("", " ", "  ")) + unit
    return text if way == 2 else damaged_bytes(chance, text.encode()).decode("utf-8", "replace")
