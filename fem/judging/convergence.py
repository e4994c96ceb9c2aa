"""How far the numbers of a finest mesh may lie off, from what they were on the meshes before.

The grid convergence index takes three meshes whose numbers approach a limit like h^p: the order p that they show, the
limit, and a band around the finest number. An order above twice the formal one is no order but numbers that settle
faster than theory, or agree by chance: then the formal order counts, from each of the two steps, and the larger band,
with the factor of those whose order nobody knows. Where they show none that makes sense, the band is their spread
times that factor.
Sources: P. J. Roache, J. Fluids Engineering 116 (1994) 405; for meshes refined by unequal ratios I. B. Celik and
others, J. Fluids Engineering 130 (2008) 078001; for orders that are too high W. L. Oberkampf and C. J. Roy,
Verification and Validation in Scientific Computing (2010), section 8.7 (never more than the formal order).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from fem.errors import NoTrustworthyAnswer
from fem.judging.band import Band

SAFETY = 1.25
"""Roache's factor for three meshes."""
SPREAD_SAFETY = 3.0
"""His factor for two meshes, whose order nobody knows: the spread of the last values times it."""
FORMAL_ORDER = 2.0
"""Order at which the stress of second-order tetrahedra comes near a smooth exact one."""
LEAST_ORDER = 0.5
LEAST_ROTATION = 1e-3
"""Rotations [deg] below this are alike."""


@dataclass(frozen=True)
class GridConvergence:
    """What three meshes show: the `order` p (the formal one where they show far too high a one), the `limit` that the
    numbers approach, and the `index`, the band around the finest number as a share of it."""

    order: float
    limit: float
    index: float


def grid_convergence(
    values: Sequence[float], sizes: Sequence[float], *, formal: float = FORMAL_ORDER, singular: bool = False
) -> GridConvergence:
    """The grid convergence index of numbers on three meshes, the finest first, with edges of these `sizes`.

    Errors: NoTrustworthyAnswer where the numbers do not come nearer to a limit from one side, at an order of at least
    LEAST_ORDER, or at a `singular` place, which has no limit.
    """
    f1, f2, f3 = values
    r21, r32 = sizes[1] / sizes[0], sizes[2] / sizes[1]
    if singular:
        raise NoTrustworthyAnswer("a singular place has no limit.")
    if not (min(r21, r32) > 1 and math.isfinite(f1 + f2 + f3)):
        raise NoTrustworthyAnswer("three numbers on ever finer meshes are needed.")
    first, second = f2 - f1, f3 - f2
    if first * second <= 0:
        raise NoTrustworthyAnswer("the numbers do not approach a limit from one side.")
    order = _order(second / first, r21, r32)
    if order < LEAST_ORDER:
        raise NoTrustworthyAnswer(f"the numbers show no order of at least {LEAST_ORDER:g}.")
    fast = order > 2 * formal
    order, safety = (formal, SPREAD_SAFETY) if fast else (order, SAFETY)
    # At an order that was shown, both steps say the same
    step = max(first / (r21**order - 1), second / ((r32**order - 1) * r21**order), key=abs)
    return GridConvergence(order, f1 - step, safety * abs(step / f1) if f1 else math.inf)


def _order(ratio: float, r21: float, r32: float) -> float:
    """The p for which (r32^p - 1) r21^p / (r21^p - 1) is `ratio`, that of the steps; 0 or infinite where it lies
    below or above all of these."""

    def shown(p: float) -> float:
        return (r32**p - 1) * r21**p / (r21**p - 1)

    low, high = 1e-6, 40.0
    if not shown(low) < ratio < shown(high):
        return 0.0 if ratio <= shown(low) else math.inf
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (middle, high) if shown(middle) < ratio else (low, middle)
    return (low + high) / 2


