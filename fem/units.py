"""Quantities at the border: text of one number and one unit comes in, plain numbers in mm, N, MPa, tonne, s, K go on.

This is the one door to pint, and pint sees single words only: number and unit are read by a grammar of our own.
Inside the program no number carries a unit object; the units are those above, which are consistent:
1 N = 1 tonne mm/s^2, 1 MPa = 1 N/mm^2.
"""

from __future__ import annotations

import re
from decimal import Context, Decimal
from functools import cache, lru_cache
from typing import Any

from fem.errors import InputError, shown
from fem.numerals import number_and_rest

STANDARD_GRAVITY = 9806.65
"""Standard acceleration of free fall [mm/s^2], exact by definition (3rd CGPM, 1901)."""

KINDS = {
    "length": "mm",
    "area": "mm^2",
    "volume": "mm^3",
    "force": "N",
    "moment": "N*mm",
    "pressure": "N/mm^2",
    "pressure gradient": "N/mm^3",
    "mass": "tonne",
    "density": "tonne/mm^3",
    "acceleration": "mm/s^2",
    "speed": "mm/s",
    "angle": "rad",
    "temperature": "degC",
    "temperature difference": "delta_degC",
    "expansion": "1/delta_degC",
    "spring stiffness": "N/mm",
    "foundation stiffness": "N/mm^3",
    "toughness": "N/mm^1.5",
    "compliance": "mm/N",
    "time": "s",
}
"""Kind of quantity -> the unit it has inside the program; a temperature is told on its scale, in degrees Celsius."""

ABSOLUTE_ZERO = -273.15
"""[degC], exact by definition of the scale (SI Brochure, 2.3.1)."""

EXAMPLES = {
    "length": "4 mm",
    "area": "20 mm^2",
    "volume": "3 cm^3",
    "force": "250 N",
    "moment": "8 N*m",
    "pressure": "3 MPa",
    "pressure gradient": "10 kPa/m",
    "mass": "220 g",
    "density": "1.06 g/cm^3",
    "acceleration": "9.81 m/s^2",
    "speed": "60 mm/s",
    "angle": "0.4 deg",
    "temperature": "60 degC",
    "temperature difference": "40 K",
    "expansion": "2.2e-5 1/K",
    "spring stiffness": "200 N/mm",
    "foundation stiffness": "4000 N/mm^3",
    "toughness": "3 MPa*m^0.5",
    "compliance": "0.02 mm/kN",
    "time": "190 min",
}

SMALLEST, LARGEST = 1e-30, 1e30
"""What a quantity may be in the program's own unit, zero aside: whatever lies beyond is a slip, and products of ten
of what lies between stay inside the range of a double number."""

MOST_FACTORS = 6
"""A unit of more words than this is refused; a power may be as large as the grammar of `_FACTOR` says."""

_SUPERSCRIPTS = str.maketrans("⁻⁺¹²³⁴⁵⁶", "-+123456")
_FACTOR = re.compile(
    r"(?P<word>(?:[A-Za-zµμÅ]+(?:_[A-Za-z]+|_0)*|°[CF]?|℃|℉))"
    r"(?:\s*(?:\^|\*\*)\s*(?:(?P<power>[+\-−]?[1-6])|(?P<half>[+\-−]?(?:[01]?[.,]5|\([13]/2\))))(?![.,])"
    r"|(?P<raised>[⁻⁺]?[¹²³⁴⁵⁶])|(?P<beside>[2-6]))?(?![0-9])"
)
_ROOT = re.compile(r"√\s*(?P<bare>[A-Za-zµμ]+)|(?:√|\bsqrt)\s*\(\s*(?P<held>[A-Za-zµμ]+)\s*\)")
_BETWEEN = re.compile(r"\s*(?P<sign>[*·⋅/])\s*|\s+")
_WORDS = {"°C": "degC", "℃": "degC", "°F": "degF", "℉": "degF", "°": "deg"}
_TWO_WORDS = {f"{force}{arm}": (force, arm) for force in ("mN", "N", "daN", "kN", "MN") for arm in ("m", "cm", "mm")}
_SCALES = {"degree_Celsius": "delta_degree_Celsius", "degree_Fahrenheit": "delta_degree_Fahrenheit"}
_EXACT = Context(prec=150)

