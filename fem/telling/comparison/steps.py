"""The effect of each step of a swept number, gathered over all variants in which that step can be taken."""

from __future__ import annotations

import statistics
from collections.abc import Iterable
from dataclasses import dataclass

from fem.digits import number
from fem.judging.choice import Comparison, Step
from fem.judging.mesh_apart import of_mesh


@dataclass(frozen=True)
class Spread:
    """Middle, least and most of a number over the steps that have it; None where none has."""

    middle: float | None
    low: float | None
    high: float | None
    count: int

    def text(self, *, scale: float = 1.0, sign: bool = True) -> str:
        """Middle, and the range where it is one."""
        if self.middle is None or self.low is None or self.high is None:
            return "not known"
        out = _signed(self.middle * scale, sign)
        if self.count > 1 and abs(self.high - self.low) > 1e-9 * max(abs(self.high), abs(self.low)):
            out += f" ({_signed(self.low * scale, sign)} to {_signed(self.high * scale, sign)})"
        return out


@dataclass(frozen=True)
class StepRow:
    """One step of one key, over all settings of the others; in `level` of them it changes no reserve that could be
    told.
    """

    key: str
    start: str
    end: str
    count: int
    mass_g: Spread
    time_h: Spread
    cost: Spread
    reserve: Spread
    stiffness: Spread
    reserve_per_g: Spread
    reserve_per_h: Spread
    stiffness_per_g: Spread
    stiffness_per_h: Spread
    level: int = 0


NUMBERS = (
    "mass_g", "time_h", "cost", "reserve", "stiffness", "reserve_per_g", "reserve_per_h", "stiffness_per_g",
    "stiffness_per_h",
)  # fmt: skip


def step_rows(comparison: Comparison) -> list[StepRow]:
    """The steps of each swept key in the order of the comparison, each gathered over the other keys' settings."""
    groups: dict[tuple[str, str, str], list[Step]] = {}
    for step in comparison.steps:
        groups.setdefault((step.key, step.from_setting, step.to_setting), []).append(step)
    order = list(comparison.sweep)
    rows = [
        StepRow(
            key,
            start,
            end,
            len(steps),
            **{n: spread_of(getattr(s, n) for s in steps) for n in NUMBERS},
            level=sum(s.level and bool(s.reserve) for s in steps),
        )
        for (key, start, end), steps in groups.items()
    ]
    return sorted(rows, key=lambda r: order.index(r.key) if r.key in order else len(order))


def spread_of(values: Iterable[float | None]) -> Spread:
    """Middle and range of the values that are known."""
    known = [v for v in values if v is not None]
    if not known:
        return Spread(None, None, None, 0)
    return Spread(statistics.median(known), min(known), max(known), len(known))


def best_buy(rows: list[StepRow]) -> str:
    """A sentence on which step raises reserve and stiffness most per gram, by its median; a mesh buys neither, and
    a step that is level in half of its pairs or more buys no reserve.
    """
    rows = [r for r in rows if not of_mesh(r.key)]
    parts = []
    for name, what, unit, scale in (
        ("reserve_per_g", "reserve factor", "per 10 g", 10.0),
        ("stiffness_per_g", "stiffness", "% per 10 g", 1000.0),
    ):
        told = [r for r in rows if name != "reserve_per_g" or 2 * r.level < r.count]
        known = [(spread.middle, r) for r in told if (spread := getattr(r, name)).middle is not None]
        if not known:
            continue
        most, row = max(known, key=lambda item: item[0] or 0.0)
        if most is not None and most > 0:
            parts.append(
                f"the {what} rises most for its mass with {row.key.split('.')[-1]} from {row.start} to {row.end} "
                f"({_signed(most * scale, True)} {unit})"
            )
    text = "; ".join(parts)
    return f"{text[0].upper()}{text[1:]}." if text else ""


def _signed(value: float, sign: bool) -> str:
    return ("+" if sign and value > 0 else "") + number(value)
