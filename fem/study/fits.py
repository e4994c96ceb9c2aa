"""What the fit of a joint costs: its cases solved again with each further clearance that a study names."""

from __future__ import annotations

import math
from dataclasses import replace

from fem.caution import Caution
from fem.errors import FreeBodyError, NotConverged
from fem.joining.joint import JointPlan
from fem.judging.findings import CaseFindings, Findings, FitCase, FitFindings
from fem.solving.units import Displacements
from fem.study.clock import Progress, clock_say
from fem.study.shared_mesh import Prepared
from fem.study.solved import SolvedStudy, solve_cases_of

LOOSE = "bolt_loose"
"""The caution that changes what else is told of a fit."""


def with_fits(
    ready: Prepared, findings: Findings, *, begin: Displacements | None = None, progress: Progress | None = None
) -> Findings:
    """The findings with the clearances that the joints of a study name beside their own; iterations `begin` at the
    displacements of these.
    """
    asked = [(plan, fit) for plan in ready.study.joints.values() for fit in plan.fits]
    fits: list[FitFindings] = []
    cautions: list[Caution] = []
    told: set[str] = set()
    for number, (plan, fit) in enumerate(asked):
        if plan.name not in told:
            fits.append(_fit(plan, plan.clearance, findings.cases))
            told.add(plan.name)
        clock_say(progress, f"{plan.name}, {fit:g} mm", number / len(asked))
        try:
            solved = _solved(ready, plan, fit, begin)
            fits.append(_fit(plan, fit, {name: each.findings for name, each in solved.answers.items()}))
            cautions += [
                replace(told, text=f"With a clearance of {fit:g} mm of joint {plan.name}: {told.text}")
                for told in solved.remarks
                if told.kind == LOOSE
            ]
        except (FreeBodyError, NotConverged) as error:
            text = f"With a clearance of {fit:g} mm of joint {plan.name} there is no answer: {error.message}"
            cautions.append(Caution("no_fit", text, {"joint": plan.name, "clearance_mm": fit}))
    fits.sort(key=lambda each: (each.joint, each.clearance_mm))
    return replace(findings, fits=tuple(fits), cautions=(*findings.cautions, *cautions))


def _solved(ready: Prepared, plan: JointPlan, fit: float, begin: Displacements | None) -> SolvedStudy:
    """The cases with another clearance. Errors: FreeBodyError, NotConverged."""
    joints = {**ready.study.joints, plan.name: replace(plan, clearance=fit, fits=())}
    other = replace(ready, study=replace(ready.study, joints=joints))
    return solve_cases_of(other, begin=begin)


def _fit(plan: JointPlan, clearance: float, cases: dict[str, CaseFindings]) -> FitFindings:
    own = {
        name: FitCase(
            reserve=case.reserve.minimum if case.reserve.homogenised is None else case.reserve.homogenised,
            maximum_displacement_mm=case.maximum_displacement_mm,
            rotation_deg={face: math.hypot(*found.rotation_deg) for face, found in case.faces.items()},
            bolt_force_N=max((bolt.force_N for bolt in case.bolts.values()), default=None),
            pressure_max_MPa=case.joints[plan.name].pressure_max_MPa,
            touching=case.joints[plan.name].touching,
        )
        for name, case in cases.items()
    }
    return FitFindings(plan.name, clearance, clearance == plan.clearance, own)
