"""A mesh is shared out among ranks: each owns some nodes and works on all tetrahedra that touch these.

The tetrahedra along a border are thus assembled by both sides, each for its own rows: a per cent or two of work more,
and no block of the matrix ever travels.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fem.part.tetmesh import Index, TetMesh
from fem.tensors import Array

Springs = tuple[Index, Array]
"""Nodes (j, a) and the matrices (j, a, a, 3, 3) [N/mm] between them, as an elastic foundation gives them."""


@dataclass(frozen=True)
class Share:
    """What one rank works on, in numbers of its own; the `owned` nodes come first, then the neighbours' nodes.

    `nodes` (l, 3) [mm]; `tets` (m, 10); `table` (k, 6, 6) [MPa] and `material` (m, 4) into it; `springs` of its part
    of the foundations; `projector` (l, 3, 3); `scale` [N/mm] the spring in held directions; `number` (l,) of each
    node among all ranks' nodes, where the owned ones run on from `first`; `total` the number of nodes of all ranks;
    `centre` (3,) [mm] about which rigid motions turn, `size` [mm] at which a turn moves as much as a slide.
    """

    nodes: Array
    tets: Index
    table: Array
    material: Index
    springs: tuple[Springs, ...]
    projector: Array
    scale: float
    owned: int
    first: int
    total: int
    number: Index
    centre: Array
    size: float

    @property
    def mesh(self) -> TetMesh:
        """The same as a mesh without a named boundary."""
        m, none = len(self.tets), np.zeros(0, dtype=np.int32)
        return TetMesh(
            nodes=self.nodes,
            tets=self.tets,
            body=np.zeros(m, dtype=np.int32),
            bodies=("share",),
            triangles=none.reshape(0, 6),
            face=none,
            faces=(),
        )


def bisected(points: Array, parts: int) -> Index:
    """Which of `parts` near-equal parts each point (n, 3) goes to: cut across the longest side, again and again."""
    out = np.zeros(len(points), dtype=np.int32)

    def cut(own: Index, first: int, count: int) -> None:
        if count == 1:
            out[own] = first
            return
        low = count // 2
        axis = int(np.ptp(points[own], axis=0).argmax())
        order = np.argsort(points[own, axis], kind="stable")
        at = len(own) * low // count
        cut(own[order[:at]], first, low)
        cut(own[order[at:]], first + low, count - low)

    cut(np.arange(len(points)), 0, parts)
    return out


def near_order(points: Array) -> Index:
    """An order (n,) in which near points follow one another: bits of the three coordinates interleaved.

    Rows of a matrix in this order find their columns in the processor's cache.
    """
    low, span = points.min(axis=0), float(np.ptp(points, axis=0).max()) or 1.0
    cell = ((points - low) / span * 1023).astype(np.int64)
    key = np.zeros(len(points), dtype=np.int64)
    for bit in range(10):
        for axis in range(3):
            key |= ((cell[:, axis] >> bit) & 1) << (3 * bit + axis)
    return np.argsort(key, kind="stable")


def shared_out(
    mesh: TetMesh,
    *,
    parts: int,
    table: Array,
    material: Index,
    springs: Sequence[Springs],
    projector: Array,
    scale: float,
) -> tuple[list[Share], Index]:
    """One share a rank, and the mesh's node (n,) at each place of the ranks' common numbering.

    `material` is (m, 4) or (m,).
    """
    part = bisected(mesh.nodes, parts)
    near = near_order(mesh.nodes)
    order = near[np.argsort(part[near], kind="stable")]
    number = np.empty(len(order), dtype=np.int64)
    number[order] = np.arange(len(order))
    ends = np.concatenate([[0], np.cumsum(np.bincount(part, minlength=parts))])
    low, high = mesh.box
    shares = []
    for rank in range(parts):
        first, owned = int(ends[rank]), int(ends[rank + 1] - ends[rank])
        touching = np.flatnonzero((part[mesh.tets] == rank).any(axis=1))
        own_tets = mesh.tets[touching]
        taken = [(part[nodes] == rank).any(axis=1) for nodes, _ in springs]
        own_springs = [(nodes[t], local[t]) for (nodes, local), t in zip(springs, taken, strict=True)]
        seen = np.zeros(len(order), dtype=bool)
        for nodes in (own_tets, *(nodes for nodes, _ in own_springs)):
            seen[nodes] = True
        others = np.flatnonzero(seen & (part != rank))
        local_nodes = np.concatenate([order[first : first + owned], others[np.argsort(number[others])]])
        here = np.full(len(order), -1, dtype=np.int32)
        here[local_nodes] = np.arange(len(local_nodes))
        used, which = np.unique(material[touching], return_inverse=True)
        shares.append(
            Share(
                nodes=mesh.nodes[local_nodes],
                tets=here[own_tets],
                table=table[used],
                material=which.reshape(material[touching].shape).astype(np.int32),
                springs=tuple((here[nodes], local) for nodes, local in own_springs),
                projector=projector[local_nodes],
                scale=scale,
                owned=owned,
                first=first,
                total=len(order),
                number=number[local_nodes],
                centre=(low + high) / 2,
                size=mesh.diagonal / 2,
            )
        )
    return shares, order
