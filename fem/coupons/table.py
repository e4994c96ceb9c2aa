"""A measured table: CSV with the unit of each column in its head, as machines and spreadsheets write them.

Columns may stand in any order among others, between semicolons, tabs or commas, under lines of remarks; a unit stands
behind the column's name ("Load [kN]", "Load (kN)", "Load / kN"), or in the row below. Decimal comma or point.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from fem.columns import has_decimal_comma, text_lines
from fem.errors import InputError, nearest, shown
from fem.numerals import plain_number
from fem.tensors import Array
from fem.units import unit_size

STRAINS = {
    **dict.fromkeys(("1", "-", "mm/mm", "m/m", "in/in"), 1.0),
    "%": 0.01,
    **dict.fromkeys(("µm/m", "μm/m", "um/m", "microstrain", "µε", "με", "ue"), 1e-6),
}
"""Units of strain -> how large they are."""
KINDS = {
    "force": ("force",),
    "stress": ("pressure",),
    "path": ("length",),
    "strain": ("strain",),
    "sideways": ("strain", "length"),
    "coupon": (),
}
"""A column's role -> of which kinds its unit may be; none for names."""
EXAMPLES = {"force": "force [N]", "stress": "stress [MPa]", "path": "path [mm]", "strain": "strain [%]"}
EXAMPLES["sideways"] = "sideways [%]"
_UNIT = re.compile(r"^(?P<name>.*?)\s*(?:[\[(](?P<held>[^\])]*)[\])]|\s/\s*(?P<over>\S+)|,\s*(?P<behind>[^,\s]+))$")


@dataclass(frozen=True)
class Measured:
    """The columns that were asked for: `columns` by role, (n,) in N, MPa, mm or 1; `kinds` which kind the unit of
    each was of; `coupons` which coupon each row belongs to, None where no column says so."""

    columns: dict[str, Array]
    kinds: dict[str, str]
    coupons: tuple[str, ...] | None


def read_table(
    path: Path,
    wanted: Mapping[str, str],
    *,
    units: Mapping[str, str],
    optional: frozenset[str] = frozenset(),
    decimal: str | None = None,
) -> Measured | None:
    """The columns named in `wanted` (role -> name, see KINDS) of a CSV file; None where only the head stands in it.

    `units` gives, by role, the unit of a column whose head has none; an `optional` column may be missing or empty;
    `decimal` is "," or "." where the file leaves it open. Errors: InputError that names file, row and column: no such
    file or column, no unit, cells that are no number.
    """
    where = path.name
    lines = text_lines(path, missing="Put the table there, or correct file = in coupons.toml.")
    rows = _cells(lines, where)
    if sum(any(cell.strip() for cell in row) for row in rows) <= 1:
        return None
    head, places = _find_head(rows, wanted, optional, where)
    told, first = _told_units(rows, head, places, units)
    found = [r for r in rows[first:] if any(len(r) > k and r[k].strip() for role, k in places.items() if KINDS[role])]
    if not found:
        return None
    _refuse_more_cells(rows[head], found, where)
    empty = [
        r
        for r in optional
        if r in places and not any(row[places[r]].strip() for row in found if len(row) > places[r])
    ]
    places = {role: k for role, k in places.items() if role not in empty}
    sizes, kinds = {}, {}
    for role in (r for r in places if KINDS[r]):
        kinds[role], sizes[role] = _size(told[role], role, f"{where}: {shown(rows[head][places[role]].strip())}")
    cells = [row[k].strip() for row in found for role, k in places.items() if KINDS[role] and k < len(row)]
    comma = has_decimal_comma(cells) if decimal is None else None
    mark = "," if comma else decimal
    columns = {role: _numbers(found, places[role], sizes[role], mark, rows, where) for role in sizes}
    names = None
    if "coupon" in places:
        names = tuple(r[places["coupon"]].strip() if len(r) > places["coupon"] else "" for r in found)
    return Measured(columns, kinds, names)


def _cells(lines: list[str], where: str) -> list[list[str]]:
    """The lines parted into cells. Errors: InputError where quotes never close, or a line is no table's."""
    try:
        return list(csv.reader(lines, delimiter=_delimiter(lines)))
    except csv.Error as error:
        advice = "Export it as CSV; a quote that never closes swallows all that follows."
        raise InputError(f"cannot be read as a table: {error}.", where=where, advice=advice) from None


