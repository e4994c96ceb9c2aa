"""Does the part hold? The one place that says so; every page and the command's exit status ask here."""

from __future__ import annotations

from dataclasses import dataclass

from fem.digits import against, chance_text, reserve_text, with_unit
from fem.judging.band import MET, NOT_DECIDED, NOT_MET
from fem.judging.deciding import holding, outcome, reserve_of
from fem.judging.findings import Findings, RequirementFindings, Vector

TARGET_RESERVE = 2.0
"""Reserve factor that pages measure against where the study asks for none (common practice for tested data)."""

CHANCE = "chance"
"""The requirement on the chance that the required reserve factor is there."""
AWAY = "reserve away from singular places"
"""The requirement on the least reserve factor that no singular place makes."""
DRAFT = "draft"
"""The caution of a study whose loads, supports and material are guesses."""


@dataclass(frozen=True)
class Verdict:
    """`word` is fails (a reserve factor below 1, or a place that permanent loads alone use up), short (bears its
    loads, but something asked for or the target is missed), not decided (a band straddles 1 or a limit) or holds;
    `required` the reserve factor asked for, or the target where none is (`asked`); `minimum` the least reserve factor
    of all cases and `band` how far it may lie off (empty: not known); `passes` whether all that was asked for is met,
    and no case fails outright. `bears` and `reaches` tell what is decided of a reserve factor of 1 and of the
    required one: "met", "not met" or "not decided"; `used_up` names the cases whose permanent loads use a place up;
    `draft`: loads, supports and material are guesses that nobody has confirmed.
    """

    word: str
    required: float
    asked: bool
    minimum: float
    passes: bool
    band: Vector = ()
    bears: str = MET
    reaches: str = MET
    used_up: tuple[str, ...] = ()
    draft: bool = False


def verdict_of(findings: Findings) -> Verdict:
    """The verdict on a study. One without requirements passes where every case has a reserve factor of 1 or more."""
    limits = [r.limit for r in findings.requirements if is_reserve(r)]
    away = [r for r in findings.requirements if r.name == AWAY]
    required, asked = goal_of(max(limits, default=None), max((r.limit for r in away), default=None))
    minimum, told = reserve_of(findings.cases.values())
    band = holding(minimum, told)
    used_up = tuple(name for name, case in findings.cases.items() if case.used_up)
    bears = NOT_MET if used_up else band.at_least(1.0)
    # Who asks for a reserve away from singular places alone has said what shall count
    own = [outcome(r) for r in away] if away and not limits else [band.at_least(required)]
    reaches = NOT_MET if used_up or NOT_MET in own else NOT_DECIDED if NOT_DECIDED in own else MET
    each = {outcome(r) for r in findings.requirements} | {reaches}
    met = all(r.met for r in findings.requirements)
    passes = met and not used_up and (asked or bears == MET)
    draft = any(caution.kind == DRAFT for caution in findings.cautions)
    return Verdict(_word(bears, each), required, asked, minimum, passes, told, bears, reaches, used_up, draft)


def goal_of(reserve: float | None, away: float | None) -> tuple[float, bool]:
    """The reserve factor to measure against, and whether it was asked for: that of all places, else that away from
    singular ones, else the usual target.
    """
    asked = reserve if reserve is not None else away
    return (TARGET_RESERVE, False) if asked is None else (asked, True)


def _word(bears: str, each: set[str]) -> str:
    if bears == NOT_MET:
        return "fails"
    if bears == NOT_DECIDED:
        return "not decided"
    return "short" if NOT_MET in each else "not decided" if NOT_DECIDED in each else "holds"


def value_text(requirement: RequirementFindings) -> str:
    """The value of a requirement with its unit, on its own side of the limit; a reserve factor as everywhere else."""
    r = requirement
    if r.name == CHANCE:
        # Its band is two standard errors either way; where it is a bound, it stands at an end of it
        error = 0.0 if r.value in r.band else (max(r.band, default=0.0) - min(r.band, default=0.0)) / 4
        return chance_text(r.value, error) if r.band else "not known"
    text = reserve_text(r.value, limit=r.limit) if is_reserve(r) else with_unit(r.value, r.unit, limit=r.limit)
    return f"{text} {r.note}" if r.note else text


def range_text(requirement: RequirementFindings) -> str:
    """The band of a requirement's value with its unit, each end on its own side of the limit; "" where it is not
    known.
    """
    r = requirement
    if not r.band:
        return ""
    if is_reserve(r):
        return " to ".join(reserve_text(end, limit=r.limit) for end in r.band)
    return f"{against(r.band[0], r.limit)} to {with_unit(r.band[1], r.unit, limit=r.limit)}"


def outcome_text(requirement: RequirementFindings) -> str:
    """What a table says of a requirement: met, NOT MET or NOT DECIDED."""
    told = outcome(requirement)
    return told if told == MET else told.upper()


def is_reserve(requirement: RequirementFindings) -> bool:
    """Whether a requirement is a lower limit on the reserve factor."""
    return requirement.name == "reserve"


def is_lower(requirement: RequirementFindings) -> bool:
    """Whether a requirement is a lower limit, as on the reserve factor or its chance; others are upper limits."""
    return requirement.lower or is_reserve(requirement) or requirement.name == CHANCE
