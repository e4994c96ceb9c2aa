"""The edge length wanted at every place: how one mesh says what the next one is to look like."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.part.tetmesh import TET_EDGES, Index
from fem.tensors import Array

GROWTH = 0.5
"""Edge length gained per distance from where it must be small."""

ASKED = 0.89
"""What gmsh must be asked for, over the edge of regular tetrahedra as large as those that come out (by trial)."""


@dataclass(frozen=True)
class SizeField:
    """Edge lengths `size` (n,) [mm] at the corners `nodes` (n, 3) [mm] of tetrahedra `tets` (m, 4), linear between
    them; beyond the tetrahedra the nearest corner's counts.
    """

    nodes: Array
    tets: Index
    size: Array

    def __post_init__(self) -> None:
        if self.size.shape != (len(self.nodes),) or not (np.isfinite(self.size).all() and self.size.min() > 0):
            raise ValueError("a field of sizes needs one positive length at every node")


def regular_edge(nodes: Array, tets: Index) -> Array:
    """Edge (m,) [mm] of the regular tetrahedron that has a (straight) tetrahedron's volume."""
    c = nodes[tets[:, :4]]
    volume = np.abs(np.einsum("mi,mi->m", np.cross(c[:, 1] - c[:, 0], c[:, 2] - c[:, 0]), c[:, 3] - c[:, 0])) / 6
    return np.asarray(np.cbrt(volume * 6 * np.sqrt(2.0)))


def size_field(nodes: Array, tets: Index, wanted: Array) -> SizeField:
    """The field that asks for tetrahedra of the regular edge `wanted` (m,) [mm] in place of each one: the geometric
    mean of those around a corner, and nowhere more than GROWTH times the distance larger than beside it.
    """
    used, flat = np.unique(tets[:, :4], return_inverse=True)
    corner = flat.reshape(-1, 4).astype(np.int64)
    logs = np.bincount(corner.ravel(), weights=np.repeat(np.log(wanted), 4))
    size = ASKED * np.exp(logs / np.bincount(corner.ravel()))
    return SizeField(nodes[used], corner, smoothly_growing(nodes[used], corner, size))


def smoothly_growing(nodes: Array, tets: Index, size: Array) -> Array:
    """The largest sizes (n,) below the given ones that grow by GROWTH at most along every edge."""
    a, b = (np.concatenate([tets[:, edge[k]] for edge in TET_EDGES]) for k in (0, 1))
    rise = GROWTH * np.linalg.norm(nodes[a] - nodes[b], axis=1)
    size = size.copy()
    while True:
        before = size.copy()
        np.minimum.at(size, a, before[b] + rise)
        np.minimum.at(size, b, before[a] + rise)
        if np.allclose(size, before, rtol=1e-3):
            return size


def filling_tets(wanted: SizeField) -> int:
    """About how many tetrahedra a mesh of these sizes will have."""
    now = regular_edge(wanted.nodes, wanted.tets)
    return int(((ASKED * now / wanted.size[wanted.tets].mean(axis=1)) ** 3).sum())


def ask_for_sizes(gmsh: Any, wanted: SizeField) -> None:
    """Make gmsh follow the field, and nothing else, in the session that is open."""
    view = gmsh.view.add("wanted sizes")
    place = wanted.nodes[wanted.tets]  # (m, 4, 3): per element all x, then all y, all z, then the values
    data = np.concatenate([place.transpose(0, 2, 1).reshape(-1, 12), wanted.size[wanted.tets]], axis=1)
    gmsh.view.addListData(view, "SS", len(data), data.ravel())
    field = gmsh.model.mesh.field.add("PostView")
    gmsh.model.mesh.field.setNumber(field, "ViewTag", view)
    gmsh.model.mesh.field.setAsBackgroundMesh(field)
    gmsh.option.setNumber("Mesh.MeshSizeFromCurvature", 0)
    gmsh.option.setNumber("Mesh.MeshSizeExtendFromBoundary", 0)
    gmsh.option.setNumber("Mesh.MeshSizeMin", float(wanted.size.min()))
    gmsh.option.setNumber("Mesh.MeshSizeMax", float(wanted.size.max()))
