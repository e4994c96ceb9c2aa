"""The story of a scan, one line a step: mesh once, spread, refine, pick, confirm, tell.

Directions are ranked by the homogenised answer: nothing is solved bead by bead, whatever the study's [judge] says.
"""

from __future__ import annotations

import math
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from fem.caution import Caution
from fem.errors import InputError
from fem.judging.cautions import STANDING
from fem.judging.orientation import (
    DirectionNumbers,
    Orientation,
    Pick,
    Vector,
    contenders,
    half_sphere,
    leaders,
    mirrored_alike,
    picks_of,
    reason_of,
    ring,
    spacing,
)
from fem.part.meshing import estimated_unknowns, refuse_too_large
from fem.part.solid import Solid
from fem.part.tetmesh import TetMesh
from fem.study.change import homogenised
from fem.study.clock import Progress
from fem.study.file import read_study
from fem.study.fingerprint import fingerprint
from fem.study.folder import open_folder
from fem.study.jobs import allowed_jobs
from fem.study.machine import program_version
from fem.study.orientation.prepared_scan import PreparedScan, chosen_body, prepare_scan
from fem.study.orientation.series import Countdown, Wanted, directions_answered
from fem.study.orientation.store import DirectionStore
from fem.study.plans import Study
from fem.study.remarks import drafted
from fem.study.shared_mesh import mesh_bodies, read_bodies
from fem.study.variants.asked import results_folder
from fem.tensors import unit

DIRECTIONS = 100
"""Directions spread over the half sphere when nothing is said."""
FEWEST, MOST = 6, 2000
SCAN_UNKNOWNS = 45_000
"""The scan's mesh is made coarser until it has about so many unknowns: ranks need less than a verdict."""
MESHED_AGAIN = 3
"""So often at most it is made anew when it came out finer than that."""
MOST_COARSER = 2.5
"""But not by more than this factor in element size."""
FLATS = 6
"""The largest flats of a part that are tried lying on the bed."""
ALIKE = 1e-4
"""One less the cosine of the angle between two directions that are one."""
RINGS = 2
"""Leaders that get a ring of directions around them at half the spacing; the best gets one at a quarter."""
RING = 6
CONTENDERS = 8
"""So many of the scan's leaders, and what else stands out in it, are computed on the study's own mesh where the
scan's is coarser: a coarse mesh ranks roughly."""

Sizes = dict[str, tuple[float, float]]


def orient_study(
    path: Any,
    *,
    body: str | None = None,
    directions: int = DIRECTIONS,
    jobs: int | None = None,
    out: Path | None = None,
    progress: Progress | None = None,
) -> tuple[Orientation, Path]:
    """Scan the build directions of one printed body and write orientation.html, orientation.csv and pictures.

    Finished directions are kept in the results folder: a scan that was stopped goes on where it was. Reserve factors
    are homogenised, so that a hundred directions take minutes; `beadwork run` solves the chosen one bead by bead.
    Errors: InputError (the study, the folder, a number out of range), NoTrustworthyAnswer.
    """
    say = progress or (lambda _text, _share: None)
    study = homogenised(read_study(path))
    name = chosen_body(study, body)
    _refuse_counts(directions, jobs)
    with open_folder(results_folder(study, out)) as folder:
        return _scanned(study, name, folder, directions=directions, jobs=jobs, say=say)


