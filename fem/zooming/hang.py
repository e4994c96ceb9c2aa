"""What hangs a grid of filled boxes into the part: forces and springs of its true surface put onto the boxes' nodes,
and the part's displacement on the sides where it is cut.

A point of the surface belongs to the filled box nearest to it, which takes its force at the nearest point of the box
and shares it among its eight corners by trilinear weights: what is shared sums to one and keeps its place. What the
way from the surface to the box costs in moment is made good over the same nodes. Points over the holes of an open
infill go to the beads around; those whose next bead may lie beyond a cut side are left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fem.cores import even_ranges, shared, workers
from fem.errors import NoTrustworthyAnswer
from fem.loading.dense import Box
from fem.loading.point_springs import PointSprings
from fem.loading.traction import PointForces
from fem.printing.beads import Grid
from fem.tensors import Array
from fem.zooming.where import Locator

REACH = 8
"""Boxes, along each axis, within which a point of the surface first looks for a filled one."""
SOFTEST = 1e-12
"""A direction in which a node's spring is softer than this share of its stiffest has no place of rest."""


@dataclass(frozen=True)
class BoxesInPart:
    """The filled boxes of a grid and their nodes: `filled` (nz, ny, nx), and `number` (nz + 1, ny + 1, nx + 1) of the
    node at each corner of the grid, -1 where no filled box touches it. The print axes `axes` are rows in part axes.
    Holes of the infill are at most `opening` [mm] wide: so far may a point of the surface lie from a bead.
    """

    grid: Grid
    axes: Array
    filled: NDArray[np.bool_]
    number: NDArray[np.int32]
    opening: float = 0.0

    def __post_init__(self) -> None:
        nx, ny, nz = self.grid.count
        if self.filled.shape != (nz, ny, nx) or self.number.shape != (nz + 1, ny + 1, nx + 1):
            raise ValueError(f"boxes {self.filled.shape} and nodes {self.number.shape} on a grid of {nx} {ny} {nz}")

    @property
    def count(self) -> int:
        """How many nodes there are."""
        return int(self.number.max(initial=-1)) + 1

    @property
    def low(self) -> Array:
        """The grid's lowest corner (3,) [mm] in print axes."""
        return np.asarray(self.grid.origin, dtype=float)

    @property
    def high(self) -> Array:
        """The grid's highest corner (3,) [mm] in print axes."""
        return self.low + np.asarray(self.grid.step) * self.grid.count

    def surface_room(self, locator: Locator) -> Box:
        """Where the part's surface belongs to these boxes: within the grid, and without end where the part ends no
        farther than a box beyond it.
        """
        step, (low, high) = np.asarray(self.grid.step), locator.extent(self.axes)
        return Box(
            self.axes,
            np.where(self.low <= low + step, -np.inf, self.low),
            np.where(self.high >= high - step, np.inf, self.high),
        )

    def corners(self, number: NDArray[np.integer]) -> Array:
        """The places (h, 3) [mm], in print axes, of corners of the grid given as (h, 3) numbers, z first."""
        return self.low + np.asarray(number)[:, ::-1] * np.asarray(self.grid.step)


@dataclass(frozen=True)
class NodeSprings:
    """Springs (s, 3, 3) [N/mm] of the nodes `node` (s,), each told once, at rest at the displacements `rest`
    (k, s, 3) [mm], one for each column of loads; all in print axes.
    """

    node: NDArray[np.int32]
    spring: Array
    rest: Array


@dataclass(frozen=True)
class CutNodes:
    """Nodes `node` (h,) of cut sides, and their displacements (k, h, 3) [mm] in print axes."""

    node: NDArray[np.int32]
    displacement: Array


