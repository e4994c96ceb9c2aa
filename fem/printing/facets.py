"""A body's curved boundary as flat triangles that leave no crack between them.

A side that two triangles share is cut into the same points from both: 1, 2, 4 or 8 parts by its own curve. A triangle
is cut as finely as its most curved side; along a straighter side its finer points lie on that side's chords.
"""

from __future__ import annotations

import numpy as np

from fem.part.quadrature import triangle_shapes
from fem.part.tetmesh import Index
from fem.tensors import Array

MOST_HALVINGS = 3
"""A side is cut into 2^3 parts at most."""
_SIDES = ((0, 1, 3), (1, 2, 4), (0, 2, 5))
"""Both ends and the middle node of each side."""


def flat_triangles(nodes: Array, triangles: Index, *, tolerance: float) -> Array:
    """Second-order triangles (k, 6) of `nodes` (n, 3) as flat ones (t, 3, 3) [mm], corners in the same sense; they
    stray from the curve by about `tolerance` [mm]."""
    ends = np.array([side[:2] for side in _SIDES])
    middle = nodes[triangles[:, ends]].mean(axis=2)
    bulge = np.linalg.norm(nodes[triangles[:, 3:]] - middle, axis=2)
    # A side cut into k parts strays from its curve by bulge / k^2
    halvings = np.clip(np.ceil(np.log2(np.maximum(bulge / tolerance, 1e-9)) / 2), 0, MOST_HALVINGS).astype(int)
    most = halvings.max(axis=1)
    return np.concatenate(
        [_cut(nodes, triangles[most == h], halvings[most == h], 2 ** int(h)) for h in np.unique(most)]
    )


def _cut(nodes: Array, triangles: Index, halvings: Index, parts: int) -> Array:
    """Triangles (k, 6) cut into parts^2 each, their sides (k, 3) into 2^halvings chords."""
    at = [(i, j) for i in range(parts + 1) for j in range(parts + 1 - i)]
    number = {place: n for n, place in enumerate(at)}
    small = []
    for i, j in at:
        if i + j < parts:
            small.append([number[i, j], number[i + 1, j], number[i, j + 1]])
        if i + j < parts - 1:
            small.append([number[i + 1, j], number[i + 1, j + 1], number[i, j + 1]])
    shape, _ = triangle_shapes(np.array(at) / parts)
    points = np.einsum("qa,kai->kqi", shape, nodes[triangles])
    along = np.arange(parts + 1)
    for (a, b, _), which in zip(_SIDES, range(3), strict=True):
        place = {0: (along, 0 * along), 1: (parts - along, along), 2: (0 * along, along)}[which]
        rows = [number[int(i), int(j)] for i, j in zip(*place, strict=True)]
        points[:, rows] = _side(nodes, triangles[:, [a, b, 3 + which]], 2 ** halvings[:, which], parts)
    return points[:, np.array(small)].reshape(-1, 3, 3)


def _side(nodes: Array, side: Index, chords: Index, parts: int) -> Array:
    """Points (k, parts + 1, 3) along sides (k, 3), to the last digit the same from whichever end one begins."""
    turned = side[:, 0] > side[:, 1]
    first, last = np.where(turned, side[:, 1], side[:, 0]), np.where(turned, side[:, 0], side[:, 1])
    t = np.arange(parts + 1) / parts
    t = np.where(turned[:, None], 1 - t, t) * chords[:, None]
    begin = np.floor(t)

    def curve(s: Array) -> Array:
        s = s[..., None]
        ends = nodes[first][:, None] * ((1 - s) * (1 - 2 * s)) + nodes[last][:, None] * (s * (2 * s - 1))
        return ends + nodes[side[:, 2]][:, None] * (4 * s * (1 - s))

    one, two = curve(begin / chords[:, None]), curve((begin + 1) / chords[:, None])
    return np.asarray(one + (t - begin)[..., None] * (two - one))
