"""One of two faces that are to meet: its triangles as meshed, cut where they bend, and the surface they stand for."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from fem.joining.smooth_shapes import smooth_patches, smooth_triangles
from fem.joining.true_shapes import TrueShape, true_shape
from fem.loading.sampling import Pieces
from fem.part.quadrature import triangle_shapes
from fem.part.tetmesh import TRIANGLE_EDGES, Index, TetMesh
from fem.tensors import Array

MISSED = 5e-3
"""Share of a side by which the straight sides of pieces may miss a curved outline."""
MOST_PIECES = 4
"""Pieces along a side at the most."""
CORNER = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])


@dataclass(frozen=True)
class Side:
    """Boundary triangles of a face: `nodes` (j, 6 or 3) of the mesh that count, `place` (j, 6, 3) [mm] of the meshed
    triangles, straight where only corners count; `pieces` of them and their flat `corners` (c, 3, 3) [mm].

    `smooth`, `normal` (j, 6, 3) are the surface that they stand for and its normals at the nodes; where `shape` (j,)
    is not -1, it is `known[shape]` exactly. `bulge` [mm] is how far a curved side lies off its chord at most.
    """

    nodes: Index
    place: Array
    pieces: Pieces
    corners: Array
    smooth: Array
    normal: Array
    shape: Index
    known: tuple[TrueShape, ...]
    bulge: float

    @property
    def diagonal(self) -> float:
        """Of the face's box [mm]."""
        points = self.place.reshape(-1, 3)
        return float(np.linalg.norm(np.ptp(points, axis=0)))

    def shapes(self, reference: Array) -> Array:
        """Shape functions (q, 6 or 3) of the nodes that count at reference points (q, 2)."""
        from fem.joining.opposite_kernels import shapes_of

        if self.nodes.shape[1] == 6:
            return np.asarray(shapes_of(reference))
        return np.column_stack([1 - reference.sum(axis=1), reference])

    def true_places(self, triangle: Index, reference: Array, places: Array) -> tuple[Array, Array]:
        """Points (q, 3) [mm] of the surface that meshed `places` (q, 3) stand for, and outward unit normals there."""
        from fem.joining.opposite_kernels import places_at, shapes_of

        points, normals = np.empty(places.shape), np.empty(places.shape)
        which = self.shape[triangle]
        for k, shape in enumerate(self.known):
            own = which == k
            at = places[own]
            normals[own] = shape.normals(at)
            points[own] = at - shape.distance(at)[:, None] * normals[own]
        free = which < 0
        if free.any():
            points[free], _ = places_at(self.smooth, triangle[free], reference[free])
            normals[free] = unit_rows(
                np.einsum("qa,qai->qi", shapes_of(reference[free]), self.normal[triangle[free]])
            )
        return points, normals


def side_of(mesh: TetMesh, triangles: Index, *, order: int = 2) -> Side:
    """The side that boundary triangles (j,) are; of order 1 only corners count, and sides are straight."""
    nodes = mesh.triangles[triangles]
    place = mesh.nodes[nodes]
    chord = np.stack([(place[:, a] + place[:, b]) / 2 for a, b in TRIANGLE_EDGES], axis=1)
    if order == 1:
        place[:, 3:] = chord
    smooth, normal = place.copy(), np.zeros(place.shape)
    which = np.full(len(triangles), -1)
    known: list[TrueShape] = []
    for own, shape in _surfaces(mesh, triangles):
        if shape is not None:
            which[own] = len(known)
            known.append(shape)
        else:
            smooth[own], normal[own] = smooth_triangles(place[own], nodes[own])
    pieces = _pieces(place, nodes, chord)
    flat = place[pieces.cell, :3]
    bary = np.concatenate([1 - pieces.corner.sum(axis=2, keepdims=True), pieces.corner], axis=2)
    corners = np.einsum("ckb,cbi->cki", bary, flat)
    split = (pieces.corner != CORNER).any(axis=(1, 2))
    if split.any():
        shape6 = triangle_shapes(pieces.corner[split].reshape(-1, 2))[0].reshape(-1, 3, 6)
        corners[split] = np.einsum("cka,cai->cki", shape6, place[pieces.cell[split]])
    bulge = float(np.linalg.norm(place[:, 3:] - chord, axis=2).max(initial=0.0))
    counted = nodes if order == 2 else nodes[:, :3]
    return Side(counted, place, pieces, corners, smooth, normal, which, tuple(known), bulge)


def _surfaces(mesh: TetMesh, triangles: Index) -> Iterator[tuple[Index, TrueShape | None]]:
    """Each surface that boundary triangles (j,) lie on, as places among them: a face, or its parts between sharp
    edges where the whole is none that is known.
    """
    for face in np.unique(mesh.face[triangles]):
        own = np.flatnonzero(mesh.face[triangles] == face)
        shape = true_shape(mesh, triangles[own])
        corner = mesh.triangles[triangles[own], :3]
        patch = np.zeros(len(own), dtype=int) if shape is not None else smooth_patches(mesh.nodes[corner], corner)
        if patch.max() == 0:
            yield own, shape
            continue
        order = np.argsort(patch, kind="stable")
        for part in np.split(own[order], np.flatnonzero(np.diff(patch[order])) + 1):
            yield part, true_shape(mesh, triangles[part])


def unit_rows(vectors: Array) -> Array:
    """Vectors (q, 3) at unit length."""
    return vectors / np.maximum(np.linalg.norm(vectors, axis=1), 1e-300)[:, None]


def _pieces(place: Array, nodes: Index, chord: Array) -> Pieces:
    """The triangles (j, 6, 3), those cut into small ones whose side on the outline bends within the face.

    A side that bends out of the face loses no area.
    """
    side = np.sort(nodes[:, [[0, 1], [1, 2], [0, 2]]], axis=2)
    key = side[..., 0].astype(np.int64) * (int(nodes.max()) + 1) + side[..., 1]
    _, back, count = np.unique(key, return_inverse=True, return_counts=True)
    outline = count[back.reshape(key.shape)] == 1
    normal = unit_rows(np.cross(place[:, 1] - place[:, 0], place[:, 2] - place[:, 0]))
    off = place[:, 3:] - chord
    off = off - (off @ normal[:, :, None]) * normal[:, None]
    length = np.stack([np.linalg.norm(place[:, a] - place[:, b], axis=1) for a, b in TRIANGLE_EDGES], axis=1)
    bend = np.where(outline, np.linalg.norm(off, axis=2) / length, 0.0).max(axis=1)
    along = np.clip(np.ceil(np.sqrt(bend / MISSED) - 1e-6), 1, MOST_PIECES).astype(int)
    cell, corner = [], []
    for m in np.unique(along):
        own, small = np.flatnonzero(along == m), small_triangles(int(m))
        cell.append(np.repeat(own, len(small)))
        corner.append(np.tile(small, (len(own), 1, 1)))
    return Pieces(np.concatenate(cell), np.concatenate(corner))


def small_triangles(m: int) -> Array:
    """The reference triangle as m^2 small ones (m^2, 3, 2)."""
    up = [np.array([[i, j], [i + 1, j], [i, j + 1]]) for i in range(m) for j in range(m - i)]
    down = [np.array([[i + 1, j], [i + 1, j + 1], [i, j + 1]]) for i in range(m) for j in range(m - i - 1)]
    return np.array(up + down, dtype=float) / m
