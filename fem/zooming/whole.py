"""A whole body bead by bead, on the study's own supports and loads: what a zoom says, everywhere at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fem.cores import even_ranges, shared, workers
from fem.criteria.reserve import PhaseReserve, may_fail, phase_reserve
from fem.errors import TooLargeError
from fem.loading.case import LoadCase
from fem.loading.loads import wrench_traction
from fem.loading.traction import dense_forces
from fem.memory import available_memory
from fem.part.faces import FaceGroup
from fem.part.quadrature import volume
from fem.part.tetmesh import Index
from fem.printing.beads import Grid
from fem.printing.filling import layer_grid
from fem.tensors import Array
from fem.zooming.cube import BodyOfBeads, SolvedBeads, solve_beads
from fem.zooming.hang import BoxesInPart, forces_onto_nodes
from fem.zooming.judge import ZONES, against_sound, layer_stress
from fem.zooming.place import SolvedPart, layers_of

BYTES_PER_UNKNOWN = 150.0
"""Measured on the demonstration with three loads; see studies/speed."""
UNKNOWNS_PER_BOX = 4.4
"""A filled box of a part with walls and a lattice brings so many (measured); of a solid one, three."""
TILE = 4.0
"""Places nearer than this [mm] are told as one."""
WORTH = 1.5
"""Beads within this factor of the weakest are worth a place."""
UNIT_SPACING = 4.0
"""Points that weigh a face's displacement lie so many boxes apart: no stress is read there."""

Progress = Callable[[float], None]


@dataclass(frozen=True)
class WeakPlace:
    """A place where beads are weak: the middle `at` (3,) [mm, part axes] of the weakest bead, and what it bears."""

    at: Array
    reserve: float
    zone: str
    mode: str


@dataclass(frozen=True)
class WholeCase:
    """What all beads of a body bear in one case: the weak `places`, worst first, the minimum in each zone, how many
    beads lie beyond their strength, the strain energy [mJ], the largest displacement [mm] and that of watched faces.
    """

    places: tuple[WeakPlace, ...]
    by_zone: Mapping[str, float | None]
    beyond: int
    energy: float
    displacement: float
    faces: Mapping[str, Array]


@dataclass(frozen=True)
class WholeBody:
    """A body solved bead by bead, case by case."""

    body: BodyOfBeads
    step: Array
    unknowns: int
    iterations: int
    cases: Mapping[str, WholeCase]
    device: str = ""


def whole_grid(body: BodyOfBeads, step: float) -> Grid:
    """The grid over a whole body, in boxes of side `step` [mm] in the layer."""
    low, high = body.outline.box
    return layer_grid(
        body.outline, low=low - step / 2, high=high + step / 2, step=step, per_layer=layers_of(body, step)
    )


def expected_unknowns(body: BodyOfBeads, grid: Grid, *, density: float) -> int:
    """About how many unknowns a grid over a body brings whose beads fill the share `density` of it."""
    tets = body.mesh.tets_of(body.name)
    boxes = density * volume(body.mesh, tets) / float(np.prod(grid.step))
    return int(boxes * (3.2 + (UNKNOWNS_PER_BOX - 3.2) * min(1.0, (1 - density) / 0.5)))


def refuse_too_large(unknowns: int, *, name: str, step: float) -> None:
    """Errors: TooLargeError when a body of so many unknowns would not fit into what this process may have."""
    need, have = unknowns * BYTES_PER_UNKNOWN, available_memory()
    if need > 0.9 * have:
        larger = step * (need / (0.85 * have)) ** (1 / 3)
        raise TooLargeError(
            f"body {name} whole in boxes of {step:.3g} mm has about {unknowns / 1e6:,.0f} million unknowns, which "
            f"need some {need / 1e9:.1f} GB; {have / 1e9:.1f} GB are free.",
            where="judge.voxel",
            advice=f'Ask for larger boxes, such as --voxel "{np.ceil(larger * 100) / 100:.2f} mm", or zoom.',
        )


