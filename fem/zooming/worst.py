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
from fem.zooming.place import SolvedPart, ZoomedPlace, fine_voxels, scan_place, zoom_place

PURE = 0.999
"""A tetrahedron of which one zone fills this share holds that zone alone."""
MOST, MOST_SCANS = 6, 6
"""So many places in all are looked at in full where the study does not say how many, and so many more by a scan."""
BETTER = 1.3
"""A doubtful place may be told so much too well: 1.26 times was the most at 36 places of the demonstration."""
NEAR = 1.15
"""A scan whose beads bear less than so many times the least that was found may decide: it is looked at in full."""

Progress = Callable[[float], None]


@dataclass(frozen=True)
class JudgedCase:
    """A case as the homogenised answer judges it: `findings`, the reserve at each node, which are singular, and the
    factor at which the part has lifted off its foundations and is free (`lift_off`, infinite: it never is).
    """

    findings: CaseFindings
    field: ReserveField
    singular: SingularPlaces
    lift_off: float = np.inf


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

    `wanted` places a case are looked at in full, in boxes of side `step` [mm] in the layer (None: chosen from the
    bead). Every other place that a case's homogenised answer calls worse than what beads bear elsewhere is scanned by
    coarse boxes, and looked at in full where these come near the least; so are the first ones of all where `wanted`
    is None.
    """
    looking = _Looking(around, parts, step, progress)
    order = sorted(cases, key=lambda name: cases[name].findings.reserve.minimum)
    for name in order:
        for spot in cases[name].findings.hot_spots[: wanted or 0]:
            looking.look(name, spot)
    for name in order:
        for spot in cases[name].findings.hot_spots:
            if looking.may_decide(name, spot):
                looking.look(name, spot, scan=bool(looking.places))
    return looking.places, looking.remarks


class _Looking:
    """The places looked at so far."""

    def __init__(
        self, around: Surroundings, parts: Sequence[SolvedPart], step: float | None, progress: Progress | None
    ) -> None:
        self.around, self.parts, self.step, self.progress = around, parts, step, progress
        self.places: list[ZoomedPlace] = []
        self.remarks: list[Caution] = []

    def least(self, case: str) -> float:
        """What beads bear at least in a case, by what is known, where permanent loads leave any of it."""
        known = [p.cases[case].first.reserve for p in self.places if case in p.cases]
        return min((r for r in known if r > 0), default=np.inf)

    def may_decide(self, case: str, spot: HotSpot) -> bool:
        """Whether the homogenised answer is doubtful at a spot, and not far above what beads elsewhere bear."""
        if sum(p.scan for p in self.places) >= MOST_SCANS:
            return False
        if spot.body not in self.around.bodies:
            return False
        node = node_near(self.around.mesh, spot.body, np.array(spot.at_mm))
        return bool(self.around.doubtful[node]) and spot.reserve < BETTER * self.least(case)

    def look(self, case: str, spot: HotSpot, *, scan: bool = False) -> None:
        """Look at a spot, in full or first by a `scan`, unless it lies where beads were looked at already."""
        body = self.around.bodies.get(spot.body)
        if body is None or any(covers(p, spot) for p in self.places):
            return
        at = np.array(spot.at_mm)
        try:
            if scan:
                found = scan_place(body, at, parts=self.parts)
                full = sum(not p.scan for p in self.places)
                near = any(c.first.reserve < NEAR * self.least(name) for name, c in found.cases.items())
                if not near or full >= MOST:
                    self.places.append(found)
                    return
            voxels = None if self.step is None else fine_voxels(body, self.step)
            self.places.append(zoom_place(body, at, parts=self.parts, voxels=voxels, progress=self._say))
        except (InputError, NotConverged, NoTrustworthyAnswer) as error:
            text = f"Case {case}: the place at {place_text(spot.at_mm)} was not solved bead by bead: {error}"
            self.remarks.append(Caution("no_zoom", text, {"case": case, "at_mm": list(spot.at_mm)}))

    def _say(self, share: float) -> None:
        """The share of progress that a place takes grows less with each: nobody knows how many there will be."""
        if self.progress is not None:
            self.progress(1 - 0.4 ** len(self.places) * (1 - 0.6 * share))


def covers(place: ZoomedPlace, spot: HotSpot) -> bool:
    """Whether a spot lies in the inner half of a place's cube."""
    return spot.body == place.body.name and bool(inside(place, np.array([spot.at_mm]))[0])


def inside(place: ZoomedPlace, points: Array) -> NDArray[np.bool_]:
    """Which points (n, 3) [mm, part axes] lie in the inner half of a place's cube."""
    return np.asarray((np.abs((points - place.at) @ place.body.axes.T) <= place.size / 4).all(axis=1))


def node_near(mesh: TetMesh, body: str, point: Array) -> int:
    """The node of a body that is nearest to a point (3,) [mm]."""
    own = np.flatnonzero(mesh.node_body == mesh.bodies.index(body))
    return int(own[np.linalg.norm(mesh.nodes[own] - point, axis=1).argmin()])


def place_text(point: Sequence[float] | Array) -> str:
    """A place (3,) [mm] in words."""
    return "(" + ", ".join(f"{v:.4g}" for v in point) + ") mm"
