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
    """The average over a zone's entries: between its corner entries `used` (n,) the sparse matrices (n, n), by
    `row` (n + 1,) and `column` (nz,), of `mass` (2, nz) and of mass and slopes, `whole` (2, nz), each for stresses
    that keep their sign when a bead's axes point the other way and for the two shears that do not; and the `middles`
    (j, 3), an entry between two others, with the `signs` (j, 2) of these two.
    """

    row: Index
    column: Index
    mass: Array
    whole: Array
    used: Index
    middles: Index
    signs: Array

    def __call__(self, stress: Array) -> Array:
        """Averaged stress (k, e, 6) of the entries under each of k loads."""
        from fem.judging import averaging_kernels as kernels

        out = np.empty_like(stress)
        matrices = self.row, self.column, self.mass, self.whole
        given = *matrices, self.used, self.middles, self.signs, RESIDUAL, MOST_STEPS, stress, out
        shared(kernels.average, even_ranges(len(stress)), *given)
        return out


def average_over(
    slope: Array, *, entry: Index, sign: Array, weight: Array, edge: Array, length: float
) -> Average | None:
    """The average over `length` [mm] in a zone whose tetrahedra, of these `slope`s (m, 4, 3) [1/mm] and edges (m,),
    have these entries (m, 10) and fill `weight` (m,) [mm^3]. None where all elements are far larger.
    """
    from fem.judging import averaging_kernels as kernels

    square = (length / 2) ** 2
    if len(edge) == 0 or square <= WORTH * float(edge.min()) ** 2:
        return None
    count = int(entry.max()) + 1
    number = np.full(count, -1, dtype=np.int64)
    number[entry[:, :4]] = 0
    used = np.flatnonzero(number == 0)
    number[used] = np.arange(len(used))
    corner = number[entry[:, :4]]
    start, around = kernels.grouped(corner.ravel(), len(used))
    beside, rows = np.zeros(len(used), dtype=np.int64), even_ranges(len(used))
    shared(kernels.count_neighbours, rows, start, around, corner, beside)
    row = np.concatenate([[0], np.cumsum(beside)])
    column = np.empty(row[-1], dtype=np.int32)
    mass, whole = np.empty((2, row[-1])), np.empty((2, row[-1]))
    given = start, around, corner, weight, square, slope, sign, row, column, mass, whole
    shared(kernels.fill_rows, rows, *given)
    # The first tetrahedron around a middle tells between which two entries it lies
    teller, flat = np.full(count, -1, dtype=np.int64), entry[:, 4:].ravel()
    teller[flat[::-1]] = np.arange(len(flat))[::-1]
    middle = np.flatnonzero(teller >= 0)
    tet, edge_of = np.divmod(teller[middle], 6)
    ends = np.array(TET_EDGES)[edge_of]
    middles = np.column_stack([middle, entry[tet, ends[:, 0]], entry[tet, ends[:, 1]]])
    signs = sign[tet, 4 + edge_of][:, None] * np.column_stack([sign[tet, ends[:, 0]], sign[tet, ends[:, 1]]])
    return Average(row, column, mass, whole, used, middles, signs)
