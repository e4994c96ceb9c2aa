"""The places of a study that are looked at bead by bead, and what its cases come to with them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from fem.caution import Caution
from fem.judging.answers import Answer, failing_load
from fem.judging.hotspots import NearestFace
from fem.loading.case import LoadCase
from fem.part.quadrature import tet_volumes
from fem.printing.beads import Grid
from fem.study.clock import Progress
from fem.study.shared_mesh import Prepared
from fem.study.solved import SolvedStudy
from fem.zooming.decided import decided, passed_over, views_of
from fem.zooming.nouns import ZoomView
from fem.zooming.place import ZoomedPlace
from fem.zooming.whole import WholeBody, expected_unknowns, refuse_too_large, solve_whole, whole_grid
from fem.zooming.whole_findings import missed_caution, with_whole, zoom_missed
from fem.zooming.worst import JudgedCase, Surroundings, bodies_of_beads, doubtful_nodes, zoom_worst


@dataclass(frozen=True)
class AskedBeads:
    """The answers of all cases with what beads say, the places as pictures need them, and what must be said."""

    answers: dict[str, Answer]
    views: tuple[ZoomView, ...]
    remarks: tuple[Caution, ...]


def ask_beads(ready: Prepared, solved: SolvedStudy, *, progress: Progress | None = None) -> AskedBeads:
    """Look at a solved study's worst places bead by bead, or at the whole part, as its [judge] asks."""
    around, judge = surroundings(ready), ready.study.judge
    say = progress or (lambda _text, _share: None)
    answers = dict(solved.answers)
    if not around.bodies or (judge.zoom == 0 and not judge.whole):
        return AskedBeads(answers, (), ())
    grids = whole_grids(ready, around) if judge.whole else {}
    cases = {k: JudgedCase(a.findings, a.field, solved.singular[k], a.lift_off) for k, a in answers.items()}
    places: list[ZoomedPlace] = []
    remarks: list[Caution] = []
    if judge.zoom != 0:
        places, remarks = zoom_worst(
            around,
            cases,
            parts=solved.parts,
            wanted=judge.zoom,
            step=None if judge.whole else judge.voxel,
            progress=lambda share: say("bead by bead", share * (0.4 if judge.whole else 1.0)),
        )
    told = {name: decided(around, name, case, places) for name, case in cases.items()}
    if judge.whole:
        bodies = whole_bodies(ready, around, grids, solved, lambda share: say("the whole part, bead by bead", share))
        more, again = zoom_missed(around, told, bodies, parts=solved.parts, wanted=judge.zoom)
        remarks += again
        remarks += _contact_of_whole(solved)
        places += more
        told = {name: decided(around, name, case, places) for name, case in cases.items()}
        told = {name: with_whole(around, name, case, bodies, cases[name]) for name, case in told.items()}
    for name, found in told.items():
        force, moment = _failing(ready, solved.cases[name], found.reserve.minimum)
        told[name] = replace(found, failing_load_N=force, failing_load_Nmm=moment)
        answers[name] = replace(answers[name], findings=told[name])
        remarks += (*passed_over(name, told[name]), *missed_caution(name, told[name]))
    return AskedBeads(answers, views_of(places, told), tuple(remarks))


def _contact_of_whole(solved: SolvedStudy) -> list[Caution]:
    """What must be said of the whole part where foundations only push and some loads stay."""
    names = [
        case.name
        for part in solved.parts
        if part.supported.pressing
        for case in part.cases.values()
        if case.permanent
    ]
    text = (
        f"The whole part bead by bead takes foundations to press as under the full load, in case {', '.join(names)}: "
        "where they press at failure counts for places alone."
    )
    return [Caution("whole_contact", text, {"cases": names}, decisive=True)] if names else []


def whole_grids(ready: Prepared, around: Surroundings) -> dict[str, Grid]:
    """The grid of every printed body. Errors: TooLargeError where its beads would not fit into memory."""
    grids = {}
    for name, body in around.bodies.items():
        width = body.plan.bead_width
        step = ready.study.judge.voxel or width / 2
        grids[name] = whole_grid(body, step)
        tets = ready.mesh.tets_of(name)
        each = tet_volumes(ready.mesh)[tets]
        filled = float((each * ready.printed.density[tets]).sum() / (each.sum() * body.made.solid))
        refuse_too_large(expected_unknowns(body, grids[name], density=filled), name=name, step=step)
    return grids


def whole_bodies(
    ready: Prepared,
    around: Surroundings,
    grids: Mapping[str, Grid],
    solved: SolvedStudy,
    say: Callable[[float], None],
) -> list[WholeBody]:
    """Every printed body bead by bead. Errors: NotConverged, NoTrustworthyAnswer."""
    out = []
    for number, (name, body) in enumerate(around.bodies.items()):
        watched = {face: ready.groups[face] for face in ready.study.watch}

        def part(share: float, number: int = number) -> None:
            say((number + share) / len(grids))

        out.append(solve_whole(body, grids[name], parts=solved.parts, watched=watched, progress=part))
    return out


def surroundings(ready: Prepared) -> Surroundings:
    """What looking at a study's places needs of it."""
    mesh = ready.mesh
    doubtful = doubtful_nodes(mesh, ready.printed, ready.made)
    return Surroundings(mesh, bodies_of_beads(mesh, ready.made), doubtful, NearestFace(mesh, ready.groups))


def _failing(ready: Prepared, case: LoadCase, reserve: float) -> tuple[float | None, float | None]:
    forces = {k: load.forces for k, load in ready.loads.items()}
    return failing_load(ready.mesh, case.combined(case.growing, forces), reserve)