def solve_whole(
    body: BodyOfBeads,
    grid: Grid,
    *,
    parts: Sequence[SolvedPart],
    watched: Mapping[str, FaceGroup],
    progress: Progress | None = None,
) -> WholeBody:
    """Solve and judge every bead of a body in all cases. Errors: NotConverged, NoTrustworthyAnswer."""
    say = progress or (lambda _share: None)
    say(0.0)
    cases: dict[str, WholeCase] = {}
    unknowns, iterations, device = 0, 0, ""
    for part in parts:
        used = sorted({k for case in part.cases.values() for k, f in case.factors.items() if f != 0})
        loads = {k: load for case in part.cases.values() for k, load in case.loads.items() if k in used}
        solved = solve_beads(
            body,
            grid,
            loads=loads,
            supported=part.supported,
            displacement=None,
            progress=lambda share: say(0.1 + 0.7 * share),
        )
        unknowns, iterations = solved.system.unknowns, max(iterations, solved.iterations)
        device = solved.system.solved_on
        motions = {name: _unit_forces(solved, group) for name, group in watched.items()}
        weak = _weak(solved, part.cases, lambda share: say(0.8 + 0.15 * share))
        cases |= {name: _judged(solved, case, weak[name], motions) for name, case in part.cases.items()}
        say(1.0)
    return WholeBody(body, grid.step, unknowns, iterations, cases, device)


def _unit_forces(solved: SolvedBeads, group: FaceGroup) -> Array:
    """Nodal forces (6, n, 3) of 1 N along and 1 N mm about each part axis at a face's centre, on the boxes' nodes.

    Single precision: they weigh displacements. Empty for a face of another body.
    """
    body, system = solved.body, solved.system
    boxes = BoxesInPart(solved.beads.grid, body.axes, system.filled > 0, system.boxes.number, body.opening)
    spacing, room = UNIT_SPACING * float(min(boxes.grid.step)), boxes.surface_room(body.locator)
    out = []
    for w in np.eye(6):
        unit = wrench_traction(
            body.mesh, group.triangles, force=w[:3], moment=w[3:], at=group.centre, name=group.name
        )
        pushed = dense_forces(body.mesh, (unit,), spacing=spacing, box=room, body=body.name)
        if not len(pushed.point):
            return np.zeros((0, system.boxes.nodes, 3))
        out.append(forces_onto_nodes(boxes, pushed).astype(np.float32))
    return np.array(out)


def _judged(solved: SolvedBeads, case: LoadCase, weak: _Weak, motions: Mapping[str, Array]) -> WholeCase:
    body, system = solved.body, solved.system
    whole, warming = solved.combined(case, tuple(case.factors))
    energy = system.strain_energy(whole, warming)
    faces = {name: np.einsum("kni,ni->k", forces, whole) for name, forces in motions.items() if len(forces)}
    most = float(np.sqrt(np.einsum("ni,ni->n", whole, whole).max(initial=0.0)))
    beyond = int(np.ceil(weak.area / body.plan.bead_width**2 - 1e-9))
    by_zone = {name: weak.least.get(number) for number, name in ZONES.items()}
    return WholeCase(weak.places(), by_zone, beyond, energy, most, faces)


def _weak(solved: SolvedBeads, cases: Mapping[str, LoadCase], progress: Progress) -> dict[str, _Weak]:
    """What is weak in each case, by one pass over the layers: a mean stress is linear in the loads."""
    layers, done = solved.beads.grid.layers, [0]

    def some(begin: int, end: int) -> dict[str, _Weak]:
        own = {name: _Weak(solved) for name in cases}
        for layer in range(begin, end):
            here = layer_stress(solved, layer)
            for name, case in cases.items() if len(here.row) else ():
                v, p = here.of(solved, case, case.growing), here.of(solved, case, case.permanent)
                own[name].take(layer, here.row, here.column, p, v)
            done[0] += 1
            progress(done[0] / layers)
        return own

    parts = shared(some, even_ranges(layers, pieces=2 * workers()))
    out = parts[0]
    for part in parts[1:]:
        for name, weak in part.items():
            out[name].join(weak)
    return out


