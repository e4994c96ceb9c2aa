"""All that one study came to, gathered into its findings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from fem.caution import Caution
from fem.judging.answers import Answer
from fem.judging.bodies import describe_bodies, print_cautions
from fem.judging.cautions import cautions_of
from fem.judging.convergence import PassHistory
from fem.judging.deciding import decided_cases
from fem.judging.findings import CaseFindings, FaceFindings, Findings, MeshFindings
from fem.judging.infill import decided_by_infill, infill_cautions, infill_of_case
from fem.judging.infill_findings import COLLAPSE
from fem.judging.requirements import compare_requirements
from fem.judging.trust import trust_of
from fem.loading.kinds import SUPPORT_KINDS
from fem.loading.plan import SupportPlan
from fem.part.faces import cut_notes
from fem.printing.keys import PrintKeys
from fem.study.fingerprint import fingerprint
from fem.study.machine import library_versions, peak_memory, program_version
from fem.study.plans import Study
from fem.study.shared_mesh import Prepared
from fem.study.solved import SolvedStudy


def findings_of(
    ready: Prepared, solved: SolvedStudy, answers: Mapping[str, Answer], *, remarks: tuple[Caution, ...]
) -> Findings:
    """The findings of a solved study with its final `answers`; `remarks` of the beads are told among the cautions."""
    study, mesh = ready.study, ready.mesh
    bodies = describe_bodies(mesh, ready.printed, made=ready.made, keys=print_keys(study))
    cases = {name: with_infill(ready, answers[name]) for name in solved.cases}
    results = decided_cases(cases, study.requirements.reserve)
    quality = mesh.quality
    about_mesh = MeshFindings(
        nodes=len(mesh.nodes),
        tetrahedra=len(mesh.tets),
        unknowns=mesh.unknowns,
        order=2,
        worst_quality=quality.worst,
        median_quality=quality.median,
        straightened=quality.straightened,
    )
    errors = {name: answers[name].energy_error for name in solved.cases}
    trust = trust_of(about_mesh, results, balance=solved.balance, energy_error=errors, iterations=solved.iterations)
    if (passes := solved.passes) is not None:
        trust |= {"passes": [each.as_dict for each in passes.passes], "stopped_by": passes.stopped_by}
    if ready.shared_mesh.refined_for and passes is None:
        trust |= {"mesh_refined_for": ready.shared_mesh.refined_for}
    notes = tuple(Caution("cut", note, {"face": name}) for name, note in cut_notes(ready.groups).items())
    notes += _shared_mesh(ready, passes)
    growing = tuple(
        Caution(
            "permanent_alone",
            f"Case {case.name} has permanent loads alone; its reserve factor takes them to grow together.",
            {"case": case.name},
        )
        for case in solved.cases.values()
        if case.all_grow and any(case.factors.values())
    )
    if not study.text:
        notes += (Caution("no_file", "The study was changed by a script: no file holds what was computed."),)
    patterns = {name: body.print.pattern for name, body in bodies.items() if body.print is not None}
    remarks = (
        *notes,
        *solved.remarks,
        *remarks,
        *print_cautions(bodies),
        *growing,
        *infill_cautions(results, patterns),
    )
    return Findings(
        beadwork=program_version(),
        title=study.title,
        question=study.question,
        inputs={**study.inputs, "fingerprint": fingerprint(study), "versions": library_versions()},
        bodies=bodies,
        mesh=about_mesh,
        faces={n: FaceFindings(g.count, g.area, tuple(float(v) for v in g.centre)) for n, g in ready.groups.items()},
        cases=results,
        stiffness=solved.stiffness,
        requirements=compare_requirements(study.requirements, bodies=bodies, cases=results),
        loads={name: each.facts for name, each in ready.loads.items()},
        supports={name: support_facts(plan) for name, plan in study.supports.items()},
        trust=trust,
        cautions=cautions_of(bodies, results, trust, mesh=about_mesh, diagonal=mesh.diagonal, remarks=remarks),
        peak_memory_MB=peak_memory(),
        currency=study.currency,
        clamps=solved.clamps,
    )


def with_infill(ready: Prepared, answer: Answer) -> CaseFindings:
    """A case with both strengths of its infill; collapse is calculated where the study lets it count."""
    collapse = ready.study.requirements.infill == COLLAPSE
    told = infill_of_case(ready.mesh, ready.printed, answer.field, made=ready.made, collapse=collapse)
    return decided_by_infill(replace(answer.findings, infill=told), answer.field, mesh=ready.mesh)


def _shared_mesh(ready: Prepared, passes: PassHistory | None) -> tuple[Caution, ...]:
    base = ready.shared_mesh.refined_for
    if not base or passes is not None:
        return ()
    text = f'The mesh was refined for the accuracy of "{base}"; all variants share it.'
    return (Caution("shared_mesh", text, {"refined_for": base}),)


def print_keys(study: Study) -> dict[str, PrintKeys | None]:
    """How each body is printed; None where it is not printed."""
    return {name: body.print for name, body in study.bodies.items()}


def support_facts(plan: SupportPlan) -> dict[str, Any]:
    """A support in words and numbers."""
    return {"face": plan.face, **SUPPORT_KINDS[plan.kind].facts(plan.what)}
