"""Second-order tetrahedra with named boundary: the noun that every later room works on.

Node order of a tetrahedron: four corners, then the middles of edges (0,1) (1,2) (0,2) (0,3) (1,3) (2,3);
of a boundary triangle: three corners counter-clockwise seen from outside, then the middles of (0,1) (1,2)
(0,2). It is the order of VTK and of scikit-fem.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fem.part.solid import Face
from fem.tensors import Array

Index = NDArray[np.integer[Any]]

TET_EDGES = ((0, 1), (1, 2), (0, 2), (0, 3), (1, 3), (2, 3))
"""Corner pairs whose middles are nodes 4 to 9 of a tetrahedron."""
TRIANGLE_EDGES = ((0, 1), (1, 2), (0, 2))
"""Corner pairs whose middles are nodes 3 to 5 of a boundary triangle."""


@dataclass(frozen=True)
class MeshQuality:
    """How good the tetrahedra are.

    `worst` and `median` are the mean-ratio shape measure (1 for a regular tetrahedron, 0 for a flat one),
    `straightened` counts mid-side nodes that were pulled onto their straight edge because the curved edge
    would have turned an element inside out.
    """

    worst: float
    median: float
    straightened: int


@dataclass(frozen=True)
class TetMesh:
    """Second-order tetrahedra of one or more bodies.

    `nodes` (n, 3) [mm]; `tets` (m, 10) node numbers; `body` (m,) index into `bodies`; `triangles` (k, 6)
    boundary triangles; `face` (k,) index into `faces` for each of them. Bodies share no nodes.
    """

    nodes: Array
    tets: Index
    body: Index
    bodies: tuple[str, ...]
    triangles: Index
    face: Index
    faces: tuple[Face, ...]
    quality: MeshQuality = field(default=MeshQuality(1.0, 1.0, 0))

    def __post_init__(self) -> None:
        n, m, k = len(self.nodes), len(self.tets), len(self.triangles)
        expected = {
            "nodes": (self.nodes.shape, (n, 3)),
            "tets": (self.tets.shape, (m, 10)),
            "body": (self.body.shape, (m,)),
            "triangles": (self.triangles.shape, (k, 6)),
            "face": (self.face.shape, (k,)),
        }
        for name, (shape, wanted) in expected.items():
            if shape != wanted:
                raise ValueError(f"{name} has shape {shape}, not {wanted}")
        if not np.isfinite(self.nodes).all():
            raise ValueError("a node is not finite")
        for name, index, end in [
            ("tets", self.tets, n),
            ("triangles", self.triangles, n),
            ("body", self.body, len(self.bodies)),
            ("face", self.face, len(self.faces)),
        ]:
            if index.size and not (index.min() >= 0 and index.max() < end):
                raise ValueError(f"{name} points outside 0..{end - 1}")

    @property
    def unknowns(self) -> int:
        """Three displacements a node."""
        return 3 * len(self.nodes)

    @cached_property
    def box(self) -> Array:
        """Lowest and highest corner (2, 3) [mm]."""
        return np.array([self.nodes.min(axis=0), self.nodes.max(axis=0)])

    @cached_property
    def diagonal(self) -> float:
        """Length of the box's diagonal [mm], the length that moments are judged by."""
        return float(np.linalg.norm(self.box[1] - self.box[0]))

    @cached_property
    def node_body(self) -> Index:
        """Body (n,) of each node."""
        out = np.zeros(len(self.nodes), dtype=np.int32)
        out[self.tets.ravel()] = np.repeat(self.body, 10)
        return out

    def tets_of(self, body: str) -> Index:
        """Numbers (j,) of the tetrahedra of one body."""
        return np.flatnonzero(self.body == self.bodies.index(body)).astype(np.int32)

    def triangles_of(self, faces: tuple[int, ...]) -> Index:
        """Numbers (j,) of the boundary triangles that lie on the faces with these indices."""
        return np.flatnonzero(np.isin(self.face, faces)).astype(np.int32)

    def nodes_of(self, faces: tuple[int, ...]) -> Index:
        """Node numbers (j,), sorted, on the faces with these indices."""
        return np.unique(self.triangles[self.triangles_of(faces)])

    @cached_property
    def edge_length(self) -> Array:
        """Mean straight edge length (m,) [mm] of each tetrahedron."""
        corner = self.nodes[self.tets[:, :4]]
        return np.mean([np.linalg.norm(corner[:, i] - corner[:, j], axis=1) for i, j in TET_EDGES], axis=0)


def shape_quality(nodes: Array, tets: Index) -> Array:
    """Mean ratio (m,) of the straight tetrahedra: 12 (3 V)^(2/3) / sum of squared edges, signed like V.

    Source: A. Liu and B. Joe, BIT 34 (1994) 268.
    """
    c = nodes[tets[:, :4]]
    volume = np.einsum("mi,mi->m", np.cross(c[:, 1] - c[:, 0], c[:, 2] - c[:, 0]), c[:, 3] - c[:, 0]) / 6
    squares = sum(np.sum((c[:, i] - c[:, j]) ** 2, axis=1) for i, j in TET_EDGES)
    return np.asarray(np.sign(volume) * 12 * np.cbrt(3 * np.abs(volume)) ** 2 / squares)


def joined(meshes: list[TetMesh]) -> TetMesh:
    """Several meshes side by side as one; nothing is glued."""
    node_shift = np.cumsum([0] + [len(m.nodes) for m in meshes])
    face_shift = np.cumsum([0] + [len(m.faces) for m in meshes])
    body_shift = np.cumsum([0] + [len(m.bodies) for m in meshes])
    each = list(zip(meshes, node_shift, face_shift, body_shift, strict=False))
    return TetMesh(
        nodes=np.concatenate([m.nodes for m in meshes]),
        tets=np.concatenate([m.tets + n for m, n, _, _ in each]).astype(np.int32),
        body=np.concatenate([m.body + b for m, _, _, b in each]).astype(np.int32),
        bodies=tuple(b for m in meshes for b in m.bodies),
        triangles=np.concatenate([m.triangles + n for m, n, _, _ in each]).astype(np.int32),
        face=np.concatenate([m.face + f for m, _, f, _ in each]).astype(np.int32),
        faces=tuple(f for m in meshes for f in m.faces),
        quality=MeshQuality(
            worst=min(m.quality.worst for m in meshes),
            median=float(np.median([m.quality.median for m in meshes])),
            straightened=sum(m.quality.straightened for m in meshes),
        ),
    )
