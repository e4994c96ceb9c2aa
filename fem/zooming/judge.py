"""What the beads of a grid bear: their mean stress, and by how much it may grow.

A stress has no meaning below the piece over which its strength was measured: it is averaged over the bead's section
and one bead's width along it, one layer high. Pieces that fill less than a third of that are no beads, but what the
boxes cut off one, and are not judged.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from threading import Lock

import numpy as np
from numpy.typing import NDArray

from fem.cores import even_ranges, shared, workers
from fem.criteria.reserve import phase_reserve
from fem.criteria.strength import PRINTED_MODES
from fem.loading.case import LoadCase
from fem.part.tetmesh import Index
from fem.printing.beads import AIR, CORE, COVER, FULL, WALL, WAYS
from fem.printing.plan import in_layer_rotation
from fem.tensors import Array, stress_rotation
from fem.zooming.cube import SolvedBeads
from fem.zooming.nouns import JudgedBeads

PIECE = 1 / 3
"""A bead of which less than this part is there is not judged."""
ZONES = {WALL: "wall", COVER: "cover", CORE: "core"}


@dataclass(frozen=True)
class Weakest:
    """The bead that fails first among those judged: its `reserve`, `zone`, `mode`, place `at` (layer, row, column) in
    the map, and the minimum in each zone, None where it has no beads there. `beyond` counts the beads that fail at
    the full load.
    """

    reserve: float
    zone: str
    mode: str
    at: tuple[int, int, int]
    by_zone: dict[str, float | None]
    beyond: int


@dataclass(frozen=True)
class LayerStress:
    """The judged beads of a layer: their boxes' `row` and `column` (n,), and their mean stress (n, k, 6) [MPa] in
    their own axes under each of k loads at unit factor.
    """

    row: Index
    column: Index
    stress: NDArray[np.float32]

    def of(self, solved: SolvedBeads, case: LoadCase, some: Sequence[str]) -> Array:
        """Stress (n, 6) [MPa] of some of a case's loads."""
        factors = np.array([case.factors.get(k, 0.0) if k in some else 0.0 for k in solved.units], dtype=np.float32)
        return np.einsum("k,nka->na", factors, self.stress).astype(float)

    def at(self, some: NDArray[np.bool_]) -> LayerStress:
        """Only some (n,) of them."""
        return LayerStress(self.row[some], self.column[some], self.stress[some])


def layer_stress(solved: SolvedBeads, layer: int) -> LayerStress:
    """What the beads of a layer of the grid feel: the mean over each bead."""
    from fem.zooming import kernels

    beads, system = solved.beads, solved.system
    grid, start, width = beads.grid, system.boxes.start, solved.body.plan.bead_width
    ny, nx = grid.count[1], grid.count[0]
    stress = np.zeros((ny, nx, 6 * len(solved.units)), dtype=np.float32)
    mean, filled = np.zeros_like(stress), np.zeros((ny, nx), dtype=np.float32)
    lowest = layer * grid.per_layer
    for k in range(lowest, lowest + grid.per_layer):
        row, column = np.nonzero(system.filled[k])
        boxes = system.boxes.first, system.way, system.tables.stress
        for n, (name, field) in enumerate(solved.units.items()):
            warm = solved.warming[name] * system.tables.warm_stress
            told = row, column, stress, 6 * n, 1 / grid.per_layer, warm, int(start[k])
            kernels.add_stress(*boxes, field.reshape(-1), *told, 0, len(row))
    given = beads.zone[layer], beads.bead[layer], beads.way[layer], system.filled[lowest], stress
    kernels.bead_means(*given, grid.step[:2], width, width, 2 * WAYS, mean, filled, 0, ny)
    row, column = np.nonzero(filled >= PIECE)
    felt = mean[row, column].reshape(len(row), len(solved.units), 6)
    if solved.body.core_quality != 1:
        felt[beads.zone[layer, row, column] == CORE] *= np.float32(solved.body.core_quality)
    return LayerStress(row, column, felt)


def against_sound(solved: SolvedBeads, zone: NDArray[np.uint8], stress: Array) -> Array:
    """Stress (n, 6) [MPa] that uses as much of a sound bead's strength as `stress` uses of the bead's own, in each
    `zone` (n,): criteria know stress over strength alone.
    """
    quality = solved.body.core_quality
    return stress if quality == 1 else np.where(zone == CORE, 1 / quality, 1.0)[:, None] * stress


def judge_cases(
    solved: SolvedBeads,
    cases: Mapping[str, LoadCase],
    *,
    inner: NDArray[np.bool_],
    rest: bool = True,
    start: float = 0.0,
) -> dict[str, JudgedBeads]:
    """The reserve factor of every bead of the boxes in each case; `inner` (layers, ny, nx) tells which count, `rest`
    whether the others are looked at, too. It is counted from the factor `start`: less is not told.
    """
    out = {name: _Judging(solved, case, inner, start) for name, case in cases.items()}
    layers = np.arange(solved.beads.grid.layers) if rest else np.flatnonzero(inner.any(axis=(1, 2)))

    def some(begin: int, end: int) -> None:
        for layer in layers[begin:end].tolist():
            here = layer_stress(solved, layer)
            if not rest:
                here = here.at(inner[layer][here.row, here.column])
            for judging in out.values():
                judging.take(layer, here)

    shared(some, even_ranges(len(layers), pieces=4 * workers()))
    return {name: judging.done() for name, judging in out.items()}


