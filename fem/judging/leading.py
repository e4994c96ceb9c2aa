"""Which variants of a comparison are worth solving bead by bead before one of them is named.

Variants are ranked by the homogenised answer, which all of them have. Next to walls it may say a third of what the
beads bear, so the one to print may stand among those that it rules out.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence

from fem.judging.choosing import ALIKE, candidates_of, choose, mesh_alone, without_mesh
from fem.judging.variant_numbers import VariantNumbers

MOST_LEADERS = 4
"""So many variants at most are solved bead by bead, whatever is found."""
GAIN = 3.0
"""Beads bear at most about so many times what the homogenised answer says next to walls and covers; measured on
parts of this project. A variant that would need more than that is not looked at."""


def next_leader(
    variants: Sequence[VariantNumbers],
    *,
    required_reserve: float,
    reserve_asked: bool,
    base: Mapping[str, str],
    looked: Collection[str],
) -> str | None:
    """The variant to solve bead by bead next, `looked` the names of those that were; None where no more is needed.

    First the one that would be named. Once that one has been looked at, the lightest of those that may take its
    place: they miss no requirement but the reserve factor, they are lighter than it (or as heavy, where equal masses
    are told apart by their reserve factor), and the beads may bear GAIN times their homogenised reserve factor, which
    is then enough. Those come first that would do with the largest gain found so far. At most MOST_LEADERS in all.
    """
    if len(looked) >= MOST_LEADERS or mesh_alone(variants, base):
        return None
    best, _ = choose(variants, required_reserve=required_reserve, reserve_asked=reserve_asked, base=base)
    named = next((v for v in variants if v.name == best), None)
    unseen = [
        v
        for v in without_mesh(candidates_of(variants), base)
        if v.printed and v.zoomed is None and v.name not in looked and v.other_shortfall <= 0
    ]
    if named in unseen:
        return best
    for gain in (gain_found(variants), GAIN):
        rivals = [v for v in unseen if _would_be_named(v, gain, named, required_reserve)]
        if rivals:
            lightest = min(v.mass_g or 0.0 for v in rivals)
            alike = [v for v in rivals if (v.mass_g or 0.0) <= lightest * (1 + ALIKE)]
            return max(alike, key=lambda v: v.homogenised_advised or 0.0).name
    return None


def gain_found(variants: Sequence[VariantNumbers]) -> float:
    """How many times the homogenised reserve factor the beads of a leader bore at most; GAIN until it is known."""
    known = [
        v.reserve / v.homogenised
        for v in variants
        if v.zoomed and v.reserve is not None and v.homogenised and math.isfinite(v.homogenised)
    ]
    return min(max(known, default=GAIN), GAIN)


def _would_be_named(v: VariantNumbers, gain: float, named: VariantNumbers | None, required: float) -> bool:
    """Whether a variant would take the place of `named` if its beads bear `gain` times its homogenised reserve."""
    reserve = gain * (v.homogenised_reserve or 0.0)
    if named is None or (v.mass_g or 0.0) * (1 + ALIKE) < (named.mass_g or 0.0):
        return reserve >= required
    alike = (v.mass_g or 0.0) <= (named.mass_g or 0.0) * (1 + ALIKE)
    # What is level with the named one does not take its place
    return alike and reserve >= required and gain * (v.homogenised_advised or 0.0) > named.advised_band.high
