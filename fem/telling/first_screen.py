"""What a reader sees first: does it hold, what was asked for, where it fails first, what it weighs and takes."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from fem.digits import chance_text, number, reserve_text
from fem.judging.band import MET, NOT_DECIDED, NOT_MET
from fem.judging.deciding import outcome
from fem.judging.findings import CaseFindings, Findings, RequirementFindings
from fem.judging.verdict import CHANCE, is_lower, is_reserve, outcome_text, range_text, value_text, verdict_of
from fem.telling.printed import clock
from fem.telling.reactions import failing_load
from fem.telling.words import answer, as_draft, verdict_words
from fem.telling.zoom_words import is_beads, is_told

ROOM = 1.15
"""A bar ends at so many times the largest number on it, so that all of them can be seen."""
MOST_BARS = 5
"""So many bars stand on the first screen; more are folded below them, one click away."""
ORDER = (NOT_MET, NOT_DECIDED, MET)
"""Outcomes by how soon a reader must hear of them."""
PLAIN_MODES = (
    ("interlayer tension and shear", "layers part under pull and shear together"),
    ("interlayer tension", "layers are pulled apart"),
    ("interlayer shear", "layers shear"),
    ("compression in the build direction", "layers are crushed"),
    ("tension along the bead", "beads tear along their length"),
    ("compression along the bead", "beads are crushed along their length"),
    ("tension across the bead", "beads part from their neighbours in the layer"),
    ("compression across the bead", "beads are crushed across"),
    ("interlaminar tension", "plies part under pull and shear together"),
    ("interlaminar shear", "plies shear over each other"),
    ("tension along the fibres", "fibres tear along their length"),
    ("compression along the fibres", "fibres are crushed along their length"),
    ("tension across the fibres", "plies crack along their fibres"),
    ("compression across the fibres", "plies are crushed across their fibres"),
    ("tension through the thickness", "plies are pulled apart"),
    ("compression through the thickness", "plies are crushed"),
    ("in-plane shear", "it shears within the layer"),
    ("combined stress", "stresses in several directions act together"),
    ("yield", "the material yields"),
)
"""The failure modes by their beginnings, in plain words."""
SIGNS = {MET: "✓", NOT_MET: "✕", NOT_DECIDED: "?"}
"""What stands beside the outcome of a requirement."""


@dataclass(frozen=True)
class Bar:
    """A requirement as a bar: places along it in per cent of its length.

    `end` of the value's bar, `limit` of its mark, `band` (low, high) of the range it may lie in (None: not known),
    `kept` (low, high) where the limit is kept; `state` is "met", "not met" or "not decided".
    """

    name: str
    tip: str
    value: str
    asked: str
    outcome: str
    state: str
    sign: str
    end: float
    limit: float
    kept: tuple[float, float]
    band: tuple[float, float] | None

    @property
    def label(self) -> str:
        """The bar for those who do not see it."""
        return f"{self.name}: {self.value}, {self.asked}: {self.state}"


@dataclass(frozen=True)
class Fact:
    """A number beside the verdict, with the word under which `tips` explains it."""

    name: str
    value: str
    tip: str


def headline(findings: Findings) -> str:
    """The verdict in one sentence: does it hold, the minimum reserve factor with its band, and its chance."""
    verdict = verdict_of(findings)
    if not findings.cases or (math.isinf(verdict.minimum) and verdict.bears == MET):
        return answer(findings)[0]
    size = f"the minimum reserve factor is {reserve_text(verdict.minimum)}"
    if verdict.band:
        limit = verdict.required if verdict.reaches == NOT_DECIDED else 1.0
        low, high = (reserve_text(end, limit=limit) for end in verdict.band)
        size += f" (between {low} and {high})"
    target = f"{verdict.required:g} {'required' if verdict.asked else 'taken as target'}"
    chance = _chance(findings, verdict.required)
    return as_draft(findings, f"{verdict_words(verdict)}: {size}, {target}{chance}.")


def _chance(findings: Findings, required: float) -> str:
    """The chance of the required reserve factor in the case where it is smallest; "" where none is known."""
    known = {name: c.reserve.chance_of(required) for name, c in findings.cases.items()}
    told = {name: chance for name, chance in known.items() if chance is not None}
    if not told:
        return ""
    name = min(told, key=lambda name: told[name])
    text = chance_text(*told[name]).replace("< ", "below ").replace("> ", "above ")
    return f"; the chance of reaching it in case {name} is {text}"


def fails_first(case: CaseFindings) -> str:
    """Where and at which load a case fails first, in one sentence."""
    r = case.reserve
    if case.used_up:
        worst = case.used_up[0]
        near = f", near {_plain(worst.face)}" if worst.face else ""
        return f"Permanent loads alone fail it, in {_zone(worst.zone, worst.body)}{near}: {mode_words(worst.mode)}."
    if math.isinf(r.minimum):
        return "However far its variable loads grow, no place comes nearer to failure."
    load = failing_load(case)
    times = f"{reserve_text(r.minimum)} {'of' if r.minimum < 1 else 'times'} this load"
    at = times if load == "–" else f"{load}, {times}"
    near = f" near {_plain(r.face)}" if r.face else ""
    return f"Fails first at {at}, in {_zone(r.zone, r.body)}{near}: {mode_words(r.mode)}."


def _zone(zone: str, body: str) -> str:
    return f"the {zone}" if zone in ("wall", "cover", "core") else f"body {body}"


def _plain(face: str) -> str:
    return face.replace("_", " ") if ":" not in face else f"face {face}"


def mode_words(mode: str) -> str:
    """A failure mode in plain words; its own name where none are known."""
    return next((words for start, words in PLAIN_MODES if mode.startswith(start)), mode)


def bars(findings: Findings) -> Iterator[Bar]:
    """Each requirement as a bar, in the order of the study; where some are folded, those not met come first."""
    rows = [_bar(findings, r) for r in findings.requirements]
    yield from rows if len(rows) <= MOST_BARS else sorted(rows, key=lambda bar: ORDER.index(bar.state))


def _bar(findings: Findings, r: RequirementFindings) -> Bar:
    known = [v for v in (r.limit, r.value, *r.band) if math.isfinite(v) and v > 0]
    top = 1.0 if r.name == CHANCE else ROOM * max(known, default=1.0)

    def along(value: float) -> float:
        share = 100 * value / top if math.isfinite(value) else 100.0 * (value > 0)
        return round(min(max(share, 0.0), 100.0), 2)

    lower, state = is_lower(r), outcome(r)
    limit = along(r.limit)
    told = range_text(r).removesuffix(f" {r.unit}") if r.name != CHANCE else ""
    case = findings.cases.get(r.where)
    kind = " bead by bead" if is_reserve(r) and case and is_told(findings) and is_beads(case.reserve) else ""
    return Bar(
        name="reserve factor" if is_reserve(r) else r.name.replace("_", " "),
        tip=_tip(r),
        value=value_text(r) + kind + (f" ({told})" if told else ""),
        asked=f"{'at least' if lower else 'at most'} {r.limit:g} {r.unit}".strip(),
        outcome=outcome_text(r),
        state=state,
        sign=SIGNS[state],
        end=along(r.value),
        limit=limit,
        kept=(limit, 100.0) if lower else (0.0, limit),
        band=(along(min(r.band)), along(max(r.band))) if r.band else None,
    )


def _tip(r: RequirementFindings) -> str:
    """The word of `tips` for a requirement, which its name begins with."""
    first = r.name.split()[0]
    return first if first in ("reserve", "chance", "displacement", "rotation", "mass") else "calculated"


def facts(findings: Findings) -> Iterator[Fact]:
    """Mass, printing time and the farthest motion."""
    if findings.bodies:
        yield Fact("Mass", f"{number(sum(b.mass_g for b in findings.bodies.values()))} g", "mass")
    hours = [b.print.time_h for b in findings.bodies.values() if b.print is not None]
    if hours:
        yield Fact("Printing", clock(sum(hours)), "time")
    if findings.cases:
        name, case = max(findings.cases.items(), key=lambda item: item[1].maximum_displacement_mm)
        yield Fact("Moves at most", f"{number(case.maximum_displacement_mm)} mm (case {name})", "displacement")