def judge_case(solved: SolvedBeads, case: LoadCase, *, inner: NDArray[np.bool_], rest: bool = True) -> JudgedBeads:
    """The same of one case."""
    return judge_cases(solved, {case.name: case}, inner=inner, rest=rest)[case.name]


class _Judging:
    """A case's beads, taken in layer by layer, several at once."""

    def __init__(self, solved: SolvedBeads, case: LoadCase, inner: NDArray[np.bool_], start: float) -> None:
        shape, self.start = solved.beads.zone.shape, start
        self.solved, self.case, self.inner, self.core = solved, case, inner, _Core(solved, inner)
        self.reserve = np.full(shape, np.nan, dtype=np.float32)
        self.stress, self.mode = np.zeros((*shape, 6), dtype=np.float32), np.zeros(shape, dtype=np.int8)

    def take(self, layer: int, here: LayerStress) -> None:
        """Take in a layer."""
        v = here.of(self.solved, self.case, self.case.growing)
        p = here.of(self.solved, self.case, self.case.permanent)
        self.stress[layer, here.row, here.column] = p + v
        p = p + self.start * v
        zone = self.solved.beads.zone[layer, here.row, here.column]
        used, growing = (against_sound(self.solved, zone, stress) for stress in (p, v))
        found = phase_reserve(used, growing, self.solved.body.strength)
        self.reserve[layer, here.row, here.column] = self.start + found.reserve
        self.mode[layer, here.row, here.column] = found.mode
        self.core.add(layer, here, p, v)

    def done(self) -> JudgedBeads:
        """What was taken in."""
        moved = _corners(self.solved, self.case)
        beads, axes = self.solved.beads, self.solved.body.axes
        told = self.reserve, self.stress, self.inner, self.mode, PRINTED_MODES, moved, self.core.mean
        return JudgedBeads(beads, axes, *told)


class _Core:
    """Adds up the stress of the infill among the inner boxes."""

    def __init__(self, solved: SolvedBeads, inner: NDArray[np.bool_]) -> None:
        zone = solved.beads.zone
        self.beads, self.inner = solved.beads, inner
        self.room = int((inner & ((zone == CORE) | (zone == AIR))).sum()) * FULL
        cell, step = solved.body.made.cell, solved.beads.grid.step * np.array([1, 1, solved.beads.grid.per_layer])
        self.enough = cell is not None and self.room * step.prod() >= FULL * float(np.prod(cell.size)) / 2
        self.sums, self.lock = np.zeros((2, 2 * WAYS, 6)), Lock()

    def add(self, layer: int, here: LayerStress, p: Array, v: Array) -> None:
        """Take in a layer's beads with stresses (n, 6) [MPa] in their own axes."""
        if not self.enough:
            return
        at = layer, here.row, here.column
        counted = self.inner[at] & (self.beads.zone[at] == CORE)
        way, share = self.beads.way[at][counted], self.beads.share[at][counted, None].astype(float)
        with self.lock:
            for sums, stress in zip(self.sums, (p, v), strict=True):
                np.add.at(sums, way, share * stress[counted])

    @property
    def mean(self) -> Array | None:
        """Mean (2, 6) [MPa] along the print axes, permanent and growing."""
        if not self.enough:
            return None
        turns = np.array([in_layer_rotation(180.0 * way / WAYS).T for way in range(2 * WAYS)])
        return np.asarray(np.einsum("wab,kwb->ka", stress_rotation(turns), self.sums) / self.room)


def _corners(solved: SolvedBeads, case: LoadCase) -> NDArray[np.float32]:
    """Displacement (nz + 1, ny + 1, nx + 1, 3) [mm] of the grid's corners in a case, nan where there is no bead."""
    number = solved.system.boxes.number
    moved, _ = solved.combined(case, tuple(case.factors))
    out = np.full((*number.shape, 3), np.nan, dtype=np.float32)
    out[number >= 0] = moved
    return out


def weakest(judged: JudgedBeads, *, width: float, within: NDArray[np.bool_] | None = None) -> Weakest | None:
    """The bead of a `width` [mm] that fails first among the inner ones, or those `within` (layers, ny, nx); None
    where there is none.
    """
    beads, grid = judged.beads, judged.beads.grid
    counted = (judged.inner if within is None else within) & ~np.isnan(judged.reserve)
    if not counted.any():
        return None
    value = np.where(counted, judged.reserve, np.float32(np.inf))
    at = np.unravel_index(int(np.flatnonzero(counted)[judged.reserve[counted].argmin()]), value.shape)
    by_zone = {
        name: float(value[mine].min()) if (mine := counted & (beads.zone == number)).any() else None
        for number, name in ZONES.items()
    }
    area = float((beads.share[counted & (judged.reserve < 1)] / 255.0).sum() * grid.step[0] * grid.step[1])
    return Weakest(
        float(value[at]),
        ZONES[int(beads.zone[at])],
        judged.modes[judged.mode[at]],
        (int(at[0]), int(at[1]), int(at[2])),
        by_zone,
        int(np.ceil(area / width**2 - 1e-9)),
    )
