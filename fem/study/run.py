"""The whole story of a study, one line a step."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from fem.errors import InputError, NoTrustworthyAnswer
from fem.judging.findings import FaceFindings, Findings, MeshFindings
from fem.judging.hotspots import find_artefacts
from fem.judging.scene import Scene
from fem.judging.trust import WORST_BALANCE, cautions_of, trust_of
from fem.loading.case import LoadCase
from fem.loading.loads import resultant
from fem.loading.supports import gather
from fem.part.faces import FaceGroup, name_faces
from fem.part.meshing import estimated_unknowns, mesh_solid, refuse_too_large
from fem.part.solid import Solid, read_solid
from fem.part.tetmesh import TetMesh, joined
from fem.printing.body import PrintedBody
from fem.printing.cut import cut_body
from fem.printing.field import PrintedField
from fem.printing.mixing import printed_field
from fem.solving.equilibrium import Equilibrium, refuse_free_motion
from fem.study.answers import answer_case, compare_requirements, face_stiffness, unit_wrenches
from fem.study.bodies import describe_bodies, print_cautions
from fem.study.file import read_study
from fem.study.folder import fresh_folder
from fem.study.machine import library_versions, peak_memory, program_version
from fem.study.plans import PrintKeys, Study
from fem.study.prepare import (
    Loaded,
    body_print,
    clamp_cautions,
    load_of,
    lost_loads,
    patches_of,
    shifts_of,
    supports_of,
)

DEFAULT_FOLDER = "results"
"""Where a run writes unless it is told otherwise: a folder of the study's name in here."""
LARGE_DISPLACEMENT = 0.02
"""Largest displacement over the part's diagonal from which a linear analysis is called doubtful (common practice)."""
Progress = Callable[[str, float], None]
"""Hears the stage's name and the share of the whole that is done."""


@dataclass(frozen=True)
class Prepared:
    """A study brought as far as the equations: what `beadwork check` reports on."""

    study: Study
    solids: dict[str, Solid]
    made: dict[str, PrintedBody]
    mesh: TetMesh
    printed: PrintedField
    groups: dict[str, FaceGroup]
    loads: dict[str, Loaded]
    seconds: dict[str, float]


@dataclass(frozen=True)
class Outcome:
    """A study answered: numbers and the fields that pictures are drawn from."""

    findings: Findings
    scene: Scene


class _Clock:
    """Seconds by stage, and the voice of the progress bar."""

    def __init__(self, progress: Progress | None) -> None:
        self.seconds: dict[str, float] = {}
        self._say = progress or (lambda _text, _share: None)
        self._stage, self._since = "", time.perf_counter()

    def __call__(self, stage: str, share: float) -> None:
        now = time.perf_counter()
        if self._stage:
            self.seconds[self._stage] = round(self.seconds.get(self._stage, 0.0) + now - self._since, 3)
        self._stage, self._since = stage, now
        self._say(stage, share)


def prepare(study: Study, *, progress: Progress | None = None) -> Prepared:
    """Read solids and cards, mesh, match faces, build the loads at factor one.

    Errors: any InputError of the rooms above.
    """
    clock = _Clock(progress)
    clock("infill cells", 0.01)
    made = {name: body_print(body, where=study.path.name) for name, body in study.bodies.items()}
    clock("read solids", 0.03)
    solids = {n: read_solid(b.solid, name=n, unit=b.unit, any_size=b.any_size) for n, b in study.bodies.items()}
    refuse_too_large(sum(expected_unknowns(study, solids).values()), where=str(study.path))
    clock("mesh", 0.04)
    meshes = [mesh_solid(solids[n], size=b.size, finest=b.finest, unit=b.unit) for n, b in study.bodies.items()]
    mesh = joined(meshes)
    clock("match faces", 0.16)
    groups = name_faces(mesh, study.faces)
    clock("material as printed", 0.165)
    printed = printed_field(mesh, bodies=made)
    clock("match faces", 0.175)
    loads = {name: load_of(plan, mesh, printed, groups) for name, plan in study.loads.items()}
    clock("", 0.18)
    return Prepared(study, solids, made, mesh, printed, groups, loads, clock.seconds)


