"""A loaded surface as points no farther apart than a length asked for, so that small boxes behind it feel it well.

Pieces of triangles are split into as many small ones as that takes, each told by its middle. What the small ones of a
piece miss of its six-point samples (the fourth power of their size, relative) is made good by a tiny term that is
linear over the piece: a piece hands on the same force, the same moment and the same area, wherever one looks.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fem.loading.sampling import Pieces, Samples, Side, piece_reach, piece_samples, pieces_of, samples_at, together
from fem.part.tetmesh import Index, TetMesh
from fem.tensors import Array

AT_ONCE = 200_000
"""Points that are made in one go."""
NARROW = 1e-9
"""A piece whose points lie on a line to this share bears no moment about it, and none is asked of it."""


@dataclass(frozen=True)
class Box:
    """A box along the rows of `axes` (3, 3), in which `low` and `high` (3,) [mm] are its outermost corners."""

    axes: Array
    low: Array
    high: Array

    def holds(self, points: Array, *, grown: Array | float = 0.0) -> NDArray[np.bool_]:
        """Which points (q, 3) lie in the box, which may be `grown` [mm] for each point: its lower sides count."""
        inside = points @ self.axes.T
        more = np.asarray(grown)[..., None]
        return ((inside >= self.low - more) & (inside < self.high + more)).all(axis=-1)


@dataclass(frozen=True)
class Dense:
    """Close `samples`; those of one piece of `coarse` share a number in `piece` (q,), the piece's own `six` samples
    are coarse[6 piece ...]. A number of -1 marks samples that stand as they are (along a border).
    """

    samples: Samples
    piece: Index
    coarse: Samples


def dense_samples(
    mesh: TetMesh,
    triangles: Index,
    *,
    spacing: float,
    side: Side | None = None,
    fine: float | None = None,
    box: Box | None = None,
    body: str | None = None,
) -> Dense:
    """Samples of boundary triangles (j,), as `sample` gives them, with `spacing` [mm] between them at the most.

    With a `box` only those of pieces that may touch it, all of these; with a `body` those on its surface alone.
    """
    if body is not None:
        own = [i for i, face in enumerate(mesh.faces) if face.body == body]
        triangles = np.asarray(triangles)[np.isin(mesh.face[triangles], own)]
    inner, crossed = pieces_of(mesh, triangles, side=side, fine=fine)
    inner, crossed = _touching(mesh, inner, box), _touching(mesh, crossed, box)
    border = piece_samples(mesh, crossed)
    if side is not None:
        border = border.only(side(border.point) > 0)
    parts, owners = [border], [np.full(len(border.area), -1)]
    corner = _places(mesh, inner)
    longest = np.max([np.linalg.norm(corner[:, i] - corner[:, i - 1], axis=1) for i in range(3)], axis=0)
    split = np.maximum(np.ceil(longest / spacing), 1).astype(np.int64)
    for k in np.unique(split):
        same = np.flatnonzero(split == k)
        for some in np.array_split(same, max(1, len(same) * int(k) ** 2 // AT_ONCE)):
            parts.append(_split(mesh, Pieces(inner.cell[some], inner.corner[some]), int(k)))
            owners.append(np.repeat(some, len(parts[-1].area) // max(len(some), 1)))
    return Dense(together(parts), np.concatenate(owners), piece_samples(mesh, inner))


def touches(mesh: TetMesh, triangles: Index, box: Box) -> bool:
    """Whether any of the boundary triangles (j,) may reach into a box."""
    six = mesh.nodes[mesh.triangles[triangles]] @ box.axes.T
    low, high = six.min(axis=1), six.max(axis=1)
    more = (high - low).max(axis=1, keepdims=True) / 4  # a curved side bulges beyond its nodes
    return bool(((high + more >= box.low) & (low - more < box.high)).all(axis=1).any())


def _touching(mesh: TetMesh, pieces: Pieces, box: Box | None) -> Pieces:
    if box is None or not len(pieces.cell):
        return pieces
    middle = _places(mesh, pieces).mean(axis=1)
    near = box.holds(middle, grown=1.2 * piece_reach(mesh, pieces))
    return Pieces(pieces.cell[near], pieces.corner[near])


def _places(mesh: TetMesh, pieces: Pieces) -> Array:
    """The corners (c, 3, 3) [mm] of pieces."""
    none = np.zeros(3 * len(pieces.cell))
    return samples_at(mesh, np.repeat(pieces.cell, 3), pieces.corner.reshape(-1, 2), none).point.reshape(-1, 3, 3)


def _split(mesh: TetMesh, pieces: Pieces, k: int) -> Samples:
    """Each piece cut into k x k, told by their middles; a piece that is not cut keeps its six points."""
    if k == 1:
        return piece_samples(mesh, pieces)
    up = [((i + 1 / 3) / k, (j + 1 / 3) / k) for i in range(k) for j in range(k - i)]
    down = [((i + 2 / 3) / k, (j + 2 / 3) / k) for i in range(k - 1) for j in range(k - 1 - i)]
    x, y = np.array(up + down).T
    a = pieces.corner[:, 0]
    u, v = pieces.corner[:, 1] - a, pieces.corner[:, 2] - a
    reference = a[:, None] + x[:, None] * u[:, None] + y[:, None] * v[:, None]
    part = np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]) / 2 / k**2
    return samples_at(mesh, np.repeat(pieces.cell, k * k), reference.reshape(-1, 2), np.repeat(part, k * k))


def same_areas(dense: Dense) -> Array:
    """Areas (q,) [mm^2] of the close samples, scaled so that each piece has that of its own six."""
    samples, piece = dense.samples, dense.piece
    wanted = dense.coarse.area.reshape(-1, 6).sum(axis=1)
    own = piece >= 0
    found = np.bincount(piece[own], samples.area[own], minlength=len(wanted))
    out = samples.area.copy()
    out[own] *= (wanted / np.maximum(found, 1e-300))[piece[own]]
    return out


def same_resultants(dense: Dense, force: Array, coarse: Array) -> Array:
    """Forces (q, 3) [N] at the close samples, corrected so that force and moment of each piece are those of the
    forces `coarse` (6 c, 3) [N] at its own six samples.
    """
    own = np.flatnonzero(dense.piece >= 0)
    if not len(own):
        return force
    samples, piece, count = dense.samples.only(own), dense.piece[own], len(dense.coarse.area) // 6

    def summed(each: Array) -> Array:
        flat = each.reshape(len(piece), -1)
        out: Array = np.stack([np.bincount(piece, column, minlength=count) for column in flat.T], axis=1)
        return out.reshape(count, *each.shape[1:])

    area = np.maximum(summed(samples.area[:, None])[:, 0], 1e-300)
    centre = summed(samples.area[:, None] * samples.point) / area[:, None]
    off = samples.point - centre[piece]
    square = summed(samples.area[:, None, None] * off[:, :, None] * off[:, None, :])
    inertia = np.trace(square, axis1=1, axis2=2)[:, None, None] * np.eye(3) - square
    six = coarse.reshape(-1, 6, 3)
    arm = dense.coarse.point.reshape(-1, 6, 3) - centre[:, None]
    missing = six.sum(axis=1) - summed(force[own])
    moment = np.cross(arm, six).sum(axis=1) - summed(np.cross(off, force[own]))
    turn = np.einsum("cij,cj->ci", np.linalg.pinv(inertia, rcond=NARROW, hermitian=True), moment)
    out = force.copy()
    out[own] += samples.area[:, None] * ((missing / area[:, None])[piece] + np.cross(turn[piece], off))
    return out
