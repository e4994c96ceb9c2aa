"""How a reserve factor was calculated, bead by bead or homogenised, in words: said here alone."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from fem.digits import reserve_text
from fem.judging.choice import Comparison
from fem.judging.findings import CaseFindings, Findings, HotSpot, RequirementFindings, Reserve
from fem.judging.growing import LIFTS_OFF
from fem.judging.variant_numbers import VariantNumbers
from fem.judging.verdict import CHANCE, is_reserve, range_text, value_text
from fem.judging.zoomed import ZoomFindings

BEADS, HOMOGENISED = "bead by bead", "homogenised"
ZONES = ("wall", "cover", "core")
"""The zones of a print in the order in which tables name them."""
IN_BRACKETS = "In brackets: the range of larger cubes and other positions of the infill's lattice."
"""What explains the range of a number where no page does."""


def short_reserve(value: float | None) -> str:
    """A reserve factor with two decimals or so, for a sentence that holds several; rounded down as everywhere."""
    return reserve_text(value, digits=2 if value is not None and value < 1 else 3)


def reserve_or_none(value: float | None) -> str:
    """A reserve factor of a zone, or a dash where the zone has no bead there."""
    return "–" if value is None or math.isnan(value) else short_reserve(value)


def band_text(band: Sequence[float]) -> str:
    """How far a number may lie off: "0.93 to 1.03"; "" where nothing is known of it."""
    return f"{short_reserve(band[0])} to {short_reserve(band[1])}" if len(band) == 2 else ""


def two_levels(
    least: float, band: Sequence[float], zone: str, *, homogenised: float, homogenised_zone: str = ""
) -> str:
    """Both numbers of a place: "bead by bead 0.98 (0.93 to 1.03), in the wall; homogenised 0.29, in the core"."""
    within = f" ({band_text(band)})" if len(band) == 2 else ""
    return f"{BEADS} {short_reserve(least)}{within}{_in(zone)}; {_other(homogenised, homogenised_zone)}"


def _other(homogenised: float, zone: str) -> str:
    return f"{HOMOGENISED} {short_reserve(homogenised)}{_in(zone) if math.isfinite(homogenised) else ''}"


def _in(zone: str) -> str:
    return f", in the {zone}" if zone else ""


def zoom_line(zoom: ZoomFindings) -> str:
    """Both numbers of a place that was solved bead by bead."""
    return two_levels(
        zoom.least,
        zoom.band,
        zoom.zone,
        homogenised=zoom.homogenised,
        homogenised_zone=zoom.homogenised_zone,
    )


def zones_in(by_zone: Mapping[str, float | None]) -> tuple[str, ...]:
    """The zones that a table lists: those of a print, and any other that was judged."""
    return (*ZONES, *(zone for zone in by_zone if zone not in ZONES))


def is_told(findings: Findings) -> bool:
    """Whether a reader needs to know the kind of a number: a body is printed."""
    return any(body.print is not None for body in findings.bodies.values())


def is_beads(told: Reserve | HotSpot | VariantNumbers) -> bool:
    """Whether a number is that of the beads."""
    return told.decided_by in ("zoom", "whole")


def kind_of(told: Reserve | HotSpot | VariantNumbers) -> str:
    """By which of the two a number was calculated, and whether it is doubtful."""
    if told.decided_by == "undecided":
        return f"{HOMOGENISED}, doubtful"
    return BEADS if is_beads(told) else HOMOGENISED


def leaders_line(comparison: Comparison) -> str:
    """Which variants of a comparison were solved bead by bead, in a sentence or two."""
    led = [v for v in comparison.variants if v.zoomed is not None or is_beads(v)]
    if not led:
        return "Reserve factors are homogenised: no variant was solved bead by bead."
    beads = [v.name for v in led if v.zoomed or is_beads(v)]
    sure = [v.name for v in led if v.name not in beads]
    out = []
    if beads:
        leaders = "leader was" if len(beads) == 1 else "leaders were"
        out.append(
            f"{len(beads)} {leaders} solved {BEADS} at the worst places ({'; '.join(beads)}). A reserve factor that "
            f'is not marked "{BEADS}" is {HOMOGENISED}.'
        )
    if sure:
        out.append(
            f"{'; '.join(sure)}: no place needs its beads solved, the {HOMOGENISED} reserve factor is to be trusted."
        )
    return " ".join(out)


def reserve_line(reserve: Reserve) -> str:
    """The kind of a case's minimum, and the other number where there are both."""
    if not is_beads(reserve):
        return HOMOGENISED + (f" ({band_text(reserve.band)})" if reserve.band else "")
    return two_levels(
        reserve.minimum,
        reserve.band,
        reserve.zone,
        homogenised=reserve.homogenised,
        homogenised_zone=reserve.homogenised_zone,
    )


def kind_sentence(findings: Findings, reserve: Reserve) -> str:
    """What the answer adds about the kind of its number, with a space before; "" where it needs no word."""
    if not is_told(findings) or math.isinf(reserve.minimum):
        return ""
    if reserve.mode == LIFTS_OFF:
        return ""
    if is_beads(reserve):
        return f" Both calculations: {reserve_line(reserve)}."
    return f" That number is {HOMOGENISED}: the beads at this location were not resolved."


def aside(told: Reserve | HotSpot, *, band: bool = True) -> str:
    """The same for a narrow cell: "bead by bead (0.93 to 1.03); homogenised 0.29", with or without the `band`."""
    within = f" ({band_text(told.band)})" if told.band and band else ""
    if told.decided_by == "undecided":
        return f"{HOMOGENISED}{within}, doubtful: not solved {BEADS}"
    if not is_beads(told):
        return f"{HOMOGENISED}{within}"
    return f"{BEADS}{within}; {_other(told.homogenised, '')}"


def value_and_kind(findings: Findings, requirement: RequirementFindings) -> str:
    """The value of a requirement and its band; a reserve factor with the kind of its number."""
    text, case = value_text(requirement), findings.cases.get(requirement.where)
    if (band := range_text(requirement)) and requirement.name != CHANCE:
        text += f" ({band})"
    if not is_reserve(requirement) or case is None or not is_told(findings):
        return text
    return f"{text}, {kind_of(case.reserve)}"


def was_resolved(case: CaseFindings) -> bool:
    """Whether any beads of a case were solved."""
    return bool(case.zooms) or case.whole is not None
