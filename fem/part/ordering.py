"""Nodes and tetrahedra in an order that keeps neighbours close together in memory.

A product with the stiffness matrix is bound by memory; with nodes in the order of a mesh generator most of its time
goes into waiting for scattered values. Reverse Cuthill-McKee on the corners brings a row's columns together.
Source: E. Cuthill and J. McKee, Proc. 24th ACM National Conference (1969) 157.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fem.part.tetmesh import TET_EDGES, TetMesh


def neighbourly(mesh: TetMesh) -> TetMesh:
    """The same mesh with its nodes, then its tetrahedra, renumbered; bodies and triangles keep their own order."""
    from scipy.sparse import csr_matrix
    from scipy.sparse.csgraph import reverse_cuthill_mckee

    n, m = len(mesh.nodes), len(mesh.tets)
    corners = np.unique(mesh.tets[:, :4])
    number = np.full(n, -1, dtype=np.int32)
    number[corners] = np.arange(len(corners), dtype=np.int32)
    of_tet = number[mesh.tets[:, :4]]
    incidence = csr_matrix(
        (np.ones(4 * m, dtype=np.int8), of_tet.ravel(), np.arange(0, 4 * m + 1, 4)), shape=(m, len(corners))
    )
    walk = reverse_cuthill_mckee((incidence.T @ incidence).tocsr(), symmetric_mode=True)
    place = np.empty(len(corners))
    place[walk] = np.arange(len(corners))
    # A mid-side node comes between the two ends of its edge
    key = np.zeros(n)
    key[corners] = 2 * place
    for k, (i, j) in enumerate(TET_EDGES):
        key[mesh.tets[:, 4 + k]] = place[of_tet[:, i]] + place[of_tet[:, j]]
    order = np.argsort(key, kind="stable")
    new = np.empty(n, dtype=np.int64)
    new[order] = np.arange(n)
    tets = new[mesh.tets].astype(mesh.tets.dtype)
    sequence = np.lexsort((tets.min(axis=1), mesh.body))
    return replace(
        mesh,
        nodes=np.ascontiguousarray(mesh.nodes[order]),
        tets=np.ascontiguousarray(tets[sequence]),
        body=np.ascontiguousarray(mesh.body[sequence]),
        triangles=new[mesh.triangles].astype(mesh.triangles.dtype),
    )
