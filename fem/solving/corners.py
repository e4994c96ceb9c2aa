"""The first-order mesh inside a second-order one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fem.part.tetmesh import TET_EDGES


@dataclass(frozen=True)
class Corners:
    """How the second-order nodes stem from the corners.

    `corner` (c,) their node numbers; `parent` (n, 2) the corner numbers of each node's two ends (twice its own for a
    corner); `children[begin[c]:begin[c + 1]]` the mid-sides at corner c; `start` (c + 1,) and `column` the pattern of
    the first-order matrix.
    """

    corner: np.ndarray
    parent: np.ndarray
    begin: np.ndarray
    children: np.ndarray
    start: np.ndarray
    column: np.ndarray


def corners_of(tets: np.ndarray, nodes: int) -> Corners:
    """Of tetrahedra (m, 10) over so many nodes."""
    from scipy.sparse import csr_matrix

    is_corner = np.zeros(nodes, dtype=bool)
    is_corner[tets[:, :4]] = True
    corner = np.flatnonzero(is_corner).astype(np.int32)
    c = len(corner)
    number = np.full(nodes, -1, dtype=np.int32)
    number[corner] = np.arange(c, dtype=np.int32)
    parent = np.stack([number, number], axis=1)
    for k, (i, j) in enumerate(TET_EDGES):
        parent[tets[:, 4 + k], 0] = number[tets[:, i]]
        parent[tets[:, 4 + k], 1] = number[tets[:, j]]
    middle = np.flatnonzero(~is_corner)
    ends = parent[middle]
    order = np.argsort(ends.ravel(), kind="stable")
    begin = np.concatenate([[0], np.cumsum(np.bincount(ends.ravel(), minlength=c))]).astype(np.int32)
    children = np.repeat(middle, 2)[order].astype(np.int32)
    # Two corners share an element just where they share an edge
    rows = np.concatenate([ends[:, 0], ends[:, 1], np.arange(c)])
    columns = np.concatenate([ends[:, 1], ends[:, 0], np.arange(c)])
    graph = csr_matrix((np.ones(len(rows), dtype=np.int8), (rows, columns)), shape=(c, c))
    graph.sort_indices()
    return Corners(corner, parent, begin, children, graph.indptr.astype(np.int32), graph.indices.astype(np.int32))