def answer(ready: Prepared, *, progress: Progress | None = None) -> Outcome:
    """Solve and judge every case of a prepared study.

    Errors: FreeBodyError, NotConverged.
    """
    clock = _Clock(progress)
    study, mesh, printed, groups = ready.study, ready.mesh, ready.printed, ready.groups
    loads = {name: each.load for name, each in ready.loads.items()}
    cases = {name: LoadCase(name, factors, loads) for name, factors in study.cases.items()}
    if not cases:
        raise InputError("there is no load case.", where=str(study.path), advice="Add [loads] and [cases].")
    held, beds = supports_of(study, mesh, groups)
    watched = {name: unit_wrenches(mesh, groups[name]) for name in study.watch}
    answers: dict[str, Any] = {}
    stiffness = {}
    iterations, balance = 0, 0.0
    remarks = dict.fromkeys((*clamp_cautions(loads), *far_points(study, mesh)))
    pattern = blocks = None
    # Cases that prescribe the same faces' displacements share a matrix; a face is free where its shift is not named
    kinds = sorted({(case.shifted) for case in cases.values()} | ({()} if watched else set()))
    for turn, shifted in enumerate(kinds):
        clock("assemble and set up", 0.18 + 0.1 * turn / len(kinds))
        moved = [shifts_of(mesh, study.loads[name], groups) for name in shifted]
        still = [replace(h, value=np.zeros_like(h.value)) for h in moved]
        try:
            equilibrium = Equilibrium(mesh, printed, held=[*held, *still], beds=beds, pattern=pattern, blocks=blocks)
        except InputError:
            if shifted or any(case.shifted == () for case in cases.values()):
                raise
            continue  # a face's stiffness cannot be told where only shifts hold the part
        pattern, blocks = equilibrium.pattern, equilibrium.elastic
        artefacts = find_artefacts(
            mesh,
            held={h.name: h.triangles for h in (*held, *moved)},
            loaded={
                k: v.triangles for k, v in loads.items() if len(v.triangles) and v.kind not in ("clamp", "shift")
            },
        )
        clock("solve", 0.28)
        own = [case for case in cases.values() if case.shifted == shifted]
        needed = sorted({k for case in own for k in case.factors})
        plain = [k for k in needed if loads[k].shift is None]
        remarks |= dict.fromkeys(lost_loads({k: loads[k] for k in plain}, equilibrium.held.projector))
        wrenches = list(watched.values()) if shifted == () else []
        right = np.concatenate([np.array([loads[k].forces for k in plain]).reshape(-1, *mesh.nodes.shape), *wrenches])
        found, record = equilibrium.solve(right, progress=lambda s: clock_say(progress, "solve", 0.28 + 0.2 * s))
        iterations += record.iterations
        units = dict(zip(plain, found, strict=False))
        for k, name in enumerate(watched if wrenches else ()):
            at = len(plain) + 6 * k
            stiffness[name] = face_stiffness(watched[name], found[at : at + 6])
        for name, move in zip(shifted, moved, strict=True):
            start = equilibrium.starts(move)
            answer_, record = equilibrium.solve(np.zeros((1, *mesh.nodes.shape)), starts=start[None])
            units[name] = answer_[0]
            iterations += record.iterations
        # A shift that no factor asks for moves nothing and holds nothing
        units |= {k: np.zeros_like(mesh.nodes) for k in needed if k not in units}
        for case in own:
            clock("judge", 0.5)
            answers[case.name] = answer_case(
                case,
                mesh=mesh,
                printed=printed,
                equilibrium=equilibrium,
                units=units,
                record=record,
                watched=watched,
                points=study.points,
                artefacts=artefacts,
                groups=groups,
            )
            result = answers[case.name].findings
            balance = max(balance, result.force_error, result.moment_error)
    clock("", 0.6)
    if balance > WORST_BALANCE:
        raise NoTrustworthyAnswer(
            f"forces balance only to {balance:.1e} of the load.",
            advice="Look for a body that is hardly held, or a very soft bed.",
        )
    findings = _findings(ready, cases, answers, stiffness, iterations, balance, tuple(remarks))
    findings = replace(findings, seconds={**ready.seconds, **clock.seconds})
    arrows = tuple(a for each in ready.loads.values() for a in each.arrows)
    fields = {name: answers[name].fields for name in cases}
    cuts = tuple(cut for name, made in ready.made.items() for cut in cut_body(mesh, body=name, made=made))
    return Outcome(findings, Scene(mesh, fields, arrows, patches_of(mesh, held, beds, loads), cuts))


