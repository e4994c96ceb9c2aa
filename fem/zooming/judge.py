"""What the beads of a grid bear: their mean stress, and by how much it may grow.

A stress has no meaning below the piece over which its strength was measured: it is averaged over the bead's section
and one bead's width along it, one layer high. Pieces that fill less than a third of that are no beads, but what the
boxes cut off one, and are not judged.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fem.cores import even_ranges, shared, workers
from fem.judging.strength import PRINTED_MODES, exceeded, phase_reserve
from fem.printing.beads import WAYS, BeadMap
from fem.printing.field import Strength
from fem.tensors import Array
from fem.zooming.system import BeadSystem

PIECE = 1 / 3
"""A bead of which less than this part is there is not judged."""
ALONE = ("hill",)
"""Criteria that are reported and never decide."""


@dataclass(frozen=True)
class BeadSize:
    """The piece of a bead whose mean stress is judged: `width` across it and `length` along it [mm]."""

    width: float
    length: float


def layer_means(
    system: BeadSystem, beads: BeadMap, fields: tuple[Array, ...], *, warming: tuple[float, ...], size: BeadSize
) -> Iterator[tuple[int, Array, NDArray[np.float32]]]:
    """Layer by layer: its number in the grid, the mean stresses (ny, nx, 6 k) [MPa] of its beads in their own axes
    under k displacement `fields` (n, 3) [mm] and their `warming` (k,) [K], and which part of a bead is there.
    """
    from fem.zooming import kernels

    grid, start = beads.grid, system.boxes.start
    ny, nx = grid.count[1], grid.count[0]
    share = system.filled
    for layer in range(grid.layers):
        planes = range(layer * grid.per_layer, (layer + 1) * grid.per_layer)
        stress = np.zeros((ny, nx, 6 * len(fields)), dtype=np.float32)
        for k in planes:
            some = slice(int(start[k]), int(start[k + 1]))
            if some.stop == some.start:
                continue
            here = share[k] > 0
            for n, field in enumerate(fields):
                found = system.mean_stress(field, boxes=some) - warming[n] * system.tables.warm_stress
                stress[here, 6 * n : 6 * n + 6] += found / grid.per_layer
        out, filled = np.zeros_like(stress), np.zeros((ny, nx), dtype=np.float32)
        given = beads.zone[layer], beads.bead[layer], beads.way[layer], share[planes[0]], stress
        rest = grid.step[:2], size.width, size.length, 2 * WAYS, out, filled
        shared(kernels.bead_means, even_ranges(ny, pieces=4 * workers()), *given, *rest)
        yield layer, out, filled


def reserves(p: Array, v: Array, strength: Strength) -> tuple[Array, NDArray[np.int8]]:
    """Reserve factor (n,) and mode (n,), an index into PRINTED_MODES, of beads under permanent p and growing v (n, 6)
    [MPa] in their own axes.
    """
    found = phase_reserve(p, v, strength)
    return found.reserve, found.mode.astype(np.int8)


def may_fail(p: Array, v: Array, strength: Strength, *, before: float) -> NDArray[np.bool_]:
    """Which beads (n,) fail when what grows is `before` times as large: far quicker to tell than their reserve."""
    outside = [at for name, at in exceeded(p + before * v, strength).items() if name not in ALONE]
    outside += [at for name, at in exceeded(p, strength).items() if name not in ALONE]
    return np.asarray(np.any(outside, axis=0))


MODES = PRINTED_MODES
