"""Material cards: elastic constants and strengths of one polymer, metal or laminate, state by state.

A card is a TOML file, one table a state, every value with its source. A scalar `E` makes it isotropic: a metal. A
laminate says `kind = "laminate"` and has the values of a polymer, of one ply or of a whole plate: along its fibres,
across them, through the thickness. A state may be another one times factors (`as`), with values of its own on top, or
computed from `resin` and `fibre`; a `temperature` table says what heat does to stiffness and strength. A card may be
made `from` another one and give the values that differ alone.
Cards that ship with Beadwork lie in fem/cards and go by name; any other card goes by the path of its file.
"""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from fem.errors import CardError, Faults, nearest, toml_trouble
from fem.printing.card.nouns import ROOM_TEMPERATURE, Card, CardState, Constituents, Factors
from fem.printing.card.over import card_over
from fem.printing.card.states import read_states, with_values
from fem.printing.card.temperature import OtherTemperature, other_temperature, read_factors
from fem.printing.card.values import (
    check_keys,
    estimates_of,
    file_name,
    named,
    plain,
    positive,
    sources_of,
    table_of,
)

__all__ = [
    "ROOM_TEMPERATURE",
    "Card",
    "CardState",
    "Constituents",
    "Factors",
    "OtherTemperature",
    "all_cards",
    "card_digest",
    "card_files",
    "card_names",
    "card_with",
    "load_card",
    "other_temperature",
]

CARDS = Path(__file__).resolve().parent.parent / "cards"

CARD_KEYS = ("name", "about", "kind", "from", "density", "source", "estimates", "temperature")
LAMINATE = "laminate"
"""The one kind that a card states; its values tell a polymer from a metal."""
LARGEST_CARD = 1_000_000
"""A card's file with more bytes than this is some other file."""


def card_names() -> tuple[str, ...]:
    """Names of the cards that ship with Beadwork."""
    return tuple(sorted(path.stem for path in CARDS.glob("*.toml")))


def all_cards() -> tuple[Card, ...]:
    """Every card that ships with Beadwork, by name."""
    return tuple(load_card(name) for name in card_names())


def load_card(name_or_path: str | Path, *, relative_to: Path | None = None) -> Card:
    """Read a card by its name in fem/cards, or from a file (a path is one that ends in .toml or holds a slash).

    Errors: CardError that names the file and tells everything that is wrong in it: no such card or file, unknown or
    missing keys, values without a fit unit or that no material has, constants that no material can have
    (Lempriere 1968), a density that resin and fibre deny.
    """
    path = card_files(name_or_path, relative_to=relative_to)[0]
    return _card(_tables(path), file_name(path))


def card_files(name_or_path: str | Path, *, relative_to: Path | None = None) -> tuple[Path, ...]:
    """The files that a card is read from: its own, then those that it is made `from`. Errors: CardError."""
    path, files = _file(name_or_path, relative_to), list[Path]()
    while path not in files:
        files.append(path)
        base = _read(path).get("from")
        if base is None:
            return tuple(files)
        path = _file(_base_name(base, path), path.parent)
    raise CardError("the cards are each made from the other.", where=f"{file_name(files[-1])}: from")


def card_digest(name_or_path: str | Path) -> str:
    """SHA-256 of the bytes of all files that a card is read from; of its name alone where one cannot be read, since
    such a card fails when it is read."""
    try:
        files = [path.read_bytes() for path in card_files(name_or_path)]
    except (CardError, OSError):
        files = [str(name_or_path).encode("utf-8", "replace")]
    each = b"".join(hashlib.sha256(content).digest() for content in files)
    return hashlib.sha256(each).hexdigest()


def card_with(card: Card, *, state: str, values: Mapping[str, Any], where: str = "") -> Card:
    """The card with single values of one state, and its density, set by the study, in the form of a card's file.

    The values hold at 23 degC as all of a card do, and are told as set in the study (`CardState.doubtful`). Errors:
    CardError, under the place `where`, for a state that the card lacks, keys that the state does not have, values
    that cannot be read, and a material that cannot be.
    """
    try:
        found = card.state(state)
        own = {key: value for key, value in values.items() if key != "density"}
        density = positive(values["density"], "density", "density") if "density" in values else card.density
        told = dict.fromkeys(values, SET_IN_STUDY)
        made = with_values(found, own, where="", sources=told, from_study=tuple(values))
        return replace(card, density=density, states={**card.states, state: made})
    except CardError as error:
        raise error.inside(where) if where else error from None


