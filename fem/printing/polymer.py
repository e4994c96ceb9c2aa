"""Material cards: elastic constants and strengths of one polymer or metal, state by state.

A card is a TOML file, one table a state, every value with its source. A scalar `E` makes it isotropic: a metal.
Cards that ship with Beadwork lie in fem/cards and go by name; any other card goes by the path of its file.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from fem.errors import CardError, InputError, nearest
from fem.printing.field import Strength
from fem.tensors import broken_condition
from fem.units import quantity

CARDS = Path(__file__).resolve().parent.parent / "cards"

Three = tuple[float, float, float]

CARD_KEYS = ("name", "density", "source", "estimates")
PRINTED_KEYS = ("E", "nu", "G", "tension", "compression", "shear")
METAL_KEYS = ("E", "nu", "yield", "ultimate")
OPTIONAL_KEYS = ("expansion", "scatter")
NOTE_KEYS = ("source", "estimates")
ELASTIC_ORDER = ("12", "13", "23")
SHEAR_ORDER = ("23", "13", "12")


@dataclass(frozen=True)
class CardState:
    """Values of one card in one state.

    `E` (along the bead, across it in the layer, up the build), `nu` and `G` (12, 13, 23) [MPa]; `tension`,
    `compression` as E and `shear` (23, 13, 12) [MPa], None for a metal; `yield_stress`, `ultimate` [MPa], None for a
    printed polymer; `expansion` (3,) [1/K] or None; `scatter` the coefficient of variation of the strengths or
    None; `sources` where each value comes from; `estimates` the values that are estimates.
    """

    name: str
    E: Three
    nu: Three
    G: Three
    tension: Three | None
    compression: Three | None
    shear: Three | None
    yield_stress: float | None
    ultimate: float | None
    expansion: Three | None
    scatter: float | None
    sources: dict[str, str]
    estimates: tuple[str, ...]

    @property
    def strength(self) -> Strength:
        """The strengths, as the judgement takes them."""
        if self.yield_stress is not None:
            return Strength(yield_stress=self.yield_stress)
        return Strength(np.array(self.tension), np.array(self.compression), np.array(self.shear))


@dataclass(frozen=True)
class Card:
    """A material: `kind` is polymer or metal, `density` [tonne/mm^3], `states` by name."""

    name: str
    kind: str
    density: float
    states: dict[str, CardState]

    def state(self, name: str) -> CardState:
        """The values in one state. Errors: CardError that lists the states which the card has."""
        if name not in self.states:
            raise CardError(f'card {self.name} has no state "{name}".', advice=f"It has: {', '.join(self.states)}.")
        return self.states[name]


def card_names() -> tuple[str, ...]:
    """Names of the cards that ship with Beadwork."""
    return tuple(sorted(path.stem for path in CARDS.glob("*.toml")))


def all_cards() -> tuple[Card, ...]:
    """Every card that ships with Beadwork, by name."""
    return tuple(load_card(name) for name in card_names())


def load_card(name_or_path: str | Path, *, relative_to: Path | None = None) -> Card:
    """Read a card by its name in fem/cards, or from a file (a path is one that ends in .toml or holds a slash).

    Errors: CardError that names the file and the key: no such card or file, unknown or missing key, a value
    without a fit unit, constants that no material can have (Lempriere 1968).
    """
    text = str(name_or_path)
    if isinstance(name_or_path, Path) or text.endswith(".toml") or "/" in text or "\\" in text:
        path = Path(text).expanduser()
        path = relative_to / path if relative_to is not None and not path.is_absolute() else path
        if not path.is_file():
            raise CardError("there is no such card file.", where=str(path), advice="Check the path.")
    else:
        path = CARDS / f"{text}.toml"
        if text not in card_names():
            known = card_names()
            advice = nearest(text, known) or f"Known: {', '.join(known)}."
            raise CardError(f'no card is named "{text}".', advice=advice)
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, OSError) as error:
        raise CardError(f"cannot be read as TOML: {error}.", where=_file(path)) from None
    return _card(table, path)


def _card(table: dict[str, Any], path: Path) -> Card:
    file = _file(path)
    states = {key: value for key, value in table.items() if isinstance(value, dict) and key not in CARD_KEYS}
    for key in table:
        if key not in CARD_KEYS and key not in states:
            raise CardError(f'unknown key "{key}".', where=file, advice=nearest(key, CARD_KEYS))
    for key in ("name", "density"):
        if key not in table:
            raise CardError(f'"{key}" is missing.', where=file)
    if not (isinstance(table["name"], str) and table["name"].strip()):
        raise CardError("name must be text.", where=file)
    if not states:
        raise CardError("the card has no state.", where=file, advice="Add a table such as [dry].")
    scalar = {name: not isinstance(values.get("E"), list) for name, values in states.items()}
    if len(set(scalar.values())) > 1:
        raise CardError("some states have one E and some three.", where=file, advice="Give each state the same form.")
    density = _positive(table["density"], "density", f"{file}: density")
    above_sources = _sources(table, ("density",), file) if "source" in table else {}
    above_estimates = _estimates(table, ("density",), file)
    is_metal = all(scalar.values())
    read = {
        name: _state(name, values, f"{file}: {name}", is_metal, above_sources, above_estimates)
        for name, values in states.items()
    }
    return Card(table["name"], "metal" if is_metal else "polymer", density, read)


def _state(
    name: str,
    values: dict[str, Any],
    where: str,
    is_metal: bool,
    above_sources: dict[str, str],
    above_estimates: tuple[str, ...],
) -> CardState:
    required = METAL_KEYS if is_metal else PRINTED_KEYS
    allowed = (*required, *OPTIONAL_KEYS, *NOTE_KEYS)
    for key in values:
        if key not in allowed:
            raise CardError(f'unknown key "{key}".', where=where, advice=nearest(key, allowed))
    for key in (*required, "source"):
        if key not in values:
            raise CardError(f'"{key}" is missing.', where=where)
    given = tuple(key for key in values if key not in NOTE_KEYS)
    sources = {**above_sources, **_sources(values, given, where)}
    estimates = (*above_estimates, *_estimates(values, given, where))
    expansion = _expansion(values.get("expansion"), where, is_metal)
    scatter = values.get("scatter")
    if scatter is not None:
        scatter = _number(scatter, f"{where}.scatter")
        if not 0 <= scatter < 1:
            raise CardError(f"{scatter:g} must lie between 0 and 1.", where=f"{where}.scatter")

    tension = compression = shear = None
    yield_stress = ultimate = None
    if is_metal:
        one = _positive(values["E"], "pressure", f"{where}.E")
        ratio = _number(values["nu"], f"{where}.nu")
        if not -1 < ratio < 0.5:
            raise CardError(f"Poisson's ratio {ratio:g} must lie between -1 and 0.5.", where=f"{where}.nu")
        E, nu, G = (one,) * 3, (ratio,) * 3, (one / (2 * (1 + ratio)),) * 3
        yield_stress = _positive(values["yield"], "pressure", f"{where}.yield")
        ultimate = _positive(values["ultimate"], "pressure", f"{where}.ultimate")
        if ultimate < yield_stress:
            raise CardError(
                f"ultimate {ultimate:g} MPa is below yield {yield_stress:g} MPa.", where=f"{where}.ultimate"
            )
    else:
        E = _triple(values["E"], f"{where}.E")
        ratios = _keyed(values["nu"], ELASTIC_ORDER, f"{where}.nu")
        nu = _three(_number(v, f"{where}.nu.{k}") for k, v in ratios.items())
        G = _moduli(values["G"], ELASTIC_ORDER, f"{where}.G")
        tension = _triple(values["tension"], f"{where}.tension")
        compression = _triple(values["compression"], f"{where}.compression")
        shear = _moduli(values["shear"], SHEAR_ORDER, f"{where}.shear")
    broken = broken_condition(E, nu, G)
    if broken:
        raise CardError(f"no material can have these elastic constants: {broken}.", where=where)
    return CardState(
        name, E, nu, G, tension, compression, shear, yield_stress, ultimate, expansion, scatter, sources, estimates
    )


def _expansion(value: Any, where: str, is_metal: bool) -> Three | None:
    if value is None:
        return None
    where = f"{where}.expansion"
    items = value if isinstance(value, list) else [value]
    numbers = [_quantity(item, "expansion", where) for item in items]
    if len(numbers) == 1 and is_metal:
        numbers = numbers * 3
    if len(numbers) != 3:
        raise CardError("must hold three values: along the bead, across it, up the build.", where=where)
    return _three(numbers)


def _sources(values: dict[str, Any], given: tuple[str, ...], where: str) -> dict[str, str]:
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


def _estimates(values: dict[str, Any], given: tuple[str, ...], where: str) -> tuple[str, ...]:
    names = values.get("estimates", [])
    if not (isinstance(names, list) and all(isinstance(n, str) for n in names)):
        raise CardError("must be a list of value names.", where=f"{where}.estimates")
    for name in names:
        if name not in given:
            raise CardError(
                f'"{name}" is no value of this table.', where=f"{where}.estimates", advice=nearest(name, given)
            )
    return tuple(names)


def _triple(value: Any, where: str) -> Three:
    if not (isinstance(value, list) and len(value) == 3):
        raise CardError("must hold three values: along the bead, across it, up the build.", where=where)
    return _three(_positive(item, "pressure", where) for item in value)


def _moduli(value: Any, order: tuple[str, ...], where: str) -> Three:
    return _three(_positive(v, "pressure", f"{where}.{k}") for k, v in _keyed(value, order, where).items())


def _keyed(value: Any, order: tuple[str, ...], where: str) -> dict[str, Any]:
    if not isinstance(value, dict) or set(value) != set(order):
        raise CardError(f"must be a table with the keys {', '.join(sorted(order))}.", where=where)
    return {key: value[key] for key in order}


def _three(values: Any) -> Three:
    a, b, c = values
    return (a, b, c)


def _number(value: Any, where: str) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or value != value or abs(value) == float("inf"):
        raise CardError(f"{value!r} is not a plain number.", where=where)
    return float(value)


def _quantity(value: Any, kind: str, where: str) -> float:
    try:
        return quantity(value, kind)
    except InputError as error:
        raise CardError(error.message, where=where, advice=error.advice) from None


def _positive(value: Any, kind: str, where: str) -> float:
    number = _quantity(value, kind, where)
    if not number > 0:
        raise CardError(f"{value!r} must be positive.", where=where)
    return number


def _file(path: Path) -> str:
    return f"card {path.name}"