def far_points(study: Study, mesh: TetMesh) -> tuple[str, ...]:
    """Cautions for points that lie off the part: they are read at the nearest node."""
    reach = float(mesh.edge_length.max())
    off = {n: float(np.linalg.norm(mesh.nodes - np.asarray(at), axis=1).min()) for n, at in study.points.items()}
    return tuple(
        f"Point {n} lies {d:.3g} mm off the part; the nearest node is read." for n, d in off.items() if d > reach
    )


@dataclass(frozen=True)
class Checked:
    """What a study would use: `unknowns` by body (about), `loads` the facts at factor one, `totals` force [N] and
    moment [N mm] about the origin by case.
    """

    study: Study
    bodies: dict[str, Any]
    groups: dict[str, FaceGroup]
    unknowns: dict[str, int]
    loads: dict[str, dict[str, Any]]
    totals: dict[str, tuple[Any, Any]]
    cautions: tuple[str, ...]


def check_study(study: Study, *, progress: Progress | None = None) -> Checked:
    """Read, match and add up without solving; a coarse mesh is enough, since resultants do not depend on it.

    Errors: all that a run would refuse before it solves.
    """
    solids = {n: read_solid(b.solid, name=n, unit=b.unit, any_size=b.any_size) for n, b in study.bodies.items()}
    unknowns = expected_unknowns(study, solids)
    refuse_too_large(sum(unknowns.values()), where=str(study.path))
    coarse = {
        n: replace(b, size=max(solids[n].size / 15, b.size or 0.0), finest=solids[n].size / 60)
        for n, b in study.bodies.items()
    }
    ready = prepare(replace(study, bodies=coarse), progress=progress)
    held, beds = supports_of(study, ready.mesh, ready.groups)
    loads = {name: each.load for name, each in ready.loads.items()}
    cases = [LoadCase(name, factors, loads) for name, factors in study.cases.items()]
    for shifted in {case.shifted for case in cases}:
        moved = [shifts_of(ready.mesh, study.loads[name], ready.groups) for name in shifted]
        refuse_free_motion(ready.mesh, held=[*held, *moved], beds=beds)
        lost_loads(loads, gather(ready.mesh, (*held, *moved)).projector)
    totals = {}
    for case in cases:
        forces = case.combined(tuple(case.factors), {k: v.forces for k, v in loads.items()})
        totals[case.name] = resultant(ready.mesh, forces)
    bodies = describe_bodies(ready.mesh, ready.printed, made=ready.made, keys=_keys(study))
    facts = {k: v.facts for k, v in loads.items()}
    return Checked(study, bodies, ready.groups, unknowns, facts, totals, print_cautions(bodies))


def clock_say(progress: Progress | None, text: str, share: float) -> None:
    """Pass on how far a stage is, where anyone listens."""
    if progress is not None:
        progress(text, share)


