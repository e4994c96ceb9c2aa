"""The compiled loop that tells how the forces at joints work along a move. Imported only when first used.

The same law as `law.PointLaw.answer` with given limits of the shear: points (q,), lengths in mm, forces in N.
"""

import numba
import numpy as np

compiled = numba.njit(cache=True, nogil=True)


@compiled
def rises(normal, gap, push, hold, limit, glued, along, move, far):  # type: ignore[no-untyped-def]
    """What the forces do against the `move` (q, 3) at `far` of it, and how fast that grows there.

    `along` (q, 3) is the jump at first, less where tangential springs are at rest: its part along the `normal` (q, 3)
    counts from touching. Shear is at most `limit` (q,) [N].
    """
    work, growth = 0.0, 0.0
    for p in range(len(gap)):
        nx, ny, nz = normal[p, 0], normal[p, 1], normal[p, 2]
        mx, my, mz = move[p, 0], move[p, 1], move[p, 2]
        x, y, z = along[p, 0] + far * mx, along[p, 1] + far * my, along[p, 2] + far * mz
        deep, into = x * nx + y * ny + z * nz, mx * nx + my * ny + mz * nz
        near = deep - gap[p]
        if not glued[p] and near <= 0:
            continue
        work += push[p] * near * into
        growth += push[p] * into * into
        x, y, z = x - deep * nx, y - deep * ny, z - deep * nz
        mx, my, mz = mx - into * nx, my - into * ny, mz - into * nz
        size = hold[p] * np.sqrt(x * x + y * y + z * z)
        with_it = hold[p] * (x * mx + y * my + z * mz)
        plain = hold[p] * (mx * mx + my * my + mz * mz)
        if size <= limit[p]:
            work += with_it
            growth += plain
        else:
            kept = limit[p] / size
            work += kept * with_it
            growth += kept * (plain - hold[p] * (with_it / size) ** 2)
    return work, growth
