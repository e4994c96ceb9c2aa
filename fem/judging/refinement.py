"""How long the edges of the next mesh are to be: shorter where the error, or the least reserve, asks for it.

The error that the whole mesh may have is shared evenly among its tetrahedra, and each is resized so that its own
would become its part of it. Source: O. C. Zienkiewicz and J. Z. Zhu, IJNME 24 (1987) 337.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from fem.judging.estimate import ErrorEstimate
from fem.part.sizing import regular_edge
from fem.part.tetmesh import TetMesh
from fem.tensors import Array

ORDER = 2.0
"""Order at which a second-order tetrahedron's stress error falls with its edge."""
MOST_SHRINK, MOST_GROW = 0.35, 1.6
"""Factors that an edge changes by in one pass at most."""
NEAR, FINER = 2.5, 0.6
"""Within so many edges of a place of least reserve tetrahedra become finer by this factor, whatever their error."""


def wanted_edges(
    mesh: TetMesh,
    estimates: Iterable[ErrorEstimate],
    *,
    accuracy: float,
    places: Array,
    finest: Array,
    longest: Array,
) -> Array:
    """Edges (m,) [mm] for the next mesh, in place of each tetrahedron's.

    `estimates` of all cases: the one that asks for most counts. `places` (j, 3) [mm] are those of least reserve;
    `finest` and `longest` (m,) [mm] bound the edges.
    """
    edge, asked = regular_edge(mesh.nodes, mesh.tets), np.full(len(mesh.tets), np.inf)
    for each in estimates:
        allowed = accuracy**2 * (each.energy.sum() + each.error.sum()) / len(mesh.tets)
        if allowed > 0:
            asked = np.minimum(asked, (allowed / np.maximum(each.error, 1e-12 * allowed)) ** (0.5 / ORDER))
    factor = np.clip(asked, MOST_SHRINK, MOST_GROW)
    middle = mesh.nodes[mesh.tets[:, :4]].mean(axis=1)
    for place in places:
        away = np.linalg.norm(middle - place, axis=1)
        near = away < NEAR * edge[int(away.argmin())]
        factor[near] = np.minimum(factor[near], FINER)
    # What is already finer than the bound stays as it is
    return np.asarray(np.clip(edge * factor, np.minimum(finest, edge), longest))


def with_tets(edge: Array, wanted: Array, *, tets: float) -> Array:
    """Edges (m,) in the proportions of the `wanted` ones of which about so many `tets` come, from a mesh with these
    `edge`s (m,)."""
    return np.asarray(wanted * np.cbrt(expected_tets(edge, wanted) / tets))


def expected_tets(edge: Array, wanted: Array) -> float:
    """About how many tetrahedra a mesh will have whose edges go from `edge` (m,) to `wanted` (m,)."""
    return float(((edge / wanted) ** 3).sum())
