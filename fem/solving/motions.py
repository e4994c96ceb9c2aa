"""The six motions in which a part does not deform."""

from __future__ import annotations

import numpy as np

from fem.tensors import Array


def rigid_motions(points: Array, *, centre: Array | None = None, size: float = 1.0) -> Array:
    """Three slides and three small turns of points (n, 3) as displacement vectors (n, 3, 6); a turn moves 1 at `size`
    from the centre (the points' own unless given).
    """
    off = (points - (points.mean(axis=0) if centre is None else centre)) / size
    out = np.zeros((len(points), 3, 6))
    out[:, :, :3] = np.eye(3)
    x, y, z = off.T
    out[:, 1, 3], out[:, 2, 3] = -z, y
    out[:, 0, 4], out[:, 2, 4] = z, -x
    out[:, 0, 5], out[:, 1, 5] = -y, x
    return out
