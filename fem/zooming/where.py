"""Where points lie in the solved part, and what its fields are there.

Inside, the second-order map is inverted by Newton's method and the field is the tetrahedron's own. Corners of boxes
stick out of a curved surface by up to a box: there the field is carried on linearly from the nearest place on the
surface, which is exact for linear fields and grows no faster than the field's own slope.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fem.cores import even_ranges, shared, workers
from fem.errors import InputError
from fem.part.tetmesh import TET_EDGES, Index, TetMesh
from fem.tensors import Array

SIDES = ((0, 2, 1, 6, 5, 4), (0, 1, 3, 4, 8, 7), (0, 3, 2, 7, 9, 6), (1, 2, 3, 5, 9, 8))
"""The nodes of a tetrahedron's four sides: corners, then the middles of (0,1) (1,2) (0,2)."""
_QUARTERS = ((0, 3, 5), (3, 1, 4), (5, 4, 2), (3, 4, 5))
_REFERENCE = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], dtype=float)
_NODES = np.concatenate([_REFERENCE, [(_REFERENCE[i] + _REFERENCE[j]) / 2 for i, j in TET_EDGES]])
"""Reference points (10, 3) of a tetrahedron's nodes."""
STRAIGHT = 1e-13
"""A tetrahedron whose edges' middles lie off by less than this share of its size is straight."""
_PER_BOX = 2.0
"""Tetrahedra there are about so many for each box in which they are sorted."""


