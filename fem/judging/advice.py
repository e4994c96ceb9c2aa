"""What advice rests on: the reserve factor away from places where a number means nothing.

At a support's or a load's edge, and in a sharp inner corner, the stress grows as the mesh is refined. A verdict
counts such a place, since a false "no" costs a look; but no print is better than another because of it.
"""

from __future__ import annotations

from collections.abc import Iterable

from fem.judging.band import Band
from fem.judging.deciding import holding
from fem.judging.findings import CaseFindings, HotSpot, Vector

SETTLED, MOVING, SHARP_CORNER, SUPPORT = "settled", "moving", "sharp corner", "support"
"""What a hot spot's `verdict` may be."""
SAME = 1e-9
"""Two reserve factors that differ by less than this share are one number."""


def is_singular(spot: HotSpot) -> bool:
    """Whether a hot spot's number depends on the mesh alone."""
    return spot.singular or spot.verdict in (SHARP_CORNER, SUPPORT)


def advised(case: CaseFindings) -> tuple[float, Vector]:
    """The least reserve factor of a case away from singular places, and its band (empty: not known).

    Supports' and loads' edges are left out by the judgement; sharp corners, which only several meshes tell, by the
    verdicts of the hot spots. Where no other hot spot is told, the last one is a lower bound of all that is left.
    """
    away = case.reserve.nonsingular_minimum
    spots = [s for s in case.hot_spots if s.reserve >= away * (1 - SAME)]
    if any(s.verdict == SHARP_CORNER for s in spots):
        firm = [s for s in spots if not is_singular(s)]
        away = min((s.reserve for s in firm), default=max(s.reserve for s in spots))
    return away, _band_at(case, away)


def _band_at(case: CaseFindings, value: float) -> Vector:
    """The band of the place that has this reserve factor."""
    if case.reserve.band and _same(case.reserve.minimum, value):
        return case.reserve.band
    return next((s.band for s in case.hot_spots if s.band and _same(s.reserve, value)), ())


def advised_of(cases: Iterable[CaseFindings]) -> tuple[float, Vector]:
    """The least of all cases away from singular places, and its band."""
    each = [advised(case) for case in cases]
    bands = [holding(value, told) for value, told in each]
    told = (min(b.low for b in bands), min(b.high for b in bands)) if any(t for _, t in each) else ()
    return min(value for value, _ in each), told


def are_level(a: Band, b: Band) -> bool:
    """Whether of two numbers neither can be called the larger one."""
    return a.overlaps(b)


def _same(a: float, b: float) -> bool:
    return a == b or abs(a - b) <= SAME * max(abs(a), abs(b))
