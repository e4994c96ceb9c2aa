"""Numbers as text: sensible digits, and never rounded across a limit that they are compared with."""

from __future__ import annotations

import math

UNLIMITED = "unlimited"
MOST_DIGITS = 15


def number(value: float | None, *, digits: int = 3) -> str:
    """`value` with that many significant digits, without an exponent between 1e-4 and 1e6."""
    if value is None or math.isnan(value):
        return "not known"
    if math.isinf(value):
        return UNLIMITED if value > 0 else "-" + UNLIMITED
    if value == 0:
        return "0"
    size = abs(value)
    if not 1e-4 <= size < 1e6:
        mantissa, power = f"{value:.{digits - 1}e}".split("e")
        return f"{mantissa}e{int(power)}"
    places = max(0, digits - 1 - math.floor(math.log10(size)))
    return f"{value:.{places}f}"


def against(value: float | None, limit: float, *, digits: int = 3) -> str:
    """`value` with as many digits as it takes for the text to lie on the value's own side of `limit`."""
    if value is None or not math.isfinite(value):
        return number(value)
    for more in range(digits, MOST_DIGITS + 1):
        text = number(value, digits=more)
        if (float(text) > limit, float(text) < limit) == (value > limit, value < limit):
            return text
    return repr(value)


def reserve_text(value: float | None, *, limit: float | None = None, digits: int = 3) -> str:
    """A reserve factor, rounded down: what is short of a limit is never told as reaching it.

    Beside a `limit` of more digits than these it gets as many as it takes for one that reaches it to show it.
    """
    if value is None or value >= 1e6:
        return UNLIMITED
    if not value > 0:
        return "0.00" if value == 0 else number(value, digits=digits)
    if limit is not None and value >= limit:
        texts = (reserve_text(value, digits=more) for more in range(digits, MOST_DIGITS + 1))
        return next((text for text in texts if float(text) >= limit), repr(value))
    text = number(value, digits=digits)
    if float(text) <= value:
        return text
    step = 10.0 ** min(0, math.floor(math.log10(value)) - digits + 1)
    return number(float(text) - step, digits=digits)


def with_unit(value: float | None, unit: str, *, limit: float | None = None) -> str:
    """A number and its unit, on its own side of a `limit`; a unit of "" or "1" is a plain ratio."""
    text = number(value) if limit is None else against(value, limit)
    return text if unit in ("", "1", "-") or text == UNLIMITED else f"{text} {unit}"


def chance_text(chance: float, error: float) -> str:
    """A chance with its standard error, never told as 1 or 0; without an error it is a bound, above or below."""
    if error == 0:
        return f"> {math.floor(chance * 1e4) / 1e4:.4f}" if chance > 0.5 else f"< {math.ceil(chance * 1e4) / 1e4:.4f}"
    places = max(2, -math.floor(math.log10(error)))
    while places < MOST_DIGITS and float(f"{chance:.{places}f}") in (0.0, 1.0):
        places += 1
    return f"{chance:.{places}f} ± {max(error, 10.0**-places):.{places}f}"
