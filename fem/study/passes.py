"""The mesh is chosen: mesh, solve, judge, estimate, refine, until the numbers stand within the accuracy asked for.

A study that asks for no accuracy is solved once, on the mesh of its sizes. One of another study's refined shared mesh
is solved once, too: variants share the mesh that was refined for the first of them.
"""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from fem.caution import Caution
from fem.errors import MeshError, NotConverged, TooLargeError
from fem.judging.band import SEVERAL_MESHES
from fem.judging.convergence import Pass, PassHistory
from fem.judging.deciding import as_homogenised
from fem.judging.estimate import ErrorEstimate, estimate_error
from fem.judging.findings import CaseFindings
from fem.judging.refinement import expected_tets, wanted_edges, with_tets
from fem.judging.spots import Earlier, spots_with_verdict
from fem.memory import available_memory
from fem.part.apart import patience
from fem.part.meshing import BYTES_PER_UNKNOWN, refuse_too_large
from fem.part.sizing import SizeField, regular_edge, size_field
from fem.solving.units import Displacements
from fem.study.clock import Progress, clock_say
from fem.study.shared_mesh import Prepared, refined
from fem.study.solved import SolvedStudy, solve_cases_of
from fem.tensors import Array
from fem.zooming.where import Locator

LEAST_PASSES, MOST_PASSES = 3, 3
CHEAP, MOST_CHEAP_PASSES = 120_000, 5
"""Meshes of fewer unknowns than CHEAP may be refined more often: they cost little."""
LEAST_GROWTH, GROWTH = 1.6, 2.2
"""A mesh has so many times the unknowns of the one before, at least and at most: numbers that agree on two meshes say
something only where the meshes differ."""
MOST_SECONDS = 1800.0
"""Time that the passes may take together; slow machines stretch it (BEADWORK_PATIENCE)."""
PLACES = 3
"""So many of a case's worst places are refined around."""
FINEST_SHARE = 100.0
"""Where a study names no finest edge it is this part of the first mesh's longest."""
WORDS = {
    "accuracy": "the numbers stand within it",
    "unknowns": "the largest mesh that is allowed is reached",
    "memory": "a finer mesh would not fit into memory",
    "time": "a finer mesh would take too long",
    "passes": "as many meshes as are allowed were solved",
    "mesh": "a finer mesh could not be made",
    "solver": "on a finer mesh the iteration did not arrive",
}
"""Why refinement ended."""


@dataclass
class _Meshes:
    """What later passes need of the earlier ones."""

    started: float
    longest: dict[str, tuple[Array, Array]] = field(default_factory=dict)
    earlier: list[Earlier] = field(default_factory=list)


def solve_as_asked(ready: Prepared, *, progress: Progress | None = None) -> tuple[Prepared, SolvedStudy]:
    """Solve and judge a prepared study on its mesh, or in passes where it asks for an accuracy; returns it as it
    stands on the last mesh.

    Errors: FreeBodyError, NotConverged, NoTrustworthyAnswer, of the first mesh.
    """
    accuracy = ready.study.accuracy
    if accuracy is None or ready.shared_mesh.refined_for:
        return ready, solve_cases_of(ready, progress=progress)
    history, meshes = PassHistory(accuracy), _Meshes(time.perf_counter())
    solved = solve_cases_of(ready, progress=_named(progress, 1))
    seconds = dict(solved.seconds)
    while True:
        estimates = _estimated(ready, solved)
        history.passes.append(_pass_of(ready, solved, estimates))
        meshes.earlier.append(Earlier.of(ready.mesh, {k: a.field.reserve for k, a in solved.answers.items()}))
        wanted = _next(ready, solved, history, meshes, estimates)
        if not wanted:
            break
        clock_say(progress, f"pass {len(history.passes) + 1}: mesh", 0.2)
        try:
            finer = _on_finer(ready, wanted)
            begin = _carried(ready, finer, solved.moved)
            again = solve_cases_of(finer, begin=begin, progress=_named(progress, len(history.passes) + 1))
        except (MeshError, TooLargeError, MemoryError, NotConverged) as error:
            kinds = {MeshError: "mesh", NotConverged: "solver"}
            history.stopped_by = next((word for kind, word in kinds.items() if isinstance(error, kind)), "memory")
            break
        ready, solved = finer, again
        seconds = {k: seconds.get(k, 0.0) + solved.seconds.get(k, 0.0) for k in {**seconds, **solved.seconds}}
    seconds["passes"] = round(time.perf_counter() - meshes.started - sum(seconds.values()), 3)
    solved.seconds, solved.passes = seconds, history
    solved.answers = {
        name: replace(answer, findings=_with_bands(ready, solved, name, history, meshes), energy_error=each.relative)
        for (name, answer), each in zip(solved.answers.items(), estimates.values(), strict=True)
    }
    solved.remarks += _remarks(history)
    return ready, solved