def _scanned(
    study: Study, name: str, folder: Path, *, directions: int, jobs: int | None, say: Progress
) -> tuple[Orientation, Path]:
    from fem.telling.orientation import write_orientation

    since = time.perf_counter()
    say("read solids", 0.01)
    solids = read_bodies(study)
    own = _own_sizes(study, solids)
    say("mesh", 0.02)
    mesh, coarse = _scan_mesh(study, solids, own)
    say("supports and loads", 0.05)
    prepared = prepare_scan(study, mesh, body=name)
    store = DirectionStore(folder, mark=fingerprint(study, body=name, sizes=coarse))
    if count := store.not_taken():
        say(f"{count} kept directions are of an earlier version, or damaged, and not taken", 0.055)
    axis = int(np.abs(unit(prepared.keys.build_direction)).argmax())
    spread = _spread(prepared, directions, axis=axis)
    tally = Countdown(say, total=len(spread) + (RINGS + 1) * RING, share=(0.06, 0.82))
    found = directions_answered(prepared, spread, store=store, jobs=jobs, tally=tally)
    if all(d.error for d in found):
        raise InputError(f"no direction could be computed; the first says: {found[0].error}", where=study.path.name)
    for wanted in _rings(found, directions, axis=axis):
        found += directions_answered(prepared, wanted, store=store, jobs=jobs, tally=tally)
    required, asked = _required(study)
    picks = picks_of(found, required=required, asked=asked)
    unknowns = mesh.unknowns
    confirmed: list[tuple[DirectionNumbers, DirectionNumbers]] = []
    if coarse != own:
        say("mesh of the study itself", 0.82)
        worth = contenders(
            found, required=required, asked=asked, count=CONTENDERS, apart=math.degrees(spacing(directions))
        )
        finer, unknowns = _confirmed(study, solids, own, worth, body=name, folder=folder, jobs=jobs, say=say)
        # What stands out is chosen by the finer numbers; a scan that none of them follows up keeps its own
        confirmed = list(zip(worth, finer, strict=True))
        by_finer = picks_of(finer, required=required, asked=asked)
        picks = tuple(Pick(p.why, worth[finer.index(p.scanned)], p.scanned) for p in by_finer) or picks
    scan = Orientation(
        title=study.title,
        question=study.question,
        body=name,
        required_reserve=required,
        reserve_asked=asked,
        axis=axis,
        directions=tuple(found),
        spread=directions,
        size_mm=coarse[name][0],
        unknowns=mesh.unknowns,
        coarser=coarse != own,
        own_unknowns=unknowns,
        picks=picks,
        reason=reason_of(picks, required=required, asked=asked),
        mirrored=mirrored_alike(
            prepared.keys.raster, pattern=prepared.keys.infill_pattern, infill_angle=prepared.keys.plan.infill_angle
        ),
        cautions=(*drafted(study), *_fewer(jobs, mesh), *_cautions(found, picks, confirmed), *STANDING),
        beadwork=program_version(),
        seconds=round(time.perf_counter() - since, 1),
    )
    say("pictures and page", 0.95)
    try:
        page = write_orientation(scan, folder=folder)
    except OSError as error:
        raise InputError(f"the page cannot be written ({error.strerror}).", where=str(folder)) from None
    say("done", 1.0)
    return scan, page


def _refuse_counts(directions: int, jobs: int | None) -> None:
    if not FEWEST <= directions <= MOST:
        raise InputError(f"{directions} directions are asked for; {FEWEST} to {MOST} can be.", where="--directions")
    if jobs is not None and jobs < 1:
        raise InputError(f"{jobs} processes are asked for; at least one is needed.", where="--jobs")


def _own_sizes(study: Study, solids: dict[str, Solid]) -> Sizes:
    out = {}
    for name, body in study.bodies.items():
        size = solids[name].size / 20 if body.size is None else body.size
        out[name] = (size, size / 4 if body.finest is None else body.finest)
    return out


def _scan_mesh(study: Study, solids: dict[str, Solid], own: Sizes) -> tuple[TetMesh, Sizes]:
    """The scan's mesh and its sizes: the study's own, grown together until the mesh has about SCAN_UNKNOWNS."""
    factor = 1.0
    while factor < MOST_COARSER and _estimated(solids, _grown(own, factor)) > SCAN_UNKNOWNS:
        factor = min(MOST_COARSER, factor * 1.1)
    mesh = _meshed(study, solids, _grown(own, factor))
    # The estimate is rough: the mesh that came out says by how much
    for _ in range(MESHED_AGAIN):
        if mesh.unknowns <= 1.15 * SCAN_UNKNOWNS or factor >= MOST_COARSER:
            break
        factor = min(MOST_COARSER, factor * (mesh.unknowns / SCAN_UNKNOWNS) ** 0.5)
        mesh = _meshed(study, solids, _grown(own, factor))
    return mesh, _grown(own, factor)


def _grown(sizes: Sizes, factor: float) -> Sizes:
    return {n: (a * factor, b * factor) for n, (a, b) in sizes.items()}


def _estimated(solids: dict[str, Solid], sizes: Sizes) -> int:
    return sum(estimated_unknowns(solids[n], size=a, finest=b) for n, (a, b) in sizes.items())


def _meshed(study: Study, solids: dict[str, Solid], sizes: Sizes) -> TetMesh:
    refuse_too_large(_estimated(solids, sizes), where=str(study.path))
    return mesh_bodies(study, solids, sizes)


