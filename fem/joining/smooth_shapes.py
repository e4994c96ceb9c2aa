"""A smooth surface through the nodes of a face whose exact shape is not known.

Where the middles of sides lie on the face, its own second-order triangles are that surface. Where sides are straight,
their middles are put where the normals at both ends want them. Normals are averaged over the triangles at a node and
interpolated, so that they do not jump.

Source: N. Max, Journal of Graphics Tools 4 (1999) 1 (weights of the mean normal, exact on a sphere). The middle of a
side is that of a circle, so that it lies on a sphere, too.
"""

from __future__ import annotations

import numpy as np

from fem.part.quadrature import triangle_shapes
from fem.part.tetmesh import TRIANGLE_EDGES, Index
from fem.tensors import Array

CORNERS_AND_MIDDLES = np.array([[0, 0], [1, 0], [0, 1], [0.5, 0], [0.5, 0.5], [0, 0.5]])
SHARP = np.cos(np.deg2rad(40.0))
"""Cosine of the angle between neighbours beyond which an edge is meant."""
STRAIGHT = 1e-9
"""Share of a side by which the middle of a straight one may lie off it."""


def smooth_patches(corner: Array, nodes: Index) -> Index:
    """A number (j,) for each triangle, the same for those that go over into each other without a sharp edge, from the
    places (j, 3, 3) [mm] and numbers (j, 3) of their corners.
    """
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    normal = normal / np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None]
    side = np.sort(nodes[:, [[0, 1], [1, 2], [0, 2]]].reshape(-1, 2), axis=1)
    owner = np.repeat(np.arange(len(nodes)), 3)
    order = np.lexsort((side[:, 1], side[:, 0]))
    twin = np.flatnonzero((np.diff(side[order], axis=0) == 0).all(axis=1))
    one, other = owner[order[twin]], owner[order[twin + 1]]
    smooth = (normal[one] * normal[other]).sum(axis=1) > SHARP
    graph = coo_matrix((np.ones(smooth.sum()), (one[smooth], other[smooth])), shape=(len(nodes), len(nodes)))
    return np.asarray(connected_components(graph, directed=False)[1])


def smooth_triangles(place: Array, nodes: Index) -> tuple[Array, Array]:
    """Second-order triangles (j, 6, 3) [mm] of the smooth surface through those of one patch, given by the places
    (j, 6, 3) [mm] and the numbers (j, 6) of their nodes, and outward unit normals (j, 6, 3) at their nodes.
    """
    corner = _corner_normals(place[:, :3], nodes[:, :3])
    bent = place.copy()
    for k, (a, b) in enumerate(TRIANGLE_EDGES):
        middle = _bulged(place[:, a], place[:, b], corner[:, a], corner[:, b])
        chord = (place[:, a] + place[:, b]) / 2
        length = np.linalg.norm(place[:, a] - place[:, b], axis=1)
        straight = np.linalg.norm(place[:, 3 + k] - chord, axis=1) <= STRAIGHT * length
        bent[straight, 3 + k] = middle[straight]
    _, slope = triangle_shapes(CORNERS_AND_MIDDLES)
    tangent = np.einsum("qad,jai->jqdi", slope, bent)
    return bent, _averaged(np.cross(tangent[:, :, 0], tangent[:, :, 1]), nodes)


def _corner_normals(corner: Array, nodes: Index) -> Array:
    """Unit normals (j, 3, 3) at the corners, each the sum of the cross products around it over the squared lengths of
    both sides.
    """
    weighted = np.empty(corner.shape)
    for k in range(3):
        u, v = corner[:, (k + 1) % 3] - corner[:, k], corner[:, (k + 2) % 3] - corner[:, k]
        weighted[:, k] = np.cross(u, v) / ((u * u).sum(axis=1) * (v * v).sum(axis=1))[:, None]
    return _averaged(weighted, nodes)


def _averaged(weighted: Array, nodes: Index) -> Array:
    """Unit vectors along the sums of `weighted` (j, k, 3) over the nodes (j, k)."""
    _, number = np.unique(nodes, return_inverse=True)
    number = number.reshape(nodes.shape)
    total = np.zeros((number.max() + 1, 3))
    np.add.at(total, number, weighted)
    return np.asarray((total / np.maximum(np.linalg.norm(total, axis=1), 1e-300)[:, None])[number])


def _bulged(start: Array, end: Array, normal: Array, other: Array) -> Array:
    """The middles (j, 3) of curved sides from `start` to `end` (j, 3) that are square to the normals at both.

    A circle whose tangent makes the angle a with a chord of length L rises by L / 2 tan(a / 2); each end says half.
    """
    way = end - start
    length = np.linalg.norm(way, axis=1)[:, None]
    way = way / length
    middle = (start + end) / 2
    for square, sign in ((normal, -1.0), (other, 1.0)):
        along = (square * way).sum(axis=1)[:, None]
        up = square - along * way
        cosine = np.linalg.norm(up, axis=1)[:, None]
        middle = middle + sign * length / 4 * along / (1 + cosine) * up / np.maximum(cosine, 1e-300)
    return np.asarray(middle)
