"""A card's [temperature] table: factors on stiffness and strength from one temperature to the next."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

from fem.errors import CardError
from fem.printing.card.nouns import ROOM_TEMPERATURE, Factors
from fem.printing.card.values import NOTE_KEYS, estimates_of, factor, measured, refuse_unknown, require

KEYS = ("at", "stiffness", "strength")


def read_factors(values: dict[str, Any], where: str) -> Factors:
    """The table `at`, `stiffness`, `strength`, `source`, `estimates`.

    Errors: CardError: rows of unequal number, temperatures that do not rise, a range without 23 degC, or factors
    other than one there, where the card's values hold as they stand.
    """
    refuse_unknown(values, (*KEYS, *NOTE_KEYS), where)
    require(values, (*KEYS, "source"), where)
    for key in KEYS:
        if not isinstance(values[key], list):
            raise CardError("must be a list.", where=f"{where}.{key}")
    at = tuple(measured(item, "temperature", f"{where}.at") for item in values["at"])
    if len(at) < 2 or not all(low < high for low, high in pairwise(at)):
        raise CardError("must hold two temperatures or more, each above the one before.", where=f"{where}.at")
    rows = {key: tuple(factor(item, f"{where}.{key}") for item in values[key]) for key in KEYS[1:]}
    for key, row in rows.items():
        if len(row) != len(at):
            raise CardError(f"holds {len(row)} factors for {len(at)} temperatures.", where=f"{where}.{key}")
    source = values["source"]
    if not (isinstance(source, str) and source.strip()):
        raise CardError("must be text.", where=f"{where}.source")
    out = Factors(at, rows["stiffness"], rows["strength"], source, estimates_of(values, KEYS[1:], where))
    if not out.covers(ROOM_TEMPERATURE) or any(abs(f - 1) > 1e-9 for f in out.between(ROOM_TEMPERATURE)):
        raise CardError(
            f"must reach over {ROOM_TEMPERATURE:g} degC, with factors of 1 there.",
            where=where,
            advice="The card's values hold at that temperature.",
        )
    return out
