"""What a text means, read independently of the program: numbers with units, tables of TOML, differences of values."""

from __future__ import annotations

import dataclasses
import math
import re
from collections.abc import Iterator, Mapping
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np

_SPACE = " \u00a0\u2007\u2008\u2009\u200a\u202f\t"
_MINUS = "\\-\u2212\u2010\u2011\u2012\u2013\ufe63\uff0d"
_QUANTITY = re.compile(
    rf"[{_SPACE}\r\n]*(?P<sign>[+{_MINUS}]?)[{_SPACE}]*(?P<body>[0-9](?:[0-9.,'’]|[{_SPACE}]+(?=[0-9]{{3}}(?![0-9])))*|[.,][0-9]+)"
    rf"(?:[eE](?P<power>[+{_MINUS}]?[0-9]+))?[{_SPACE}]*(?P<unit>(?:1 ?/|[^0-9{_SPACE}])[^\r\n]*?)?[{_SPACE}\r\n]*"
)


def readings(text: str) -> tuple[set[Decimal], str] | None:
    """All numbers that the start of the text can be taken for, and the unit behind; None when it is no quantity."""
    found = _QUANTITY.fullmatch(text)
    if found is None or len(text) > 100:
        return None
    body = re.sub(f"[{_SPACE}]", " ", found["body"]).strip().replace("’", "'")
    out = set()
    for mark, group in [(m, g) for m in ".," for g in (" ", "'", ".", ",", "") if g != m]:
        whole, *decimals = body.split(mark)
        groups = whole.split(group) if group else [whole]
        sound = len(decimals) <= 1 and all(
            g.isascii() and g.isdigit() for g in (*groups, *filter(None, decimals)) if g
        )
        sound = sound and (len(groups) == 1 or (0 < len(groups[0]) <= 3 and all(len(g) == 3 for g in groups[1:])))
        if sound and (whole or any(decimals)):
            out.add(
                Decimal(
                    "".join(groups) + "." + "".join(decimals) if decimals and decimals[0] else "".join(groups) or "0"
                )
            )
    power = found["power"] or "0"
    power = "-" + power[1:] if power[0] in _MINUS[1:] else power
    if not out or len(power) > 6:
        return None
    sign = -1 if found["sign"] and found["sign"] in _MINUS[1:] else 1
    return {sign * value.scaleb(int(power)) for value in out}, (found["unit"] or "").strip()


def plainly(text: str) -> str | None:
    """The quantity with its number written without any habit; None where it is none, or has two readings.

    A single point is a decimal point, as the README says; a single comma that could part thousands has two readings.
    """
    found = readings(text)
    if found is None or not found[1]:
        return None
    values, unit = found
    if len(values) > 1:
        body = re.sub(rf"^[{_SPACE}+{_MINUS}]*", "", text)
        if re.match(r"[0-9]*\.[0-9]+(?![0-9.,'’])", body):
            values = {v for v in values if v == min(values, key=abs)}
        elif re.match(r"0[0-9]*,[0-9]{3}(?![0-9.,'’])", body):
            values = {min(values, key=abs)}
    return f"{values.pop().normalize():E} {unit}" if len(values) == 1 else None


def leaves(tree: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[tuple[Any, ...], Any]]:
    """All values of a tree of tables and lists with their paths."""
    if isinstance(tree, Mapping):
        for key, value in tree.items():
            yield from leaves(value, (*path, key))
    elif isinstance(tree, list):
        for i, value in enumerate(tree):
            yield from leaves(value, (*path, i))
    else:
        yield path, tree


WORDS = ("source", "about", "name", "title", "question", "currency", "metal", "polymer", "solid", "state", "part")
"""Keys whose texts are words, whatever they begin with."""


def with_plain_numbers(tree: Any) -> Any:
    """The tree with all its quantities written plainly."""
    if isinstance(tree, Mapping):
        return {key: value if key in WORDS else with_plain_numbers(value) for key, value in tree.items()}
    if isinstance(tree, list):
        return [with_plain_numbers(value) for value in tree]
    return (plainly(tree) or tree) if isinstance(tree, str) else tree


def unread(tree: Any, before: Any) -> list[str]:
    """Quantities of `before` that were changed in `tree` to what is none to this reader, or has two readings."""
    old = dict(leaves(before))
    return [
        f"{'.'.join(map(str, path))} = {value!r}"
        for path, value in leaves(tree)
        if isinstance(value, str)
        and isinstance(old.get(path), str)
        and old[path] != value
        and not {*WORDS, "variants", "sweep"} & {*path}
        and plainly(old[path])
        and not plainly(value)
    ]


def difference(one: Any, other: Any, *, near: float = 1e-12, path: str = "") -> str:
    """Where two values differ by more than rounding, "" when nowhere; paths of files do not count."""
    if dataclasses.is_dataclass(one) and type(one) is type(other):
        return _first(
            difference(getattr(one, f.name), getattr(other, f.name), near=near, path=f"{path}.{f.name}")
            for f in dataclasses.fields(one)
        )
    if isinstance(one, Mapping) and isinstance(other, Mapping):
        if set(one) != set(other):
            return f"{path}: {list(one)} / {list(other)}"
        return _first(difference(one[k], other[k], near=near, path=f"{path}.{k}") for k in one)
    if isinstance(one, (list, tuple)) and isinstance(other, (list, tuple)) and len(one) == len(other):
        return _first(
            difference(a, b, near=near, path=f"{path}[{i}]") for i, (a, b) in enumerate(zip(one, other, strict=True))
        )
    if isinstance(one, np.ndarray) and isinstance(other, np.ndarray):
        return difference(one.tolist(), other.tolist(), near=near, path=path)
    if isinstance(one, Path):
        return ""
    if isinstance(one, float) and isinstance(other, float | int) and not isinstance(other, bool):
        return "" if one == other or math.isclose(one, other, rel_tol=near) else f"{path}: {one!r} / {other!r}"
    return "" if type(one) is type(other) and one == other else f"{path}: {one!r} / {other!r}"


def _first(found: Iterator[str]) -> str:
    return next(filter(None, found), "")
