"""Quantities at the border: text with a unit comes in, plain numbers in mm, N, MPa, tonne, s, K go on.

This is the one door to pint. Inside the program no number carries a unit object; the units are
those above, which are consistent: 1 N = 1 tonne mm/s^2, 1 MPa = 1 N/mm^2.
"""

from __future__ import annotations

import math
import re
from functools import cache
from typing import Any

from fem.errors import InputError

STANDARD_GRAVITY = 9806.65
"""Standard acceleration of free fall [mm/s^2], exact by definition (3rd CGPM, 1901)."""

KINDS = {
    "length": "mm",
    "area": "mm^2",
    "volume": "mm^3",
    "force": "N",
    "moment": "N*mm",
    "pressure": "N/mm^2",
    "mass": "tonne",
    "density": "tonne/mm^3",
    "acceleration": "mm/s^2",
    "speed": "mm/s",
    "angle": "rad",
    "temperature": "degC",
    "temperature difference": "delta_degC",
    "expansion": "1/delta_degC",
    "foundation stiffness": "N/mm^3",
}
"""Kind of quantity -> the unit it has inside the program; a temperature is told on its scale, in degrees Celsius."""

ABSOLUTE_ZERO = -273.15
"""[degC], exact by definition of the scale (SI Brochure, 2.3.1)."""

EXAMPLES = {
    "length": "4 mm",
    "area": "20 mm^2",
    "volume": "3 cm^3",
    "force": "2.5 kN",
    "moment": "8 N*m",
    "pressure": "3 MPa",
    "mass": "220 g",
    "density": "1.06 g/cm^3",
    "acceleration": "9.81 m/s^2",
    "speed": "60 mm/s",
    "angle": "0.4 deg",
    "temperature": "60 degC",
    "temperature difference": "40 K",
    "expansion": "2.2e-5 1/K",
    "foundation stiffness": "4000 N/mm^3",
}


@cache
def _registry() -> Any:
    import pint

    return pint.UnitRegistry(cache_folder=None)


def quantity(text: Any, kind: str, *, where: str = "") -> float:
    """The number that `text` ("2.5 kN") means in the program's own unit of its `kind` (see KINDS).

    Errors: InputError when there is no unit, one of another kind, or no finite number.
    """
    example = EXAMPLES[kind]
    if not isinstance(text, str):
        raise InputError(f"{text!r} has no unit.", where=where, advice=f'Write it as "{example}".')
    import pint

    registry = _registry()
    unreadable = InputError(
        f"{text!r} is not a quantity that can be read.", where=where, advice=f'Write it as "{example}".'
    )
    try:
        value = _on_scale(text) if kind == "temperature" else registry.Quantity(text)
    except pint.errors.OffsetUnitCalculusError:
        raise InputError(
            f"{text!r} is a temperature on a scale, not a difference.", where=where, advice=f'Write "{example}".'
        ) from None
    except Exception:  # pint's tokenizer leaks errors of its own for odd text
        raise unreadable from None
    if isinstance(value, (int, float)) or value.unitless:
        raise InputError(f"{text!r} has no unit of {_a(kind)}.", where=where, advice=f'Write it as "{example}".')
    unit = KINDS[kind]
    try:
        kelvin = kind == "temperature difference" and value.units == registry.kelvin
        number = float(value.magnitude) if kelvin else float(value.to(unit).magnitude)
    except (pint.errors.PintError, TypeError, ValueError):
        raise InputError(
            f"{text!r} is not {_a(kind)}: {value.units:~P} does not convert to {unit}.",
            where=where,
            advice=f'Write it as "{example}".',
        ) from None
    if not math.isfinite(number):
        raise InputError(f"{text!r} is not a finite number.", where=where)
    if kind == "temperature" and number < ABSOLUTE_ZERO:
        raise InputError(f"{text!r} is below absolute zero.", where=where)
    return number


def _on_scale(text: str) -> Any:
    """A temperature: number and unit apart, since a product of number and degree would be taken for a difference."""
    parts = re.fullmatch(r"\s*([-+]?[\d.]+(?:[eE][-+]?\d+)?)\s*(.+?)\s*", text)
    if parts is None:
        raise ValueError(text)
    value = _registry().Quantity(float(parts[1]), parts[2])
    # a difference would convert as if it were counted from absolute zero
    return value.magnitude if "delta_" in str(value.units) else value


def _a(kind: str) -> str:
    return ("an " if kind[0] in "aeiou" else "a ") + kind
