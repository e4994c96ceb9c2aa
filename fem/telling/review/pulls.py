"""The forces and moments that act on the part in a case: each load's resultant, and the reaction of the supports."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.digits import number
from fem.judging.findings import Findings
from fem.loading.kinds import LOAD_KINDS
from fem.telling.review.material import Material
from fem.tensors import Array

NOISE = 1e-6
"""A force or moment below this share of the largest in its case is rounding, and reads 0."""
NOTHING = 1e-6
"""A force [N] that is none: what is left of pairs in balance, which no load says."""


@dataclass(frozen=True)
class Pull:
    """A force (3,) [N] with the moment (3,) [N mm] about the point `at` (3,) [mm] through which it is drawn.

    `role` is load or reaction; `origin_moment` (3,) [N mm] is about the origin of the part axes; `place` says in
    words what the point is.
    """

    name: str
    role: str
    force: Array
    moment: Array
    origin_moment: Array
    at: Array
    place: str


@dataclass(frozen=True)
class FreeBody:
    """The part cut free in one case: what pulls on it, which loads have no resultant (`inner`, in words), and the sum
    of the loads' forces (3,) [N] and moments (3,) [N mm] about the origin.
    """

    case: str
    pulls: tuple[Pull, ...]
    inner: tuple[str, ...]
    force: Array
    moment: Array


def free_body(material: Material, case: str) -> FreeBody:
    """What acts on the part in a case. The supports' moment follows from balance, which the solver has checked."""
    findings = material.findings
    found = findings.cases[case]
    centre = np.mean(np.array(material.box), axis=0)
    total, about = np.array(found.applied_N), np.array(found.applied_Nmm)
    scale = max(
        [float(np.linalg.norm(total))]
        + [abs(f) * _norm(findings.loads.get(name, {}).get("force_N")) for name, f in found.factors.items()]
    )
    pulls, inner = [], []
    for name, factor in found.factors.items():
        facts = findings.loads.get(name, {})
        if factor == 0:
            continue
        pull = _load(name, factor, facts, material, centre)
        own = 0.0 if pull is None else float(np.linalg.norm(pull.force))
        turn = 0.0 if pull is None else float(np.linalg.norm(pull.origin_moment))
        least = max(NOISE * scale, NOTHING)
        if pull is None or (own <= least and turn <= least * material.diagonal):
            inner.append(_inner(name, factor, facts))
        else:
            pulls.append(pull)
    back, turned = np.array(found.reaction_N), -about
    if max(scale, _norm(back)) > NOTHING or _norm(turned) > NOTHING * material.diagonal:
        at = _support_centre(findings, material.study, found.factors)
        held = "centroid of the supported faces"
        if at is None:
            at, held = centre, "centre of the part"
        pulls.append(Pull("reaction", "reaction", back, turned - np.cross(at, back), turned, at, held))
    return FreeBody(case, tuple(pulls), tuple(inner), total, about)


def clean(vector: Sequence[float] | Array, scale: float) -> Array:
    """The components, with those that are rounding beside `scale` set to zero."""
    values = np.asarray(vector, dtype=float)
    return np.where(np.abs(values) <= NOISE * scale, 0.0, values)


def _load(name: str, factor: float, facts: Mapping[str, Any], material: Material, centre: Array) -> Pull | None:
    pull = facts.get("force_N", facts.get("resultant_N"))
    if pull is None:
        return None
    own = factor * np.array(pull, dtype=float)
    at, place = _point(name, facts, material)
    if "moment_about_origin_Nmm" in facts:
        about = factor * np.array(facts["moment_about_origin_Nmm"], dtype=float)
    else:
        about = np.cross(np.zeros(3) if at is None else at, own)
    if at is None:
        # Any point of the line of action serves: the one nearest to the middle of the part
        square = float(own @ own)
        foot = np.cross(own, about) / square if square > 0 else centre
        along = own * float(own @ (centre - foot)) / square if square > 0 else 0.0
        at, place = foot + along, "on its line of action"
    return Pull(name, "load", own, about - np.cross(at, own), about, at, place)


def _point(name: str, facts: Mapping[str, Any], material: Material) -> tuple[Array | None, str]:
    """Where a load is drawn: the centre that it states, else the centre of its face."""
    if "centre_mm" in facts:
        return np.array(facts["centre_mm"], dtype=float), "its centre"
    face = facts.get("face", _table(material.study, "loads", name).get("face"))
    if face in material.findings.faces:
        return np.array(material.findings.faces[face].centre_mm), f"centroid of {face}"
    return None, ""


def _support_centre(findings: Findings, study: Mapping[str, Any], factors: Mapping[str, float]) -> Array | None:
    """The middle of all faces that hold the loaded bodies in a case, by their areas."""
    loads = {name: _table(study, "loads", name) for name, factor in factors.items() if factor}
    names = [str(s.get("face", "")) for s in findings.supports.values()]
    names += [
        str(table.get("face", ""))
        for name, table in loads.items()
        if "displacement_mm" in findings.loads.get(name, {})
    ]
    # Bodies share no nodes, so only those that a load stands on pull on their supports
    loaded = {
        _table(study, "faces", str(table.get("face", ""))).get("body") for table in loads.values() if "face" in table
    }
    held = {n: findings.faces[n] for n in dict.fromkeys(names) if n in findings.faces}
    own = {n: face for n, face in held.items() if _table(study, "faces", n).get("body") in loaded}
    faces = (own if len(findings.bodies) > 1 and own and None not in loaded else held).values()
    area = sum(f.area_mm2 for f in faces)
    if not area > 0:
        return None
    return sum((f.area_mm2 * np.array(f.centre_mm) for f in faces), start=np.zeros(3)) / area


def _table(study: Mapping[str, Any], kind: str, name: str) -> Mapping[str, Any]:
    """A table of the study's text, empty where there is none."""
    table = study.get(kind, {}).get(name, {})
    return table if isinstance(table, Mapping) else {}


def _inner(name: str, factor: float, facts: Mapping[str, Any]) -> str:
    words = LOAD_KINDS[facts["kind"]].without_resultant if facts.get("kind") in LOAD_KINDS else None
    if words is None:
        return f"{name}: no resultant"
    what, why = words(facts)
    return f"{name}: {what}{'' if factor == 1 else f', times {number(factor)}'}; {why}"


def _norm(values: Any) -> float:
    return float(np.linalg.norm(values)) if values is not None else 0.0
