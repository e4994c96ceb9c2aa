"""A bolt's shank as the parts feel it: a beam between the mean motion under its head and that of its thread.

An end's motion is that on which an even force and a linear one do work over the patch that the end touches, so that a
force of the shank reaches the parts as a traction with exactly its force and moment, whatever the mesh. Between the
ends lies a beam in its six natural deformations: extension, twist, and bending in two planes, each with the ends
turned against each other or alike. Source of these: J. H. Argyris and D. W. Scharpf, Ingenieur-Archiv 41 (1972) 42;
their stiffness is that of the straight beam in any textbook.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.errors import InputError
from fem.loading.sampling import FINE, Side, linear_on, nodal_forces, sample
from fem.loading.traction import Traction
from fem.part.tetmesh import Index, TetMesh
from fem.tensors import Array, unit


@dataclass(frozen=True)
class Patch:
    """Where an end of a bolt touches a part: nodal forces `wrenches` (3n, 6), sparse, of the unit forces [N] and unit
    moments [N mm] along the part axes about the point `at` (3,) [mm], and the `area` [mm^2] that bears them: boundary
    `triangles` (j,), on the positive side of a border where `side` is given, followed to `fine` [mm].
    """

    wrenches: Any
    at: Array
    area: float
    triangles: Index
    side: Side | None = None
    fine: float | None = None

    def traction(self, mesh: TetMesh, force: Array, moment: Array, *, name: str) -> Traction:
        """The linear traction with a `force` (3,) [N] through its point and a `moment` (3,) [N mm] about it."""
        samples = sample(mesh, self.triangles, side=self.side, fine=self.fine)
        field = linear_on(samples, force=force, moment=moment, at=self.at, name=name)
        return Traction(self.triangles, field, self.side, self.fine)


@dataclass(frozen=True)
class ShankStiffness:
    """How stiff a shank is: `axial` [N/mm], `bending` EI and `twist` GJ [N mm^2] of its section."""

    axial: float
    bending: float
    twist: float


def patch_on(
    mesh: TetMesh, triangles: Index, *, at: Array, side: Side | None = None, fine: float | None = None, name: str
) -> Patch:
    """The patch of boundary triangles (j,), on the positive side of a border where `side` is given.

    Errors: InputError when nothing lies there, or it is too narrow to bear a moment.
    """
    from scipy.sparse import csr_matrix

    samples = sample(mesh, triangles, side=side, fine=fine)
    columns = []
    for k in range(6):
        force, moment = np.eye(6)[k, :3], np.eye(6)[k, 3:]
        field = linear_on(samples, force=force, moment=moment, at=at, name=name)
        columns.append(nodal_forces(mesh, samples, field(samples.point, samples.normal)).ravel())
    return Patch(
        csr_matrix(np.array(columns).T), np.asarray(at, dtype=float), samples.whole_area, triangles, side, fine
    )


def washer_patch(mesh: TetMesh, triangles: Index, *, axis: Array, at: Array, outer: float, name: str) -> Patch:
    """What lies under a head or washer of the outer diameter `outer` [mm] around an `axis` (3,) through `at` (3,)
    [mm].
    """
    along = unit(axis)

    def ring(points: Array) -> Array:
        off = points - at
        return outer / 2 - np.linalg.norm(off - (off @ along)[..., None] * along, axis=-1)

    return patch_on(mesh, triangles, at=at, side=ring, fine=outer / 2 / FINE, name=name)


def shank_columns(head: Patch, thread: Patch | None, *, where: Array | None = None) -> tuple[Any, float]:
    """The six natural deformations of a shank as columns (3n, 6), sparse, and its length [mm]: extension [mm], twist,
    then in each of two planes the ends' turn against each other and with each other. Without a `thread` its other end
    is held still at the point `where` (3,) [mm].

    Errors: InputError when both ends lie in one place.
    """
    from scipy.sparse import csr_matrix

    end = thread.at if thread is not None else np.asarray(where, dtype=float)
    length = float(np.linalg.norm(head.at - end))
    if not length > 0:
        raise InputError("head and thread of a bolt lie in one place.", where="bolts")
    at_head, at_thread = deformations((head.at - end) / length, length)
    out = head.wrenches @ csr_matrix(at_head.T)
    if thread is not None:
        out = out + thread.wrenches @ csr_matrix(at_thread.T)
    return out.tocsr(), length


def deformations(axis: Array, length: float) -> tuple[Array, Array]:
    """The natural deformations of a shank of `length` [mm] along an `axis` (3,) to its head, as weights (6, 6) of the
    motions of its head and of its thread: displacement, then rotation. Transposed, they make the ends' forces and
    moments of the six forces of these deformations.
    """
    a, b, c = _frame(axis)
    zero = np.zeros(3)
    head = [(a, zero), (zero, a), (zero, b), (2 * c / length, b), (zero, c), (-2 * b / length, c)]
    thread = [(-a, zero), (zero, -a), (zero, -b), (-2 * c / length, b), (zero, -c), (2 * b / length, c)]
    return np.array([np.concatenate(r) for r in head]), np.array([np.concatenate(r) for r in thread])


def shank_springs(stiffness: ShankStiffness, length: float) -> Array:
    """Stiffness (6,) of the natural deformations in the order of `shank_columns`."""
    even, alike = stiffness.bending / length, 3 * stiffness.bending / length
    return np.array([stiffness.axial, stiffness.twist / length, even, alike, even, alike])


def _frame(a: Array) -> tuple[Array, Array, Array]:
    """A right-handed frame whose first axis is a (3,)."""
    b = unit(np.cross(a, np.eye(3)[int(np.abs(a).argmin())]))
    return a, b, np.cross(a, b)
