"""Columns of measured numbers from a text file: a head with units, decimal comma or point, columns in any order.

The head is `force [kN]`, `force (kN)` or `force / kN`; units may also stand in a line of their own below it. Columns
are parted by tabs, semicolons or commas. A column is taken by its name, or where none is given by its unit.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from fem.errors import InputError, nearest, shown
from fem.numerals import plain_number
from fem.tensors import Array
from fem.units import unit_size

LARGEST = 50_000_000
"""A file with more bytes than this is no table of measured numbers."""
_HEAD = re.compile(r"\s*(?P<name>.*?)\s*(?:\[(?P<a>[^\]]*)\]|\((?P<b>[^)]*)\)|\s/\s(?P<c>.*))?\s*")


@dataclass(frozen=True)
class Column:
    """A column that is wanted: the `kind` of its quantity (`fem.units.KINDS`), and its `name` ("": by its unit)."""

    kind: str
    name: str = ""


@dataclass(frozen=True)
class _Head:
    name: str
    unit: str

    def is_called(self, name: str) -> bool:
        return " ".join(name.lower().split()) in (self.name.lower(), f"{self.name} [{self.unit}]".lower())

    def size(self, kind: str) -> float | None:
        """How large the unit is in the program's own; None where it is not of that kind."""
        try:
            return unit_size(self.unit, kind)
        except InputError:
            return None


def read_columns(path: Path, wanted: Mapping[str, Column]) -> dict[str, Array]:
    """The wanted columns (n,) by the keys of `wanted`, in the program's own units.

    Errors: InputError for a file that is none, a column that is missing, ambiguous or of another kind of unit, and a
    cell that holds no number, with its line.
    """
    where = str(path)
    lines = text_lines(path)
    heads, rows = _parted(lines, where)
    out = {key: _chosen(heads, column, key, where) for key, column in wanted.items()}
    if len({at for at, _ in out.values()}) < len(out):
        raise InputError(f"one column stands for both {' and '.join(out)}.", where=where)
    comma = has_decimal_comma([row[at] for _, row in rows for at, _ in out.values() if at < len(row)])
    return {
        key: np.array([_number(row, at, heads[at], comma, f"{where}, line {line}") * size for line, row in rows])
        for key, (at, size) in out.items()
    }


def text_lines(path: Path, *, missing: str = "") -> list[str]:
    """The lines of a text file as machines and spreadsheets write them: UTF-8, UTF-16 with its mark or without, or
    western Europe's code page. Errors: InputError, with the advice `missing` where there is no such file.
    """
    where = str(path)
    try:
        if path.stat().st_size > LARGEST:
            raise InputError("the file is far too large for a table of measured numbers.", where=where)
        raw = path.read_bytes()
    except OSError as error:
        if not path.exists():
            beside = [each.name for each in path.parent.glob("*.csv")] if path.parent.is_dir() else []
            advice = missing or nearest(path.name, beside)
            raise InputError("there is no such file.", where=where, advice=advice) from None
        raise InputError(f"the file cannot be read: {error.strerror}.", where=where) from None
    for coding in (_wide(raw) or "utf-8-sig", "cp1252"):
        try:
            text = raw.decode(coding)
        except UnicodeDecodeError:
            continue
        if "\0" not in text:
            return text.splitlines()
    raise InputError("this is no text file of columns.", where=where, advice="Export it as CSV.")


def _wide(raw: bytes) -> str | None:
    """UTF-16, with its mark or without: every other byte of plain text is zero then."""
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return "utf-16"
    zeros = [raw[k:1000:2].count(0) for k in (0, 1)]
    if max(zeros) <= len(raw[:1000]) / 4 or min(zeros) > 0:
        return None
    return "utf-16-be" if zeros[0] > zeros[1] else "utf-16-le"