def _named(progress: Progress | None, number: int) -> Progress | None:
    """The voice of a pass: each goes over the same share."""
    if progress is None:
        return None
    return lambda text, share: progress(f"pass {number}: {text}" if text else text, share)


def _estimated(ready: Prepared, solved: SolvedStudy) -> dict[str, ErrorEstimate]:
    return {
        name: estimate_error(
            ready.mesh,
            ready.printed,
            answer.fields.displacement,
            temperature_change=solved.temperature_change(name),
        )
        for name, answer in solved.answers.items()
    }


def _pass_of(ready: Prepared, solved: SolvedStudy, estimates: Mapping[str, ErrorEstimate]) -> Pass:
    volume = float((regular_edge(ready.mesh.nodes, ready.mesh.tets) ** 3).sum())
    answers = solved.answers
    return Pass(
        ready.mesh.unknowns,
        float(np.cbrt(volume / len(ready.mesh.tets))),
        max(each.relative for each in estimates.values()),
        {name: watched_values(answer.findings) for name, answer in answers.items()},
        frozenset(name for name, answer in answers.items() if answer.findings.reserve.singular),
    )


def watched_values(case: CaseFindings) -> dict[str, float]:
    """The numbers of a case that must stand still, by the keys of `CaseFindings.bands`, and its least reserves."""
    reserves = {"reserve": case.reserve.minimum, "reserve_away": case.reserve.nonsingular_minimum}
    return {**reserves, **case.magnitudes}


def _next(
    ready: Prepared,
    solved: SolvedStudy,
    history: PassHistory,
    meshes: _Meshes,
    estimates: Mapping[str, ErrorEstimate],
) -> dict[str, SizeField]:
    """The sizes of the next mesh by body; none where refinement ends, with `history.stopped_by` saying why."""
    study, mesh, count = ready.study, ready.mesh, len(history.passes)
    last = history.passes[-1]
    if count >= LEAST_PASSES and not history.unsettled():
        history.stopped_by = "accuracy"
        return {}
    if count >= (MOST_PASSES if last.unknowns > CHEAP else MOST_CHEAP_PASSES):
        history.stopped_by = "passes"
        return {}
    edge = regular_edge(mesh.nodes, mesh.tets)
    longest, finest = _bounds(ready, edge, meshes)
    wanted = wanted_edges(
        mesh,
        estimates.values(),
        accuracy=history.accuracy,
        places=_worst_places(solved),
        finest=finest,
        longest=longest,
    )
    still = np.isin(mesh.body, [i for i, b in enumerate(mesh.bodies) if study.bodies[b].accuracy is None])
    limit, why = _room(ready, meshes)
    most = min(limit / mesh.unknowns, GROWTH)
    if most < LEAST_GROWTH:
        history.stopped_by = why
        return {}
    asked = expected_tets(edge[~still], wanted[~still]) / np.count_nonzero(~still)
    tets = float(np.clip(asked, LEAST_GROWTH, most)) * np.count_nonzero(~still)
    wanted[~still] = with_tets(edge[~still], wanted[~still], tets=tets)
    wanted = np.maximum(wanted, np.minimum(finest, edge))
    return {
        name: size_field(mesh.nodes, mesh.tets[own], wanted[own])
        for name in mesh.bodies
        if study.bodies[name].accuracy is not None and len(own := mesh.tets_of(name))
    }


def _bounds(ready: Prepared, edge: Array, meshes: _Meshes) -> tuple[Array, Array]:
    """Longest and finest edges (m,) [mm]: nowhere longer than on the first mesh, which knows where surfaces curve."""
    from scipy.spatial import cKDTree

    mesh = ready.mesh
    middle = mesh.nodes[mesh.tets[:, :4]].mean(axis=1)
    longest, finest = np.empty(len(edge)), np.empty(len(edge))
    for name, body in ready.study.bodies.items():
        own = mesh.tets_of(name)
        first, edges = meshes.longest.setdefault(name, (middle[own], edge[own]))
        longest[own] = edges[cKDTree(first).query(middle[own])[1]]
        finest[own] = float(edges.max()) / FINEST_SHARE if body.finest is None else body.finest
    return longest, finest


