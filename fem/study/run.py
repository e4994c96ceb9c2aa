"""The whole story of a study, one line a step."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from fem.caution import Caution
from fem.errors import InputError
from fem.judging.bodies import describe_bodies, print_cautions
from fem.judging.findings import Findings
from fem.judging.scene import CaseFields, Patch, Scene
from fem.loading.case import LoadCase, lost_loads
from fem.loading.displacement import displaced_face
from fem.loading.loads import resultant
from fem.loading.supports import gather
from fem.part.faces import FaceGroup
from fem.part.meshing import refuse_too_large
from fem.part.solid import Solid
from fem.printing.cut import cut_body
from fem.solving.equilibrium import refuse_free_motion
from fem.study.beads import ask_beads
from fem.study.chances import with_chances
from fem.study.clock import Clock, Progress, beads_take_long, clock_say
from fem.study.file import read_study
from fem.study.fingerprint import ground_key, shown_digests
from fem.study.folder import checked_place, fresh_folder
from fem.study.gather import findings_of, print_keys, support_facts
from fem.study.ground import Ground, Prepared, Sizes, expected_unknowns, lay_ground, own_sizes, read_bodies
from fem.study.machine import peak_memory
from fem.study.outcome import Outcome
from fem.study.passes import solve_as_asked
from fem.study.plans import Study
from fem.study.prepare import body_print, refuse_no_force, supports_of
from fem.study.remarks import remarks_of
from fem.study.variants.asked import asked_study, results_folder, title_of
from fem.zooming.nouns import ZoomView


@dataclass(frozen=True)
class Judged:
    """A study's cases solved and judged: numbers, fields by case, where supports and loads work, and the study as
    it stands on the last mesh."""

    findings: Findings
    fields: dict[str, CaseFields]
    patches: tuple[Patch, ...]
    zooms: tuple[ZoomView, ...] = ()
    ready: Prepared | None = None


def prepare(
    study: Study, *, ground: Ground | None = None, sizes: Sizes | None = None, progress: Progress | None = None
) -> Prepared:
    """Read solids and cards, mesh, match faces, build the loads at factor one.

    `ground` brings solids and mesh along; `sizes` are of the mesh, in place of the study's own.
    Errors: InputError for a ground that is another study's or of other sizes; any of the rooms above.
    """
    if ground is not None and ground.key != ground_key(study, sizes=sizes):
        raise InputError(
            "the ground is of other solids, or meshed otherwise, than this study asks for.",
            where=str(study.path),
            advice="Lay one for it, or leave it out.",
        )
    clock = Clock(progress)
    clock("infill cells", 0.01)
    made = {name: body_print(body, where=study.path.name) for name, body in study.bodies.items()}
    ground = ground or lay_ground(study, clock=clock, sizes=sizes)
    clock("match faces", 0.16)
    groups = ground.groups(study)
    clock("material as printed", 0.165)
    printed = ground.field(made)
    clock("match faces", 0.175)
    loads = ground.loads(study, printed)
    refuse_no_force(study, ground.mesh, loads)
    clock("", 0.18)
    return Prepared(study, ground, made, printed, groups, loads, clock.seconds)


def answer(study: Study | Prepared, *, progress: Progress | None = None) -> Outcome:
    """Solve and judge every case of a study, prepared or not, and make the scene that pictures are drawn from.

    Errors: FreeBodyError, NotConverged; those of `prepare`.
    """
    ready = study if isinstance(study, Prepared) else prepare(study, progress=progress)
    judged = solve_and_judge(ready, progress=progress)
    ready = judged.ready or ready
    arrows = tuple(a for each in ready.loads.values() for a in each.arrows)
    cuts = tuple(cut for name, made in ready.made.items() for cut in cut_body(ready.mesh, body=name, made=made))
    scene = Scene(ready.mesh, judged.fields, arrows, judged.patches, cuts)
    cases = [LoadCase(name, factors, ready.loads) for name, factors in ready.study.cases.items()]
    warming = {case.name: case.temperature_change(tuple(case.factors)) for case in cases}
    return Outcome(judged.findings, scene, judged.zooms, ready.printed, warming)


def solve_and_judge(ready: Prepared, *, progress: Progress | None = None) -> Judged:
    """Solve and judge every case of a prepared study. Errors: FreeBodyError, NotConverged."""
    ready, solved = solve_as_asked(ready, progress=progress)
    clock = Clock(progress)
    clock("bead by bead", 0.5)
    asked = ask_beads(ready, solved, progress=lambda text, share: clock_say(progress, text, 0.5 + 0.1 * share))
    clock("chance", 0.6)
    answers = with_chances(ready, solved.places, asked.answers)
    clock("", 0.6)
    findings = findings_of(
        ready,
        cases=solved.cases,
        answers=answers,
        stiffness=solved.stiffness,
        iterations=solved.iterations,
        balance=solved.balance,
        remarks=(*solved.remarks, *asked.remarks),
        passes=solved.passes,
    )
    seconds = {**ready.seconds, **solved.seconds, **clock.seconds}
    if "chance" in solved.seconds:
        seconds["chance"] = round(solved.seconds["chance"] + clock.seconds["chance"], 3)
    findings = replace(findings, seconds=seconds)
    fields = {name: each.fields for name, each in answers.items()}
    return Judged(findings, fields, solved.patches, asked.views, ready)


@dataclass(frozen=True)
class Checked:
    """What a study would use: `unknowns` by body (about), `loads` the facts at factor one, `totals` force [N] and
    moment [N mm] about the origin by case; `solids` the solids as read, by body.
    """

    study: Study
    solids: dict[str, Solid]
    bodies: dict[str, Any]
    groups: dict[str, FaceGroup]
    unknowns: dict[str, int]
    supports: dict[str, dict[str, Any]]
    loads: dict[str, dict[str, Any]]
    totals: dict[str, tuple[Any, Any]]
    cautions: tuple[Caution, ...]


def check_study(study: Study | Path | str, *, progress: Progress | None = None) -> Checked:
    """Read, match and add up a study (or its file) without solving; a coarse mesh is enough, since resultants do not
    depend on it.

    Errors: all that a run would refuse before it solves.
    """
    study = read_study(study)
    solids = read_bodies(study)
    unknowns = expected_unknowns(solids, own_sizes(study))
    refuse_too_large(sum(unknowns.values()), where=str(study.path))
    coarse = {n: (max(solids[n].size / 15, b.size or 0.0), solids[n].size / 60) for n, b in study.bodies.items()}
    ready = prepare(study, sizes=coarse, progress=progress)
    held, foundations = supports_of(study, ready.mesh, ready.groups)
    loads = ready.loads
    cases = [LoadCase(name, factors, loads) for name, factors in study.cases.items()]
    for displaced in {case.displaced for case in cases}:
        moved = [displaced_face(ready.mesh, study.loads[name], ready.groups) for name in displaced]
        refuse_free_motion(ready.mesh, held=[*held, *moved], foundations=foundations)
        lost_loads(loads, gather(ready.mesh, (*held, *moved)).projector)
    totals = {}
    for case in cases:
        forces = case.combined(tuple(case.factors), {k: v.forces for k, v in loads.items()})
        totals[case.name] = resultant(ready.mesh, forces)
    bodies = describe_bodies(ready.mesh, ready.printed, made=ready.made, keys=print_keys(study))
    facts = {k: v.facts for k, v in loads.items()}
    supports = {name: support_facts(plan) for name, plan in study.supports.items()}
    # The mesh of a check is coarser than that of the run: what it reaches of a cut says nothing of the run's
    return Checked(
        study,
        solids,
        bodies,
        ready.groups,
        unknowns,
        supports,
        facts,
        totals,
        (*remarks_of(ready), *print_cautions(bodies)),
    )


def run_study(
    path: Any,
    *,
    changes: Mapping[str, Any] | None = None,
    variant: str | None = None,
    out: Path | None = None,
    pictures: bool = True,
    progress: Progress | None = None,
) -> tuple[Findings, Path]:
    """Answer a study file and write results/<study>/ (or `out`); returns the findings and the report's path.

    `changes` are values at paths of keys that count in place of the file's ({"judge.zoom": 3}). Results of
    a `variant` of the study go into variants/<variant>/ in there. Without `pictures` none are drawn, and the page
    says so.
    Everything is written into a folder beside and renamed at the end, so that a stopped run leaves the older
    results as they were.
    """
    from fem.judging.findings import write_findings
    from fem.telling import tell
    from fem.telling.bead_files import with_pictures
    from fem.telling.plainly import tell_plainly, without_pictures

    study = asked_study(path, changes=changes, variant=variant)
    wanted = results_folder(study, out)
    if study.variant:
        checked_place(wanted.parents[1])
    if (study.judge.whole or study.judge.zoom != 0) and any(body.print for body in study.bodies.values()):
        progress = beads_take_long(progress)
    with fresh_folder(wanted) as beside:
        outcome = answer(prepare(study, progress=progress), progress=progress)
        start = time.perf_counter()
        findings = replace(outcome.findings, title=title_of(study), peak_memory_MB=peak_memory())
        findings = with_pictures(findings, outcome.zooms) if pictures else without_pictures(findings)
        report = (tell if pictures else tell_plainly)(
            findings,
            outcome.scene,
            folder=beside,
            zooms=outcome.zooms,
            progress=lambda t, s: clock_say(progress, t, 0.6 + 0.39 * s),
        )
        seconds = {**findings.seconds, "tell": round(time.perf_counter() - start, 3)}
        files = shown_digests(beside)
        findings = replace(findings, seconds=seconds, peak_memory_MB=peak_memory(), files=files)
        write_findings(findings, beside / "findings.json")
    clock_say(progress, "done", 1.0)
    return findings, wanted / report.name
