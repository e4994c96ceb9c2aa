"""The nouns of an infill's two strengths in a case: at its first bead, and at the collapse of its cell."""

from __future__ import annotations

from dataclasses import dataclass

from fem.judging.body_findings import Vector

FIRST_BEAD, COLLAPSE = "first bead", "collapse"


@dataclass(frozen=True)
class InfillFindings:
    """What one body's infill bears in a case.

    `first_bead` is the reserve factor at which its first bead fails (or a wall of its cells buckles), by `mode` at
    `at_mm`, where the cell's mean stress is then `mean_stress_MPa` (cell axes, xx yy zz yz xz xy), `compressed` when
    that is compression in the mean. `without_interlayer` is the reserve factor of the same place without interlayer
    tension and shear, told of a compressed place (None elsewhere).

    `collapse` is the reserve factor at which the cell collapses, the least of the `places` looked at, by
    `collapse_mode` at `collapse_at_mm`, with `collapse_band` (low, high); `ratio` is that over `first_bead`. They are
    None and empty where collapse was not calculated. `decides` names the one that counts.
    """

    first_bead: float
    mode: str
    at_mm: Vector
    mean_stress_MPa: Vector
    compressed: bool
    without_interlayer: float | None = None
    collapse: float | None = None
    collapse_mode: str = ""
    collapse_at_mm: Vector = ()
    collapse_band: Vector = ()
    ratio: float | None = None
    places: int = 0
    decides: str = FIRST_BEAD
