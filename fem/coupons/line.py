"""The straight part of a curve: its slope, where it would start without a toe, and how far points lie off it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.errors import InputError
from fem.tensors import Array

TENSION_WINDOW = (0.0005, 0.0025)
"""Strains between which the modulus is fitted (ISO 527-1:2019, 10.3.2, by regression; ISO 178 and ISO 604 alike)."""
SHEAR_WINDOW = (0.001, 0.005)
"""Shear strains between which G12 is fitted (ISO 14129:1997; from memory)."""
FEWEST_POINTS = 4
"""With fewer points of different strain in the window no line is fitted: two would fit anything, and a third could
not tell noise."""
STEP, TELLS, LEVELS = 0.10, 0.4, 12
"""A strain that jumps by the first share of the window within it is refused, if a line with a step leaves less than
the second share of the squares that a bent line leaves; with fewer readings than the third nobody can tell."""
BENT = 0.10
"""A slope that changes by more than this share within the window is told."""
ROUNDS = 30


@dataclass(frozen=True)
class Line:
    """y = slope * (x - zero): `slope` as y over x, `zero` the strain at which the line meets zero stress, by which
    the curve is moved (the toe); `inside` (n,) which points were fitted; `residual` (n,), of those points, as y;
    `bend` the share by which the slope changes from one end of the window to the other, 0 where noise hides it."""

    slope: float
    zero: float
    inside: Any
    residual: Array
    bend: float

    @property
    def points(self) -> int:
        """How many points were fitted."""
        return int(np.count_nonzero(self.inside))


def straight_part(x: Array, y: Array, *, window: tuple[float, float]) -> Line:
    """Fits the line through the points between the strains of `window`, counted from where the line itself meets
    zero.

    A toe (slack, grips that settle) moves the curve; the straight part, made longer, tells where it would have
    started (ASTM D638-14, annex A1). The window moves with that point, and the two are found in turn, from the
    steepest part of its length on. `x` (n,) strain, `y` (n,) stress, up to the peak.

    Errors: InputError with fewer than FEWEST_POINTS points in the window.
    """
    low, high = window
    zero = _steepest(x, y, length=high - low)
    seen: list[bytes] = []
    for _ in range(ROUNDS):
        inside = (x - zero >= low) & (x - zero <= high)
        if (count := np.unique(x[inside]).size) < FEWEST_POINTS:
            _too_few(count, x, zero=zero, window=window)
        slope, start = np.polyfit(x[inside], y[inside], 1)
        if not slope > 0:
            raise InputError(
                "the load does not rise in the modulus window.",
                advice="Check which column is the load and which the path, and their signs.",
            )
        zero = -start / slope
        if inside.tobytes() in seen:
            break
        seen.append(inside.tobytes())
    near = (x - zero >= low / 2) & (x - zero <= 1.5 * high)
    _refuse_step(x[near], y[near], least=STEP * (high - low))
    residual = y[inside] - slope * (x[inside] - zero)
    return Line(float(slope), float(zero), inside, residual, _bend(x[inside], y[inside], slope))


def _steepest(x: Array, y: Array, *, length: float) -> float:
    """Where the steepest stretch of that length, below two thirds of the peak, would meet zero."""
    rising = np.flatnonzero(y <= 2 / 3 * y.max())
    last = int(rising[-1]) + 1 if rising.size else len(x)
    best, zero = 0.0, float(x[0])
    for i in range(0, last, max(1, last // 30)):
        part = np.flatnonzero((x[:last] >= x[i]) & (x[:last] <= x[i] + length))
        if part.size < FEWEST_POINTS or x[part].max() - x[part].min() < 0.6 * length:
            continue
        slope, start = np.polyfit(x[part], y[part], 1)
        if slope > best:
            best, zero = slope, -start / slope
    return float(zero)


def _refuse_step(x: Array, y: Array, *, least: float) -> None:
    """Errors: InputError where the strain jumps by `least` in or near the window: no one line belongs to it."""
    if np.unique(x).size < LEVELS:
        return
    middle = (y - y.mean()) / np.ptp(y)
    bent = np.column_stack([np.ones_like(y), middle, middle**2])
    squares_left, jump, at = TELLS * _squares(bent, x)[0], 0.0, 0
    for k in range(2, len(x) - 1, max(1, len(x) // 40)):
        stepped = np.column_stack([np.ones_like(y), middle, np.arange(len(x)) >= k])
        squares, c = _squares(stepped, x)
        if squares < squares_left:
            squares_left, jump, at = squares, c, k
    if abs(jump) > least:
        raise InputError(
            f"the strain jumps by {100 * jump:.2g} % at {y[at]:.3g} MPa, in or near the modulus window: gauge or "
            "grips slipped.",
            advice="Leave this coupon out, or say strength_only = true.",
        )


def _squares(columns: Array, x: Array) -> tuple[float, float]:
    """What least squares leave of x, and the last column's factor."""
    factors = np.linalg.lstsq(columns, x, rcond=None)[0]
    return float(np.sum((x - columns @ factors) ** 2)), float(factors[-1])


def _bend(x: Array, y: Array, slope: float) -> float:
    """The share by which the slope changes through the window; 0 unless it is three times what noise makes of it."""
    if np.unique(x).size < 8:
        return 0.0
    middle, half = (x.max() + x.min()) / 2, (x.max() - x.min()) / 2
    (curvature, _, _), spread = np.polyfit((x - middle) / half, y, 2, cov=True)
    error = float(np.sqrt(max(spread[0, 0], 0.0)))
    return float(4 * curvature / (slope * half)) if abs(curvature) > 3 * error else 0.0


def _too_few(count: int, x: Array, *, zero: float, window: tuple[float, float]) -> None:
    low, high = (100 * v for v in window)
    reached = 100 * (x.max() - zero)
    raise InputError(
        f"only {count} points of different strain lie between {low:g} and {high:g} % strain; the record reaches "
        f"{reached:.3g} %.",
        advice=f"Record at least {FEWEST_POINTS} there, better 20, or say strength_only = true; check gauge length "
        "and units where the strain looks wrong.",
    )
