"""Material cards: elastic constants and strengths of one polymer or metal, state by state.

A card is a TOML file, one table a state, every value with its source. A scalar `E` makes it isotropic: a metal. A
state may be another one times factors (`as`), or computed from `resin` and `fibre`; a `temperature` table says what
heat does to stiffness and strength.
Cards that ship with Beadwork lie in fem/cards and go by name; any other card goes by the path of its file.
"""

from __future__ import annotations

import os
import tomllib
from pathlib import Path
from typing import Any

from fem.errors import CardError, nearest, toml_trouble
from fem.printing.card.nouns import ROOM_TEMPERATURE, Card, CardState, Constituents, Factors
from fem.printing.card.states import read_states
from fem.printing.card.temperature import read_factors
from fem.printing.card.values import estimates_of, file_name, positive, require, sources_of, table_of

__all__ = [
    "ROOM_TEMPERATURE",
    "Card",
    "CardState",
    "Constituents",
    "Factors",
    "all_cards",
    "card_names",
    "load_card",
]

CARDS = Path(__file__).resolve().parent.parent / "cards"

CARD_KEYS = ("name", "density", "source", "estimates", "temperature")


def card_names() -> tuple[str, ...]:
    """Names of the cards that ship with Beadwork."""
    return tuple(sorted(path.stem for path in CARDS.glob("*.toml")))


def all_cards() -> tuple[Card, ...]:
    """Every card that ships with Beadwork, by name."""
    return tuple(load_card(name) for name in card_names())


def load_card(name_or_path: str | Path, *, relative_to: Path | None = None) -> Card:
    """Read a card by its name in fem/cards, or from a file (a path is one that ends in .toml or holds a slash).

    Errors: CardError that names the file and the key: no such card or file, unknown or missing key, a value
    without a fit unit, constants that no material can have (Lempriere 1968), a density that resin and fibre deny.
    """
    text = str(name_or_path)
    if isinstance(name_or_path, Path) or text.endswith(".toml") or "/" in text or "\\" in text:
        path = Path(os.path.expanduser(text))  # which leaves the name of a user that is not there as it is
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
    except (ValueError, RecursionError, OSError) as error:
        raise CardError(f"cannot be read as TOML: {toml_trouble(error)}.", where=file_name(path)) from None
    return _card(table, file_name(path))


def _card(table: dict[str, Any], file: str) -> Card:
    states = {key: value for key, value in table.items() if isinstance(value, dict) and key not in CARD_KEYS}
    for key in table:
        if key not in CARD_KEYS and key not in states:
            raise CardError(f'unknown key "{key}".', where=file, advice=nearest(key, CARD_KEYS))
    require(table, ("name", "density"), file)
    if not (isinstance(table["name"], str) and table["name"].strip()):
        raise CardError("name must be text.", where=file)
    if not states:
        raise CardError("the card has no state.", where=file, advice="Add a table such as [dry].")
    density = positive(table["density"], "density", f"{file}: density")
    factors = None
    if "temperature" in table:
        factors = read_factors(table_of(table, "temperature", file), f"{file}: temperature")
    kind, read = read_states(
        states,
        file=file,
        density=density,
        sources=sources_of(table, ("density",), file) if "source" in table else {},
        estimates=estimates_of(table, ("density",), file),
        factors=factors,
    )
    return Card(table["name"], kind, density, read)
