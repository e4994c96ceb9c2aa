"""The places of a study that are looked at bead by bead, and what its cases come to with them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from fem.caution import Caution
from fem.judging.hotspots import NearestFace, SingularPlaces
from fem.loading.case import LoadCase
from fem.study.answers import Answer, failing_load
from fem.study.clock import Progress
from fem.study.ground import Prepared
from fem.zooming.decided import decided, passed_over, views_of
from fem.zooming.nouns import ZoomView
from fem.zooming.place import SolvedPart
from fem.zooming.worst import JudgedCase, Surroundings, bodies_of_beads, doubtful_nodes, zoom_worst


@dataclass(frozen=True)
class AskedBeads:
    """The answers of all cases with what beads say, the places as pictures need them, and what must be said."""

    answers: dict[str, Answer]
    views: tuple[ZoomView, ...]
    remarks: tuple[Caution, ...]


def ask_beads(
    ready: Prepared,
    answers: Mapping[str, Answer],
    *,
    parts: Sequence[SolvedPart],
    singular: Mapping[str, SingularPlaces],
    progress: Progress | None = None,
) -> AskedBeads:
    """Look at a solved study's worst places bead by bead, as its [judge] asks."""
    around = surroundings(ready)
    wanted = ready.study.judge.zoom
    if wanted == 0 or not around.bodies:
        return AskedBeads(dict(answers), (), ())
    cases = {k: JudgedCase(a.findings, a.field, singular[k]) for k, a in answers.items()}
    places, remarks = zoom_worst(
        around,
        cases,
        parts=parts,
        wanted=wanted,
        step=ready.study.judge.voxel,
        progress=None if progress is None else lambda share: progress("bead by bead", share),
    )
    out, told = {}, {}
    loads = {name: case for part in parts for name, case in part.cases.items()}
    for name, before in answers.items():
        found = decided(around, name, cases[name], places)
        force, moment = _failing(ready, loads[name], found.reserve.minimum)
        told[name] = replace(found, failing_load_N=force, failing_load_Nmm=moment)
        out[name] = replace(before, findings=told[name])
        remarks += passed_over(name, told[name])
    return AskedBeads(out, views_of(places, told), tuple(remarks))


def surroundings(ready: Prepared) -> Surroundings:
    """What looking at a study's places needs of it."""
    mesh = ready.mesh
    doubtful = doubtful_nodes(mesh, ready.printed, ready.made)
    return Surroundings(mesh, bodies_of_beads(mesh, ready.made), doubtful, NearestFace(mesh, ready.groups))


def _failing(ready: Prepared, case: LoadCase, reserve: float) -> tuple[float | None, float | None]:
    forces = {k: load.forces for k, load in ready.loads.items()}
    return failing_load(ready.mesh, case.combined(case.growing, forces), reserve)
