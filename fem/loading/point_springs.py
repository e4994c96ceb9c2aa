"""What holds a face, as springs at points as close together as one asks: foundations, held faces and prescribed
displacements on the true surface.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fem.errors import InputError
from fem.loading.dense import Box, dense_samples, same_areas
from fem.loading.sampling import Samples
from fem.loading.supports import AXES, Foundation, Held, foundation_points, spring_matrices
from fem.part.faces import true_normals
from fem.part.quadrature import TRIANGLE_POINTS
from fem.part.tetmesh import Index, TetMesh
from fem.tensors import Array


@dataclass(frozen=True)
class PointSprings:
    """Springs `spring` (q, 3, 3) [N/mm] at points `point` (q, 3) [mm], each standing for `area` (q,) [mm^2] with the
    outward `normal` (q, 3); they are at rest where the displacement is `rest` (q, 3) [mm].
    """

    point: Array
    area: Array
    normal: Array
    spring: Array
    rest: Array


def foundation_springs(
    mesh: TetMesh,
    foundation: Foundation,
    *,
    spacing: float,
    box: Box | None = None,
    body: str | None = None,
    pressing: NDArray[np.bool_] | None = None,
) -> PointSprings:
    """A foundation at points no farther apart than `spacing` [mm], with a `box` or a `body` those of it alone.

    Of one that only pushes the points count whose nearest integration point of the mesh, in their own triangle, is
    `pressing` (j, q).
    """
    samples, area = _close(mesh, foundation.triangles, spacing, box, body)
    if pressing is not None:
        kept = pressing[_nearest_points(mesh, foundation, samples)]
        samples, area = samples.only(kept), area[kept]
    normal = _outward(mesh, samples)
    spring = area[:, None, None] * spring_matrices(foundation, normal)
    return PointSprings(samples.point, area, normal, spring, np.zeros_like(samples.point))


def held_springs(
    mesh: TetMesh,
    held: Held,
    *,
    stiffness: float,
    spacing: float,
    box: Box | None = None,
    body: str | None = None,
) -> PointSprings:
    """A held face, or one with a prescribed displacement, as springs of `stiffness` [N/mm^3] along what is held.

    Errors: InputError without stiffness or axes, as of nodes that are no face's.
    """
    if not (stiffness > 0 and held.fixed):
        raise InputError("a face is held by springs of some stiffness along some axis.", where=held.name)
    samples, area = _close(mesh, held.triangles, spacing, box, body)
    normal = _outward(mesh, samples)
    if held.fixed == ("normal",):
        along = normal[:, :, None] * normal[:, None, :]
    else:
        along = np.broadcast_to(np.diag(np.isin(range(3), [AXES[a] for a in held.fixed]).astype(float)), (3, 3))
    spring = stiffness * area[:, None, None] * along
    return PointSprings(samples.point, area, normal, spring, np.tile(held.move, (len(area), 1)))


def _close(
    mesh: TetMesh, triangles: Index, spacing: float, box: Box | None, body: str | None
) -> tuple[Samples, Array]:
    """Close samples of triangles (j,), and their areas (q,) [mm^2]."""
    dense = dense_samples(mesh, triangles, spacing=spacing, box=box, body=body)
    area = same_areas(dense)
    if box is None:
        return dense.samples, area
    inside = box.holds(dense.samples.point)
    return dense.samples.only(inside), area[inside]


def _outward(mesh: TetMesh, samples: Samples) -> Array:
    """Outward normals (q, 3), those of the true surface where it is known."""
    return true_normals(mesh, samples.triangle, samples.point[:, None], samples.normal[:, None])[:, 0]


def _nearest_points(mesh: TetMesh, foundation: Foundation, samples: Samples) -> tuple[Index, Index]:
    """The triangle, counted within the foundation, and the integration point of it nearest to each sample."""
    place = foundation_points(mesh, foundation).place
    number = np.zeros(len(mesh.triangles), dtype=np.int64)
    number[foundation.triangles] = np.arange(len(foundation.triangles))
    mine = number[samples.triangle]
    away = np.empty((len(TRIANGLE_POINTS), len(mine)))
    for q in range(len(away)):
        away[q] = np.linalg.norm(samples.point - place[mine, q], axis=1)
    return mine, away.argmin(axis=0)
