"""From a folder of tested coupons to a card and its page, in one call."""

from __future__ import annotations

import datetime
import re
from pathlib import Path

from fem.coupons.card_file import OwnCard, own_card, write_card
from fem.coupons.reading import read_coupons
from fem.errors import InputError, shown
from fem.printing.polymer import card_names
from fem.study.machine import program_version
from fem.telling.own_card.page import write_page


def make_card(
    folder: str | Path, *, name: str, base: str | None = None, out: Path | None = None, characteristic: bool = False
) -> OwnCard:
    """Fit the coupons of a folder (coupons.toml and its tables), write the card `out` (name.toml here, unless said
    otherwise) and its page beside it.

    `base` is the card that gives what was not measured, another than coupons.toml names; `characteristic` puts
    characteristic strengths on the card instead of means. Errors: InputError for a name that is taken, and all that
    `read_coupons` and `own_card` refuse.
    """
    place = _place(name, out)
    made = own_card(read_coupons(Path(folder)), name=name, base=base, characteristic=characteristic)
    write_card(made, place)
    program = f"Beadwork {program_version()}"
    write_page(made, place.with_suffix(".html"), date=datetime.date.today(), program=program)
    return made


def _place(name: str, out: Path | None) -> Path:
    """Where the card goes. Errors: InputError for a name that is taken, or that makes no file's name."""
    if name in card_names():
        raise InputError(f"{shown(name)} is a card that ships with Beadwork.", where="name", advice="Choose another.")
    if not re.fullmatch(r"\w[\w .+-]{0,60}", name):
        advice = "Use letters, digits and hyphens, such as my-nylon."
        raise InputError(f"{shown(name)} is no name for a card.", where="name", advice=advice)
    if out is not None and out.suffix != ".toml":
        raise InputError("a card's file ends in .toml.", where=str(out))
    return out or Path(f"{name}.toml")
