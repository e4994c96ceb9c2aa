"""What the beads of a grid bear: their mean stress, and by how much it may grow.

A stress has no meaning below the piece over which its strength was measured: it is averaged over the bead's section
and one bead's width along it, one layer high. Pieces that fill less than a third of that are no beads, but what the
boxes cut off one, and are not judged.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fem.cores import even_ranges, shared, workers
from fem.judging.strength import PRINTED_MODES, exceeded, phase_reserve
from fem.loading.case import LoadCase
from fem.printing.beads import AIR, CORE, COVER, FULL, WALL, WAYS
from fem.printing.field import Strength
from fem.printing.plan import in_layer_rotation
from fem.tensors import Array, stress_rotation
from fem.zooming.boxes import FEW
from fem.zooming.cube import SolvedBeads
from fem.zooming.nouns import JudgedBeads

PIECE = 1 / 3
"""A bead of which less than this part is there is not judged."""
ALONE = ("hill",)
"""Criteria that are reported and never decide."""
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


def layer_means(
    solved: SolvedBeads, fields: tuple[tuple[Array, float], ...], *, layers: Sequence[int] | None = None
) -> Iterator[tuple[int, NDArray[np.float32], NDArray[np.float32]]]:
    """Layer by layer: its number in the grid, the mean stresses (ny, nx, 6 k) [MPa] of its beads in their own axes
    under k `fields`, each a displacement (n, 3) [mm] and a warming [K], and which part of a bead is there.
    """
    from fem.zooming import kernels

    beads, system = solved.beads, solved.system
    width = solved.body.plan.bead_width
    grid, start = beads.grid, system.boxes.start
    ny, nx = grid.count[1], grid.count[0]
    for layer in range(grid.layers) if layers is None else layers:
        planes = range(layer * grid.per_layer, (layer + 1) * grid.per_layer)
        stress = np.zeros((ny, nx, 6 * len(fields)), dtype=np.float32)
        out, filled = np.zeros_like(stress), np.zeros((ny, nx), dtype=np.float32)
        for k in planes:
            row, column = np.nonzero(system.filled[k])
            boxes = system.boxes.first, system.way, system.tables.stress
            for n, (field, warming) in enumerate(fields):
                told = row, column, stress, 6 * n, 1 / grid.per_layer, warming * system.tables.warm_stress
                pieces = even_ranges(len(row)) if len(row) > FEW else [(0, len(row))]
                shared(kernels.add_stress, pieces, *boxes, field.reshape(-1), *told, int(start[k]))
        given = beads.zone[layer], beads.bead[layer], beads.way[layer], system.filled[planes[0]], stress
        rest = grid.step[:2], width, width, 2 * WAYS, out, filled
        shared(kernels.bead_means, even_ranges(ny, pieces=4 * workers()), *given, *rest)
        yield layer, out, filled


def judge_case(
    solved: SolvedBeads, case: LoadCase, *, strength: Strength, inner: NDArray[np.bool_], rest: bool = True
) -> JudgedBeads:
    """The reserve factor of every bead of the boxes in one case; `inner` (layers, ny, nx) tells which count, `rest`
    whether the others are looked at, too.
    """
    shape = solved.beads.zone.shape
    core = _Core(solved, inner)
    reserve = np.full(shape, np.nan, dtype=np.float32)
    stress, mode = np.zeros((*shape, 6), dtype=np.float32), np.zeros(shape, dtype=np.int8)
    fields = solved.combined(case, case.growing), solved.combined(case, case.permanent)
    stays = bool(case.permanent)
    layers = None if rest else np.flatnonzero(inner.any(axis=(1, 2))).tolist()
    for layer, mean, filled in layer_means(solved, fields if stays else fields[:1], layers=layers):
        here = filled >= PIECE
        if not rest:
            here &= inner[layer]
        own = mean[here].astype(float)
        v, p = own[:, :6], own[:, 6:] if stays else np.zeros((len(own), 6))
        stress[layer][here] = p + v
        core.add(layer, here, p, v)
        found = phase_reserve(p, v, strength)
        reserve[layer][here], mode[layer][here] = found.reserve, found.mode
    return JudgedBeads(
        solved.beads, solved.body.axes, reserve, stress, inner, mode, PRINTED_MODES, _corners(solved, case), core.mean
    )


class _Core:
    """Adds up the stress of the infill among the inner boxes."""

    def __init__(self, solved: SolvedBeads, inner: NDArray[np.bool_]) -> None:
        zone = solved.beads.zone
        self.beads, self.inner = solved.beads, inner
        self.room = int((inner & ((zone == CORE) | (zone == AIR))).sum()) * FULL
        cell, step = solved.body.made.cell, solved.beads.grid.step * np.array([1, 1, solved.beads.grid.per_layer])
        self.enough = cell is not None and self.room * step.prod() >= FULL * float(np.prod(cell.size)) / 2
        self.sums = np.zeros((2, 2 * WAYS, 6))

    def add(self, layer: int, here: NDArray[np.bool_], p: Array, v: Array) -> None:
        """Take in a layer's beads `here` (ny, nx) with stresses (n, 6) [MPa] in their own axes."""
        if not self.enough:
            return
        counted = (self.inner[layer] & (self.beads.zone[layer] == CORE))[here]
        way = self.beads.way[layer][here][counted]
        share = self.beads.share[layer][here][counted, None].astype(float)
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
    at = np.unravel_index(int(value.argmin()), value.shape)
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


def may_fail(p: Array, v: Array, strength: Strength, *, before: Array) -> NDArray[np.bool_]:
    """Which beads (n,) fail when what grows is `before` (n,) times as large: quicker to tell than their reserve."""
    outside = [at for name, at in exceeded(p + before[:, None] * v, strength).items() if name not in ALONE]
    outside += [at for name, at in exceeded(p, strength).items() if name not in ALONE]
    return np.asarray(np.any(outside, axis=0))
