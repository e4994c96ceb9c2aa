"""Checks of single values in a card's file: each gives the value or a CardError that says where and what to do."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from fem.errors import CardError, Faults, InputError, nearest, shown
from fem.printing.card.nouns import Three, implausible
from fem.units import quantity

NOTE_KEYS = ("source", "estimates")


def file_name(path: Path) -> str:
    """How messages name a card's file."""
    return f"card {path.name}"


def check_keys(
    values: Mapping[str, Any], allowed: Iterable[str], wanted: Iterable[str], where: str, faults: Faults
) -> None:
    """Keeps a CardError for each key that is not allowed, and for each wanted one that is missing.

    A missing key that an unknown one comes near to is not told: it was misspelt.
    """
    known = tuple(allowed)
    misspelt: set[str] = set()
    for key in values:
        if key not in known:
            advice = nearest(key, known)
            if advice.startswith("Nearest: "):
                misspelt.update(advice.removeprefix("Nearest: ").rstrip(".").split(", "))
            faults.found.append(CardError(f"unknown key {named(key)}.", where=where, advice=advice))
    for key in wanted:
        if key not in values and key not in misspelt:
            faults.found.append(CardError(f'"{key}" is missing.', where=where))


def named(key: Any) -> str:
    """A key or name from a file, in quotes."""
    return f'"{shown(key)[1:-1]}"' if isinstance(key, str) else shown(key)


def table_of(values: dict[str, Any], key: str, where: str) -> dict[str, Any]:
    """The table under a key."""
    if not isinstance(values[key], dict):
        file, *above = where.split(": ")
        title = ".".join([*above, key])
        raise CardError(f"must be a table of its own, [{title}].", where=f"{file}: {title}")
    return values[key]


def sources_of(values: Mapping[str, Any], given: tuple[str, ...], where: str) -> dict[str, str]:
    """The source of each given value: one text for all of them, or a table with a text for each."""
    source = values["source"]
    if isinstance(source, str) and source.strip():
        return dict.fromkeys(given, plain(source, f"{where}.source"))
    if not isinstance(source, dict):
        raise CardError("must be text, or a table with a text for each value.", where=f"{where}.source")
    faults, out = Faults(), {}
    for key, text in source.items():
        if key not in given:
            advice = nearest(key, given)
            faults.found.append(
                CardError(f"{named(key)} has a source but no value.", where=f"{where}.source", advice=advice)
            )
        out[key] = faults.of(plain, text, f"{where}.source.{key}") or ""
    faults.found += [CardError(f'"{k}" has no source.', where=f"{where}.source") for k in given if k not in source]
    faults.refuse(where)
    return out


def estimates_of(values: Mapping[str, Any], given: tuple[str, ...], where: str) -> tuple[str, ...]:
    """The names of the given values that are estimates: those listed, and those whose source says so itself."""
    names = values.get("estimates", [])
    if not (isinstance(names, list) and all(isinstance(n, str) for n in names)):
        raise CardError("must be a list of value names.", where=f"{where}.estimates")
    for name in names:
        if name not in given:
            raise CardError(
                f"{named(name)} is no value of this table.", where=f"{where}.estimates", advice=nearest(name, given)
            )
    source = values.get("source", "")
    told = source if isinstance(source, dict) else dict.fromkeys(given, source)
    guessed = [key for key in given if key not in names and says_estimate(told.get(key, ""))]
    return (*dict.fromkeys(names), *guessed)


_ESTIMATE = re.compile(
    r"\b(estimat\w*|assum\w*|guess\w*|approximat\w*|presum\w*|suppos\w*|unknown|invented|rule of thumb|"
    r"(from|by|out of) (memory|heart))\b|^\W+$",
    re.IGNORECASE,
)
_DENIED = re.compile(r"\b(not?|never|without)\s+(an?\s+|any\s+)?(estimat|assum|guess)\w*", re.IGNORECASE)


def says_estimate(source: Any) -> bool:
    """Whether a source's own words ("guess", "from memory", "assumed") say that the value was not measured."""
    return isinstance(source, str) and _ESTIMATE.search(_DENIED.sub("", source)) is not None


def plain(text: Any, where: str, *, longest: int = 2000) -> str:
    """Text in one line that a terminal and a page can show."""
    if not (isinstance(text, str) and text.strip()):
        raise CardError("must be text.", where=where)
    line = " ".join(text.split())
    if not line.isprintable():
        raise CardError(f"{shown(text)} holds characters that cannot be printed.", where=where)
    if len(line) > longest:
        raise CardError(f"is longer than {longest} characters.", where=where)
    return line


def triple(value: Any, where: str) -> Three:
    """Three stresses [MPa]: along the bead, across it, in the build direction."""
    if not (isinstance(value, list) and len(value) == 3):
        raise CardError("must hold three values: along the bead, across it, in the build direction.", where=where)
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
    try:
        out = math.nan if isinstance(value, bool) or not isinstance(value, (int, float)) else float(value)
    except OverflowError:
        out = math.inf
    if not math.isfinite(out):
        raise CardError(f"{shown(value)} is not a plain number.", where=where)
    return out


def measured(value: Any, kind: str, where: str, *, above_zero: bool = False) -> float:
    """A quantity in the program's unit of its kind, within what materials have."""
    try:
        out = quantity(value, kind)
    except InputError as error:
        raise CardError(error.message, where=where, advice=error.advice) from None
    if above_zero and not out > 0:
        raise CardError(f"{shown(value)} must be positive.", where=where)
    beyond = implausible(kind, out)
    if beyond:
        raise CardError(f"{shown(value)} is not plausible: {beyond}.", where=where, advice="Check its unit.")
    return out


def positive(value: Any, kind: str, where: str) -> float:
    """A positive quantity in the program's unit of its kind."""
    return measured(value, kind, where, above_zero=True)


def factor(value: Any, where: str) -> float:
    """A positive plain number, no further from one than a thousandth and a thousand."""
    out = number(value, where)
    if not out > 0:
        raise CardError(f"{shown(value)} must be positive.", where=where)
    if not 1e-3 <= out <= 1e3:
        raise CardError(f"{out:g} must lie between 0.001 and 1000.", where=where)
    return out


def poisson(value: Any, where: str) -> float:
    """Poisson's ratio of an isotropic material."""
    out = number(value, where)
    if not -1 < out < 0.5:
        raise CardError(f"Poisson's ratio {out:g} must lie between -1 and 0.5.", where=where)
    return out
