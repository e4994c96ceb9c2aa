"""Springs between nodes that share no element: what couples one body to another, as the solvers see it.

A link is a point at which two faces lie opposite each other. The displacement of the first minus that of the second
there is a weighted sum over few nodes, so that all links together are one sparse matrix, and a change of their
springs changes no other matrix. Only the preconditioner needs the links among its blocks: its pattern grows by the
pairs of nodes that a link couples, and its coarse levels see them as they see the material.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np

from fem.cores import even_ranges, shared
from fem.part.tetmesh import Index, TetMesh
from fem.printing.field import PrintedField
from fem.solving.stiffness import BlockPattern
from fem.tensors import Array


@dataclass(frozen=True)
class Links:
    """Points (q,) with the `nodes` (q, a) that move there and their `shares` (q, a) of the motion, signs and all, in
    a mesh of `count` nodes.
    """

    nodes: Index
    shares: Array
    count: int
    _kept: list[Any] = field(default_factory=list, repr=False, compare=False)

    @cached_property
    def matrix(self) -> Any:
        """The shares as a sparse matrix (q, n)."""
        from scipy.sparse import csr_matrix

        q, a = self.nodes.shape
        row = np.repeat(np.arange(q), a)
        return csr_matrix((self.shares.ravel(), (row, self.nodes.ravel())), shape=(q, self.count))

    @cached_property
    def transposed(self) -> Any:
        """Its transpose (n, q)."""
        return self.matrix.T.tocsr()

    def jump(self, displacement: Array) -> Array:
        """How far (q, ...) the first side moves against the second under displacements (n, ...)."""
        flat = displacement.reshape(self.count, -1)
        return np.asarray(self.matrix @ flat).reshape(-1, *displacement.shape[1:])

    def forces(self, each: Array) -> Array:
        """Nodal forces (n, ...) of forces (q, ...) on the first side and their opposites on the second."""
        flat = each.reshape(len(self.nodes), -1)
        return np.asarray(self.transposed @ flat).reshape(self.count, *each.shape[1:])

    def add_blocks(self, spring: Array, pattern: BlockPattern, blocks: Array) -> None:
        """Add springs (q, 3, 3) [N/mm] to the blocks of a matrix whose pattern knows the links."""
        from fem.solving import kernels

        kernels.scatter_links(self._slots(pattern), np.ascontiguousarray(self.shares), spring, blocks)

    def _slots(self, pattern: BlockPattern) -> Index:
        """Where the pairs (q, a, a) of each link's nodes stand in a pattern; those of the last one are kept."""
        from fem.solving import kernels

        if not self._kept or self._kept[0] is not pattern:
            nodes = np.ascontiguousarray(self.nodes, dtype=np.int32)
            slot = np.empty((*nodes.shape, nodes.shape[1]), dtype=np.int32)
            shared(kernels.link_slots, even_ranges(len(nodes)), nodes, pattern.start, pattern.column, slot)
            self._kept[:] = [pattern, slot]
        return np.asarray(self._kept[1])


def joined_links(each: Sequence[Links]) -> Links:
    """All of them as one, side by side: those of fewer nodes name their first node again, with no share."""
    wide = max(links.nodes.shape[1] for links in each)
    nodes, shares = [], []
    for links in each:
        more = wide - links.nodes.shape[1]
        nodes.append(np.concatenate([links.nodes, np.repeat(links.nodes[:, :1], more, axis=1)], axis=1))
        shares.append(np.pad(links.shares, ((0, 0), (0, more))))
    return Links(np.concatenate(nodes), np.concatenate(shares), each[0].count)


def pattern_with(pattern: BlockPattern, links: Links) -> BlockPattern:
    """The pattern of a mesh grown by every pair of nodes that a link couples, on the first-order mesh inside too."""
    from fem.solving import kernels

    groups = np.unique(links.nodes, axis=0)
    start, column = _grown(pattern.start, pattern.column, groups)
    slot, back = np.empty_like(pattern.slot), np.empty_like(pattern.back)
    shared(kernels.find_slots, even_ranges(len(pattern.tets)), pattern.tets, start, column, slot, back)
    grown = replace(pattern, start=start, column=column, slot=slot, back=back)
    corners = pattern.corners
    ends = np.sort(corners.parent[groups].reshape(len(groups), -1), axis=1)
    low, below = _grown(corners.start, corners.column, np.unique(ends, axis=0))
    # The corners are a cached property of a frozen noun: this one's are the mesh's, with more neighbours
    object.__setattr__(grown, "corners", replace(corners, start=low, column=below))
    return grown


def _grown(start: Index, column: Index, groups: Index) -> tuple[Index, Index]:
    """A pattern of rows with all pairs within each of the groups (g, a) in it."""
    from scipy.sparse import csr_matrix

    n = len(start) - 1
    g, a = groups.shape
    member = csr_matrix((np.ones(g * a, dtype=np.int32), groups.ravel(), np.arange(0, g * a + 1, a)), shape=(g, n))
    own = csr_matrix((np.ones(len(column), dtype=np.int32), column, start), shape=(n, n))
    whole = (own + member.T @ member).tocsr()
    whole.sort_indices()
    return whole.indptr.astype(np.int32), whole.indices.astype(np.int32)


def material_stiffness(mesh: TetMesh, printed: PrintedField) -> Array:
    """How stiff (n,) [N/mm^3] a layer one element deep is under a pressure on it, by node: the mean of the three
    axial stiffnesses over the edge length, averaged over the tetrahedra around the node.
    """
    table = printed.stiffness_table
    axial = np.trace(table[:, :3, :3], axis1=1, axis2=2) / 3
    material = printed.material if printed.material.ndim == 1 else printed.material[:, 0]
    each = axial[material] / mesh.edge_length
    total, number = np.zeros(len(mesh.nodes)), np.zeros(len(mesh.nodes))
    np.add.at(total, mesh.tets.ravel(), np.repeat(each, 10))
    np.add.at(number, mesh.tets.ravel(), 1.0)
    return total / number
