"""A whole body bead by bead, on the study's own supports and loads: what a zoom says, everywhere at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fem.errors import TooLargeError
from fem.judging.strength import PRINTED_MODES, phase_reserve
from fem.loading.case import LoadCase
from fem.loading.loads import wrench_traction
from fem.loading.traction import dense_forces
from fem.memory import available_memory
from fem.part.faces import FaceGroup
from fem.part.quadrature import volume
from fem.printing.beads import Grid
from fem.printing.filling import layer_grid
from fem.tensors import Array
from fem.zooming.cube import BodyOfBeads, SolvedBeads, solve_beads
from fem.zooming.hang import Boxes, forces_onto_nodes
from fem.zooming.judge import PIECE, ZONES, layer_means, may_fail
from fem.zooming.place import SolvedPart, layers_of

BYTES_PER_UNKNOWN = 150.0
"""Measured on the demonstration with three loads; see studies/speed."""
UNKNOWNS_PER_BOX = 4.4
"""A filled box of a part with walls and a lattice brings so many (measured); of a solid one, three."""
TILE = 4.0
"""Places nearer than this [mm] are told as one."""
WORTH = 1.5
"""Beads within this factor of the weakest are worth a place."""

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
        for number, (name, case) in enumerate(part.cases.items()):
            cases[name] = _judged(solved, case, motions)
            say(0.8 + 0.2 * (number + 1) / len(part.cases))
    return WholeBody(body, grid.step, unknowns, iterations, cases, device)


def _unit_forces(solved: SolvedBeads, group: FaceGroup) -> Array:
    """Nodal forces (6, n, 3) of 1 N along and 1 N mm about each part axis at a face's centre, on the boxes' nodes.

    Single precision: they weigh displacements. Empty for a face of another body.
    """
    body, system = solved.body, solved.system
    boxes = Boxes(solved.beads.grid, body.axes, system.filled > 0, system.boxes.number)
    spacing, room = float(min(boxes.grid.step)), boxes.surface_room(body.locator)
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


def _judged(solved: SolvedBeads, case: LoadCase, motions: Mapping[str, Array]) -> WholeCase:
    body, system = solved.body, solved.system
    whole, warming = solved.combined(case, tuple(case.factors))
    energy = system.strain_energy(whole, warming)
    faces = {name: np.einsum("kni,ni->k", forces, whole) for name, forces in motions.items() if len(forces)}
    most = float(np.sqrt(np.einsum("ni,ni->n", whole, whole).max(initial=0.0)))
    del whole
    places, by_zone, area = _weak_places(solved, case)
    beyond = int(np.ceil(area / body.plan.bead_width**2 - 1e-9))
    return WholeCase(places, by_zone, beyond, energy, most, faces)


@dataclass
class _Tiles:
    """The weakest bead of each tile of a layer's room: reserve, zone, mode, place."""

    found: dict[tuple[int, int, int], WeakPlace] = field(default_factory=dict)

    def take(self, at: Array, reserve: float, zone: str, mode: str) -> None:
        key = tuple(int(v) for v in np.floor(at / TILE))
        before = self.found.get(key)  # type: ignore[arg-type]
        if before is None or reserve < before.reserve:
            self.found[key] = WeakPlace(at, reserve, zone, mode)  # type: ignore[index]

    def places(self) -> tuple[WeakPlace, ...]:
        """Worst first; of places nearer than a tile the worst."""
        out: list[WeakPlace] = []
        for place in sorted(self.found.values(), key=lambda p: p.reserve):
            if all(np.linalg.norm(place.at - other.at) >= 2 * TILE for other in out):
                out.append(place)
        return tuple(out)


def _weak_places(solved: SolvedBeads, case: LoadCase) -> tuple[tuple[WeakPlace, ...], dict[str, float | None], float]:
    """Weak places of a case, the minimum in each zone, and the area [mm^2] of beads beyond their strength."""
    beads, body, grid = solved.beads, solved.body, solved.beads.grid
    fields = solved.combined(case, case.growing), solved.combined(case, case.permanent)
    stays = bool(case.permanent)
    least: dict[int, float] = {}
    tiles, area = _Tiles(), 0.0
    for layer, mean, filled in layer_means(solved, fields if stays else fields[:1]):
        row, column = np.nonzero(filled >= PIECE)
        if not len(row):
            continue
        own, zone = mean[row, column].astype(float), beads.zone[layer, row, column]
        v, p = own[:, :6], own[:, 6:] if stays else np.zeros((len(own), 6))
        present = np.unique(zone)
        enough = max(
            [1.0, WORTH * min(least.values(), default=np.inf), *(least.get(int(z), np.inf) for z in present)]
        )
        some = np.ones(len(v), dtype=bool)
        if np.isfinite(enough):
            some = may_fail(p, v, body.strength, before=enough)
        found = phase_reserve(p[some], v[some], body.strength)
        row, column, zone = row[some], column[some], zone[some]
        share = beads.share[layer, row, column] / 255.0
        area += float(share[found.reserve < 1].sum() * grid.step[0] * grid.step[1])
        for z in np.unique(zone):
            least[int(z)] = min(least.get(int(z), np.inf), float(found.reserve[zone == z].min()))
        _note(tiles, solved, layer, row, column, zone, found.reserve, found.mode, limit=WORTH * min(least.values()))
    by_zone = {name: least.get(number) for number, name in ZONES.items()}
    limit = WORTH * min((r for r in least.values()), default=np.inf)
    return tuple(p for p in tiles.places() if p.reserve <= limit), by_zone, area


def _note(
    tiles: _Tiles,
    solved: SolvedBeads,
    layer: int,
    row: NDArray[np.intp],
    column: NDArray[np.intp],
    zone: NDArray[np.uint8],
    reserve: Array,
    mode: NDArray[np.intp],
    *,
    limit: float,
) -> None:
    """Keep the weakest bead of each tile of a layer."""
    weak = np.flatnonzero(reserve <= limit)
    if not len(weak):
        return
    grid = solved.beads.grid
    side = np.maximum(np.round(TILE / grid.step[:2]), 1).astype(int)
    tile = (row[weak] // side[1]) * (grid.count[0] // side[0] + 1) + column[weak] // side[0]
    order = np.lexsort((reserve[weak], tile))
    first = order[np.flatnonzero(np.diff(tile[order], prepend=-1))]
    for k in weak[first]:
        middle = np.array([column[k] + 0.5, row[k] + 0.5, (layer + 0.5) * grid.per_layer]) * grid.step
        at = (grid.origin + middle) @ solved.body.axes
        tiles.take(at, float(reserve[k]), ZONES[int(zone[k])], PRINTED_MODES[int(mode[k])])