def _refuse_more_cells(head: list[str], rows: list[list[str]], where: str) -> None:
    """Errors: InputError where most rows hold more cells than the head names columns."""
    heads = max((k + 1 for k, cell in enumerate(head) if cell.strip()), default=0)
    longer = [row for row in rows if any(cell.strip() for cell in row[heads:])]
    if 2 * len(longer) > len(rows):
        raise InputError(
            f"rows hold {len(longer[0])} cells under {heads} heads.",
            where=where,
            advice="Decimal commas cannot stand between commas: export it with semicolons or tabs.",
        )


def _delimiter(lines: list[str]) -> str:
    """What parts the columns: the sign that stands most often, a comma last since it may be a decimal one."""
    text = "\n".join(line for line in lines[:200] if not line.startswith("#"))
    for mark in (";", "\t"):
        if text.count(mark) >= 0.5 * max(1, len(lines[:200])):
            return mark
    return ","


def _find_head(
    rows: list[list[str]], wanted: Mapping[str, str], optional: frozenset[str], where: str
) -> tuple[int, dict[str, int]]:
    """The row that names all columns that must be there, and where each stands."""
    needed = {role: name for role, name in wanted.items() if role not in optional}
    best: tuple[int, list[str], list[str]] = (-1, list(needed.values()), [])
    for k, row in enumerate(rows[:200]):
        names = [_plain_name(cell) for cell in row]
        whole = [_tidy(cell) for cell in row]
        places = {}
        for role, name in wanted.items():
            for cells in (whole, names):
                if _tidy(name) in cells:
                    places[role] = cells.index(_tidy(name))
                    break
        missing = [name for role, name in needed.items() if role not in places]
        if not missing:
            return k, places
        if len(missing) < len(best[1]) or best[0] < 0:
            best = (k, missing, [cell.strip() for cell in row if cell.strip()])
    missing, seen = best[1], best[2]
    advice = nearest(missing[0], [_plain_name(s) for s in seen]) or "Name it under [columns] in coupons.toml."
    raise InputError(f"has no column {', '.join(map(shown, missing))}.", where=where, advice=advice)


def _tidy(text: str) -> str:
    return " ".join(text.split()).casefold()


def _plain_name(cell: str) -> str:
    found = _UNIT.match(cell.strip())
    return _tidy(found["name"] if found else cell)


def _told_units(
    rows: list[list[str]], head: int, places: Mapping[str, int], units: Mapping[str, str]
) -> tuple[dict[str, str], int]:
    """The unit of each column, "" for none, and the first row of numbers."""
    below = rows[head + 1] if head + 1 < len(rows) else []
    cells = {role: below[k].strip() if k < len(below) else "" for role, k in places.items() if KINDS[role]}
    second = any(cells.values()) and not any(re.match(r"[-+−]?[.,]?\d", cell) for cell in cells.values())
    out = {}
    for role, k in places.items():
        found = _UNIT.match(rows[head][k].strip())
        unit = (found["held"] or found["over"] or found["behind"] or "") if found else ""
        if not unit and second:
            unit = cells.get(role, "").strip("[]() ")
        out[role] = unit.strip() or units.get(role, "")
    return out, head + (2 if second else 1)


def _size(unit: str, role: str, where: str) -> tuple[str, float]:
    """The kind of a column's unit, and how large one of it is in the program's own."""
    if not unit:
        raise InputError(
            "the column has no unit.", where=where, advice=f'Write it behind the name, such as "{EXAMPLES[role]}".'
        )
    for kind in KINDS[role]:
        if kind == "strain":
            if unit.casefold() in STRAINS:
                return kind, STRAINS[unit.casefold()]
            continue
        try:
            return kind, unit_size(unit, kind)
        except InputError:
            continue
    raise InputError(
        f"{shown(unit)} is no unit of {' or '.join(KINDS[role])}.",
        where=where,
        advice=f'Write it such as "{EXAMPLES[role]}", or choose another column under [columns].',
    )


def _numbers(
    rows: list[list[str]], place: int, size: float, mark: str | None, all_rows: list[list[str]], where: str
) -> Array:
    out = np.empty(len(rows))
    for k, row in enumerate(rows):
        cell = row[place].strip() if place < len(row) else ""
        plain = cell.replace(",", ".") if mark == "," and "." not in cell else cell
        try:
            try:
                value = float(plain) if "," not in plain and "_" not in plain else plain_number(cell)
            except ValueError:
                value = plain_number(cell)
            if not np.isfinite(value):
                raise InputError(f"{shown(cell)} is not a finite number.")
            out[k] = value
        except InputError as error:
            line = next(n for n, r in enumerate(all_rows) if r is row) + 1
            advice = 'Add decimal = "," (or ".") to coupons.toml.' if "two ways" in error.message else error.advice
            raise InputError(error.message, where=f"{where}, row {line}", advice=advice) from None
    return out * size
