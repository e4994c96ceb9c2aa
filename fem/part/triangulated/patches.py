"""Faces cut into patches that can be flattened."""

from __future__ import annotations

import numpy as np

from fem.part.solid import Triangulation
from fem.part.triangulated.flats import connected, triangle_normals
from fem.part.triangulated.soundness import Ints, paired_edges


def patches(surface: Triangulation) -> tuple[Ints, Ints]:
    """The patch (k,) of each triangle and the face of each patch.

    A patch has no handle and at least one rim, and does not turn by much more than a right angle to either
    side of its mean normal: a closed cylinder becomes two halves, a sphere two caps.
    """
    normals, areas = triangle_normals(surface.points, surface.triangles)
    middles = surface.points[surface.triangles].mean(axis=1)
    _, pair = paired_edges(surface.triangles)
    patch = np.full(len(surface.triangles), -1, dtype=np.int64)
    owner: list[int] = []
    waiting = [(int(f), np.flatnonzero(surface.face == f)) for f in np.unique(surface.face)]
    place = np.full(len(surface.triangles), -1, dtype=np.int64)
    while waiting:
        face, own = waiting.pop()
        place[:] = -1
        place[own] = np.arange(len(own))
        inner = place[pair]
        inside = inner[(inner >= 0).all(axis=1)]
        component = connected(len(own), inside)
        if component.max() > 0:
            waiting += [(face, own[component == c]) for c in range(int(component.max()) + 1)]
            continue
        mean = areas[own] @ normals[own]
        size = np.linalg.norm(mean)
        folded = size < 0.2 * areas[own].sum() or (normals[own] @ mean).min() < -0.17 * size
        flat = _disc_like(surface.triangles[own])
        if len(own) == 1 or (flat and not folded):
            patch[own] = len(owner)
            owner.append(face)
            continue
        if folded:
            direction = np.linalg.eigh((normals[own] * areas[own, None]).T @ normals[own])[1][:, 2]
            high = normals[own] @ direction > 1e-6
        else:
            offset = middles[own] - middles[own].mean(axis=0)
            direction = np.linalg.eigh(offset.T @ offset)[1][:, 2]
            high = offset @ direction > 0
        if high.all() or not high.any():
            high = np.arange(len(own)) < len(own) // 2
        waiting += [(face, own[high]), (face, own[~high])]
    return patch, np.array(owner, dtype=np.int64)


def _disc_like(triangles: Ints) -> bool:
    """Whether a connected patch is a disc, perhaps with holes, whose rims touch neither themselves nor each other."""
    directed = np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=2).reshape(-1, 2)
    edges, count = np.unique(np.sort(directed, axis=1), axis=0, return_counts=True)
    rim = edges[count == 1]
    if not len(rim):
        return False
    nodes, index = np.unique(rim, return_inverse=True)
    index = index.reshape(-1, 2)
    if (np.bincount(index.ravel()) != 2).any():
        return False
    rims = int(connected(len(nodes), index).max()) + 1
    return len(np.unique(triangles)) - len(edges) + len(triangles) == 2 - rims
