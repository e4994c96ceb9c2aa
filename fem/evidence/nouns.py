"""A row of evidence: one number known from outside, and what the program makes of it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from fem.errors import InputError


@dataclass(frozen=True)
class Row:
    """One comparison, as it came out.

    `problem` says what was asked, `source` where `published` comes from, `computed` what the program found, both in
    `unit`; `how` in a few words what was computed, on which mesh; `note` what a reader must know of the published
    number. `allowed` is the relative difference that a right answer keeps to, set by what the mesh and the published
    digits can give; a row beyond it stays in the list and is marked. None for a comparison with an experiment, which
    is told as it came out and held to nothing: another machine and spool stand behind it.

    Errors: InputError for a row without problem or source, or with numbers that cannot be compared.
    """

    problem: str
    source: str
    published: float
    computed: float
    unit: str
    how: str
    allowed: float | None
    note: str = ""

    def __post_init__(self) -> None:
        if not (self.problem and self.source and self.how):
            raise InputError("a row of evidence needs its problem, its source and how it was computed.")
        if not (math.isfinite(self.published) and math.isfinite(self.computed)):
            raise InputError("a row compares finite numbers.", where=self.problem)
        if self.allowed is not None and not 0 < self.allowed <= 0.1:
            raise InputError("a row allows a difference of at most a tenth.", where=self.problem)

    @property
    def difference(self) -> float:
        """How far the computed number lies from the published one: a signed share of it, infinite from zero."""
        if self.published == 0:
            return 0.0 if self.computed == 0 else math.copysign(math.inf, self.computed)
        return self.computed / self.published - 1

    @property
    def within(self) -> bool:
        """Whether the difference is as small as a right answer's must be; true where nothing is held to."""
        return self.allowed is None or bool(abs(self.difference) <= self.allowed)

    @property
    def facts(self) -> dict[str, Any]:
        """The row for evidence.json: numbers without rounding's digits, None for a difference from zero."""
        return {
            "problem": self.problem,
            "source": self.source,
            "published": float(f"{self.published:.8g}"),
            "computed": float(f"{self.computed:.8g}"),
            "unit": self.unit,
            "difference": round(self.difference, 7) + 0.0 if math.isfinite(self.difference) else None,
            "allowed": None if self.allowed is None else float(f"{self.allowed:.3g}"),
            "within": None if self.allowed is None else self.within,
            "how": self.how,
            "note": self.note,
        }


@dataclass(frozen=True)
class Check:
    """Some problems of one `field` ("Plates") that are computed together; `rows` computes them."""

    field: str
    title: str
    rows: Callable[[], Iterable[Row]]


@dataclass(frozen=True)
class Finished:
    """A check and its rows as they came out."""

    check: Check
    rows: tuple[Row, ...]


MESHES = "Meshes"
"""The field of what a study tells of its own meshes."""
FROM_MEMORY = "published number from memory"
CLOSED_FORM = "closed form, evaluated"