def forces_onto_nodes(boxes: BoxesInPart, pushed: PointForces, *, room: Box | None = None) -> Array:
    """Nodal forces (n, 3) [N] in print axes of forces at points in part axes, with the same force and moment: all of
    them, or those that do not hang on beads beyond the cut sides of `room`.

    The moment is made exact by the smallest forces, on the nodes that carry some already, that sum to none.
    Errors: NoTrustworthyAnswer when a point has no filled box near it.
    """
    out = np.zeros((boxes.count, 3))
    landed = _landing(boxes, pushed.point @ boxes.axes.T, room)
    if not len(landed.which):
        return out
    point, force = (v[landed.kept] @ boxes.axes.T for v in (pushed.point, pushed.force))
    own = landed.shared_out(force)
    off = landed.place - landed.place.mean(axis=0)
    inertia = np.trace(off.T @ off) * np.eye(3) - off.T @ off
    for _ in range(2):  # once more for what rounding left
        missing = np.cross(point, force).sum(axis=0) - np.cross(landed.place, own).sum(axis=0)
        own += np.cross(np.linalg.solve(inertia, missing), off)
    out[landed.node] = own
    return out


def springs_onto_nodes(
    boxes: BoxesInPart, springs: Sequence[PointSprings], *, factors: Array | None = None, room: Box | None = None
) -> NodeSprings:
    """Springs at points in part axes shared among nodes, each node for itself: the total stiffness stays, but for
    points that hang on beads beyond the cut sides of `room`.

    `factors` (k, number of springs) multiply where they are at rest, for each column of loads (one column of ones).
    Errors: NoTrustworthyAnswer when a point has no filled box near it.
    """
    factors = np.ones((1, len(springs))) if factors is None else factors
    given = [s for s in springs if len(s.point)]
    landed = _landing(boxes, np.concatenate([np.zeros((0, 3)), *(s.point for s in given)]) @ boxes.axes.T, room)
    if not len(landed.which):
        return NodeSprings(np.zeros(0, dtype=np.int32), np.zeros((0, 3, 3)), np.zeros((len(factors), 0, 3)))
    spring = np.concatenate([boxes.axes @ s.spring @ boxes.axes.T for s in given])
    many = np.repeat(factors[:, [len(s.point) > 0 for s in springs]], [len(s.point) for s in given], axis=1)
    rest = np.concatenate([s.rest for s in given]) @ boxes.axes.T
    pull = np.einsum("qij,qj,kq->qki", spring, rest, many).reshape(len(rest), -1)
    each = landed.shared_out(np.concatenate([spring.reshape(-1, 9), pull], axis=1)[landed.kept])
    node = each[:, :9].reshape(-1, 3, 3)
    node = (node + node.transpose(0, 2, 1)) / 2
    pull = each[:, 9:].reshape(len(node), -1, 3)
    rest = np.einsum("sij,skj->ksi", np.linalg.pinv(node, rcond=SOFTEST, hermitian=True), pull)
    return NodeSprings(landed.node, node, rest)


@dataclass(frozen=True)
class _Landing:
    """Where points come to lie: the nodes `node` (s,) that they touch with their places `place` (s, 3) [mm] in print
    axes; which points are `kept`; each kept point's box `which` (q,) among those touched, the places `corner` (b, 8)
    of its corners in `node`, and the point `inside` (q, 3) it, 0 to 1 along each side.
    """

    node: NDArray[np.int32]
    place: Array
    corner: NDArray[np.int64]
    which: NDArray[np.int64]
    inside: Array
    kept: NDArray[np.bool_]

    def shared_out(self, values: Array) -> Array:
        """Values (q, c) of the points, shared among their boxes' nodes (s, c)."""
        from fem.zooming import hang_kernels

        out = np.zeros((len(self.node), values.shape[1]))
        hang_kernels.share_out(self.corner, self.which, self.inside, np.ascontiguousarray(values), out)
        return out


