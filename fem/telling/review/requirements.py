"""The requirements, each with the calculated value and its margin."""

from __future__ import annotations

import math

from fem.digits import number, with_unit
from fem.judging.band import MET, NOT_DECIDED, NOT_MET
from fem.judging.deciding import outcome
from fem.judging.findings import RequirementFindings
from fem.judging.verdict import is_lower, outcome_text, verdict_of
from fem.telling.blocks import Cell, Section, Text, table
from fem.telling.review.material import Material
from fem.telling.zoom_words import value_and_kind

TONES = {MET: "good", NOT_MET: "bad", NOT_DECIDED: "warn"}


def requirements(material: Material) -> Section:
    """A row for each requirement."""
    f = material.findings
    if not f.requirements:
        goal = number(verdict_of(f).required)
        text = f"The study states no requirement. Pictures and verdict take a reserve factor of {goal} as target."
        return Section("requirements", "Requirements", (Text(text),))
    rows = [
        [
            Cell("reserve factor" if r.name == "reserve" else r.name),
            Cell(("at least " if is_lower(r) else "at most ") + with_unit(r.limit, r.unit)),
            Cell(value_and_kind(f, r)),
            Cell(margin(r)),
            Cell(r.where),
            Cell(outcome_text(r), TONES[outcome(r)]),
        ]
        for r in f.requirements
    ]
    head = ("Requirement", "Limit", "Calculated", "Margin", "Governing case or body", "Result")
    note = (
        "The margin is the distance to the limit as a share of the limit, positive where the requirement is met. The "
        "reserve factor is the minimum over the whole part, singular locations included. In brackets: how far the "
        "value may lie off; a requirement whose limit lies within is not decided, and does not count as met."
    )
    return Section(
        "requirements",
        "Requirements",
        (table(head, rows, align="lrrrll", caption="Requirements of the study."), Text(note, "soft")),
    )


def margin(requirement: RequirementFindings) -> str:
    """How far the value is on the good side of its limit, as a share of the limit."""
    if requirement.limit == 0:
        return "–"
    share = (requirement.value - requirement.limit) / requirement.limit
    share = share if is_lower(requirement) else -share
    if math.isinf(share):
        return "unlimited" if share > 0 else "–"
    # One place more where rounding would hide on which side of the limit the value lies
    for places in (0, 1, 3):
        text = f"{100 * share:+.{places}f}"
        if float(text) != 0:
            break
    return f"{text} %"
