"""Stress over a material length: no strength was measured on less, so no stress has a meaning below it.

An implicit gradient average over each zone, s - div(c grad s) = given with a free border, reads the stress at a
surface sqrt(c) deep on fine meshes: half a length, the middle of the first piece of material. Elements larger than
that hold part of it back; what is missing is read from the linear field of each tetrahedron, so that the rule is the
same on every mesh. Uniform and, away from surfaces, linear fields stay; nothing crosses a zone's border, a gap, or
walls whose beads run another way, since these share no entry.
Source: R. H. J. Peerlings et al., IJNME 39 (1996) 3391 (implicit gradients); J. M. Whitney and R. J. Nuismer,
J. Compos. Mater. 8 (1974) 253, and D. Taylor, The Theory of Critical Distances (2007) (mean over a length).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.part.tetmesh import Index, TetMesh
from fem.tensors import Array

EVEN, ODD = np.array([0, 1, 2, 5]), np.array([3, 4])
"""Components that keep their sign when axes are turned by half a turn about the build, and those that do not."""
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
    """The average over a zone's entries: the sparse matrices (k, k) of mass and of mass and slopes between its corner
    entries `used` (k,), `even` for stresses that keep their sign when a bead's axes point the other way, `odd` for
    the two shears that do not; and the `middles` (j, 3), an entry between two others, with the `signs` (j, 2) of
    these two.
    """

    even: tuple[Any, Any]
    odd: tuple[Any, Any]
    used: Index
    middles: Index
    signs: Array

    def __call__(self, stress: Array) -> Array:
        """Averaged stress of the entries (e, 6)."""
        change, middle = np.zeros_like(stress), self.middles
        for some, (mass, whole) in ((EVEN, self.even), (ODD, self.odd)):
            own = stress[np.ix_(self.used, some)]
            change[np.ix_(self.used, some)] = _solved(whole, mass @ own, own) - own
        for c in range(6):
            first, second = self.signs.T if c in ODD else np.ones((2, len(middle)))
            change[middle[:, 0], c] = (first * change[middle[:, 1], c] + second * change[middle[:, 2], c]) / 2
        return stress + change


def average_over(
    corner: Array, *, entry: Index, sign: Array, weight: Array, edge: Array, length: float
) -> Average | None:
    """The average over `length` [mm] in a zone whose tetrahedra `corner` (m, 4, 3) of these edges (m,) have these
    entries (m, 10) and fill `weight` (m,) [mm^3]. None where all elements are far larger.
    """
    from scipy.sparse import coo_matrix

    c = (length / 2) ** 2
    if len(edge) == 0 or c <= WORTH * float(edge.min()) ** 2:
        return None
    used, small = np.unique(entry[:, :4], return_inverse=True)
    small = small.reshape(-1, 4)
    slope = slopes_of(corner)
    mass = weight[:, None, None] * (np.ones((4, 4)) + np.eye(4)) / 20
    stiff = (weight * c)[:, None, None] * (slope @ np.swapaxes(slope, 1, 2))
    row, column = (np.broadcast_to(x, mass.shape).ravel() for x in (small[:, :, None], small[:, None, :]))
    shape = (len(used), len(used))
    turned = sign[:, :4, None] * sign[:, None, :4]
    masses, stiffs = (
        [coo_matrix(((v * t).ravel(), (row, column)), shape=shape).tocsr() for t in (np.ones_like(turned), turned)]
        for v in (mass, stiff)
    )
    ends = np.array([(0, 1), (1, 2), (0, 2), (0, 3), (1, 3), (2, 3)])
    middles = np.stack([entry[:, 4:], entry[:, ends[:, 0]], entry[:, ends[:, 1]]], axis=2).reshape(-1, 3)
    signs = (sign[:, 4:, None] * np.stack([sign[:, ends[:, 0]], sign[:, ends[:, 1]]], axis=2)).reshape(-1, 2)
    _, first = np.unique(middles[:, 0], return_index=True)
    even, odd = ((m, m + s) for m, s in zip(masses, stiffs, strict=True))
    return Average(even, odd, used, middles[first], signs[first])


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
