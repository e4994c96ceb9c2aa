"""Where a load works, as points on the boundary with their share of the area.

A load that ends somewhere on a face (the edge of a spot, a waterline, the quarter lines of a bore) does not follow
the mesh. Triangles that such a border crosses are cut into four, again and again, and only points on its near side
count. Whole triangles keep Dunavant's rule of degree 4, so a pressure that varies linearly is integrated exactly on
flat faces.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

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

    def only(self, which: NDArray[Any]) -> Samples:
        """Some of the samples: a mask (q,) or their numbers."""
        return Samples(
            self.point[which], self.area[which], self.normal[which], self.triangle[which], self.shape[which]
        )


@dataclass(frozen=True)
class Pieces:
    """Boundary triangles, or parts of them: the triangle `cell` (c,) and the piece's `corner` (c, 3, 2) in its
    reference.
    """

    cell: Index
    corner: Array


def sample(mesh: TetMesh, triangles: Index, *, side: Side | None = None, fine: float | None = None) -> Samples:
    """Points on boundary triangles (j,), only on the positive side of a border where `side` is given.

    Triangles that the border crosses are cut until their sides are below `fine` [mm] (an eighth of the longest
    unless given). The samples are empty when nothing lies on the positive side.
    """
    inner, crossed = pieces_of(mesh, triangles, side=side, fine=fine)
    if side is None:
        return piece_samples(mesh, inner)
    border = piece_samples(mesh, crossed)
    return together([piece_samples(mesh, inner), border.only(side(border.point) > 0)])


def pieces_of(
    mesh: TetMesh, triangles: Index, *, side: Side | None = None, fine: float | None = None
) -> tuple[Pieces, Pieces]:
    """The pieces of boundary triangles (j,) that lie wholly on the positive side, and the small ones that its border
    crosses, as in `sample`.
    """
    cell = np.asarray(triangles, dtype=np.int64)
    corner = np.tile(np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]), (len(cell), 1, 1))
    if side is None:
        return Pieces(cell, corner), Pieces(cell[:0], corner[:0])
    whole: list[Pieces] = []
    for cut in range(MOST_CUTS + 1):
        reach = piece_reach(mesh, Pieces(cell, corner))
        if fine is None and cut == 0:
            fine = float(reach.max(initial=0.0)) / 8
        away = side(_places(mesh, cell, corner.mean(axis=1)))
        crossed = np.abs(away) < 1.1 * reach
        keep = ~crossed & (away > 0)
        whole.append(Pieces(cell[keep], corner[keep]))
        cell, corner, reach = cell[crossed], corner[crossed], reach[crossed]
        if cut == MOST_CUTS or len(cell) == 0 or reach.max() < float(fine or 0.0):
            break
        cell, corner = np.repeat(cell, 4), _quartered(corner)
    inner = Pieces(np.concatenate([p.cell for p in whole]), np.concatenate([p.corner for p in whole]))
    return inner, Pieces(cell, corner)


def together(parts: Sequence[Samples]) -> Samples:
    """Samples side by side."""
    return Samples(
        np.concatenate([p.point for p in parts]),
        np.concatenate([p.area for p in parts]),
        np.concatenate([p.normal for p in parts]),
        np.concatenate([p.triangle for p in parts]),
        np.concatenate([p.shape for p in parts]),
    )


def nodal_forces(mesh: TetMesh, samples: Samples, traction: Array) -> Array:
    """Nodal forces (n, 3) [N] of a traction (q, 3) [MPa] at the samples, with the same force and moment."""
    out = np.zeros((len(mesh.nodes), 3))
    each = samples.shape[:, :, None] * (samples.area[:, None] * traction)[:, None, :]
    np.add.at(out, mesh.triangles[samples.triangle], each)
    return out


@dataclass(frozen=True)
class Linear:
    """A traction a + b x (x - c) [MPa] of points x: `even` a (3,), `turn` b (3,) and the `centre` c (3,) [mm]."""

    even: Array
    turn: Array
    centre: Array

    def __call__(self, points: Array, normals: Array) -> Array:
        """Traction (q, 3) [MPa] at points (q, 3) [mm], whatever the normals (q, 3)."""
        return self.even + np.cross(self.turn, points - self.centre)


def linear_on(samples: Samples, *, force: Array, moment: Array, at: Array, name: str) -> Linear:
    """The linear traction with a force [N] through the point `at` and a moment [N mm] about it, both exact.

    Its centre is the centroid of the loaded area.
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
    even = np.asarray(force, dtype=float) / samples.whole_area
    return Linear(even, np.linalg.solve(inertia, about), samples.centre)


def _places(mesh: TetMesh, cell: Index, reference: Array) -> Array:
    """Points (c, 3) [mm] at one reference point (c, 2) of each triangle."""
    shape, _ = triangle_shapes(reference)
    return np.einsum("ca,cai->ci", shape, mesh.nodes[mesh.triangles[cell]])


def piece_reach(mesh: TetMesh, pieces: Pieces) -> Array:
    """Distance (c,) [mm] from the middle of each piece to its farthest corner or mid-side."""
    cell, corner = pieces.cell, pieces.corner
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


def piece_samples(mesh: TetMesh, pieces: Pieces) -> Samples:
    """Six points in each piece."""
    cell, corner = pieces.cell, pieces.corner
    q = len(TRIANGLE_POINTS)
    a = corner[:, 0]
    u, v = corner[:, 1] - a, corner[:, 2] - a
    x, y = TRIANGLE_POINTS.T
    reference = (a[:, None] + x[None, :, None] * u[:, None] + y[None, :, None] * v[:, None]).reshape(-1, 2)
    part = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    return samples_at(mesh, np.repeat(cell, q), reference, (part[:, None] * TRIANGLE_WEIGHTS).ravel())


def samples_at(mesh: TetMesh, triangle: Index, reference: Array, part: Array) -> Samples:
    """Samples at reference points (q, 2) of boundary triangles (q,), each for `part` (q,) of the reference area."""
    shape, slope = triangle_shapes(reference)
    own = mesh.nodes[mesh.triangles[triangle]]
    point = np.einsum("qa,qai->qi", shape, own)
    tangent = np.einsum("qad,qai->qdi", slope, own)
    normal = np.cross(tangent[:, 0], tangent[:, 1])
    length = np.linalg.norm(normal, axis=1)
    return Samples(point, length * part, normal / np.maximum(length, 1e-300)[:, None], triangle, shape)