Factors = tuple[tuple[str, int], ...]
"""Words of a unit, each with twice its power: a toughness holds the root of a length."""


@cache
def _registry() -> Any:
    import pint

    return pint.UnitRegistry(cache_folder=None, non_int_type=Decimal)


def quantity(text: Any, kind: str, *, where: str = "") -> float:
    """The number that `text` ("2.5 kN") means in the program's own unit of its `kind` (see KINDS).

    The text is one number (see fem.numerals) and one unit: words with whole powers from -6 to 6 or with half ones
    (m^0.5, √m, mm^1.5), between them `*`, `·` or a space for a product and `/` for a quotient; after a `/` only
    further `/` may follow, since N/mm*mm has two readings. The result is the double number nearest to what the text
    says.

    Errors: InputError when the text is no number with a unit, the unit is of another kind, two readings are possible
    (both are named), or the number is too large or too small to be computed with.
    """
    try:
        return _quantity(text, kind)
    except InputError as error:
        raise InputError(
            error.message, where=where, advice=error.advice or f'Write it as "{_example(text, kind)}".'
        ) from None


def _example(text: Any, kind: str) -> str:
    """How a quantity is written: the user's own number with a unit, or an example of the kind."""
    small = isinstance(text, int | float) and not isinstance(text, bool) and abs(text) < 1e9
    number = f"{text}" if small else text.strip() if isinstance(text, str) else ""
    plain = len(number) <= 12 and re.fullmatch(r"-?\d+(\.\d+)?", number)
    return f"{number} {EXAMPLES[kind].split(' ', 1)[1]}" if plain else EXAMPLES[kind]


def unit_size(unit: Any, kind: str, *, where: str = "") -> float:
    """How large one `unit` ("cm") is in the program's own unit of its `kind`. Errors: as for `quantity`."""
    if not isinstance(unit, str) or not unit or unit[:1].isdigit():
        raise InputError(f"{shown(unit)} is not a unit of {kind}.", where=where)
    return quantity(f"1 {unit}", kind, where=where)


def _quantity(text: Any, kind: str) -> float:
    if not isinstance(text, str):
        raise InputError(f"{shown(text)} has no unit.")
    number, unit = number_and_rest(text)
    if not unit:
        raise InputError(f"{shown(text)} has no unit of {_a(kind)}.")
    factors = _factors(unit, text)
    on_scale = len(factors) == 1 and factors[0][1] == 2 and factors[0][0] in _SCALES
    if on_scale and kind != "temperature":
        wanted = "a difference" if kind == "temperature difference" else _a(kind)
        raise InputError(f"{shown(text)} is a temperature on a scale, not {wanted}.")
    if kind == "temperature":
        out = float(_on_scale(number, factors, text))
    else:
        size = _size(factors, kind)
        if size is None:
            raise InputError(f"{shown(text)} is not {_a(kind)}: {unit} does not convert to {KINDS[kind]}.")
        out = float(_EXACT.multiply(number, size))
    if abs(out) > LARGEST or (kind != "temperature" and number != 0 and abs(out) < SMALLEST):
        raise InputError(f"{shown(text)} is too {'large' if abs(out) > 1 else 'small'} to be computed with.")
    if kind == "temperature" and out < ABSOLUTE_ZERO:
        raise InputError(f"{shown(text)} is below absolute zero.")
    return out


