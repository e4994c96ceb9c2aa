"""Numbers and places as an engineer reads them: sensible digits, a unit on each, no scientific noise."""

from __future__ import annotations

import math
from collections.abc import Iterable
from zlib import crc32

from fem.digits import number, reserve_text, with_unit
from fem.judging.advice import MOVING, SETTLED, SHARP_CORNER, SUPPORT, advised, is_singular, rests_on_singular
from fem.judging.band import MET, NOT_DECIDED, NOT_MET
from fem.judging.deciding import outcome
from fem.judging.findings import Findings, HotSpot, RequirementFindings, Reserve
from fem.judging.verdict import Verdict, range_text, value_text, verdict_of
from fem.telling.zoom_words import is_beads, is_told, kind_sentence

CRITERIA = {
    "maximum_stress": "maximum stress",
    "tsai_wu": "Tsai–Wu",
    "interlayer": "interlayer",
    "hill": "Hill",
    "von_mises": "von Mises",
    "wall_buckling": "wall buckling",
}
"""The failure criteria: their keys in the findings, and the names that readers see."""

SINGULAR = "singular: the value does not converge with mesh refinement"
"""What is said of a stress peak that the idealised support or load makes."""
STANDING = {
    SETTLED: "settled",
    MOVING: "still moving with the mesh",
    SUPPORT: "support or load edge",
    "": "one mesh cannot tell",
}
"""A hot spot's verdict in the findings, and what readers see."""
CAUTION = (
    "The numbers are an engineering estimate. Printed polymer varies from machine to machine: test coupons from "
    "your own printer. Nylon softens when it is wet and creeps under bolts. Never let one printed part alone stand "
    "between a person and injury. Follow local codes, and have a qualified engineer sign what can hurt someone."
)
"""What stands among the cautions of every page."""


def criterion(key: str) -> str:
    """The name of a failure criterion as readers see it."""
    return CRITERIA.get(key, key.replace("_", " "))


def money(currency: str) -> str:
    """What stands where a cost's unit belongs."""
    return currency or "currency not stated"


def vector(values: Iterable[float], *, digits: int = 3) -> str:
    """Components in brackets; those that are noise beside the largest read 0."""
    parts = [float(v) for v in values]
    largest = max((abs(v) for v in parts), default=0.0)
    return "(" + ", ".join(number(0.0 if abs(v) < 1e-6 * largest else v, digits=digits) for v in parts) + ")"


def place(at: Iterable[float]) -> str:
    """A position with its unit, to a tenth of a millimetre."""
    return "(" + ", ".join(f"{v + 0.0:.1f}" if abs(v) >= 0.05 else "0" for v in at) + ") mm"


def force(value: float) -> str:
    """A force in N or kN."""
    return f"{number(value / 1000)} kN" if abs(value) >= 1000 else f"{number(value)} N"


def standing(spot: HotSpot) -> str:
    """Whether a hot spot's number stands, in words; "" where the answer says nothing of it."""
    if spot.reserve == 0:
        return "used up by permanent loads alone"
    if spot.verdict == SHARP_CORNER:
        grows = "" if spot.exponent is None else f", by exponent {number(spot.exponent, digits=2)}"
        return f"sharp corner: the stress grows without limit{grows}"
    if spot.singular and spot.verdict in ("", SUPPORT):
        return f"support or load edge, singular: {spot.singular_reason}"
    return STANDING[spot.verdict]


def worst_hot_spots(findings: Findings, *, count: int = 3, apart: float = 0.0) -> list[tuple[str, HotSpot]]:
    """The worst places over all cases with the case of each, no two nearer than `apart` [mm].

    Singular places and sharp corners come last, since their values depend on the mesh.
    """
    spots = [(name, spot) for name, case in findings.cases.items() for spot in case.hot_spots]
    spots.sort(key=lambda s: (is_singular(s[1]), s[1].reserve))
    kept: list[tuple[str, HotSpot]] = []
    for name, spot in spots:
        if len(kept) < count and all(math.dist(spot.at_mm, k.at_mm) > apart for _, k in kept):
            kept.append((name, spot))
    return kept


UNCONFIRMED = "Loads, support and material are guesses not yet confirmed; by these guesses, "
"""How the verdict on a draft begins."""


def answer(findings: Findings) -> tuple[str, str]:
    """Two answers: does it hold, by how much, where; how far does it move, are the requirements met."""
    return as_draft(findings, _holds(findings)), _gives(findings)


def as_draft(findings: Findings, sentence: str) -> str:
    """A verdict's sentence, which begins by saying that it rests on guesses where it does."""
    return UNCONFIRMED + sentence[0].lower() + sentence[1:] if verdict_of(findings).draft else sentence


