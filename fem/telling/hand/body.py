"""How much of a mesh a page takes along: its boundary, and the tetrahedra that a cut shows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.part.tetmesh import TetMesh
from fem.telling.hand.packing import along_curve
from fem.telling.surface import Ints, four_triangles, outline
from fem.tensors import Array

COARSEST = 20_000
"""So many boundary triangles are left when nothing else makes the page small enough."""


@dataclass(frozen=True)
class Shown:
    """The part of a mesh that a page holds: `node` (p,) numbers of the mesh, which `points` (p, 3) [mm] take their
    values from; in numbers among these, `triangles` (t, 3) of the boundary on `face` (t,), `edges` (e, 2) between
    faces, `straight` (a, 4) tetrahedra and `curved` (b, 10) ones. `note` tells what was left out.
    """

    node: Ints
    points: Array
    triangles: Ints
    face: Ints
    edges: Ints
    straight: Ints
    curved: Ints
    note: str = ""


def levels(mesh: TetMesh) -> Iterator[Shown]:
    """The mesh ever coarser: whole; straight tetrahedra inside; straight everywhere; a thinned boundary, hollow."""
    none = np.zeros((0, 10), dtype=np.int64)
    yield _shown(mesh, mesh.tets[:0], mesh.tets, curved_surface=True)
    skin = np.zeros(len(mesh.nodes), dtype=bool)
    skin[mesh.triangles] = True
    beside = skin[mesh.tets[:, 4:]].any(axis=1)
    inside = "Cuts show straight tetrahedra away from the surface"
    yield _shown(mesh, mesh.tets[~beside], mesh.tets[beside], curved_surface=True, note=f"{inside}.")
    coarse = "Surface and cuts show the corner nodes of the mesh alone; a peak between them can be missed."
    yield _shown(mesh, mesh.tets, none, curved_surface=False, note=coarse)
    yield thinned(mesh)


def _shown(mesh: TetMesh, straight: Any, curved: Any, *, curved_surface: bool, note: str = "") -> Shown:
    flat = four_triangles(mesh.triangles) if curved_surface else mesh.triangles[:, :3].astype(np.int64)
    face = np.repeat(mesh.face, 4) if curved_surface else mesh.face
    edges = outline(mesh.triangles, mesh.face)
    if not curved_surface:  # a curved edge comes as two segments, the first halves before the second
        half = len(edges) // 2
        edges = np.column_stack([edges[:half, 0], edges[half:, 1]])
    four = np.asarray(straight, dtype=np.int64)[:, :4]
    return _numbered(
        mesh, flat, np.asarray(face, dtype=np.int64), edges, four, np.asarray(curved, dtype=np.int64), note
    )


def _numbered(mesh: TetMesh, flat: Ints, face: Ints, edges: Ints, straight: Ints, curved: Ints, note: str) -> Shown:
    """Nodes numbered anew along a curve through space, lists sorted by their first node."""
    used = np.unique(np.concatenate([flat.ravel(), straight.ravel(), curved.ravel()]))
    node = used[along_curve(mesh.nodes[used])]
    number = np.full(len(mesh.nodes), -1, dtype=np.int64)
    number[node] = np.arange(len(node))
    flat, straight, curved = number[flat], number[straight], number[curved]
    order = np.argsort(flat[:, 0], kind="stable")
    return Shown(
        node,
        mesh.nodes[node],
        flat[order],
        face[order],
        _sorted(number[edges]),
        _sorted(straight),
        _sorted(curved),
        note,
    )


def _sorted(rows: Ints) -> Ints:
    return rows[np.argsort(rows[:, 0], kind="stable")]


def thinned(mesh: TetMesh, *, most: int = COARSEST) -> Shown:
    """The boundary alone with about `most` triangles; a point has the values of the nearest node, none blended."""
    from scipy.spatial import cKDTree

    from fem.telling.surface import polydata

    surface = polydata(mesh.nodes, mesh.triangles[:, :3])
    if surface.n_cells > most:
        surface = surface.decimate(1 - most / surface.n_cells)
    points = np.asarray(surface.points, dtype=float)
    flat = np.asarray(surface.regular_faces, dtype=np.int64)
    outer = np.unique(mesh.triangles)
    middle = mesh.nodes[mesh.triangles[:, :3]].mean(axis=1)
    _, near = cKDTree(mesh.nodes[outer]).query(points)
    _, beside = cKDTree(middle).query(points[flat].mean(axis=1))
    order = along_curve(points)
    number = np.argsort(order)
    none = np.zeros((0, 10), dtype=np.int64)
    return Shown(
        outer[near][order],
        points[order],
        number[flat],
        np.asarray(mesh.face, dtype=np.int64)[beside],
        none[:, :2],
        none[:, :4],
        none,
        "The mesh is too large for this page: the surface is thinned, a peak can be missed, and cuts are hollow.",
    )
