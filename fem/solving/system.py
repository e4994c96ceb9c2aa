"""The stiffness of a part on its supports: what the solvers are given."""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy

import numpy as np

from fem.cores import workers
from fem.errors import TooLargeError
from fem.loading.supports import Foundation, HeldNodes, foundation_matrices
from fem.memory import available_memory
from fem.part.tetmesh import TetMesh
from fem.solving.blocks import BlockMatrix, padded
from fem.solving.joined import Joined
from fem.solving.stiffness import BlockPattern, add_blocks
from fem.solving.ties import Ties
from fem.tensors import Array

MOST_COLUMNS = 12
"""Load cases that are solved side by side; more of them are taken in turn, for the sake of memory."""
SHARE_OF_MEMORY = 0.9


class HeldSystem:
    """P (K + B) P of the part's blocks K (b, 3, 3) [N/mm], its foundations B, and the projection P onto what may
    move."""

    def __init__(
        self,
        mesh: TetMesh,
        pattern: BlockPattern,
        blocks: Array,
        *,
        held: HeldNodes,
        foundations: Sequence[Foundation],
        joined: Joined | None = None,
    ) -> None:
        self.mesh, self.pattern = mesh, pattern
        self.links = None if joined is None else joined.links
        self.link_springs = None if joined is None else joined.law.closed()
        self._linked: BlockMatrix | None = None
        self.ties = None if joined is None else joined.ties
        self.elastic = BlockMatrix(pattern.start, pattern.column, blocks)
        self.springs = [foundation_matrices(mesh, foundation) for foundation in foundations]
        self.projector = held.projector
        self._held = np.flatnonzero((held.projector != np.eye(3)).any(axis=(1, 2)))
        self._own = held.projector[self._held]
        self._foundation_nodes, self._foundation = _spring_matrix(self.springs)
        # Held directions become springs as stiff as the material around them, so that the scale stays even
        self.scale = float(np.median(np.trace(self.elastic.diagonal_blocks(), axis1=1, axis2=2))) / 3

    def with_springs(self, springs: Sequence[tuple[np.ndarray, Array]]) -> HeldSystem:
        """The same system on other springs: nodes (j, 6) and matrices (j, 6, 6, 3, 3) [N/mm] of each foundation."""
        other = copy(self)
        other.springs = list(springs)
        other._foundation_nodes, other._foundation = _spring_matrix(other.springs)
        return other

    def with_link_springs(self, spring: Array | None) -> HeldSystem:
        """The same system with other springs (q, 3, 3) [N/mm] at its links, or with none."""
        other = copy(self)
        other.link_springs, other._linked = spring, None
        return other

    def with_ties(self, ties: Ties | None) -> HeldSystem:
        """The same system with other springs between mean motions of faces."""
        other = copy(self)
        other.ties = ties
        return other

    def multiply(self, x: Array, out: Array) -> None:
        """out = P (K + B) x, for x (3n, k) that is zero in held directions; k one or a multiple of four."""
        self.whole(x, out)
        self.free(out)

    def whole(self, x: Array, out: Array) -> None:
        """out = (K + B) x."""
        self._blocks().multiply(x, out)
        if len(self._foundation_nodes):
            k = x.shape[1]
            at = x.reshape(-1, 3, k)[self._foundation_nodes].reshape(-1, k)
            out.reshape(-1, 3, k)[self._foundation_nodes] += (self._foundation @ at).reshape(-1, 3, k)
        if self.ties is not None:
            self.ties.add_times(x, out)

    def _blocks(self) -> BlockMatrix:
        """The part's own blocks with those of the springs at its links, put together once: as fast as without any."""
        if self.links is None or self.link_springs is None or not len(self.link_springs):
            return self.elastic
        if self._linked is None:
            self._linked = BlockMatrix(self.pattern.start, self.pattern.column, self.elastic.blocks.copy())
            self.links.add_blocks(self.link_springs, self.pattern, self._linked.blocks)
        return self._linked

    def free(self, columns: Array) -> Array:
        """Take the held directions out of columns (3n, k), in place; returns them."""
        at = columns.reshape(-1, 3, columns.shape[1])
        at[self._held] = np.matmul(self._own, at[self._held])
        return columns

    def whole_forces(self, columns: Array) -> Array:
        """(K + B) times any number of columns (3n, k)."""
        k = columns.shape[1]
        x = np.zeros((len(columns), padded(k)))
        x[:, :k] = columns
        out = np.empty_like(x)
        self.whole(x, out)
        return out[:, :k]

    def matrix(self, *, single: bool) -> BlockMatrix:
        """P (K + B) P + scale (I - P), with its own numbers, in single or double precision."""
        out = (
            self.elastic.single()
            if single
            else BlockMatrix(self.pattern.start, self.pattern.column, self.elastic.blocks.copy())
        )
        for nodes, local in self.springs:
            add_blocks(self.pattern, out.blocks, nodes=nodes, local=local)
        if self.links is not None and self.link_springs is not None:
            self.links.add_blocks(self.link_springs, self.pattern, out.blocks)
        out.hold(self.projector, scale=self.scale)
        return out

    def refuse_beyond_memory(self, columns: int) -> None:
        """Errors: TooLargeError when a preconditioner and so many columns would not fit beside what is there."""
        wide = padded(min(columns, MOST_COLUMNS))
        need = 1.3 * 36 * len(self.pattern.column) + 3 * len(self.mesh.nodes) * (8 * 6 + 4 * 7) * wide
        have = available_memory()
        if need > SHARE_OF_MEMORY * have:
            raise TooLargeError(
                f"solving {self.mesh.unknowns:,} unknowns needs some {need / 1e9:.1f} GB more; {have / 1e9:.1f} GB "
                f"are free ({workers()} cores).",
                where="solver",
                advice="Ask for a larger mesh size.",
            )


def _spring_matrix(springs: Sequence[tuple[np.ndarray, Array]]) -> tuple[np.ndarray, object]:
    """Nodes (j,) that lie on foundations, and the springs among them as a sparse matrix (3j, 3j)."""
    from scipy.sparse import coo_matrix

    if not springs:
        return np.zeros(0, dtype=np.int64), None
    nodes = np.unique(np.concatenate([own.ravel() for own, _ in springs]))
    rows, columns, values = [], [], []
    for own, local in springs:  # local (j, a, b, 3, 3)
        at = 3 * np.searchsorted(nodes, own)[:, :, None] + np.arange(3)
        shape = (*local.shape[:3], 3, 3)
        rows.append(np.broadcast_to(at[:, :, None, :, None], shape).ravel())
        columns.append(np.broadcast_to(at[:, None, :, None, :], shape).ravel())
        values.append(local.ravel())
    size = 3 * len(nodes)
    entries = np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))
    return nodes, coo_matrix(entries, shape=(size, size)).tocsr()