def _worst_places(solved: SolvedStudy) -> Array:
    """The places (j, 3) [mm] where cases are nearest to failure, but for those that a support or load makes."""
    spots = [
        spot.at_mm
        for answer in solved.answers.values()
        for spot in [s for s in answer.findings.hot_spots if not s.singular][:PLACES]
    ]
    return np.array(spots, dtype=float).reshape(-1, 3)


def _room(ready: Prepared, meshes: _Meshes) -> tuple[float, str]:
    """How many unknowns the next mesh may have, and what bounds them."""
    passed = time.perf_counter() - meshes.started
    left = MOST_SECONDS * patience() - passed
    each = passed / (ready.mesh.unknowns * (1 + 1 / GROWTH))
    return min(
        (float(ready.study.most_unknowns), "unknowns"),
        (0.9 * available_memory() / BYTES_PER_UNKNOWN, "memory"),
        (max(left, 0.0) / each, "time"),
    )


def _on_finer(ready: Prepared, wanted: Mapping[str, SizeField]) -> Prepared:
    """The study on its next mesh. Errors: MeshError, TooLargeError."""
    shared_mesh = refined(ready.shared_mesh, ready.study, wanted)
    refuse_too_large(shared_mesh.mesh.unknowns, where=str(ready.study.path))
    printed = shared_mesh.field(ready.made)
    loads = shared_mesh.loads(ready.study, printed)
    return replace(
        ready, shared_mesh=shared_mesh, printed=printed, groups=shared_mesh.groups(ready.study), loads=loads
    )


def _carried(old: Prepared, new: Prepared, moved: Displacements) -> Displacements:
    """Displacements of one mesh at the nodes of the next, where iterations begin."""
    out = {key: np.zeros((*field.shape[:-2], len(new.mesh.nodes), 3)) for key, field in moved.items()}
    for name in new.mesh.bodies:
        nodes = np.unique(new.mesh.tets[new.mesh.tets_of(name)])
        places = Locator(old.mesh, name).find(new.mesh.nodes[nodes])
        for key, field_ in moved.items():
            out[key][..., nodes, :] = np.moveaxis(places.values(np.moveaxis(field_, -2, 0)), 0, -2)
    return out


def _with_bands(
    ready: Prepared, solved: SolvedStudy, name: str, history: PassHistory, meshes: _Meshes
) -> CaseFindings:
    """A case with the bands that its meshes show (one mesh's own where it stayed the only one), and a verdict on each
    of its hot spots."""
    case, bands = solved.answers[name].findings, history.bands(name)
    own = bands.pop("reserve", ())
    bands.pop("reserve_away", None)
    fields = solved.answers[name].fields
    spots = spots_with_verdict(
        case.hot_spots,
        ready.mesh,
        ready.printed,
        fields.displacement,
        case=name,
        earlier=meshes.earlier,
        sizes=history.sizes,
        accuracy=history.accuracy,
    )
    if len(history.passes) < 2:
        return replace(case, hot_spots=spots)
    reserve = as_homogenised(replace(case.reserve, band=own))
    return replace(case, bands=bands, bands_from=SEVERAL_MESHES, reserve=reserve, hot_spots=spots)


def _remarks(history: PassHistory) -> list[Caution]:
    """What must be said where the accuracy was not reached."""
    if history.stopped_by == "accuracy":
        return []
    last, moving = history.passes[-1], history.unsettled()
    left = [f"{'; '.join(moving[:3])}{' and others' if moving[3:] else ''} still moved by more"] if moving else []
    if last.energy_error > history.accuracy:
        left.append(f"the estimated energy error is {100 * last.energy_error:.1f} %")
    text = (
        f"An accuracy of {100 * history.accuracy:g} % was not reached after {len(history.passes)} meshes: "
        f"{WORDS[history.stopped_by]}. {'; '.join(left) or 'All values stand within it'}."
    )
    numbers = {"stopped_by": history.stopped_by, "moving": moving, "relative_energy_error": last.energy_error}
    return [Caution("accuracy_not_reached", text, numbers, decisive=any("reserve" in name for name in moving))]
