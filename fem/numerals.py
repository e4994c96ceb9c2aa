"""A number as people write it: decimal comma or point, thousands in groups, any minus; and what follows it.

A text of which two readings are possible is refused with both. The rules: spaces (thin and no-break ones too) and
apostrophes part thousands; where both `,` and `.` stand, the last one is the decimal mark; a mark that stands twice
parts thousands; a single point is the decimal point, so that 1.500 is 1.5; a single comma is the decimal comma,
unless one to three digits stand before it and three behind it: 1,500 is refused, 0,500 is 0.5.
"""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

from fem.errors import InputError, shown

LONGEST = 80
"""A quantity of more characters is refused unread."""
LARGEST_POWER = 400
"""Powers of ten beyond it leave the range of a double number whatever the unit (about 1e-324 to 1.8e308)."""

_DASHES = "\\-\N{MINUS SIGN}\N{HYPHEN}\N{NON-BREAKING HYPHEN}\N{FIGURE DASH}\N{EN DASH}\N{SMALL HYPHEN-MINUS}"
_DASHES += "\N{FULLWIDTH HYPHEN-MINUS}"
_SPACES = " \t\N{NO-BREAK SPACE}\N{FIGURE SPACE}\N{PUNCTUATION SPACE}\N{THIN SPACE}\N{HAIR SPACE}"
_SPACES += "\N{NARROW NO-BREAK SPACE}"
_APOSTROPHES = "'\N{RIGHT SINGLE QUOTATION MARK}"

_PARTS = re.compile(
    rf"(?P<sign>[+{_DASHES}]?)[{_SPACES}]*"
    rf"(?P<digits>(?:[0-9.,{_APOSTROPHES}]|[{_SPACES}](?=[0-9]{{3}}(?![0-9])))+)"
    rf"(?:[eE](?P<power>[+{_DASHES}]?[0-9]+))?"
    rf"(?P<rest>[^0-9].*)?",
    re.DOTALL,
)
_POINT = re.compile(r"[0-9]+|[0-9]*\.[0-9]+|[0-9]+\.")
_COMMA = re.compile(r"[0-9]*,[0-9]+")
_ALSO_THOUSANDS = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")
_GROUPED = [
    re.compile(rf"[1-9][0-9]{{0,2}}(?:{mark}[0-9]{{3}})+(?P<decimals>[{decimal}][0-9]+)?")
    for mark, decimal in ((" ", ".,"), ("'", ".,"), (",", "."), (r"\.", ","))
]


def number_and_rest(text: str) -> tuple[Decimal, str]:
    """The number at the start of `text`, exactly, and what follows it without spaces around it.

    Errors: InputError where no number stands there, where it can be read in two ways (both are named), where it
    lies far outside the range of a double number, and for a text that is too long.
    """
    if len(text) > LONGEST:
        raise InputError(f"{shown(text)} is too long for one number and one unit.")
    found = _PARTS.fullmatch(text.strip(_SPACES + "\r\n"))
    if found is None:
        raise InputError(f"{shown(text)} does not start with a number.")
    rest = (found["rest"] or "").strip(_SPACES)
    sign = "" if found["sign"] in ("", "+") else "-"
    readings = [sign + reading + _power(found["power"], text) for reading in _readings(found["digits"])]
    if len(readings) > 1:
        first, second = (f"{reading} {rest}".strip() for reading in readings)
        raise InputError(
            f"{shown(text)} can be read in two ways: {first} or {second}.", advice=f'Write "{first}" or "{second}".'
        )
    if not readings:
        raise InputError(f"{shown(text)} holds no number that can be read.")
    return Decimal(readings[0]), rest


def plain_number(text: Any) -> float:
    """A number without a unit, as people write it. Errors: InputError as for `number_and_rest`, and for a unit."""
    if not isinstance(text, str):
        raise InputError(f"{shown(text)} is not a number in text.")
    number, rest = number_and_rest(text)
    if rest:
        raise InputError(f"{shown(text)} is not a plain number: {shown(rest)} follows it.")
    return float(number)


def _readings(digits: str) -> list[str]:
    """What the digits may mean, with a decimal point and nothing else; empty when nothing."""
    plain = re.sub(f"[{_APOSTROPHES}]", "'", re.sub(f"[{_SPACES}]", " ", digits))
    if _POINT.fullmatch(plain):
        return [plain]
    if _COMMA.fullmatch(plain):
        decimal = plain.replace(",", ".")
        both = _ALSO_THOUSANDS.fullmatch(plain) is not None
        return [f"{Decimal(decimal).normalize():f}", plain.replace(",", "")] if both else [decimal]
    for form in _GROUPED:
        found = form.fullmatch(plain)
        if found is not None:
            decimals = found["decimals"] or ""
            whole = plain.removesuffix(decimals)
            return [re.sub("[^0-9]", "", whole) + decimals.replace(",", ".")]
    return []


def _power(power: str | None, text: str) -> str:
    if power is None:
        return ""
    digits = power.lstrip("+" + _DASHES)
    if len(digits.lstrip("0")) > 3 or int(digits) > LARGEST_POWER:
        raise InputError(f"{shown(text)} lies outside the numbers that can be computed with.")
    return f"e{'' if power[0] in '0123456789+' else '-'}{int(digits)}"