def _spread(prepared: PreparedScan, count: int, *, axis: int) -> list[Wanted]:
    """The even spiral, the three part axes, the study's own direction, and those that lay a large flat on the bed."""
    out: list[Wanted] = [("scan", _vector(d)) for d in half_sphere(count, axis=axis)]
    study = _vector(unit(prepared.keys.build_direction))
    out += [("axis", _vector(d)) for d in np.eye(3) if abs(float(d @ np.array(study))) < 1 - 1e-9]
    out.append(("study", study))
    flats = [f for f in prepared.mesh.faces if f.body == prepared.body and f.normal is not None]
    for face in sorted(flats, key=lambda f: -f.area)[:FLATS]:
        down = _vector(-unit(face.normal))
        if all(abs(float(np.dot(down, other))) < 1 - ALIKE for kind, other in out if kind != "scan"):
            out.append(("flat", down))
    return out


def _rings(found: list[DirectionNumbers], count: int, *, axis: int) -> Iterator[list[Wanted]]:
    """Around the leaders at half the spacing, then around the best of all at a quarter of it."""
    near = spacing(count)
    yield [
        ("refined", _vector(d)) for lead in leaders(found, count=RINGS)
        for d in ring(lead.direction, angle=near / 2, count=RING, axis=axis)
    ]  # fmt: skip
    best = leaders(found, count=1)[0]
    yield [("refined", _vector(d)) for d in ring(best.direction, angle=near / 4, count=RING, axis=axis)]


def _vector(direction: Any) -> Vector:
    return tuple(float(v) + 0.0 for v in direction)


def _required(study: Study) -> tuple[float, bool]:
    from fem.judging.verdict import goal_of

    return goal_of(study.requirements.reserve, study.requirements.reserve_away)


def _confirmed(
    study: Study,
    solids: dict[str, Solid],
    sizes: Sizes,
    chosen: list[DirectionNumbers],
    *,
    body: str,
    folder: Path,
    jobs: int | None,
    say: Progress,
) -> tuple[list[DirectionNumbers], int]:
    """The chosen directions on the study's own mesh, in their order, and its number of unknowns."""
    mesh = _meshed(study, solids, sizes)
    prepared = prepare_scan(study, mesh, body=body)
    store = DirectionStore(folder, mark=fingerprint(study, body=body, sizes=sizes))
    tally = Countdown(say, total=len(chosen), share=(0.83, 0.95))
    wanted = [(d.kind, d.direction) for d in chosen]
    return directions_answered(prepared, wanted, store=store, jobs=jobs, tally=tally), mesh.unknowns


def _fewer(jobs: int | None, mesh: TetMesh) -> list[Caution]:
    """Why fewer processes worked than were asked for."""
    why = allowed_jobs(jobs, unknowns=mesh.unknowns)[1]
    return [Caution("fewer_processes", why)] if why else []


def _cautions(
    found: list[DirectionNumbers],
    picks: tuple[Pick, ...],
    confirmed: list[tuple[DirectionNumbers, DirectionNumbers]],
) -> list[Caution]:
    """What a reader should know of this scan; `confirmed` holds numbers on the scan's mesh and on the study's own."""
    out: list[Caution] = []
    failed = [d for d in found if d.error]
    if failed:
        told = f"{len(failed)} of {len(found)} directions could not be computed; the first: {failed[0].error}"
        out.append(Caution("failed_directions", told, {"count": len(failed)}))
    moves = [
        own.reserve / scanned.reserve - 1
        for scanned, own in confirmed
        if not own.error and 0 < scanned.reserve < math.inf and math.isfinite(own.reserve)
    ]
    if moves and max(map(abs, moves)) > 0.15:
        out.append(
            Caution(
                "scan_moved",
                f"On the study's own mesh the reserve factors of {len(moves)} directions moved by "
                f"{100 * min(moves):+.0f} % to {100 * max(moves):+.0f} % against the scan's: take the scan for a "
                "rough ranking, and the finer numbers for a verdict.",
            )
        )
    if any(d.reserve_away > 1.05 * d.reserve for d in (p.numbers for p in picks)):
        text = (
            "Some minimum reserve factors lie at a support's or a load's edge, where the stress does not converge "
            "with mesh refinement; directions are ranked by the minimum away from such places, requirements count "
            "all."
        )
        out.append(Caution("singular", text))
    return out
