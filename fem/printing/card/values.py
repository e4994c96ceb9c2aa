"""Checks of single values in a card's file: each gives the value or a CardError that says where and what to do."""

from __future__ import annotations

import math
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from fem.errors import CardError, InputError, nearest
from fem.printing.card.nouns import Three
from fem.units import quantity

NOTE_KEYS = ("source", "estimates")


def file_name(path: Path) -> str:
    """How messages name a card's file."""
    return f"card {path.name}"


def refuse_unknown(values: dict[str, Any], allowed: tuple[str, ...], where: str) -> None:
    """CardError for the first key that is not allowed."""
    for key in values:
        if key not in allowed:
            raise CardError(f'unknown key "{key}".', where=where, advice=nearest(key, allowed))


def require(values: dict[str, Any], keys: Iterable[str], where: str) -> None:
    """CardError for the first key that is missing."""
    for key in keys:
        if key not in values:
            raise CardError(f'"{key}" is missing.', where=where)


def table_of(values: dict[str, Any], key: str, where: str) -> dict[str, Any]:
    """The table under a key."""
    if not isinstance(values[key], dict):
        file, *above = where.split(": ")
        title = ".".join([*above, key])
        raise CardError(f"must be a table of its own, [{title}].", where=f"{file}: {title}")
    return values[key]


def sources_of(values: dict[str, Any], given: tuple[str, ...], where: str) -> dict[str, str]:
    """The source of each given value: one text for all of them, or a table with a text for each."""
    source = values["source"]
    if isinstance(source, str) and source.strip():
        return dict.fromkeys(given, source)
    if not isinstance(source, dict):
        raise CardError("must be text, or a table with a text for each value.", where=f"{where}.source")
    for key, text in source.items():
        if key not in given:
            raise CardError(
                f'"{key}" has a source but no value.', where=f"{where}.source", advice=nearest(key, given)
            )
        if not (isinstance(text, str) and text.strip()):
            raise CardError("must be text.", where=f"{where}.source.{key}")
    for key in given:
        if key not in source:
            raise CardError(f'"{key}" has no source.', where=f"{where}.source")
    return dict(source)


def estimates_of(values: dict[str, Any], given: tuple[str, ...], where: str) -> tuple[str, ...]:
    """The names of the given values that are estimates."""
    names = values.get("estimates", [])
    if not (isinstance(names, list) and all(isinstance(n, str) for n in names)):
        raise CardError("must be a list of value names.", where=f"{where}.estimates")
    for name in names:
        if name not in given:
            raise CardError(
                f'"{name}" is no value of this table.', where=f"{where}.estimates", advice=nearest(name, given)
            )
    return tuple(names)


def triple(value: Any, where: str) -> Three:
    """Three stresses [MPa]: along the bead, across it, up the build."""
    if not (isinstance(value, list) and len(value) == 3):
        raise CardError("must hold three values: along the bead, across it, up the build.", where=where)
    return three(positive(item, "pressure", where) for item in value)


def moduli(value: Any, order: tuple[str, ...], where: str) -> Three:
    """Three stresses [MPa] by the pair of axes, in the order given."""
    return three(positive(v, "pressure", f"{where}.{k}") for k, v in keyed(value, order, where).items())


def keyed(value: Any, order: tuple[str, ...], where: str) -> dict[str, Any]:
    """A table that has just the keys of `order`, in that order."""
    if not isinstance(value, dict) or set(value) != set(order):
        raise CardError(f"must be a table with the keys {', '.join(sorted(order))}.", where=where)
    return {key: value[key] for key in order}


def three(values: Iterable[float]) -> Three:
    """Three numbers as a tuple."""
    a, b, c = values
    return (a, b, c)


def number(value: Any, where: str) -> float:
    """A plain finite number."""
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise CardError(f"{value!r} is not a plain number.", where=where)
    return float(value)


def measured(value: Any, kind: str, where: str) -> float:
    """A quantity in the program's unit of its kind."""
    try:
        return quantity(value, kind)
    except InputError as error:
        raise CardError(error.message, where=where, advice=error.advice) from None


def positive(value: Any, kind: str, where: str) -> float:
    """A positive quantity in the program's unit of its kind."""
    out = measured(value, kind, where)
    if not out > 0:
        raise CardError(f"{value!r} must be positive.", where=where)
    return out


def factor(value: Any, where: str) -> float:
    """A positive plain number."""
    out = number(value, where)
    if not out > 0:
        raise CardError(f"{value!r} must be positive.", where=where)
    return out


def poisson(value: Any, where: str) -> float:
    """Poisson's ratio of an isotropic material."""
    out = number(value, where)
    if not -1 < out < 0.5:
        raise CardError(f"Poisson's ratio {out:g} must lie between -1 and 0.5.", where=where)
    return out
