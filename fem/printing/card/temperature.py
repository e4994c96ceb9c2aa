"""A card's [temperature] table: factors on stiffness and strength from one temperature to the next."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from fem.errors import CardError, Faults
from fem.printing.card.nouns import ROOM_TEMPERATURE, CardState, Factors
from fem.printing.card.values import NOTE_KEYS, check_keys, estimates_of, factor, measured, plain

KEYS = ("at", "stiffness", "strength")


NEAR = 5.0
"""A load that takes a body no further than this [K] from the temperature of its card's values asks for no caution."""


@dataclass(frozen=True)
class OtherTemperature:
    """A load takes a body to `load_at` [degC], and its card's values are those at `values_at` [degC]; `factors` on
    stiffness and strength from one to the other, None where the card does not know them."""

    values_at: float
    load_at: float
    factors: tuple[float, float] | None

    @property
    def text(self) -> str:
        """What a reader should know, in one sentence."""
        start = f"its card's values hold at {self.values_at:g} degC, the load takes it to {self.load_at:g} degC"
        if self.factors is None:
            return f"{start}; the card does not say what stiffness and strength are there."
        stiffness, strength = self.factors
        return (
            f"{start}, where stiffness is {stiffness:.3g} and strength {strength:.3g} times as large: set "
            f'its print\'s temperature = "{self.load_at:g} degC" to judge it there.'
        )


def other_temperature(values: CardState, *, change: float) -> OtherTemperature | None:
    """Whether a temperature change [K], counted from 23 degC where prints and parts are put together, ends far from
    the temperature that `values` hold at; None when it ends within 5 K of it, or the values change by less than 1 %.
    """
    end = ROOM_TEMPERATURE + change
    factors = values.factors_to(end)
    if abs(end - values.holds_at) <= NEAR or (factors and all(abs(factor - 1) < 0.01 for factor in factors)):
        return None
    return OtherTemperature(values.holds_at, end, factors)


def read_factors(values: dict[str, Any], where: str) -> Factors:
    """The table `at`, `stiffness`, `strength`, `source`, `estimates`.

    Errors: CardError: rows of unequal number, temperatures that do not rise, a range without 23 degC, or factors
    other than one there, where the card's values hold as they stand.
    """
    faults = Faults()
    check_keys(values, (*KEYS, *NOTE_KEYS), (*KEYS, "source"), where, faults)
    at = faults.of(_temperatures, values["at"], f"{where}.at") if "at" in values else None
    rows = {key: faults.of(_factors, values[key], f"{where}.{key}") for key in KEYS[1:] if key in values}
    for key, row in rows.items():
        if at is not None and row is not None and len(row) != len(at):
            faults.found.append(
                CardError(f"holds {len(row)} factors for {len(at)} temperatures.", where=f"{where}.{key}")
            )
    source = faults.of(plain, values["source"], f"{where}.source") if "source" in values else None
    estimates = faults.of(estimates_of, values, KEYS[1:], where)
    faults.refuse(where.split(": ")[0])
    out = Factors(at or (), rows["stiffness"] or (), rows["strength"] or (), source or "", estimates or ())
    if not out.covers(ROOM_TEMPERATURE) or any(abs(f - 1) > 1e-9 for f in out.between(ROOM_TEMPERATURE)):
        raise CardError(
            f"must reach over {ROOM_TEMPERATURE:g} degC, with factors of 1 there.",
            where=where,
            advice="The card's values hold at that temperature.",
        )
    return out


def _temperatures(items: Any, where: str) -> tuple[float, ...]:
    at = tuple(measured(item, "temperature", where) for item in _list(items, where))
    if len(at) < 2 or not all(low < high for low, high in pairwise(at)):
        raise CardError("must hold two temperatures or more, each above the one before.", where=where)
    return at


def _factors(items: Any, where: str) -> tuple[float, ...]:
    return tuple(factor(item, where) for item in _list(items, where))


def _list(items: Any, where: str) -> list[Any]:
    if not isinstance(items, list):
        raise CardError("must be a list.", where=where)
    return items
