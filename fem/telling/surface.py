"""The curved boundary of a mesh as flat triangles and lines that can be drawn."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from fem.part.tetmesh import TetMesh
from fem.tensors import Array

Ints = NDArray[np.int64]


def four_triangles(triangles: NDArray[Any]) -> Ints:
    """Each curved triangle (k, 6) as four flat ones (4 k, 3) over the same nodes, turned the same way."""
    t = np.asarray(triangles, dtype=np.int64)
    return np.stack([t[:, [0, 3, 5]], t[:, [3, 1, 4]], t[:, [5, 4, 2]], t[:, [3, 4, 5]]], axis=1).reshape(-1, 3)


EIGHT = (
    (0, 4, 6, 7),
    (4, 1, 5, 8),
    (6, 5, 2, 9),
    (7, 8, 9, 3),
    (4, 8, 5, 6),
    (4, 7, 8, 6),
    (7, 9, 8, 6),
    (5, 8, 9, 6),
)
"""A tetrahedron of ten nodes as eight of four: its corners, and the octahedron between them cut along 6 to 8."""


def eight_tets(tets: NDArray[Any]) -> Ints:
    """Each curved tetrahedron (m, 10) as eight straight ones (8 m, 4)."""
    return np.asarray(tets, dtype=np.int64)[:, np.array(EIGHT)].reshape(-1, 4)


def outline(triangles: NDArray[Any], face: NDArray[Any]) -> Ints:
    """Segments (s, 2) of the edges between different faces, each curved edge as two segments."""
    t = np.asarray(triangles, dtype=np.int64)
    edges = np.concatenate([t[:, [0, 1, 3]], t[:, [1, 2, 4]], t[:, [0, 2, 5]]])
    of = np.tile(np.asarray(face), 3)
    order = np.argsort(edges[:, 2], kind="stable")
    edges, of = edges[order], of[order]
    same = edges[1:, 2] == edges[:-1, 2]
    rims = np.flatnonzero(same & (of[1:] != of[:-1]))
    lone = np.ones(len(edges), dtype=bool)
    lone[1:][same] = False
    lone[:-1][same] = False
    keep = edges[np.concatenate([rims, np.flatnonzero(lone)])]
    return np.concatenate([keep[:, [0, 2]], keep[:, [2, 1]]])


def node_normals(mesh: TetMesh) -> Array:
    """Outward unit normal (n, 3) at boundary nodes, zero inside."""
    tri = four_triangles(mesh.triangles)
    p = mesh.nodes[tri]
    weight = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    out = np.zeros_like(mesh.nodes)
    for corner in range(3):
        np.add.at(out, tri[:, corner], weight)
    length = np.linalg.norm(out, axis=1, keepdims=True)
    return np.divide(out, length, out=np.zeros_like(out), where=length > 0)


def polydata(points: NDArray[Any], triangles: NDArray[Any]) -> Any:
    """A pyvista surface of flat triangles (k, 3) with only the points that it uses; `node` holds their numbers."""
    import pyvista as pv

    used, flat = np.unique(triangles, return_inverse=True)
    surface = pv.PolyData.from_regular_faces(np.asarray(points)[used], flat.reshape(-1, 3).astype(int))
    surface.point_data["node"] = used
    return surface


def lines(points: NDArray[Any], segments: NDArray[Any]) -> Any:
    """A pyvista set of straight segments (s, 2)."""
    import pyvista as pv

    cells = np.column_stack([np.full(len(segments), 2), segments]).ravel()
    return pv.PolyData(np.asarray(points), lines=cells)
