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

import numpy as np

from fem.cores import even_ranges, shared
from fem.part.tetmesh import TET_EDGES, Index, TetMesh
from fem.tensors import Array

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
    corner, n = mesh.nodes[mesh.triangles[:, :3]], len(mesh.nodes)
    normal = -np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    at = mesh.triangles.ravel()
    out = np.column_stack([np.bincount(at, np.repeat(normal[:, i], 6), minlength=n) for i in range(3)])
    length = np.linalg.norm(out, axis=1, keepdims=True)
    at = mesh.tets.ravel()
    edge, count = np.bincount(at, np.repeat(mesh.edge_length, 10), minlength=n), np.bincount(at, minlength=n)
    return Depth(out / np.maximum(length, 1e-300), edge / np.maximum(count, 1))


def slopes_of(corner: Array) -> Array:
    """Slopes (m, 4, 3) [1/mm] of the barycentric coordinates of straight tetrahedra `corner` (m, 4, 3)."""
    one, two, three = (corner[:, k] - corner[:, 0] for k in (1, 2, 3))
    slope = np.stack([np.cross(two, three), np.cross(three, one), np.cross(one, two)], axis=1)
    slope /= np.einsum("mi,mi->m", one, slope[:, 0])[:, None, None]
    return np.concatenate([-slope.sum(axis=1, keepdims=True), slope], axis=1)


@dataclass(frozen=True)
class Average:
    """The average over a zone: between its corners among its nodes, `corners` (n,), the sparse matrices (n, n), by
    `row` (n + 1,) and `column` (nz,), of `mass` (nz,) and of mass and slopes, `whole` (nz,); `middles` (j, 3), a node
    between two others; and how much of a spike at one node alone is `kept` (all nodes,): all of it where elements
    are far larger than the length, nothing where they are far smaller.
    """

    row: Index
    column: Index
    mass: Array
    whole: Array
    corners: Index
    middles: Index
    kept: Array

    def __call__(self, stress: Array) -> Array:
        """Averaged stress of the zone's nodes (k, n, 6) under each of k loads, in one set of axes for all."""
        from fem.judging import averaging_kernels as kernels

        out = np.empty_like(stress)
        matrices = self.row, self.column, self.mass, self.whole
        given = *matrices, self.corners, self.middles, self.kept, RESIDUAL, MOST_STEPS, stress, out
        shared(kernels.average, even_ranges(len(stress)), *given)
        return out


def average_over(slope: Array, *, place: Index, weight: Array, edge: Array, length: float) -> Average | None:
    """The average over `length` [mm] in a zone whose tetrahedra, of these `slope`s (m, 4, 3) [1/mm] and edges (m,),
    lie at these of its nodes, `place` (m, 10), and fill `weight` (m,) [mm^3]. None where all elements are far larger.
    """
    from fem.judging import averaging_kernels as kernels

    square = (length / 2) ** 2
    if len(edge) == 0 or square <= WORTH * float(edge.min()) ** 2:
        return None
    count = int(place.max()) + 1
    number = np.full(count, -1, dtype=np.int64)
    number[place[:, :4]] = 0
    corners = np.flatnonzero(number == 0)
    number[corners] = np.arange(len(corners))
    corner = number[place[:, :4]]
    start, around = kernels.grouped(corner.ravel(), len(corners))
    beside, rows = np.zeros(len(corners), dtype=np.int64), even_ranges(len(corners))
    shared(kernels.count_neighbours, rows, start, around, corner, beside)
    row = np.concatenate([[0], np.cumsum(beside)])
    column, mass, whole = np.empty(row[-1], dtype=np.int32), np.empty(row[-1]), np.empty(row[-1])
    kept = np.ones(count)
    at_corners = np.empty(len(corners))
    given = start, around, corner, weight, square, slope, row, column, mass, whole, at_corners
    shared(kernels.fill_rows, rows, *given)
    middles = middles_of(place)
    kept[corners] = at_corners
    kept[middles[:, 0]] = kept[middles[:, 1:]].mean(axis=1)
    return Average(row, column, mass, whole, corners, middles, kept)


def middles_of(place: Index) -> Index:
    """The middle nodes of tetrahedra `place` (m, 10), each with the two between which it lies (j, 3)."""
    # The first tetrahedron around a middle tells between which two nodes it lies
    teller, flat = np.full(int(place.max()) + 1, -1, dtype=np.int64), place[:, 4:].ravel()
    teller[flat[::-1]] = np.arange(len(flat))[::-1]
    middle = np.flatnonzero(teller >= 0)
    tet, edge = np.divmod(teller[middle], 6)
    ends = np.array(TET_EDGES)[edge]
    return np.column_stack([middle, place[tet, ends[:, 0]], place[tet, ends[:, 1]]])
