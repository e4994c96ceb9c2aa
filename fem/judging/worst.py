"""Where each body comes nearest to failure."""

from __future__ import annotations

from fem.judging.advice import is_singular
from fem.judging.findings import Findings, Vector


def worst_places(findings: Findings) -> dict[str, Vector]:
    """The worst place [mm, part axes] of each body over all cases; one where a number cannot be trusted, such as a
    sharp corner's, or where permanent loads alone use the strength up, only if a body has no other.
    """
    spots = [spot for case in findings.cases.values() for spot in case.hot_spots]
    spots.sort(key=lambda spot: (is_singular(spot), spot.reserve <= 0, spot.reserve))
    out: dict[str, Vector] = {}
    for spot in spots:
        out.setdefault(spot.body, spot.at_mm)
    return out
