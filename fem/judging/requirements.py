"""What a part must meet, and whether it does."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from fem.errors import InputError
from fem.judging.advice import away_of
from fem.judging.band import MET, NOT_DECIDED, NOT_MET, Band
from fem.judging.deciding import WORST_FIRST, at_least, decided_cases, holding
from fem.judging.findings import BodyFindings, CaseFindings, Findings, RequirementFindings, Vector
from fem.judging.infill_findings import FIRST_BEAD
from fem.judging.verdict import AWAY, CHANCE

LEFT_OVER = "where permanent loads leave any"


@dataclass(frozen=True)
class Requirements:
    """What the part must meet; None or empty: not asked.

    `reserve` the minimum reserve factor, `chance` that it is there (that it is above 1 where none is asked for),
    `rotation` [rad] and `displacement` [mm] by watched face, `mass` [tonne] of all bodies, `deflection` the maximum
    displacement [mm]; `reserve_away` the minimum reserve factor away from singular places, `load` [N] what each of
    these loads must reach before the part fails; `infill` which of its two strengths counts, "first bead" or
    "collapse".
    """

    reserve: float | None = None
    rotation: Mapping[str, float] = field(default_factory=dict)
    displacement: Mapping[str, float] = field(default_factory=dict)
    mass: float | None = None
    deflection: float | None = None
    chance: float | None = None
    reserve_away: float | None = None
    load: Mapping[str, float] = field(default_factory=dict)
    infill: str = FIRST_BEAD


def decided_anew(found: Findings, wanted: Requirements) -> Findings:
    """Findings of which reserves or bands are new: what their cases and requirements come to with them."""
    cases = decided_cases(found.cases, wanted.reserve)
    return replace(found, cases=cases, requirements=compare_requirements(wanted, bodies=found.bodies, cases=cases))


def compare_requirements(
    wanted: Requirements, *, bodies: Mapping[str, BodyFindings], cases: Mapping[str, CaseFindings]
) -> tuple[RequirementFindings, ...]:
    """Each requirement against the case (or the sum of bodies) that decides it; one whose value's band straddles the
    limit is not decided, and not met.
    """
    out = []
    if wanted.reserve is not None:
        out.append(_reserve(wanted.reserve, cases))
    if wanted.reserve_away is not None:
        away = {c: away_of(f) for c, f in cases.items()}
        out.append(_lower(AWAY, wanted.reserve_away, away, "", cases))
    for load, least in wanted.load.items():
        failing = {
            c: (f.reserve.minimum * f.growing_N[load], tuple(b * f.growing_N[load] for b in f.reserve.band))
            for c, f in cases.items()
            if load in f.growing_N
        }
        out.append(_lower(f"failure load of {load}", least, failing, "N", cases))
    if wanted.chance is not None:
        out.append(_chance(wanted.chance, wanted.reserve, cases))
    for face, limit in wanted.rotation.items():
        turn = {c: float(np.linalg.norm(f.faces[face].rotation_deg)) for c, f in cases.items()}
        key = f"faces.{face}.rotation_deg"
        out.append(_upper(f"rotation of {face}", float(np.degrees(limit)), turn, "deg", cases, key))
    for face, limit in wanted.displacement.items():
        displacement = {c: float(np.linalg.norm(f.faces[face].displacement_mm)) for c, f in cases.items()}
        key = f"faces.{face}.displacement_mm"
        out.append(_upper(f"displacement of {face}", limit, displacement, "mm", cases, key))
    if wanted.deflection is not None:
        most = {c: f.maximum_displacement_mm for c, f in cases.items()}
        out.append(_upper("deflection", wanted.deflection, most, "mm", cases, "maximum_displacement_mm"))
    if wanted.mass is not None:
        mass = sum(b.mass_g for b in bodies.values())
        limit = wanted.mass * 1e6
        met = mass <= limit
        decided = MET if met else NOT_MET
        out.append(RequirementFindings("mass", limit, mass, "g", met, ", ".join(bodies), decided=decided))
    return tuple(out)


def _chance(limit: float, required: float | None, cases: Mapping[str, CaseFindings]) -> RequirementFindings:
    """The least chance of all cases that the required reserve factor, or 1, is there; 0 without a band: not known."""
    known = {c: told for c, f in cases.items() if (told := f.reserve.chance_of(required)) is not None}
    if len(known) < len(cases):
        unknown = min((c for c in cases if c not in known), key=lambda c: not cases[c].used_up)
        decided = NOT_MET if cases[unknown].used_up else NOT_DECIDED
        return RequirementFindings(CHANCE, limit, 0.0, "", False, unknown, decided=decided)
    case = min(known, key=lambda c: known[c][0])
    chance, error = known[case]
    band = Band(max(chance - 2 * error, 0.0), min(chance + 2 * error, 1.0))
    if error == 0:
        band = Band(chance, 1.0) if chance > 0.5 else Band(0.0, chance)
    decided = band.at_least(limit)
    return RequirementFindings(CHANCE, limit, chance, "", decided == MET, case, (band.low, band.high), decided)


def _reserve(limit: float, cases: Mapping[str, CaseFindings]) -> RequirementFindings:
    """The lower limit on the cases' reserve factors; where permanent loads use a place up it is not met."""
    decided = {c: at_least(f, limit) for c, f in cases.items()}
    case = min(cases, key=lambda c: (not cases[c].used_up, WORST_FIRST.index(decided[c]), cases[c].reserve.minimum))
    r, note = cases[case].reserve, LEFT_OVER if cases[case].used_up else ""
    told = decided[case]
    return RequirementFindings("reserve", limit, r.minimum, "", told == MET, case, r.band, told, note)


def _lower(
    name: str, limit: float, values: Mapping[str, tuple[float, Vector]], unit: str, cases: Mapping[str, CaseFindings]
) -> RequirementFindings:
    """A lower limit on the least of the cases' values, each with its band; not met where a place is used up."""
    if not values:
        raise InputError("no case lets this load grow with a force.", where=f"requirements: {name}")
    decided = {c: NOT_MET if cases[c].used_up else holding(*told).at_least(limit) for c, told in values.items()}
    case = min(values, key=lambda c: (not cases[c].used_up, WORST_FIRST.index(decided[c]), values[c][0]))
    (value, band), told = values[case], decided[case]
    note = LEFT_OVER if cases[case].used_up else ""
    return RequirementFindings(name, limit, value, unit, told == MET, case, band, told, note, lower=True)


def _upper(
    name: str, limit: float, values: Mapping[str, float], unit: str, cases: Mapping[str, CaseFindings], key: str
) -> RequirementFindings:
    """An upper limit on the largest of the cases' values, whose bands stand under `key`."""
    bands = {c: cases[c].bands.get(key, ()) for c in values}
    decided = {c: holding(value, bands[c]).at_most(limit) for c, value in values.items()}
    case = min(values, key=lambda c: (WORST_FIRST.index(decided[c]), -values[c]))
    told = decided[case]
    return RequirementFindings(name, limit, values[case], unit, told == MET, case, bands[case], told)