def _holds(findings: Findings) -> str:
    if not findings.cases:
        return "No load case was solved, so nothing can be said about the strength."
    name = findings.worst_case
    reserve = findings.cases[name].reserve
    verdict = verdict_of(findings)
    usual = "required" if verdict.asked else "taken as target, since the study requires none"
    target = f"{number(verdict.required)} {usual}"
    if math.isinf(reserve.minimum) and verdict.bears == MET:
        return "Yes, the part holds: in no load case do growing loads bring any location nearer to failure."
    sentence = (
        f"{verdict_words(verdict)}: the minimum reserve factor {_size(verdict, reserve)} ({target}), "
        f"in case {name}, failure mode: {reserve.mode}, at {place(reserve.at_mm)}{_near(findings, reserve)}"
    )
    sentence += f".{kind_sentence(findings, reserve)}"
    if rests_on_singular(findings.cases[name]):
        away = reserve_text(advised(findings.cases[name])[0])
        kind = SINGULAR if reserve.singular else f"a sharp corner, {SINGULAR}"
        sentence += f" That location is {kind}; the minimum away from singularities is {away}."
    if verdict.used_up:
        cases = "case" if len(verdict.used_up) == 1 else "cases"
        sentence += (
            f" Permanent loads alone use a place up in {cases} {', '.join(verdict.used_up)}; reserve factors are "
            "those of all other places."
        )
    return sentence + _would_decide(findings, verdict, reserve)


def verdict_words(verdict: Verdict) -> str:
    """Whether the part holds, in the words that every page begins with."""
    if verdict.bears == NOT_MET:
        return "No, the part does not hold"
    if verdict.bears == NOT_DECIDED:
        return "Not decided whether the part fails" + (", but short of what it needs" if _short(verdict) else "")
    if verdict.reaches == NOT_MET:
        return "The part bears its loads, but its reserve factor is too small"
    if verdict.reaches == NOT_DECIDED:
        return "Not decided"
    if verdict.word == "not decided":
        return "The part bears its loads, but a requirement is not decided"
    return "Yes, the part holds" if verdict.passes else "The part bears its loads, but misses a requirement"


def _short(verdict: Verdict) -> bool:
    return verdict.reaches == NOT_MET and verdict.required > 1


def _size(verdict: Verdict, reserve: Reserve) -> str:
    """The minimum reserve factor; where its band straddles a limit, the band."""
    if NOT_DECIDED in (verdict.bears, verdict.reaches) and verdict.band:
        limit = verdict.required if verdict.reaches == NOT_DECIDED else 1.0
        low, high = (reserve_text(end, limit=limit) for end in verdict.band)
        return f"lies between {low} and {high}"
    return f"is {reserve_text(reserve.minimum)}"


def _would_decide(findings: Findings, verdict: Verdict, reserve: Reserve) -> str:
    """What would decide a verdict that is not; with a space before."""
    if NOT_DECIDED not in (verdict.bears, verdict.reaches):
        return ""
    finer = 'a finer mesh (mesh = { accuracy = "2 %" })'
    if is_beads(reserve):
        return f" What would decide it: finer boxes (--voxel) or {finer}."
    beads = " or its beads (--zoom 3)" if is_told(findings) else ""
    return f" What would decide it: {finer}{beads}."


def _near(findings: Findings, reserve: Reserve) -> str:
    of = f" in body {reserve.body}" if len(findings.bodies) > 1 else ""
    return of + (f" near face {reserve.face}" if reserve.face else "")


def _gives(findings: Findings) -> str:
    if not findings.cases:
        return "There is no displacement to report."
    name, case = max(findings.cases.items(), key=lambda item: item[1].maximum_displacement_mm)
    sentence = f"The maximum displacement is {number(case.maximum_displacement_mm)} mm (case {name})"
    turns = [
        (math.hypot(*watch.rotation_deg), face, c)
        for c, k in findings.cases.items()
        for face, watch in k.faces.items()
    ]
    if turns:
        turn, face, where = max(turns)
        sentence += f", the maximum rotation of face {face} is {number(turn)} deg (case {where})"
    if not findings.requirements:
        return sentence + ", and the study states no requirement to judge this by."
    return sentence + f", and {requirements_line(findings)}."


def requirements_line(findings: Findings) -> str:
    """How many requirements are met, which are not, and which are not decided."""
    rows = findings.requirements
    total, told = len(rows), []
    for kind in (NOT_MET, NOT_DECIDED):
        some = [r for r in rows if outcome(r) == kind]
        if some:
            names = "; ".join(_against(r) for r in some)
            told.append(f"{len(some)} of {total} requirements {'is' if len(some) == 1 else 'are'} {kind}: {names}")
    if told:
        return ", and ".join(told)
    return f"{'the one requirement is' if total == 1 else f'all {total} requirements are'} met"


def _against(r: RequirementFindings) -> str:
    limit = with_unit(r.limit, r.unit)
    if outcome(r) == NOT_DECIDED and r.band:
        return f"{r.name} lies between {range_text(r).replace(' to ', ' and ')} against {limit}"
    return f"{r.name} is {value_text(r)} against {limit}"


def round_factor(wanted: float) -> float:
    """The largest of 1, 2, 5 times a power of ten that is not above `wanted`."""
    if not (math.isfinite(wanted) and wanted > 0):
        return 1.0
    power = 10.0 ** math.floor(math.log10(wanted) + 1e-12)
    step = max(s for s in (1, 2, 5) if s * power <= wanted * (1 + 1e-12))
    return step * power if power < 1 else float(round(step * power))


def plain_name(name: str) -> str:
    """A case's name as part of a file name; two names that look alike there still differ."""
    plain = "".join(c if c.isascii() and (c.isalnum() or c in "-_") else "_" for c in name)
    return plain if plain == name else f"{plain}_{crc32(name.encode()):08x}"