SET_IN_STUDY = "set in the study"


def _file(name_or_path: str | Path, relative_to: Path | None) -> Path:
    """Where a card lies."""
    text = str(name_or_path)
    if isinstance(name_or_path, Path) or text.endswith(".toml") or "/" in text or "\\" in text:
        try:
            path = Path(text).expanduser()
            path = relative_to / path if relative_to is not None and not path.is_absolute() else path
            if path.is_file():
                return path
        except (OSError, ValueError, RuntimeError):  # NUL, loops of links, no such home
            pass
        raise CardError("there is no such card file.", where=text, advice="Check the path.")
    if text not in card_names():
        known = card_names()
        advice = nearest(text, known) or f"Known: {', '.join(known)}."
        raise CardError(f"no card is named {named(text)}.", advice=advice)
    return CARDS / f"{text}.toml"


def _read(path: Path) -> dict[str, Any]:
    """A card's file as tables."""
    try:
        if path.stat().st_size > LARGEST_CARD:
            raise CardError("is far too large for a card.", where=file_name(path))
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except RecursionError:
        raise CardError("holds tables within tables without end.", where=file_name(path)) from None
    except ValueError as error:  # TOML, UTF-8, and numbers of thousands of digits
        raise CardError(f"cannot be read as TOML: {toml_trouble(error)}.", where=file_name(path)) from None
    except OSError as error:
        raise CardError(f"cannot be read: {error.strerror}.", where=file_name(path)) from None


def _tables(path: Path) -> dict[str, Any]:
    """A card's tables, put over those of the card that it is made from."""
    own = _read(path)
    if "from" not in own:
        return own
    base = _file(_base_name(own["from"], path), path.parent)
    # what is wrong with the other card is told of its own file
    name = _card(_tables(base), file_name(base)).name
    return card_over(own, _tables(base), file=file_name(path), base_name=name)


def _base_name(base: Any, path: Path) -> str:
    if not (isinstance(base, str) and base.strip()):
        raise CardError(
            "must be a card's name or file.", where=f"{file_name(path)}: from", advice='Write from = "pla".'
        )
    return base


def _card(table: dict[str, Any], file: str) -> Card:
    states = {key: value for key, value in table.items() if isinstance(value, dict) and key not in CARD_KEYS}
    faults = Faults()
    check_keys(table, (*CARD_KEYS, *states), ("name", "density"), file, faults)
    name = faults.of(plain, table["name"], f"{file}: name") if "name" in table else None
    about = faults.of(plain, table["about"], f"{file}: about") if "about" in table else ""
    if table.get("kind", LAMINATE) != LAMINATE:
        told = f"{named(table['kind'])} is no kind that a card may state."
        advice = 'Write kind = "laminate", or leave it out for a polymer or a metal.'
        faults.found.append(CardError(told, where=f"{file}: kind", advice=advice))
    if not states:
        faults.found.append(CardError("the card has no state.", where=file, advice="Add a table such as [dry]."))
    density = factors = None
    if "density" in table:
        density = faults.of(positive, table["density"], "density", f"{file}: density")
    if "temperature" in table:
        heat = faults.of(table_of, table, "temperature", file)
        factors = None if heat is None else faults.of(read_factors, heat, f"{file}: temperature")
    sources = faults.of(sources_of, table, ("density",), file) if "source" in table else {}
    estimates = faults.of(estimates_of, table, ("density",), file)
    both = None
    if states:
        both = faults.of(
            partial(
                read_states,
                states,
                file=file,
                density=density,
                sources=sources or {},
                estimates=estimates or (),
                factors=factors,
            )
        )
    faults.refuse(file)
    assert both is not None and density is not None  # a failure to read them was refused above
    kind, read = both
    if "kind" in table and kind == "metal":
        told = "a laminate's card has three values of E, with G and strengths by direction."
        raise CardError(told, where=file, advice='Leave kind = "laminate" out for a metal.')
    kind = table.get("kind", kind)
    return Card(name or "", kind, density, read, about or "")
