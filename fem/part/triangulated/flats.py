"""Triangles joined into flat pieces, and what is known of each piece: the alphabet of `segmenting`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fem.part.triangulated.soundness import SAME_POINT, Ints, diagonal, paired_edges
from fem.tensors import Array

SAME_PLANE = np.deg2rad(0.2)
"""Neighbours turned by less lie in one plane, if the piece that they form stays flat."""


@dataclass(frozen=True)
class Flats:
    """The flat pieces of a surface.

    `of` (k,) the piece of each triangle; `normal`, `centre` (f, 3), `area` (f,) [mm^2]; `points` (n, 3) [mm] of
    the surface; `corner`, `start`: the points of piece i are `corner[start[i]:start[i + 1]]`.
    `pair` (e, 2), `turn` (e,) [rad], `length` (e,) [mm]: the edges between two pieces; `noise` [mm] is the
    rounding of the points.
    """

    of: Ints
    normal: Array
    centre: Array
    area: Array
    points: Array
    corner: Ints
    start: Ints
    pair: Ints
    turn: Array
    length: Array
    noise: float

    def corners(self, pieces: Ints) -> Array:
        """Points (j, 3) of these pieces, each once."""
        return self.points[
            np.unique(np.concatenate([self.corner[self.start[i] : self.start[i + 1]] for i in pieces]))
        ]


def connected(count: int, pair: Ints) -> Ints:
    """The component (count,) of each node of a graph with edges `pair` (e, 2)."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    graph = coo_matrix((np.ones(len(pair)), (pair[:, 0], pair[:, 1])), shape=(count, count))
    return connected_components(graph, directed=False)[1].astype(np.int64)


def triangle_normals(points: Array, triangles: Ints) -> tuple[Array, Array]:
    """Unit normals (k, 3) and areas (k,) [mm^2]."""
    corner = points[triangles]
    double = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    length = np.linalg.norm(double, axis=1)
    return double / np.maximum(length, 1e-300)[:, None], length / 2


def turning(normals: Array, pair: Ints) -> Array:
    """Angle (e,) [rad] between the normals of each pair, exact for small angles too."""
    a, b = normals[pair[:, 0]], normals[pair[:, 1]]
    return np.asarray(np.arctan2(np.linalg.norm(np.cross(a, b), axis=1), (a * b).sum(axis=1)))


def flat_pieces(points: Array, triangles: Ints) -> Flats:
    """Join neighbours in one plane; a chain of them that bends after all falls back into its triangles."""
    k = len(triangles)
    normals, areas = triangle_normals(points, triangles)
    edges, pair = paired_edges(triangles)
    turn = turning(normals, pair)
    noise = 3 * SAME_POINT * diagonal(points)
    centres = points[triangles].mean(axis=1)
    # A needle's normal is blurred by the rounding of its points, so its neighbours are compared by distance too.
    apart = np.maximum(
        np.abs(
            (points[triangles[pair[:, 1]]] - centres[pair[:, :1].ravel()][:, None]) @ normals[pair[:, 0]][:, :, None]
        ).max(axis=(1, 2)),
        np.abs((points[triangles[pair[:, 0]]] - centres[pair[:, 1]][:, None]) @ normals[pair[:, 1]][:, :, None]).max(
            axis=(1, 2)
        ),
    )
    joined = (turn < SAME_PLANE) | ((apart < noise / 3) & (turn < 10 * SAME_PLANE))
    piece = connected(k, pair[joined])
    normal, centre, _ = _means(piece, normals, centres, areas)
    off = np.abs(((points[triangles] - centre[piece][:, None]) @ normal[piece][:, :, None])[:, :, 0]).max(axis=1)
    bent = np.zeros(piece.max() + 1, dtype=bool)
    bent[piece[off > 2 * noise]] = True
    loose = bent[piece]
    _, piece = np.unique(np.where(loose, k + np.arange(k), piece), return_inverse=True)
    piece = piece.reshape(-1).astype(np.int64)
    normal, centre, area = _means(piece, normals, centres, areas)
    incidence = np.unique(np.column_stack([np.repeat(piece, 3), triangles.reshape(-1)]), axis=0)
    border = piece[pair[:, 0]] != piece[pair[:, 1]]
    between = piece[pair[border]]
    return Flats(
        of=piece,
        normal=normal,
        centre=centre,
        area=area,
        points=points,
        corner=incidence[:, 1],
        start=np.searchsorted(incidence[:, 0], np.arange(len(area) + 1)),
        pair=between,
        turn=turning(normal, between),
        length=np.linalg.norm(points[edges[border, 1]] - points[edges[border, 0]], axis=1),
        noise=noise,
    )


def _means(piece: Ints, normals: Array, centres: Array, areas: Array) -> tuple[Array, Array, Array]:
    count = int(piece.max()) + 1
    area = np.maximum(np.bincount(piece, areas, count), 1e-300)

    def mean(values: Array) -> Array:
        return np.stack([np.bincount(piece, areas * values[:, i], count) for i in range(3)], axis=1) / area[:, None]

    normal = mean(normals)
    return normal / np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None], mean(centres), area