class _Weak:
    """The weak beads of a case, layer by layer: the `least` reserve by zone, the `area` [mm^2] of beads beyond their
    strength, and the weakest bead of each tile of the part's room.
    """

    def __init__(self, solved: SolvedBeads) -> None:
        self.solved, self.strength = solved, solved.body.strength
        self.least: dict[int, float] = {}
        self.area = 0.0
        self.found: dict[tuple[int, ...], WeakPlace] = {}

    def take(self, layer: int, row: Index, column: Index, p: Array, v: Array) -> None:
        """Take in a layer's beads (n,) with their permanent and growing stress (n, 6) [MPa] in their own axes."""
        zone = self.solved.beads.zone[layer, row, column]
        p, v = against_sound(self.solved, zone, p), against_sound(self.solved, zone, v)
        bound = np.full(256, np.inf)
        worst = min(self.least.values(), default=np.inf)
        for z, least in self.least.items():
            bound[z] = max(1.0, WORTH * worst, least)
        before = bound[zone]
        some = np.arange(len(zone))
        if np.isfinite(before).all():
            some = np.flatnonzero(may_fail(p, v, self.strength, before=before))
        if not len(some):
            return
        found = phase_reserve(p[some], v[some], self.strength)
        row, column, zone = row[some], column[some], zone[some]
        grid = self.solved.beads.grid
        share = self.solved.beads.share[layer, row, column] / 255.0
        self.area += float(share[found.reserve < 1].sum() * grid.step[0] * grid.step[1])
        for z in np.unique(zone):
            self.least[int(z)] = min(self.least.get(int(z), np.inf), float(found.reserve[zone == z].min()))
        self._note(layer, row, column, zone, found)

    def _note(self, layer: int, row: Index, column: Index, zone: NDArray[np.uint8], found: PhaseReserve) -> None:
        """Keep the weakest bead of each tile of a layer."""
        weak = np.flatnonzero(found.reserve <= WORTH * min(self.least.values()))
        if not len(weak):
            return
        grid = self.solved.beads.grid
        side = np.maximum(np.round(TILE / grid.step[:2]), 1).astype(int)
        tile = (row[weak] // side[1]) * (grid.count[0] // side[0] + 1) + column[weak] // side[0]
        order = np.lexsort((found.reserve[weak], tile))
        for k in weak[order[np.flatnonzero(np.diff(tile[order], prepend=-1))]]:
            middle = np.array([column[k] + 0.5, row[k] + 0.5, (layer + 0.5) * grid.per_layer]) * grid.step
            at = (grid.origin + middle) @ self.solved.body.axes
            key = tuple(np.floor(at / TILE).astype(int).tolist())
            reserve, mode = float(found.reserve[k]), found.modes[int(found.mode[k])]
            if key not in self.found or reserve < self.found[key].reserve:
                self.found[key] = WeakPlace(at, reserve, ZONES[int(zone[k])], mode)

    def join(self, other: _Weak) -> None:
        """Take in what was found in other layers."""
        self.area += other.area
        for zone, least in other.least.items():
            self.least[zone] = min(self.least.get(zone, np.inf), least)
        for key, place in other.found.items():
            if key not in self.found or place.reserve < self.found[key].reserve:
                self.found[key] = place

    def places(self) -> tuple[WeakPlace, ...]:
        """Those worth a line, worst first; of places nearer than two tiles the worst."""
        out: list[WeakPlace] = []
        limit = WORTH * min(self.least.values(), default=np.inf)
        for place in sorted(self.found.values(), key=lambda p: p.reserve):
            if place.reserve <= limit and all(np.linalg.norm(place.at - o.at) >= 2 * TILE for o in out):
                out.append(place)
        return tuple(out)