def _landing(boxes: BoxesInPart, point: Array, room: Box | None) -> _Landing:
    """The filled boxes nearest to points (q, 3) [mm] in print axes, as far as none beyond the cut sides of `room` may
    be nearer.
    """
    step = np.asarray(boxes.grid.step, dtype=float)
    box, inside, missed = _nearest(boxes, point, REACH)
    if missed.any():
        over = np.flatnonzero(missed)
        found = _nearest(boxes, point[over], max(REACH, int(np.ceil(boxes.opening / step.min()))))
        box[over], inside[over], missed[over] = found
        to_side = np.inf if room is None else np.minimum(point[over] - room.low, room.high - point[over]).min(axis=1)
        away = np.linalg.norm(boxes.low + (box[over] + inside[over]) * step - point[over], axis=1)
        beyond = to_side < np.where(missed[over], boxes.opening, away)
        lost = over[missed[over] & ~beyond]
        if len(lost):
            at = ", ".join(f"{v:.4g}" for v in boxes.axes.T @ point[lost[0]])
            raise NoTrustworthyAnswer(
                f"{len(lost)} of {len(point)} points of a loaded or held face have no bead near them, "
                f"as at ({at}) mm.",
                advice="Take smaller boxes, or look how this face is printed.",
            )
        missed[over] = beyond
        box, inside = box[~missed], inside[~missed]
    number, which = np.unique(np.ravel_multi_index(tuple(box.T[::-1]), boxes.filled.shape), return_inverse=True)
    z, y, x = (v[:, None] for v in np.unravel_index(number, boxes.filled.shape))
    eight = np.arange(8)
    corners = z + (eight >> 2), y + ((eight >> 1) & 1), x + (eight & 1)
    touched, corner = np.unique(np.ravel_multi_index(corners, boxes.number.shape), return_inverse=True)
    places = boxes.corners(np.stack(np.unravel_index(touched, boxes.number.shape), axis=1))
    return _Landing(boxes.number.ravel()[touched], places, corner.reshape(-1, 8), which, inside, ~missed)


def _nearest(boxes: BoxesInPart, point: Array, reach: int) -> tuple[NDArray[np.int64], Array, NDArray[np.bool_]]:
    """The filled box (q, 3), x first, nearest to each point within `reach` boxes, the place (q, 3) in it, and which
    points have none.
    """
    from fem.zooming import hang_kernels

    step = np.asarray(boxes.grid.step, dtype=float)
    box, inside = np.zeros((len(point), 3), dtype=np.int64), np.empty((len(point), 3))
    missed = np.zeros(len(point), dtype=bool)
    given = boxes.filled, step, (point - boxes.low) / step, reach, box, inside, missed
    shared(hang_kernels.nearest_filled, even_ranges(len(point), pieces=8 * workers()), *given)
    return box, inside, missed


def cut_sides(boxes: BoxesInPart, locator: Locator, fields: Array) -> CutNodes:
    """The nodes on sides of the grid where the part goes on beyond it, with the part's displacements.

    `fields` (k, n, 3) [mm] are displacements of the mesh in part axes. A filled box on a side is cut where the middle
    of the next box, outside the grid, lies in the body; a side that looks into the air has none.
    """
    held = np.zeros(boxes.number.shape, dtype=bool)
    step, (low, high) = np.asarray(boxes.grid.step, dtype=float), locator.extent(boxes.axes)
    for axis in range(3):  # z, y, x
        for end in (0, -1):
            flat = np.argwhere(np.take(boxes.filled, end, axis=axis))
            box: NDArray[np.int64] = np.insert(flat, axis, boxes.filled.shape[axis] - 1 if end else 0, axis=1)
            out = np.zeros(3)
            out[2 - axis] = step[2 - axis] * (1 if end else -1)
            beyond = boxes.corners(box) + step / 2 + out
            near = ((beyond >= low) & (beyond <= high)).all(axis=1)
            box, beyond = box[near], beyond[near]
            cut: NDArray[np.int64] = box[locator.holds(beyond @ boxes.axes)]
            cut[:, axis] += 1 if end else 0
            for around in np.ndindex(2, 2):
                held[tuple((cut + np.insert(around, axis, 0)).T)] = True
    corner = np.argwhere(held)
    found = locator.find(boxes.corners(corner) @ boxes.axes)
    moved = found.values(fields.transpose(1, 0, 2)).transpose(1, 0, 2) @ boxes.axes.T
    return CutNodes(boxes.number[tuple(corner.T)], moved)
