"""What numbers with bands decide: whether a limit is kept, and the band of the least of several."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace

from fem.judging.band import MET, NOT_DECIDED, NOT_MET, Band
from fem.judging.findings import CaseFindings, RequirementFindings, Reserve, Vector

WORST_FIRST = (NOT_MET, NOT_DECIDED, MET)


def holding(value: float, told: Vector) -> Band:
    """The band that is told of a number, widened to hold the number itself; the number alone where none is."""
    own = Band(value, value)
    return own.joined(Band(*told)) if told else own


def least_of(parts: Iterable[tuple[float, Vector]]) -> tuple[float, Vector]:
    """The least of several numbers, each with its band, and the band of the least (empty where none has one)."""
    each = list(parts)
    bands = [holding(*part) for part in each]
    least = min((value for value, _ in each), default=math.inf)
    if not any(told for _, told in each):
        return least, ()
    return least, (min(b.low for b in bands), min(b.high for b in bands))


def reserve_of(cases: Iterable[CaseFindings]) -> tuple[float, Vector]:
    """The least reserve factor of all cases, and its band."""
    return least_of((case.reserve.minimum, case.reserve.band) for case in cases)


def as_homogenised(reserve: Reserve) -> Reserve:
    """A homogenised reserve that also says so beside what beads may decide in its place."""
    return replace(
        reserve,
        least=reserve.minimum,
        homogenised=reserve.minimum,
        homogenised_zone=reserve.zone,
        homogenised_band=reserve.band,
        homogenised_away=reserve.nonsingular_minimum,
    )


def at_least(case: CaseFindings, limit: float) -> str:
    """Whether a case has the reserve factor `limit`; never where permanent loads alone use a place up."""
    if case.used_up:
        return NOT_MET
    return holding(case.reserve.minimum, case.reserve.band).at_least(limit)


def decided_cases(cases: Mapping[str, CaseFindings], required: float | None) -> dict[str, CaseFindings]:
    """The cases, each with what is decided of the required reserve factor (None: none is required)."""

    def told(case: CaseFindings) -> Reserve:
        return replace(case.reserve, decided="" if required is None else at_least(case, required))

    return {name: replace(case, reserve=told(case)) for name, case in cases.items()}


def outcome(requirement: RequirementFindings) -> str:
    """ "met", "not met" or "not decided"."""
    return requirement.decided or (MET if requirement.met else NOT_MET)
