"""Whether a body's surface stands between two places that else would lie opposite each other."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fem.joining.sides import Side
from fem.part.tetmesh import Index, TetMesh
from fem.tensors import Array

Q = 3


@dataclass(frozen=True)
class Barrier:
    """The surface of the bodies that meet: the `corners` (n, 3, 3) [mm] of its triangles.

    `body`, `other_body` (j,), (k,) are those of both sides' triangles; facets are off by `bulge` [mm] and what is
    `thin` [mm] is none.
    """

    corners: Array
    body: Index
    other_body: Index
    bulge: float
    thin: float

    @cached_property
    def tree(self) -> tuple[Array, ...]:
        """What finds its triangles: made when first asked for, since faces that touch do not ask."""
        from fem.joining.opposite_kernels import sorted_triangles

        return tuple(sorted_triangles(self.corners))

    def __call__(
        self, places: Array, normals: Array, along: Array, *, triangle: Index, other: Index
    ) -> NDArray[np.bool_]:
        """Whether the way `along` (q,) [mm] from places (q, 3) along normals (q, 3) enters no body, nor leaves its
        own one again where it goes back; the sides' triangles `triangle`, `other` (q,) are its ends. The first of
        each three points speaks for all of them.
        """
        from fem.joining.opposite_kernels import crossed

        way = along[::Q]
        length = np.abs(way)
        asked = length > 4 * self.bulge + self.thin
        if not asked.any():
            return np.ones(len(along), dtype=bool)
        margin = 0.01 * length + 2 * self.bulge
        # Back through its own body to that body's other side: its end is what was left
        own = (way < 0) & (self.body[triangle[::Q]] == self.other_body[other[::Q]])
        end = np.where(own, length + margin, length - margin)
        near, far = np.where(way < 0, -end, margin), np.where(way < 0, -margin, end)
        free = np.ones(len(way), dtype=bool)
        free[asked] = ~crossed(
            places[::Q][asked], normals[::Q][asked], near[asked], far[asked], self.corners, *self.tree
        )
        return np.repeat(free, Q)


def barrier(mesh: TetMesh, one: Side, two: Side) -> Barrier:
    """What may stand between two sides."""
    body, other_body = mesh.node_body[one.nodes[:, 0]], mesh.node_body[two.nodes[:, 0]]
    bodies = np.union1d(body, other_body)
    skin = mesh.triangles[np.isin(mesh.node_body[mesh.triangles[:, 0]], bodies)]
    return Barrier(mesh.nodes[skin[:, :3]], body, other_body, one.bulge + two.bulge, 1e-6 * one.diagonal)
