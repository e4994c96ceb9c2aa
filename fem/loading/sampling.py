"""Where a load works, as points on the boundary with their share of the area.

A load that ends somewhere on a face (the edge of a spot, a waterline, the quarter lines of a bore) does not follow
the mesh. Triangles that such a border crosses are cut into four, again and again, and only points on its near side
count. Whole triangles keep Dunavant's rule of degree 4, so a pressure that varies linearly is integrated exactly on
flat faces.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fem.errors import InputError
from fem.part.quadrature import TRIANGLE_POINTS, TRIANGLE_WEIGHTS, triangle_shapes
from fem.part.tetmesh import Index, TetMesh
from fem.tensors import Array

Side = Callable[[Array], Array]
"""Signed distance [mm] of points (..., 3) from the border of a load: positive where it works. It must not change
faster than the distance moved."""

MOST_CUTS = 12
FINE = 16
"""The border of a disc is followed to this part of its radius, which gives its area within 1 %."""


@dataclass(frozen=True)
class Samples:
    """Points (q, 3) [mm] under a load: `area` (q,) [mm^2] each stands for, outward `normal` (q, 3) of the mesh, the
    boundary `triangle` (q,) it lies on and the `shape` functions (q, 6) of that triangle's nodes there.
    """

    point: Array
    area: Array
    normal: Array
    triangle: Index
    shape: Array

    @property
    def whole_area(self) -> float:
        """The loaded area [mm^2]."""
        return float(self.area.sum())

    @property
    def centre(self) -> Array:
        """Centroid (3,) [mm] of the loaded area."""
        return self.area @ self.point / self.area.sum()

    @property
    def triangles(self) -> Index:
        """Boundary triangles (j,) that are loaded, in part at least."""
        return np.unique(self.triangle)


def sample(mesh: TetMesh, triangles: Index, *, side: Side | None = None, fine: float | None = None) -> Samples:
    """Points on boundary triangles (j,), only on the positive side of a border where `side` is given.

    Triangles that the border crosses are cut until their sides are below `fine` [mm] (an eighth of the longest
    unless given). The samples are empty when nothing lies on the positive side.
    """
    cell = np.asarray(triangles, dtype=np.int64)
    corner = np.tile(np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]), (len(cell), 1, 1))
    if side is None:
        return _samples(mesh, cell, corner)
    whole: list[tuple[Index, Array]] = []
    for cut in range(MOST_CUTS + 1):
        reach = _reach(mesh, cell, corner)
        if fine is None and cut == 0:
            fine = float(reach.max(initial=0.0)) / 8
        away = side(_places(mesh, cell, corner.mean(axis=1)))
        crossed = np.abs(away) < 1.1 * reach
        keep = ~crossed & (away > 0)
        whole.append((cell[keep], corner[keep]))
        cell, corner, reach = cell[crossed], corner[crossed], reach[crossed]
        if cut == MOST_CUTS or len(cell) == 0 or reach.max() < float(fine or 0.0):
            break
        cell, corner = np.repeat(cell, 4), _quartered(corner)
    border = _samples(mesh, cell, corner)
    near = side(border.point) > 0
    inner = _samples(mesh, np.concatenate([c for c, _ in whole]), np.concatenate([c for _, c in whole]))
    return Samples(
        np.concatenate([inner.point, border.point[near]]),
        np.concatenate([inner.area, border.area[near]]),
        np.concatenate([inner.normal, border.normal[near]]),
        np.concatenate([inner.triangle, border.triangle[near]]),
        np.concatenate([inner.shape, border.shape[near]]),
    )


def nodal_forces(mesh: TetMesh, samples: Samples, traction: Array) -> Array:
    """Nodal forces (n, 3) [N] of a traction (q, 3) [MPa] at the samples, with the same force and moment."""
    out = np.zeros((len(mesh.nodes), 3))
    each = samples.shape[:, :, None] * (samples.area[:, None] * traction)[:, None, :]
    np.add.at(out, mesh.triangles[samples.triangle], each)
    return out


def linear_on(samples: Samples, *, force: Array, moment: Array, at: Array, name: str) -> Array:
    """Traction (q, 3) [MPa] with a force [N] through the point `at` and a moment [N mm] about it, both exact.

    It is a + b x (x - c) with the centroid c of the loaded area.
    Errors: InputError when nothing is loaded, or the patch is too narrow to carry a moment.
    """
    if not samples.whole_area > 0:
        raise InputError("the face has no area under the load.", where=f"loads.{name}")
    off = samples.point - samples.centre
    square = np.einsum("q,qi,qk->ik", samples.area, off, off)
    inertia = np.trace(square) * np.eye(3) - square
    eigen = np.linalg.eigvalsh(inertia)
    if not eigen[0] > 1e-12 * max(eigen[-1], 1e-300):
        raise InputError("the face is too narrow to carry a moment.", where=f"loads.{name}")
    about = np.asarray(moment, dtype=float) + np.cross(np.asarray(at, dtype=float) - samples.centre, force)
    return np.asarray(force, dtype=float) / samples.whole_area + np.cross(np.linalg.solve(inertia, about), off)


def _places(mesh: TetMesh, cell: Index, reference: Array) -> Array:
    """Points (c, 3) [mm] at one reference point (c, 2) of each triangle."""
    shape, _ = triangle_shapes(reference)
    return np.einsum("ca,cai->ci", shape, mesh.nodes[mesh.triangles[cell]])


def _reach(mesh: TetMesh, cell: Index, corner: Array) -> Array:
    """Distance (c,) [mm] from the middle of each cut triangle to its farthest corner or mid-side."""
    middle = _places(mesh, cell, corner.mean(axis=1))
    rim = [corner[:, i] for i in range(3)] + [(corner[:, i] + corner[:, i - 1]) / 2 for i in range(3)]
    away = [np.linalg.norm(_places(mesh, cell, at) - middle, axis=1) for at in rim]
    return np.max(away, axis=0) if len(cell) else np.zeros(0)


def _quartered(corner: Array) -> Array:
    """The four quarters (4c, 3, 2) of reference triangles (c, 3, 2)."""
    a, b, c = corner[:, 0], corner[:, 1], corner[:, 2]
    ab, bc, ca = (a + b) / 2, (b + c) / 2, (c + a) / 2
    parts = np.stack([[a, ab, ca], [ab, b, bc], [ca, bc, c], [ab, bc, ca]])  # (4, 3, c, 2)
    return parts.transpose(2, 0, 1, 3).reshape(-1, 3, 2)


def _samples(mesh: TetMesh, cell: Index, corner: Array) -> Samples:
    """Six points in each cut triangle: `cell` (c,) the boundary triangles, `corner` (c, 3, 2) in their reference."""
    q = len(TRIANGLE_POINTS)
    a = corner[:, 0]
    u, v = corner[:, 1] - a, corner[:, 2] - a
    x, y = TRIANGLE_POINTS.T
    reference = (a[:, None] + x[None, :, None] * u[:, None] + y[None, :, None] * v[:, None]).reshape(-1, 2)
    part = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    shape, slope = triangle_shapes(reference)
    triangle = np.repeat(cell, q)
    own = mesh.nodes[mesh.triangles[triangle]]
    point = np.einsum("qa,qai->qi", shape, own)
    tangent = np.einsum("qad,qai->qdi", slope, own)
    normal = np.cross(tangent[:, 0], tangent[:, 1])
    length = np.linalg.norm(normal, axis=1)
    area = length * (part[:, None] * TRIANGLE_WEIGHTS).ravel()
    return Samples(point, area, normal / np.maximum(length, 1e-300)[:, None], triangle, shape)
