"""The whole story of a study, one line a step."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from fem.errors import InputError
from fem.judging.answers import with_load_path
from fem.judging.findings import Findings
from fem.study.beads import ask_beads
from fem.study.bench import with_bench
from fem.study.chances import with_chances
from fem.study.clock import Clock, Progress, added_seconds, by_the_clock, clock_say
from fem.study.fingerprint import mesh_key, shown_digests
from fem.study.fits import with_fits
from fem.study.folder import checked_place, fresh_folder
from fem.study.gather import findings_of
from fem.study.machine import peak_memory
from fem.study.outcome import Outcome
from fem.study.passes import solve_as_asked
from fem.study.plans import Study
from fem.study.prepare import body_print, refuse_no_force
from fem.study.shared_mesh import Prepared, SharedMesh, Sizes, make_shared_mesh
from fem.study.variants.asked import asked_study, results_folder, title_of


def prepare(
    study: Study,
    *,
    shared_mesh: SharedMesh | None = None,
    sizes: Sizes | None = None,
    progress: Progress | None = None,
) -> Prepared:
    """Read solids and cards, mesh, match faces, build the loads at factor one.

    `shared_mesh` brings solids and mesh along; `sizes` are of the mesh, in place of the study's own.
    Errors: InputError for a shared mesh that is another study's or of other sizes; any of the rooms above.
    """
    if shared_mesh is not None and shared_mesh.key != mesh_key(study, sizes=sizes):
        raise InputError(
            "the shared mesh is of other solids, or meshed otherwise, than this study asks for.",
            where=str(study.path),
            advice="Lay one for it, or leave it out.",
        )
    clock = Clock(progress)
    clock("infill cells", 0.01)
    made = {name: body_print(body, where=study.path.name) for name, body in study.bodies.items()}
    shared_mesh = shared_mesh or make_shared_mesh(study, clock=clock, sizes=sizes)
    clock("match faces", 0.16)
    groups = shared_mesh.groups(study)
    clock("material as printed", 0.165)
    printed = shared_mesh.field(made)
    clock("match faces", 0.175)
    loads = shared_mesh.loads(study, printed)
    refuse_no_force(study, shared_mesh.mesh, loads)
    clock("", 0.18)
    return Prepared(study, shared_mesh, made, printed, groups, loads, clock.seconds)


def answer(study: Study | Prepared, *, progress: Progress | None = None, whole_paths: bool = True) -> Outcome:
    """Solve and judge every case of a study, prepared or not; `whole_paths`: with the few load factors solved that
    drawing the path of a case with joints takes, and with the further clearances of its joints.

    Errors: FreeBodyError, NotConverged; those of `prepare`.
    """
    ready = study if isinstance(study, Prepared) else prepare(study, progress=progress)
    ready, solved = solve_as_asked(ready, progress=progress)
    clock = Clock(progress)
    clock("bead by bead", 0.5)
    asked = ask_beads(ready, solved, progress=lambda text, share: clock_say(progress, text, 0.5 + 0.1 * share))
    clock("chance", 0.6)
    answers = with_chances(ready, solved.places, asked.answers)
    if whole_paths and any(each.trace for each in answers.values()):
        clock("load path", 0.6)
        answers = {name: with_load_path(each) for name, each in answers.items()}
    clock("", 0.6)
    findings = findings_of(ready, solved, answers, remarks=asked.remarks)
    findings = with_bench(ready, findings, solved.bench)
    if whole_paths and any(plan.fits for plan in ready.study.joints.values()):
        clock("fits", 0.6)
        findings = with_fits(
            ready, findings, begin=solved.moved, progress=lambda text, share: clock_say(progress, text, 0.6)
        )
        clock("", 0.6)
    findings = replace(findings, seconds=added_seconds(ready.seconds, solved.seconds, clock.seconds))
    fields = {name: each.fields for name, each in answers.items()}
    return Outcome(findings, ready, fields, solved.patches, asked.views)


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
    beads = study.judge.whole or study.judge.zoom != 0
    progress = by_the_clock(progress, beads=beads and any(body.print for body in study.bodies.values()))
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
