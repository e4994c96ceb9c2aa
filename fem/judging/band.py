"""How far a number may lie off: its lowest and highest value, and what that means for a limit."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

MADE_BY = ONE_MESH, SEVERAL_MESHES = "one mesh", "several meshes"
"""What a homogenised number's band may come from. What one mesh is off by, all variants on it have in common."""
MET, NOT_MET, NOT_DECIDED = "met", "not met", "not decided"


@dataclass(frozen=True)
class Band:
    """From `low` to `high`, both included; infinite where a number is unlimited."""

    low: float
    high: float

    def __post_init__(self) -> None:
        if math.isnan(self.low) or math.isnan(self.high) or self.low > self.high:
            raise ValueError(f"a band from {self.low} to {self.high} is none")

    @classmethod
    def holding(cls, values: Iterable[float]) -> Band:
        """The narrowest band that holds all of the values."""
        each = list(values)
        return cls(min(each), max(each))

    def joined(self, other: Band) -> Band:
        """The narrowest band that holds both."""
        return Band(min(self.low, other.low), max(self.high, other.high))

    def overlaps(self, other: Band) -> bool:
        return self.low <= other.high and other.low <= self.high

    def at_least(self, limit: float) -> str:
        """Whether a number in this band reaches a lower limit: met, not met, or not decided where it straddles it."""
        return MET if self.low >= limit else NOT_MET if self.high < limit else NOT_DECIDED

    def at_most(self, limit: float) -> str:
        """Whether a number in this band keeps an upper limit."""
        return MET if self.high <= limit else NOT_MET if self.low > limit else NOT_DECIDED


def band_of(told: tuple[float, ...], value: float) -> Band:
    """The band that findings tell as (low, high); the number itself where they tell none."""
    return Band(*told) if told else Band(value, value)
