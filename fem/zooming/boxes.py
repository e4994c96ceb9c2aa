"""Filled boxes of a grid and their corners, packed: air takes no room."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fem.cores import even_ranges, shared, workers
from fem.errors import InputError

FEW = 20_000
"""So few boxes are gone through by one thread: to call another costs more."""


MOST_NODES = 2**31 // 3
"""Nodes are told apart by 32 bits, their components by as many."""


@dataclass(frozen=True)
class Boxes:
    """The filled boxes of a grid in their order (x fastest).

    `number` (nz + 1, ny + 1, nx + 1) is each corner's node, -1 where no filled box touches it; `nodes` how many there
    are; `first` (v, 4) the nodes at the low end of a box's four edges along x; `which` (v,) its row in a table of
    stiffness and `share` (v,) in 255ths how much of it counts; `start` (nz + 1,) where each layer of boxes begins.
    """

    number: NDArray[np.int32]
    nodes: int
    first: NDArray[np.int32]
    which: NDArray[Any]
    share: NDArray[np.uint8]
    start: NDArray[np.int64]

    @property
    def rounds(self) -> list[list[tuple[int, int]]]:
        """Ranges of boxes, in rounds: those of one round share no node."""
        count, total = workers(), len(self.first)
        if total < FEW or count == 1:
            return [[(0, total)]]
        wanted = [total * k // (2 * count) for k in range(1, 2 * count)]
        edges = sorted({0, *(int(self.start[np.searchsorted(self.start, w)]) for w in wanted), total})
        pieces = list(pairwise(edges))
        return [pieces[0::2], pieces[1::2]]

    @property
    def planes(self) -> list[tuple[int, int]]:
        """Ranges of planes of corners, one a thread or so."""
        many = len(self.number)
        pieces = 1 if self.nodes < FEW else min(4 * workers(), many)
        return [(many * k // pieces, many * (k + 1) // pieces) for k in range(pieces)]

    def ranges(self, count: int) -> list[tuple[int, int]]:
        """0..count in one piece a thread; in one where there are few nodes."""
        pieces = 1 if self.nodes < FEW else workers()
        return [(count * k // pieces, count * (k + 1) // pieces) for k in range(pieces)]


def packed(filled: NDArray[Any], *, which: NDArray[Any], share: NDArray[np.uint8]) -> Boxes:
    """Pack the boxes of `filled` (nz, ny, nx); `which`, `share` (v,) are in the order of its filled boxes."""
    from fem.zooming import packing_kernels

    number = np.empty(tuple(n + 1 for n in filled.shape), dtype=np.int32)
    planes, counts = even_ranges(len(number)), np.zeros(len(number), dtype=np.int64)
    shared(packing_kernels.mark_nodes, planes, filled, number, counts)
    ends = np.cumsum(counts)
    if ends[-1] > MOST_NODES:
        raise InputError(f"{ends[-1] / 1e9:.1f} thousand million corners of boxes are more than can be numbered.")
    shared(packing_kernels.number_nodes, planes, ends - counts, number)
    first, start = np.empty((len(which), 4), dtype=np.int32), layer_starts(filled)
    shared(packing_kernels.list_boxes, even_ranges(len(filled)), filled, number, start, first)
    return Boxes(number, int(ends[-1]), first, which, share, start)


def layer_starts(filled: NDArray[Any]) -> NDArray[np.int64]:
    """Where each layer of the filled boxes of (nz, ny, nx) begins, and the end of the last (nz + 1,)."""
    from fem.zooming import packing_kernels

    counts = np.zeros(len(filled), dtype=np.int64)
    shared(packing_kernels.count_boxes, even_ranges(len(filled)), filled, counts)
    return np.concatenate([np.zeros(1, dtype=np.int64), np.cumsum(counts)])


def picked(values: NDArray[Any], *, filled: NDArray[Any], start: NDArray[np.int64], per_layer: int) -> NDArray[Any]:
    """What `values` (layers, ny, nx) say of each filled box (v,); `per_layer` planes of boxes make a layer."""
    from fem.zooming import packing_kernels

    out = np.empty(start[-1], dtype=values.dtype)
    shared(packing_kernels.pick, even_ranges(len(filled)), values, per_layer, filled, start, out)
    return out


def add_product(boxes: Boxes, table: NDArray[Any], x: NDArray[Any], out: NDArray[Any], *, gain: float) -> None:
    """out += gain K x, flat vectors of three components a node, in the precision of the table.

    That is (t, 576), or (t, 192) as tables.four_blocks has it.
    """
    from fem.zooming import kernels

    loop = kernels.add_product if table.shape[1] == 576 else kernels.add_bead_product
    for some in boxes.rounds:
        shared(
            loop,
            some,
            boxes.first,
            boxes.which,
            boxes.share,
            table.reshape(-1),
            x,
            out,
            x.dtype.type(gain),
        )
