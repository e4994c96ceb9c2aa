"""The noun of a cell's mesh, and how blocks of hexahedra are drawn and tied together across the period.

Corner a of a hexahedron lies at bit 0 of a along its first direction, bit 1 along its second, bit 2 along its third.
All coordinates are in print axes: 3 up the build.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fem.tensors import Array

Index = NDArray[np.intp]

SIGNS = np.array([[2 * ((a >> d) & 1) - 1 for d in range(3)] for a in range(8)], dtype=float)
"""Place (8, 3) of each corner in the reference cube [-1, 1]^3."""


@dataclass(frozen=True)
class Family:
    """Hexahedra of one kind: one wall direction, or the joint of several.

    `label` in words; `angles` [degrees] of the beads that run through, layer after layer when there are several;
    `is_wall` whether it is a free-standing wall that can buckle; `normal` (3,) of a wall, None for anything else.
    """

    label: str
    angles: tuple[float, ...]
    is_wall: bool = False
    normal: tuple[float, float, float] | None = None


@dataclass(frozen=True)
class CellMesh:
    """The solid of one period as hexahedra.

    `lattice` (3, 3) [mm] rows = periods; `corners` (n, 8, 3) [mm]; `nodes` (n, 8) with periodic nodes identified;
    `family` (n,) index into `families`; `angle` (n,) [degrees] of the bead in each hexahedron where it changes from
    one to the next (then the family has no angles of its own), else None; `prismatic` when nothing changes up the
    build; `layer` [mm] the height of the print's layers, from 0 on, where the mesh tells them apart, else None.
    """

    lattice: Array
    corners: Array
    nodes: Index
    family: Index
    families: tuple[Family, ...]
    angle: Array | None = None
    prismatic: bool = False
    layer: float | None = None

    @property
    def count(self) -> int:
        """How many different nodes there are."""
        return int(self.nodes.max()) + 1

    @property
    def volume(self) -> float:
        """Volume of the whole period, empty space included [mm^3]."""
        return float(abs(np.linalg.det(self.lattice)))

    @property
    def centres(self) -> Array:
        """Centres (n, 3) [mm] of the hexahedra."""
        return self.corners.mean(axis=1)


def mesh_of(
    blocks: Sequence[tuple[Array, int]],
    *,
    lattice: Any,
    families: Sequence[Family],
    prismatic: bool,
    layer: float | None = None,
) -> CellMesh:
    """Tie blocks of corners (k, 8, 3), each with its family, into one periodic mesh."""
    corners = np.concatenate([b for b, _ in blocks])
    family = np.concatenate([np.full(len(b), f, dtype=np.intp) for b, f in blocks])
    period = np.asarray(lattice, dtype=float)
    return CellMesh(period, corners, tied(corners, period), family, tuple(families), None, prismatic, layer)


def tied(corners: Array, lattice: Array) -> Index:
    """Node of each corner (n, 8): corners that agree up to whole periods share one."""
    share = corners.reshape(-1, 3) @ np.linalg.inv(lattice)
    # the odd offset keeps shares such as 0 or 1/2 away from the edges of the rounding
    steps = np.floor((share - np.floor(share + 0.1237e-6)) * 2**21 + 0.3717).astype(np.int64) % 2**21
    keys = (steps[:, 0] << 42) + (steps[:, 1] << 21) + steps[:, 2]
    return np.unique(keys, return_inverse=True)[1].reshape(corners.shape[:2])


def quads(corner: Any, *, u: Any, v: Any) -> Array:
    """Quadrilaterals (k, 4, 2) of a block with `corner` (4, 2) at (0,0) (1,0) (0,1) (1,1), divided at `u`, `v` in
    0..1.
    """
    c = np.asarray(corner, dtype=float)
    s, t = np.meshgrid(np.asarray(u, dtype=float), np.asarray(v, dtype=float), indexing="ij")
    s, t = s[..., None], t[..., None]
    grid = (1 - s) * (1 - t) * c[0] + s * (1 - t) * c[1] + (1 - s) * t * c[2] + s * t * c[3]
    four = [grid[:-1, :-1], grid[1:, :-1], grid[:-1, 1:], grid[1:, 1:]]
    return np.stack(four, axis=2).reshape(-1, 4, 2)


def prism(flat: Array, *, height: float) -> Array:
    """Hexahedra (k, 8, 3) over quadrilaterals (k, 4, 2), from 0 to `height` [mm]."""
    out = np.zeros((len(flat), 8, 3))
    out[:, :4, :2] = out[:, 4:, :2] = flat
    out[:, 4:, 2] = height
    return out


def brick(x: Any, y: Any, z: Any) -> Array:
    """Hexahedra (k, 8, 3) of a box divided at the places `x`, `y`, `z` [mm]."""
    lines = [np.asarray(a, dtype=float) for a in (x, y, z)]
    grid = np.stack(np.meshgrid(*lines, indexing="ij"), axis=-1)
    n = [len(a) - 1 for a in lines]
    cut = [[slice(b, b + n[d]) for b in (0, 1)] for d in range(3)]
    eight = [grid[cut[0][a & 1], cut[1][(a >> 1) & 1], cut[2][(a >> 2) & 1]] for a in range(8)]
    return np.stack(eight, axis=3).reshape(-1, 8, 3)


def graded(length: float, *, first: float, growth: float) -> Array:
    """Places from 0 to `length` [mm], fine at both ends (about `first` [mm]) and coarser by `growth` from one to the
    next.
    """
    half, steps = length / 2, [first]
    while sum(steps) < 0.8 * half:
        steps.append(steps[-1] * growth)
    one = np.concatenate([[0.0], np.cumsum(steps)]) * (half / sum(steps))
    return np.concatenate([one, (length - one[:-1])[::-1]])