def has_decimal_comma(cells: Sequence[str]) -> bool:
    """Whether some cell can only hold a decimal comma, 0,5 or 12,3456, and none holds a point."""
    plain = [cell for cell in cells if "," in cell]
    shows = [cell for cell in plain if re.fullmatch(r"[+\-−]?\d*,\d+([eE][+\-]?\d+)?", cell)]
    sure = [cell for cell in shows if not re.fullmatch(r"[+\-−]?[1-9]\d{0,2},\d{3}", cell)]
    return bool(sure) and len(shows) == len(plain) and not any("." in cell for cell in cells)


def _parted(lines: Sequence[str], where: str) -> tuple[list[_Head], list[tuple[int, list[str]]]]:
    """The heads, and the rows below them with their line numbers."""
    full = [(n, text) for n, text in enumerate(lines, 1) if text.strip() and not text.lstrip().startswith("#")]
    if not full:
        raise InputError("the file holds no table.", where=where)
    mark = next((mark for mark in "\t;," if mark in full[0][1]), ",")
    rows = [(n, [cell.strip() for cell in next(csv.reader([text], delimiter=mark))]) for n, text in full]
    found = [_HEAD.fullmatch(cell) for cell in rows[0][1]]
    heads = [_Head(m["name"], (m["a"] or m["b"] or m["c"] or "").strip()) for m in found if m is not None]
    rest = rows[1:]
    if rest and not any(head.unit for head in heads) and not any(re.search(r"\d", cell) for cell in rest[0][1]):
        units = [*(cell.strip("[]() ") for cell in rest[0][1]), *([""] * len(heads))]
        heads, rest = [_Head(head.name, unit) for head, unit in zip(heads, units, strict=False)], rest[1:]
    for line, row in rest:
        if len(row) > len(heads) and any(row[len(heads) :]):
            advice = "Part columns by semicolons or tabs where numbers have a decimal comma." if mark == "," else ""
            told = f"there are {len(row)} cells under {len(heads)} heads."
            raise InputError(told, where=f"{where}, line {line}", advice=advice)
    return heads, rest


def _chosen(heads: Sequence[_Head], column: Column, key: str, where: str) -> tuple[int, float]:
    """The number of a wanted column, and how large its unit is."""
    units = ", ".join(f"{head.name} [{head.unit}]" if head.unit else f"{head.name} (no unit)" for head in heads)
    if column.name:
        named = [at for at, head in enumerate(heads) if head.is_called(column.name)]
        if len(named) != 1:
            told = "no column is" if not named else "several columns are"
            advice = nearest(column.name, [head.name for head in heads]) or f"There are: {units}."
            raise InputError(f"{told} called {shown(column.name)}.", where=where, advice=advice)
        size = heads[named[0]].size(column.kind)
        if size is None:
            unit = heads[named[0]].unit
            told = f"column {shown(column.name)} has " + (f"the unit {shown(unit)}" if unit else "no unit")
            advice = f'Write it in the head: "{column.name} [{_unit(column.kind)}]".'
            raise InputError(f"{told}, which is no unit of {column.kind}.", where=where, advice=advice)
        return named[0], size
    fitting = [(at, size) for at, head in enumerate(heads) if (size := head.size(column.kind)) is not None]
    if len(fitting) != 1:
        told = "no column has" if not fitting else f"{len(fitting)} columns have"
        advice = (
            f"Name the column of the {key}." if fitting else f'Write a head such as "{key} [{_unit(column.kind)}]".'
        )
        raise InputError(f"{told} a unit of {column.kind}: {units}.", where=where, advice=advice)
    return fitting[0]


def _unit(kind: str) -> str:
    from fem.units import EXAMPLES

    return EXAMPLES[kind].split(" ", 1)[1]


def _number(row: Sequence[str], at: int, head: _Head, comma: bool, where: str) -> float:
    if at >= len(row) or not row[at]:
        raise InputError(f"column {shown(head.name)} is empty.", where=where, advice="Delete the line, or fill it.")
    try:
        return plain_number(row[at].replace(",", ".") if comma else row[at])
    except InputError as error:
        raise InputError(error.message, where=where, advice=error.advice) from None