def run_study(path: Any, *, out: Path | None = None, progress: Progress | None = None) -> tuple[Findings, Path]:
    """Answer a study file and write results/<study>/ (or `out`); returns the findings and the report's path.

    Everything is written into a folder beside and renamed at the end, so that a stopped run leaves the older
    results as they were.
    """
    from fem.judging.findings import write_findings
    from fem.telling import tell

    study = read_study(path)
    wanted = Path(out) if out is not None else Path(DEFAULT_FOLDER) / study.path.stem
    with fresh_folder(wanted) as beside:
        outcome = answer(prepare(study, progress=progress), progress=progress)
        start = time.perf_counter()
        findings = replace(outcome.findings, peak_memory_MB=peak_memory())
        report = tell(
            findings, outcome.scene, folder=beside, progress=lambda t, s: clock_say(progress, t, 0.6 + 0.39 * s)
        )
        seconds = {**findings.seconds, "tell": round(time.perf_counter() - start, 3)}
        findings = replace(findings, seconds=seconds, peak_memory_MB=peak_memory())
        write_findings(findings, beside / "findings.json")
    clock_say(progress, "done", 1.0)
    return findings, wanted / report.name


def _findings(
    ready: Prepared,
    cases: dict[str, LoadCase],
    answers: dict[str, Any],
    stiffness: dict[str, Any],
    iterations: int,
    balance: float,
    remarks: tuple[str, ...],
) -> Findings:
    study, mesh = ready.study, ready.mesh
    bodies = describe_bodies(mesh, ready.printed, made=ready.made, keys=_keys(study))
    results = {name: answers[name].findings for name in cases}
    quality = mesh.quality
    about_mesh = MeshFindings(
        nodes=len(mesh.nodes),
        tets=len(mesh.tets),
        unknowns=mesh.unknowns,
        order=2,
        worst_quality=quality.worst,
        median_quality=quality.median,
        straightened=quality.straightened,
    )
    errors = {name: answers[name].energy_error for name in cases}
    trust = trust_of(about_mesh, balance=balance, energy_error=errors, iterations=iterations)
    remarks = (
        tuple(note for solid in ready.solids.values() for note in solid.notes) + remarks + print_cautions(bodies)
    )
    remarks += tuple(
        f"Case {case.name} has permanent loads alone; its reserve factor takes them to grow together."
        for case in cases.values()
        if case.all_grow
    )
    remarks += tuple(
        f"Case {name} bends by {100 * r.largest_displacement_mm / mesh.diagonal:.1f} % of the part's diagonal: too "
        "far for a linear analysis."
        for name, r in results.items()
        if r.largest_displacement_mm > LARGE_DISPLACEMENT * mesh.diagonal
    )
    return Findings(
        beadwork=program_version(),
        title=study.title,
        question=study.question,
        inputs={**study.inputs, "versions": library_versions()},
        bodies=bodies,
        mesh=about_mesh,
        faces={n: FaceFindings(g.count, g.area, tuple(float(v) for v in g.centre)) for n, g in ready.groups.items()},
        cases=results,
        stiffness=stiffness,
        requirements=compare_requirements(study.requirements, bodies=bodies, cases=results),
        loads={name: each.load.facts for name, each in ready.loads.items()},
        supports={name: _support_facts(plan) for name, plan in study.supports.items()},
        trust=trust,
        cautions=cautions_of(bodies, results, trust, mesh=about_mesh, remarks=remarks),
        peak_memory_MB=peak_memory(),
    )


def _keys(study: Study) -> dict[str, PrintKeys | None]:
    return {name: body.print for name, body in study.bodies.items()}


def _support_facts(plan: Any) -> dict[str, Any]:
    facts: dict[str, Any] = {"face": plan.face}
    if plan.hold:
        return {**facts, "hold": list(plan.hold) if not isinstance(plan.hold, str) else plan.hold}
    return {**facts, "bed_normal_N_per_mm3": plan.bed_normal, "bed_tangential_N_per_mm3": plan.bed_tangential}


def expected_unknowns(study: Study, solids: dict[str, Solid]) -> dict[str, int]:
    """About how many unknowns each body's mesh will have."""
    out = {}
    for name, body in study.bodies.items():
        size = body.size if body.size is not None else solids[name].size / 20
        finest = body.finest if body.finest is not None else size / 4
        out[name] = estimated_unknowns(solids[name], size=size, finest=finest)
    return out
