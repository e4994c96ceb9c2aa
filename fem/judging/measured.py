"""What a measured load-deflection curve says: where it truly begins, its straight part, its first knee, its failure.

Toe: slack and settling bend the start of a curve; its straight part, drawn back to no load, is where the deflection
counts from (ISO 178:2019, ASTM D790 annex A1). What the machine itself gives is taken off first.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fem.errors import InputError
from fem.tensors import Array

LEAST_POINTS = 5
"""A curve of fewer points tells no straight part from a bend."""
BACK = 0.01
"""Share of the largest deflection by which a reading may step back: the noise of a gauge, not an unloading."""
SHORT = 0.2
"""Share of the largest load that the straight part spans at least."""
STRAIGHT = 0.005
"""Share of the largest load by which points may lie off the line, beyond the noise, and still be straight."""
KNEE = 0.03
"""Share of the line's load by which a curve stays below it from its first knee on."""
BROKEN = 0.1
"""Share of the largest load by which it has to fall afterwards, for failure to have been seen."""
KNOTS = 60
"""A curve is looked at in so many pieces for its straight part."""


@dataclass(frozen=True)
class MeasuredCurve:
    """A measured curve as read: `deflection` (n,) [mm] as the gauge told it, `load` (n,) [N], the machine's own
    `compliance` [mm/N]. Errors: InputError for fewer than five points, signs that oppose each other, loads that do
    not rise, and deflections that go back before the largest load.
    """

    deflection: Array
    load: Array
    compliance: float = 0.0

    def __post_init__(self) -> None:
        if len(self.load) < LEAST_POINTS:
            told = f"the curve has {len(self.load)} points, fewer than {LEAST_POINTS}."
            raise InputError(told, advice="Leave the points in that the tester recorded.")
        if not (np.isfinite(self.load).all() and np.isfinite(self.deflection).all()):
            raise InputError("the curve holds numbers that are not finite.")
        _check_signs(self.deflection - self.deflection[0], self.load)
        top = int(self.load.argmax()) + 1
        _check_way(self.deflection[:top], "the deflection")
        if self.compliance:
            told = f"without what the machine gives ({self.compliance:g} mm/N) the deflection"
            _check_way(self.corrected[:top], told, advice="Check `compliance`.")

    @property
    def corrected(self) -> Array:
        """Deflection (n,) [mm] without what the machine gives, not yet counted from the toe."""
        return np.asarray(self.deflection - self.compliance * self.load)


@dataclass(frozen=True)
class CurveReading:
    """What a curve says: its initial `stiffness` [N/mm] from a straight part between two loads `straight` [N], the
    `toe` [mm] from which deflection counts, the `first_knee` [N] (None: it has none before its largest load), the
    largest load `failure` [N], and whether the load fell after it (`broke`). `noise` [N] of the load about the line.
    """

    stiffness: float
    straight: tuple[float, float]
    toe: float
    first_knee: float | None
    failure: float
    broke: bool
    noise: float


def read_curve(curve: MeasuredCurve) -> CurveReading:
    """Read a curve. Errors: InputError where it has no straight part that rises."""
    top = int(curve.load.argmax())
    x, y = curve.corrected[: top + 1], curve.load[: top + 1]
    noise = _noise(x, y)
    first, last = _straight_part(x, y, noise)
    slope, start = _line(x[first : last + 1], y[first : last + 1])
    if not slope > 0:
        raise InputError("the curve has no straight part in which load rises with deflection.")
    after = curve.load[top:]
    broke = bool(after.min() <= (1 - BROKEN) * curve.load[top])
    knee = _knee(x, y, last, slope, start, noise)
    ends = float(y[first]), float(y[last])
    return CurveReading(slope, ends, -start / slope, knee, float(curve.load[top]), broke, noise)


def _check_signs(deflection: Array, load: Array) -> None:
    most = int(np.abs(load).argmax())
    turned = "Turn the sign of that column, so that both grow the way the case loads the part."
    if load[most] <= 0:
        raise InputError("the load of the curve is negative, opposite to that of the case.", advice=turned)
    if deflection[most] <= 0:
        raise InputError("the deflection runs against the load, which only grows.", advice=turned)


def _check_way(deflection: Array, what: str, *, advice: str = "") -> None:
    least = np.maximum.accumulate(deflection) - BACK * float(np.ptp(deflection))
    back = np.flatnonzero(deflection < least)
    if len(back):
        at, peak = int(back[0]), float(deflection[: int(back[0])].max())
        told = (
            f"{what} is not monotonic: from {peak:.4g} mm it goes back to {deflection[at]:.4g} mm at point {at + 1}."
        )
        raise InputError(told, advice=advice or "Leave one loading without unloading in the file.")


def _line(x: Array, y: Array) -> tuple[float, float]:
    """Slope and load at no deflection of the line through points, by least squares."""
    middle = float(x.mean())
    spread = float(((x - middle) ** 2).sum())
    slope = float(((x - middle) * (y - y.mean())).sum()) / spread if spread > 0 else 0.0
    return slope, float(y.mean()) - slope * middle


def _noise(x: Array, y: Array) -> float:
    """Standard deviation [N] of the load, from what points lie off the line of their two neighbours."""
    width = np.where(x[2:] > x[:-2], x[2:] - x[:-2], 1.0)
    share = np.clip((x[1:-1] - x[:-2]) / width, 0.0, 1.0)
    off = y[1:-1] - (1 - share) * y[:-2] - share * y[2:]
    each = off / np.sqrt(1 + share**2 + (1 - share) ** 2)
    return float(np.median(np.abs(each)) / 0.6745) if len(each) else 0.0


def _straight_part(x: Array, y: Array, noise: float) -> tuple[int, int]:
    """First and last point of the steepest piece that spans enough load, made as long as it stays straight."""
    knots = [int(k) for k in np.unique(np.linspace(0, len(y) - 1, min(len(y), KNOTS)))]
    top = float(y.max())
    limit = STRAIGHT * top + 3 * noise
    shortest: dict[int, int] = {}
    for n, i in enumerate(knots):
        long = [j for j in knots[n + 2 :] if y[j] - y[i] >= SHORT * top]
        shortest |= {i: long[0]} if long else {}
    if not shortest:
        return 0, len(y) - 1

    def straight(i: int, j: int) -> bool:
        slope, start = _line(x[i : j + 1], y[i : j + 1])
        return float(np.abs(y[i : j + 1] - start - slope * x[i : j + 1]).max()) <= limit

    first, last = max(
        shortest.items(), key=lambda piece: _line(x[piece[0] : piece[1] + 1], y[piece[0] : piece[1] + 1])[0]
    )
    for j in [k for k in knots if k > last]:
        if not straight(first, j):
            break
        last = j
    for i in [k for k in reversed(knots) if k < first]:
        if not straight(i, last):
            break
        first = i
    return first, last


def _knee(x: Array, y: Array, last: int, slope: float, start: float, noise: float) -> float | None:
    """The load at which the curve leaves its straight line for good, or falls by more than noise."""
    line = start + slope * x
    below = line - y > KNEE * np.maximum(line, 0.0) + 3 * noise
    below[: last // 2] = False
    stays = np.flatnonzero(~below)
    begins = int(stays[-1]) + 1 if len(stays) else 0
    if begins >= len(y):
        return None
    # Between the last point on the line and the first below it, the larger load was still borne
    return float(y[max(begins - 1, 0) : begins + 1].max())
