"""Does the part hold? The one place that says so; every page and the command's exit status ask here."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fem.digits import chance_text, reserve_text, with_unit
from fem.judging.findings import Findings, RequirementFindings

TARGET_RESERVE = 2.0
"""Reserve factor that pages measure against where the study asks for none (common practice for tested data)."""

CHANCE = "chance"
"""The requirement on the chance that the required reserve factor is there."""


@dataclass(frozen=True)
class Verdict:
    """`word` is fails (a reserve factor below 1), short (bears its loads, but something asked for or the target is
    missed) or holds; `required` the reserve factor asked for, or the target where none is (`asked`); `minimum` the
    least reserve factor of all cases; `passes` whether all that was asked for is met, and no case fails outright.
    """

    word: str
    required: float
    asked: bool
    minimum: float
    passes: bool


def verdict_of(findings: Findings) -> Verdict:
    """The verdict on a study. One without requirements passes where every case has a reserve factor of 1 or more."""
    limits = [r.limit for r in findings.requirements if is_reserve(r)]
    required = max(limits, default=TARGET_RESERVE)
    minimum = min((case.reserve.minimum for case in findings.cases.values()), default=math.inf)
    met = all(r.met for r in findings.requirements)
    word = "fails" if minimum < 1 else "holds" if met and minimum >= required else "short"
    return Verdict(word, required, bool(limits), minimum, met and (bool(limits) or minimum >= 1))


def value_text(requirement: RequirementFindings) -> str:
    """The value of a requirement with its unit, on its own side of the limit; a reserve factor as everywhere else."""
    r = requirement
    if r.name == CHANCE:
        # Its band is two standard errors either way; where it is a bound, it stands at an end of it
        error = 0.0 if r.value in r.band else (max(r.band, default=0.0) - min(r.band, default=0.0)) / 4
        return chance_text(r.value, error) if r.band else "not known"
    return reserve_text(r.value, limit=r.limit) if is_reserve(r) else with_unit(r.value, r.unit, limit=r.limit)


def is_reserve(requirement: RequirementFindings) -> bool:
    """Whether a requirement is a lower limit on the reserve factor."""
    return requirement.name == "reserve"


def is_lower(requirement: RequirementFindings) -> bool:
    """Whether a requirement is a lower limit, on the reserve factor or its chance; others are upper limits."""
    return is_reserve(requirement) or requirement.name == CHANCE