@dataclass(frozen=True)
class Places:
    """Where points lie: the tetrahedron's `nodes` (q, 10) and their `shape` weights (q, 10), the number `tet` (q,) of
    the tetrahedron in the mesh, and how far `away` (q,) [mm] outside the body the point lies, 0 inside.
    """

    tet: Index
    nodes: Index
    shape: Array
    away: Array

    def values(self, field: Array) -> Array:
        """A field (n, ...) of the mesh's nodes at the points (q, ...)."""
        flat = field.reshape(len(field), -1)
        out = np.empty((len(self.tet), flat.shape[1]))
        for some in np.array_split(np.arange(len(out)), max(1, len(out) // 50_000)):
            out[some] = np.einsum("qa,qac->qc", self.shape[some], flat[self.nodes[some]])
        return out.reshape(len(out), *field.shape[1:])


class Locator:
    """The tetrahedra of one body, sorted so that points are found quickly. Errors: InputError for an unknown body."""

    def __init__(self, mesh: TetMesh, body: str) -> None:
        from fem.printing import kernels

        if body not in mesh.bodies:
            raise InputError(f"there is no body {body!r}.", advice=f"There are: {', '.join(mesh.bodies)}.")
        self.body = body
        self.numbers = mesh.tets_of(body)
        self.nodes = np.ascontiguousarray(mesh.nodes)
        self.tets = np.ascontiguousarray(mesh.tets[self.numbers], dtype=np.int64)
        self.low, self.high, self.straight = _hulls(self.nodes, self.tets)
        corner = self.nodes[self.tets[:, :4]]
        self.into = np.linalg.inv((corner[:, 1:] - corner[:, :1]).transpose(0, 2, 1))
        self.skin, self.owner, self.corner = _skin(self.nodes, self.tets)
        low, high = self.low.min(axis=0), self.high.max(axis=0)
        size = np.maximum(high - low, 1e-9)
        side = float(np.cbrt(size.prod() * _PER_BOX / len(self.tets)))
        self.side = np.full(3, max(side, 1e-3 * float(size.max())))
        self.origin = low - 1e-6 * self.side
        self.count = np.floor((high - self.origin) / self.side).astype(np.int64) + 1

        def sorted_into_boxes(corner: Array) -> tuple[Index, Index]:
            start, none = np.zeros(int(self.count.prod()) + 1, dtype=np.int64), np.zeros(0, dtype=np.int32)
            kernels.sort_into_boxes(corner, self.origin, self.side, self.count, start, none)
            start = np.cumsum(start)
            inside = np.empty(int(start[-1]), dtype=np.int32)
            kernels.sort_into_boxes(corner, self.origin, self.side, self.count, start, inside)
            return start, inside

        self._extents: dict[bytes, Array] = {}
        self._tets = sorted_into_boxes(np.stack([self.low, self.high, self.low], axis=1))
        self._skin = sorted_into_boxes(self.skin)

    def extent(self, axes: Array) -> Array:
        """Lowest and highest corner (2, 3) [mm] of the body along the rows of `axes` (3, 3)."""
        key = np.asarray(axes, dtype=float).tobytes()
        if key not in self._extents:
            place = self.skin.reshape(-1, 3) @ axes.T
            self._extents[key] = np.array([place.min(axis=0), place.max(axis=0)])
        return self._extents[key]

    def find(self, points: Array) -> Places:
        """Where points (q, 3) [mm] in part axes lie; outside the body, where the nearest place on its surface is.

        That takes the longer the farther away a point is.
        """
        return self._find(points, beyond=True)

    def holds(self, points: Array) -> NDArray[np.bool_]:
        """Which points (q, 3) [mm] in part axes lie in the body."""
        return self._find(points, beyond=False).away == 0

    def _find(self, points: Array, *, beyond: bool) -> Places:
        from fem.zooming import where_kernels

        points = np.ascontiguousarray(points, dtype=float)
        q = len(points)
        tet, shape, away = np.zeros(q, dtype=np.int64), np.zeros((q, 10)), np.empty(q)
        sorted_tets: tuple[Any, ...] = (
            *(self.nodes, self.tets, self.into, self.straight),
            *(self.low, self.high, *self._tets),
        )
        skin = (self.skin, self.owner, self.corner, *self._skin)
        given = *sorted_tets, *skin, self.origin, self.side, self.count, points, beyond, tet, shape, away
        shared(where_kernels.find, even_ranges(q, pieces=8 * workers()), *given)
        return Places(self.numbers[tet], self.tets[tet], shape, away)


def _hulls(nodes: Array, tets: Index) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Lowest and highest corner (m, 3) of boxes that hold curved tetrahedra, those of their Bezier points, and which
    (m,) are straight.
    """
    x = nodes[tets]
    ends = np.array(TET_EDGES)
    bulge = np.linalg.norm(x[:, 4:] - x[:, ends].mean(axis=2), axis=2).max(axis=1)
    control = np.concatenate([x[:, :4], 2 * x[:, 4:] - x[:, ends].mean(axis=2)], axis=1)
    low, high = control.min(axis=1), control.max(axis=1)
    more = 1e-6 * (high - low).max(axis=1, keepdims=True)
    return low - more, high + more, bulge < STRAIGHT * (high - low).max(axis=1)


def _skin(nodes: Array, tets: Index) -> tuple[Array, Index, Array]:
    """The boundary as flat triangles (t, 3, 3), four for each curved one, the tetrahedron (t,) behind each, and the
    reference points (t, 3, 3) of its corners there.
    """
    sides = np.array(SIDES)
    corners = np.sort(tets[:, sides[:, :3]].reshape(-1, 3), axis=1)
    order = np.lexsort(corners.T)
    same = (corners[order[1:]] == corners[order[:-1]]).all(axis=1)
    alone = np.ones(len(order), dtype=bool)
    alone[1:] &= ~same
    alone[:-1] &= ~same
    tet, side = np.divmod(np.sort(order[alone]), 4)
    six = sides[side][:, np.array(_QUARTERS)]  # (t, 4, 3) numbers within the tetrahedron
    skin = nodes[np.take_along_axis(tets[tet], six.reshape(-1, 12), axis=1)]
    return (
        np.ascontiguousarray(skin.reshape(-1, 3, 3)),
        np.repeat(tet, 4),
        np.ascontiguousarray(_NODES[six].reshape(-1, 3, 3)),
    )
