"""What advice rests on: the reserve factor away from places where a number means nothing.

At a support's or a load's edge, and in a sharp inner corner, the stress grows as the mesh is refined. A verdict
counts such a place, since a false "no" costs a look; but no print is better than another because of it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from fem.judging.band import ONE_MESH
from fem.judging.deciding import least_of
from fem.judging.findings import CaseFindings, HotSpot, Reserve, Vector

SETTLED, MOVING, SHARP_CORNER, SUPPORT = "settled", "moving", "sharp corner", "support"
"""What a hot spot's `verdict` may be."""
SAME = 1e-9
"""Two reserve factors that differ by less than this share are one number."""


def is_singular(spot: HotSpot) -> bool:
    """Whether a hot spot's number depends on the mesh alone."""
    return spot.singular or spot.verdict in (SHARP_CORNER, SUPPORT)


def rests_on_singular(case: CaseFindings) -> bool:
    """Whether a case's minimum is read at a place where a number depends on the mesh alone."""
    r = case.reserve
    return r.singular or any(
        s.verdict in (SHARP_CORNER, SUPPORT) and _same(s.reserve, r.minimum) for s in case.hot_spots
    )


def advised(case: CaseFindings) -> tuple[float, Vector]:
    """The least reserve factor of a case away from singular places, and its band (empty: not known).

    Supports' and loads' edges are left out by the judgement; sharp corners, which only several meshes tell, by the
    verdicts of the hot spots. Where no other hot spot is told, the last one is a lower bound of all that is left.
    """
    away = _away(case)
    return away, _band_at(case, away)


def away_of(case: CaseFindings) -> tuple[float, Vector]:
    """The same for a requirement: its band is also that of one mesh, and, where none is told of the place, as wide by
    share as that of the case's minimum.
    """
    away, r = _away(case), case.reserve
    band = _band_at(case, away, shared=True)
    if not band and r.band and 0 < r.minimum < math.inf:
        band = tuple(end / r.minimum * away for end in r.band)
    return away, band


def _away(case: CaseFindings) -> float:
    away = case.reserve.nonsingular_minimum
    if any(s.verdict == SHARP_CORNER and _same(s.reserve, away) for s in case.hot_spots):
        left = [s for s in case.hot_spots if s.reserve > away]
        firm = [s.reserve for s in left if not is_singular(s)]
        away = min(firm, default=max((s.reserve for s in left), default=away))
    return away


def _band_at(case: CaseFindings, value: float, *, shared: bool = False) -> Vector:
    """The band of the place that has this reserve factor, where it tells variants apart or may be `shared`."""
    places: list[Reserve | HotSpot] = [case.reserve, *case.hot_spots]
    fit = (p for p in places if p.band and _same(_value(p), value))
    return next((p.band for p in fit if shared or _tells_apart(case, p)), ())


def _value(place: Reserve | HotSpot) -> float:
    return place.minimum if isinstance(place, Reserve) else place.reserve


def _tells_apart(case: CaseFindings, place: Reserve | HotSpot) -> bool:
    """Whether a place's band is its variant's own: what one mesh is off by, all variants on it have in common."""
    return case.bands_from != ONE_MESH or place.decided_by != "homogenised"


def advised_of(cases: Iterable[CaseFindings]) -> tuple[float, Vector]:
    """The least of all cases away from singular places, and its band."""
    return least_of(map(advised, cases))


def homogenised_of(cases: Iterable[CaseFindings]) -> tuple[float, Vector]:
    """The same of the homogenised answer, also where beads decide."""
    return least_of(map(_homogenised, cases))


def _homogenised(case: CaseFindings) -> tuple[float, Vector]:
    if not case.zooms and case.whole is None:
        return advised(case)
    r = case.reserve
    own = case.bands_from != ONE_MESH and _same(r.homogenised, r.homogenised_away)
    return r.homogenised_away, r.homogenised_band if own else ()


def _same(a: float, b: float) -> bool:
    return a == b or abs(a - b) <= SAME * max(abs(a), abs(b))
