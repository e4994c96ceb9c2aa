"""Stress over a material length: no strength was measured on less, so no stress has a meaning below it.

An implicit gradient average over each zone, s - div(c grad s) = given with a free border, reads the stress at a
surface sqrt(c) deep on fine meshes: half a length, the middle of the first piece of material. Elements larger than
that hold part of it back; what is missing is read from the linear field of each tetrahedron, so that the rule is the
same on every mesh. Uniform and, away from surfaces, linear fields stay; nothing crosses a zone's border or a gap.

Stress is averaged as a tensor, which is what crosses from bead to bead where walls turn a corner. Where walls of
several ways meet at a node, each keeps what it differs by from their mean on elements larger than the length; below
it such differences are no bead's.
Source: R. H. J. Peerlings et al., IJNME 39 (1996) 3391 (implicit gradients); J. M. Whitney and R. J. Nuismer,
J. Compos. Mater. 8 (1974) 253, and D. Taylor, The Theory of Critical Distances (2007) (mean over a length).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.part.tetmesh import TET_EDGES, Index, TetMesh
from fem.tensors import Array

_ENDS = np.array(TET_EDGES)
WORTH = 1e-4
"""An average is worth a solve where c is more than this share of an edge's square."""
RESIDUAL = 1e-9
MOST_STEPS = 400


@dataclass(frozen=True)
class Depth:
    """Where stress is read under the surface: `inward` (n, 3) unit normals of the surface's nodes, zero elsewhere,
    and the mean `edge` (n,) [mm] around each node.
    """

    inward: Array
    edge: Array

    def missing(self, length: float) -> Array:
        """How much deeper (n,) [mm] than the average of a mesh does stress over a `length` [mm] lie.

        In one dimension, with linear elements of an edge h, a field of slope 1 is lowered at a free end by what the
        decaying solution of the discrete equation says.
        """
        c, h = (length / 2) ** 2, np.maximum(self.edge, 1e-9)
        side, middle = h / 6 - c / h, 2 * h / 3 + 2 * c / h
        with np.errstate(divide="ignore", invalid="ignore"):
            root = np.sqrt(np.maximum(middle**2 - 4 * side**2, 0.0))
            decay = -2 * side / (middle + root)
        return np.asarray(np.maximum(length / 2 - c / (h / 3 + c / h + side * decay), 0.0))


def surface_depth(mesh: TetMesh) -> Depth:
    """What the surface of a mesh allows."""
    corner = mesh.nodes[mesh.triangles[:, :3]]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    out = np.zeros_like(mesh.nodes)
    for a in range(6):
        np.add.at(out, mesh.triangles[:, a], -normal)
    length = np.linalg.norm(out, axis=1, keepdims=True)
    edge, count = np.zeros(len(mesh.nodes)), np.zeros(len(mesh.nodes))
    np.add.at(edge, mesh.tets, mesh.edge_length[:, None])
    np.add.at(count, mesh.tets, 1.0)
    return Depth(out / np.maximum(length, 1e-300), edge / np.maximum(count, 1))


def slopes_of(corner: Array) -> Array:
    """Slopes (m, 4, 3) [1/mm] of the barycentric coordinates of straight tetrahedra `corner` (m, 4, 3)."""
    inner = np.linalg.inv(corner[:, 1:] - corner[:, :1])
    slope = np.swapaxes(inner, 1, 2)
    return np.concatenate([-slope.sum(axis=1, keepdims=True), slope], axis=1)


@dataclass(frozen=True)
class Average:
    """The average over a zone: the sparse matrices (k, k) of `mass` and of mass and slopes (`whole`) between its
    corners among its nodes `corners` (k,); `middles` (j, 3), a node between two others; and how much of a spike at
    one node alone is `kept` (n,): all of it where elements are far larger than the length, nothing where far smaller.
    """

    mass: Any
    whole: Any
    corners: Index
    middles: Index
    kept: Array

    def change(self, stress: Array) -> Array:
        """What averaging adds to the stress (n, 6) of a zone's nodes, in one set of axes for all."""
        found, (middle, one, two) = stress.copy(), self.middles.T
        own = stress[self.corners]
        found[self.corners] = _solved(self.whole, self.mass @ own, own)
        off = stress[middle] - (stress[one] + stress[two]) / 2
        found[middle] = (found[one] + found[two]) / 2 + self.kept[middle, None] * off
        return found - stress


def average_over(corner: Array, *, place: Index, weight: Array, edge: Array, length: float) -> Average | None:
    """The average over `length` [mm] in a zone whose tetrahedra `corner` (m, 4, 3) of these edges (m,) lie at these
    of its nodes, `place` (m, 10), and fill `weight` (m,) [mm^3]. None where all elements are far larger.
    """
    from scipy.sparse import coo_matrix

    c = (length / 2) ** 2
    if len(edge) == 0 or c <= WORTH * float(edge.min()) ** 2:
        return None
    corners, small = np.unique(place[:, :4], return_inverse=True)
    small = small.reshape(-1, 4)
    slope = slopes_of(corner)
    mass = weight[:, None, None] * (np.ones((4, 4)) + np.eye(4)) / 20
    stiff = (weight * c)[:, None, None] * (slope @ np.swapaxes(slope, 1, 2))
    row, column = (np.broadcast_to(x, mass.shape).ravel() for x in (small[:, :, None], small[:, None, :]))
    shape = (len(corners), len(corners))
    masses, whole = (coo_matrix((v.ravel(), (row, column)), shape=shape).tocsr() for v in (mass, mass + stiff))
    middles = np.stack([place[:, 4:], place[:, _ENDS[:, 0]], place[:, _ENDS[:, 1]]], axis=2).reshape(-1, 3)
    middles = middles[np.unique(middles[:, 0], return_index=True)[1]]
    kept = np.ones(int(place.max()) + 1)
    lumped = np.asarray(masses.sum(axis=1)).ravel()
    kept[corners] = lumped / (lumped + whole.diagonal() - masses.diagonal())
    kept[middles[:, 0]] = (kept[middles[:, 1]] + kept[middles[:, 2]]) / 2
    return Average(masses, whole, corners, middles, kept)


def _solved(matrix: Any, right: Array, start: Array) -> Array:
    """Conjugate gradients for six columns side by side, each with its own steps, behind the diagonal."""
    x, r = start.copy(), right - matrix @ start
    scale = 1 / matrix.diagonal()[:, None]
    z = scale * r
    p, before = z.copy(), (r * z).sum(axis=0)
    goal = RESIDUAL**2 * np.maximum((right * scale * right).sum(axis=0), 1e-300)
    for _ in range(MOST_STEPS):
        if (before <= goal).all():
            break
        along = matrix @ p
        step = before / np.maximum((p * along).sum(axis=0), 1e-300)
        x += step * p
        r -= step * along
        z = scale * r
        after = (r * z).sum(axis=0)
        p = z + after / np.maximum(before, 1e-300) * p
        before = after
    return x
