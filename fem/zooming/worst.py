"""Which places of a solved part are looked at bead by bead.

A homogenised infill is right where many of its cells lie side by side. Next to walls and covers, in tetrahedra that
hold several zones, its reserve factor is worth little: there the beads are asked. They answer for all that lies in
the inner half of their cube.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fem.caution import Caution
from fem.errors import InputError, NotConverged, NoTrustworthyAnswer
from fem.judging.findings import CaseFindings, HotSpot
from fem.judging.hotspots import NearestFace, SingularPlaces
from fem.judging.reserve import ReserveField
from fem.part.tetmesh import TetMesh
from fem.printing.body import PrintedBody
from fem.printing.field import PrintedField
from fem.tensors import Array
from fem.zooming.cube import BodyOfBeads
from fem.zooming.place import SolvedPart, Voxels, ZoomedPlace, told_voxels, zoom_place

PURE = 0.999
"""A tetrahedron of which one zone fills this share holds that zone alone."""
PLACES, MOST = 3, 6
"""So many places a case, and in all, are looked at where the study does not say how many."""

Progress = Callable[[float], None]


@dataclass(frozen=True)
class JudgedCase:
    """A case as the homogenised answer judges it: `findings`, the reserve at each node, and which are singular."""

    findings: CaseFindings
    field: ReserveField
    singular: SingularPlaces


@dataclass(frozen=True)
class Surroundings:
    """What stays the same for all cases: the mesh, its printed bodies, which nodes are `doubtful` (n,), and the names
    of faces.
    """

    mesh: TetMesh
    bodies: Mapping[str, BodyOfBeads]
    doubtful: NDArray[np.bool_]
    near: NearestFace


def bodies_of_beads(mesh: TetMesh, made: Mapping[str, PrintedBody]) -> dict[str, BodyOfBeads]:
    """The bodies that are prints."""
    return {name: BodyOfBeads(mesh, name, body) for name, body in made.items() if body.plan is not None}


def doubtful_nodes(mesh: TetMesh, printed: PrintedField, made: Mapping[str, PrintedBody]) -> NDArray[np.bool_]:
    """Nodes (n,) at which a homogenised reserve factor is worth little: of bodies with an infill, where a tetrahedron
    around them holds several zones, or the body is too narrow for its infill's cells.
    """
    out = np.zeros(len(mesh.nodes), dtype=bool)
    for name, body in made.items():
        if body.cell is None or body.plan is None:
            continue
        tets = mesh.tets_of(name)
        own = mesh.nodes[np.unique(mesh.tets[tets])]
        narrow = 4 * float(np.max(body.cell.size)) > float(np.ptp(own, axis=0).min())
        mixed = np.full(len(tets), narrow) | (printed.share[tets].max(axis=1) < PURE)
        out[mesh.tets[tets[mixed]]] = True
    return out


def zoom_worst(
    around: Surroundings,
    cases: Mapping[str, JudgedCase],
    *,
    parts: Sequence[SolvedPart],
    wanted: int | None,
    step: float | None,
    progress: Progress | None = None,
) -> tuple[list[ZoomedPlace], list[Caution]]:
    """Look at the places that may decide, bead by bead, the worst case's worst place first; and what went wrong.

    `wanted` places a case (None: where the homogenised answer is doubtful), in boxes of side `step` [mm] in the layer
    (None: chosen from the bead).
    """
    places: list[ZoomedPlace] = []
    remarks: list[Caution] = []
    order = sorted(cases, key=lambda name: cases[name].findings.reserve.minimum)
    for name in order:
        for spot in cases[name].findings.hot_spots[: PLACES if wanted is None else wanted]:
            body = around.bodies.get(spot.body)
            if body is None or any(covers(p, spot) for p in places):
                continue
            if wanted is None and (len(places) >= MOST or not _may_decide(around, name, spot, places)):
                continue
            voxels = None if step is None else told_voxels(body, step)
            try:
                places.append(_zoomed(body, spot, parts, voxels, progress, len(places)))
            except (InputError, NotConverged, NoTrustworthyAnswer) as error:
                text = f"Case {name}: the place at {place_text(spot.at_mm)} was not solved bead by bead: {error}"
                remarks.append(Caution("no_zoom", text, {"case": name, "at_mm": list(spot.at_mm)}))
    return places, remarks


def _zoomed(
    body: BodyOfBeads,
    spot: HotSpot,
    parts: Sequence[SolvedPart],
    voxels: Voxels | None,
    progress: Progress | None,
    number: int,
) -> ZoomedPlace:
    """The share of progress that a place takes halves with each, since nobody knows how many there will be."""

    def say(share: float) -> None:
        if progress is not None:
            progress(1 - 0.6**number * (1 - 0.4 * share))

    return zoom_place(body, np.array(spot.at_mm), parts=parts, voxels=voxels, progress=say)


def _may_decide(around: Surroundings, case: str, spot: HotSpot, places: Sequence[ZoomedPlace]) -> bool:
    """Whether the homogenised answer is doubtful at a spot, and less than what beads elsewhere bear."""
    mesh = around.mesh
    node = int(np.linalg.norm(mesh.nodes - np.array(spot.at_mm), axis=1).argmin())
    least = min((p.cases[case].first.reserve for p in places if case in p.cases), default=np.inf)
    return bool(around.doubtful[node]) and spot.reserve < least


def covers(place: ZoomedPlace, spot: HotSpot) -> bool:
    """Whether a spot lies in the inner half of a place's cube."""
    return spot.body == place.body.name and bool(inside(place, np.array([spot.at_mm]))[0])


def inside(place: ZoomedPlace, points: Array) -> NDArray[np.bool_]:
    """Which points (n, 3) [mm, part axes] lie in the inner half of a place's cube."""
    return np.asarray((np.abs((points - place.at) @ place.body.axes.T) <= place.size / 4).all(axis=1))


def place_text(point: Sequence[float] | Array) -> str:
    """A place (3,) [mm] in words."""
    return "(" + ", ".join(f"{v:.4g}" for v in point) + ") mm"