@lru_cache(maxsize=1024)
def _size(factors: Factors, kind: str) -> Decimal | None:
    """One unit in the program's own unit of the kind, exactly; None when it does not convert."""
    # beside other words a degree can only be a difference
    size, made = _square([(_SCALES.get(word, word), power) for word, power in factors])
    own, wanted = _square(list(_names(KINDS[kind])))
    return _EXACT.divide(size, own).sqrt(_EXACT) if made == wanted else None


@cache
def _names(unit: str) -> Factors:
    return _factors(unit, unit)


def _square(factors: list[tuple[str, int]]) -> tuple[Decimal, Any]:
    """The square of a product of units: its size in base units, and those."""
    registry = _registry()
    product = registry.UnitsContainer({})
    for word, power in factors:
        product = product * registry.UnitsContainer({word: power})
    size, units = registry.get_root_units(product, check_nonmult=False)
    return Decimal(size), dict(units._units)


def _on_scale(number: Decimal, factors: Factors, text: str) -> Decimal:
    """A temperature [degC] from its scale; a difference would convert as if counted from absolute zero."""
    registry = _registry()
    (word, power), *more = factors
    if more or power != 2 or "delta_" in word or registry.get_dimensionality({word: 1}) != {"[temperature]": 1}:
        raise InputError(f"{shown(text)} is not a temperature.")
    return Decimal(registry.Quantity(number, word).to("degC").magnitude)


def _factors(unit: str, text: str) -> Factors:
    """The words of a unit, by pint's own names, each with twice its power."""
    unread = InputError(f"{shown(text)} is not one number and one unit: {shown(unit)} is no unit.")
    out: list[tuple[str, int]] = []
    unit = _ROOT.sub(lambda root: f"{' ' * (root.start() > 0)}{root['bare'] or root['held']}^0.5", unit)
    over = re.match(r"(?:1\s*)?/\s*", unit)
    place, below, words = over.end() if over else 0, over is not None, 0
    while True:
        found = _FACTOR.match(unit, place)
        words += 1
        if found is None or words > MOST_FACTORS:
            raise unread
        twice = _twice(found) * (-1 if below else 1)
        out += [(_known(word, text), twice) for word in _TWO_WORDS.get(found["word"], (found["word"],))]
        place = found.end()
        if place == len(unit):
            return tuple(out)
        between = _BETWEEN.match(unit, place)
        if between is None:
            raise unread
        if below and between["sign"] != "/":
            top, bottom = unit[:place], unit[between.end() :]
            raise InputError(
                f"{shown(text)} can be read in two ways: ({top})*{bottom} or {top}/{bottom}.",
                advice="Write what is above the line first, then each unit below it after a / of its own.",
            )
        below, place = between["sign"] == "/", between.end()


def _twice(found: re.Match[str]) -> int:
    """Twice the power that stands with a word of a unit."""
    if found["half"]:
        power = found["half"].replace("−", "-").replace(",", ".")
        three = "3" in power or "1." in power
        return (-1 if power.startswith("-") else 1) * (3 if three else 1)
    whole = found["power"] or (found["raised"] or found["beside"] or "1").translate(_SUPERSCRIPTS)
    return 2 * int(whole.replace("−", "-"))


def _known(word: str, text: str) -> str:
    """pint's name of a unit word."""
    if word == "ton":
        raise InputError(f"{shown(text)} can be read in two ways: tonne (1000 kg) or short_ton (907.2 kg).")
    registry = _registry()
    found = registry.parse_unit_name(_WORDS.get(word, word))
    name = found[0][0] + found[0][1] if found else ""
    if found and found[0][0] and found[0][1] in _SCALES:  # a millidegree on a scale
        name = ""
    # numbers with a name, such as percent or pi, are no units
    if not name or (not registry.get_root_units({name: 1}, check_nonmult=False)[1]._units):
        raise InputError(f'{shown(text)} is not one number and one unit: no unit is called "{word}".')
    return str(name)


def _a(kind: str) -> str:
    return ("an " if kind[0] in "aeiou" else "a ") + kind
