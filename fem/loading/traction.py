"""What presses on a face, as a function of place: its nodal forces on the mesh, and its forces at points as close
together as one asks.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fem.loading.dense import Box, dense_samples, same_resultants, touches
from fem.loading.sampling import Linear, Samples, Side, nodal_forces, sample
from fem.part.tetmesh import Index, TetMesh
from fem.tensors import Array

Field = Callable[[Array, Array], Array]
"""The traction (q, 3) [MPa] at points (q, 3) [mm] with outward normals (q, 3)."""
NARROW = 1e-12
"""Of the inertia of a loaded patch: about a line through a patch that is no wider than this it bears no moment."""


@dataclass(frozen=True)
class Traction:
    """Boundary `triangles` (j,) under a traction `at`, where `side` is positive; the border of that is followed to
    `fine` [mm], as in `sample`.
    """

    triangles: Index
    at: Field
    side: Side | None = None
    fine: float | None = None

    def samples(self, mesh: TetMesh) -> Samples:
        """The points at which the mesh feels it."""
        return sample(mesh, self.triangles, side=self.side, fine=self.fine)

    def nodal_forces(self, mesh: TetMesh) -> Array:
        """Nodal forces (n, 3) [N], with the same force and moment."""
        samples = self.samples(mesh)
        return nodal_forces(mesh, samples, self.at(samples.point, samples.normal))


@dataclass(frozen=True)
class PointForces:
    """Forces `force` (q, 3) [N] at points `point` (q, 3) [mm]."""

    point: Array
    force: Array

    def resultant(self, about: Array) -> tuple[Array, Array]:
        """Force (3,) [N] and moment (3,) [N mm] about a point (3,) [mm]."""
        return self.force.sum(axis=0), np.cross(self.point - about, self.force).sum(axis=0)


def dense_forces(
    mesh: TetMesh,
    tractions: tuple[Traction, ...],
    *,
    spacing: float,
    box: Box | None = None,
    body: str | None = None,
) -> PointForces:
    """Forces of tractions at points no farther apart than `spacing` [mm]; with a `box` those inside it alone, with a
    `body` those on its surface alone.

    Over all of a face they have the force and moment of its nodal forces, and what a box is given does not depend on
    the box.
    """
    found = [_dense(mesh, traction, spacing, box, body) for traction in tractions]
    none = np.zeros((0, 3))
    point = np.concatenate([none, *(f.point for f in found)])
    force = np.concatenate([none, *(f.force for f in found)])
    if box is not None:
        inside = box.holds(point)
        point, force = point[inside], force[inside]
    return PointForces(point, force)


def _dense(mesh: TetMesh, traction: Traction, spacing: float, box: Box | None, body: str | None) -> PointForces:
    if box is not None and not touches(mesh, traction.triangles, box):
        return PointForces(np.zeros((0, 3)), np.zeros((0, 3)))
    fine = None if traction.side is None else min(spacing, traction.fine or spacing)
    corrected = _followed(mesh, traction, fine)
    dense = dense_samples(
        mesh, traction.triangles, spacing=spacing, side=traction.side, fine=fine, box=box, body=body
    )

    def forces(samples: Samples) -> Array:
        return samples.area[:, None] * corrected(samples.point, samples.normal)

    return PointForces(dense.samples.point, same_resultants(dense, forces(dense.samples), forces(dense.coarse)))


def _followed(mesh: TetMesh, traction: Traction, fine: float | None) -> Field:
    """The traction whose border is followed to `fine` [mm], with the force and moment that it has on the mesh.

    It is t + |t| (a + b x (x - c)): what the border's rounding takes or gives is spread where something presses.
    """
    if traction.side is None:
        return traction.at
    mine, close = traction.samples(mesh), sample(mesh, traction.triangles, side=traction.side, fine=fine)
    force, finer = (s.area[:, None] * traction.at(s.point, s.normal) for s in (mine, close))
    weight = np.linalg.norm(finer, axis=1)
    if not weight.sum() > 0:
        return traction.at
    centre = weight @ close.point / weight.sum()
    off = close.point - centre
    square = np.einsum("q,qi,qk->ik", weight, off, off)
    inertia = np.trace(square) * np.eye(3) - square
    missing = force.sum(axis=0) - finer.sum(axis=0)
    moment = np.cross(mine.point - centre, force).sum(axis=0) - np.cross(off, finer).sum(axis=0)
    turn = np.linalg.pinv(inertia, rcond=NARROW, hermitian=True) @ moment
    more = Linear(missing / weight.sum(), turn, centre)

    def corrected(points: Array, normals: Array) -> Array:
        own = traction.at(points, normals)
        return own + np.linalg.norm(own, axis=1)[:, None] * more(points, normals)

    return corrected