def band_from(values: Sequence[float], sizes: Sequence[float], *, singular: bool = False) -> Band | None:
    """The band of the last of `values`, which lie on ever finer meshes of these `sizes`; None for one mesh alone."""
    last, edges = list(values)[-3:], list(sizes)[-3:]
    if len(last) < 2:
        return None
    if not all(map(math.isfinite, last)):
        return Band.holding(last)
    value = last[-1]
    off = SPREAD_SAFETY * (max(last) - min(last))
    try:
        if len(last) < 3:
            raise NoTrustworthyAnswer("two meshes show no order.")
        found = grid_convergence(last[::-1], edges[::-1], singular=singular)
        slow = found.order < FORMAL_ORDER
        off = found.index * abs(value) if slow else min(off, found.index * abs(value))
    except NoTrustworthyAnswer:
        pass
    return Band(value - off, value + off)


def holds_within(values: Sequence[float], accuracy: float, *, floor: float = 0.0) -> bool:
    """Whether the last of `values` differs from the one before by no more than `accuracy` of it; numbers below
    `floor` are alike."""
    if len(values) < 2:
        return False
    before, last = values[-2:]
    if before == last:
        return True
    return math.isfinite(before - last) and abs(last - before) <= accuracy * max(abs(last), floor)


@dataclass(frozen=True)
class Pass:
    """One mesh on the way: its `unknowns`, `size` [mm] a mean edge, the relative `energy_error`, and by case the
    values that are watched: "reserve", "reserve_away" (from singular places), "maximum_displacement_mm",
    "faces.NAME.displacement_mm", "faces.NAME.rotation_deg". The least reserve of the `singular` cases is read where a
    support or load makes the stress."""

    unknowns: int
    size: float
    energy_error: float
    values: Mapping[str, Mapping[str, float]]
    singular: frozenset[str] = frozenset()

    @property
    def as_dict(self) -> dict[str, Any]:
        """As in `trust.passes`; an unlimited reserve is None."""
        cases = {
            name: {key: value if math.isfinite(value) else None for key, value in own.items()}
            for name, own in self.values.items()
        }
        return {
            "unknowns": self.unknowns,
            "mean_edge_mm": self.size,
            "relative_energy_error": self.energy_error,
            "cases": cases,
        }


@dataclass
class PassHistory:
    """All meshes so far, the `accuracy` asked for, and what ended the refinement: `stopped_by` is "accuracy",
    "unknowns", "memory", "time", "passes", "mesh" (no finer one could be made) or "solver" (it did not arrive)."""

    accuracy: float
    passes: list[Pass] = field(default_factory=list)
    stopped_by: str = ""

    def series(self, case: str, key: str) -> list[float]:
        """A value of a case, mesh by mesh."""
        return [each.values[case][key] for each in self.passes]

    @property
    def sizes(self) -> list[float]:
        return [each.size for each in self.passes]

    def unsettled(self) -> list[str]:
        """Which values still change by more than the accuracy, in words; all of them after one mesh.

        A least reserve at a singular place never stands still: there the one away from such places counts.
        """
        out, last = [], self.passes[-1]
        for case, own in last.values.items():
            for key in own:
                if key == ("reserve" if case in last.singular else "reserve_away"):
                    continue
                # What hardly moves beside the part's own largest displacement need not stand still
                still = {"displacement_mm": 0.1 * own["maximum_displacement_mm"], "rotation_deg": LEAST_ROTATION}
                floor = still.get(key.rpartition(".")[2], 0.0)
                if not holds_within(self.series(case, key), self.accuracy, floor=floor):
                    out.append(f"{case}: {key}")
        return out

    def bands(self, case: str) -> dict[str, tuple[float, ...]]:
        """The band of each value of a case; of magnitudes, which are never below zero."""
        out: dict[str, tuple[float, ...]] = {}
        for key in self.passes[-1].values[case]:
            band = band_from(self.series(case, key), self.sizes)
            if band is not None:
                out[key] = (max(band.low, 0.0), band.high)
        return out
