"""What a case comes to as its growing loads grow: the numbers of each solved load factor, and what joints do between
them. Nothing here solves: see `load_trace.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

Vector = tuple[float, ...]

LOST = 0.02
"""A joint begins to open where it touches on less of its area than at the lowest factor, by this share of it."""
ALL_OVER = 0.999
"""The share of an area that counts as the whole of it."""


@dataclass(frozen=True)
class JointAtLoad:
    """A joint at one load factor: see `JointFindings`."""

    force_N: Vector
    touching: float
    slipping: float
    gap_max_mm: float
    slip_max_mm: float


@dataclass(frozen=True)
class PathPoint:
    """A case whose growing loads are `factor` times as large, solved anew with what touches then. `reserve` is how
    often all its stress, that of permanent loads too, could be multiplied until the material fails: 1 at the load of
    failure (null: unlimited). `asked_by` says what it was solved for: "case", "reserve" (the search for the reserve
    factor), "path" (this list alone).
    """

    factor: float
    maximum_displacement_mm: float
    reserve: float
    asked_by: str
    joints: dict[str, JointAtLoad] = field(default_factory=dict)


@dataclass(frozen=True)
class Between:
    """A change that lies between two solved load factors, `low` and `high`; at the lowest one already where they are
    the same.
    """

    low: float
    high: float


def opens(path: Sequence[PathPoint], joint: str) -> Between | None:
    """Where a joint begins to open as the load grows, on a path in order of factors; None where it does not.

    What counts is the area on which it touches at the lowest factor. Without permanent loads, a joint that does not
    touch all over at the lowest factor is open from the start.
    """
    first = path[0].joints[joint].touching
    if first == 0 or (path[0].factor > 0 and first < ALL_OVER):
        return Between(path[0].factor, path[0].factor)
    return _first(path, [point.joints[joint].touching < (1 - LOST) * first for point in path])


def slips(path: Sequence[PathPoint], joint: str) -> Between | None:
    """Where a joint begins to slip wherever it touches; None where some of it sticks at every load."""
    every = [point.joints[joint] for point in path]
    return _first(path, [j.touching > 0 and j.slipping >= ALL_OVER * j.touching for j in every])


def _first(path: Sequence[PathPoint], there: Sequence[bool]) -> Between | None:
    """Between which factors something is there for the first time."""
    for number, (point, now) in enumerate(zip(path, there, strict=True)):
        if now:
            return Between(path[max(number - 1, 0)].factor, point.factor)
    return None
