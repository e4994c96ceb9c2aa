"""The compiled loops that put point forces and point springs onto the nodes of filled boxes. Imported only when first
used.

Places are counted in boxes from the grid's lowest corner, along x, y, z; masks and node numbers are stored (z, y, x).
"""

import numba
import numpy as np

compiled = numba.njit(cache=True, nogil=True)

FAR = 1e300


@compiled
def nearest_filled(filled, step, place, reach, box, inside, missed, first, last):  # type: ignore[no-untyped-def]
    """For places (q, 3) first to last: the nearest filled box `box` (q, 3), x first, within `reach` boxes, and the
    nearest point `inside` (q, 3) of it, 0 to 1 along each side; `missed` (q,) where there is none.
    """
    count = (filled.shape[2], filled.shape[1], filled.shape[0])
    least = min(step[0], step[1], step[2])
    at = np.empty(3, dtype=np.int64)
    for n in range(first, last):
        for d in range(3):
            at[d] = int(min(max(np.floor(place[n, d]), 0.0), count[d] - 1.0))
        best = FAR
        for ring in range(reach + 1):
            if ring > 0 and ((ring - 1) * least) ** 2 > best:
                break
            for z in range(max(at[2] - ring, 0), min(at[2] + ring, count[2] - 1) + 1):
                for y in range(max(at[1] - ring, 0), min(at[1] + ring, count[1] - 1) + 1):
                    rim = ring == 0 or abs(z - at[2]) == ring or abs(y - at[1]) == ring
                    for x in range(at[0] - ring, at[0] + ring + 1, 1 if rim else 2 * ring):
                        if x < 0 or x >= count[0] or not filled[z, y, x]:
                            continue
                        square = (step[0] * outside(place[n, 0] - x)) ** 2
                        square += (step[1] * outside(place[n, 1] - y)) ** 2
                        square += (step[2] * outside(place[n, 2] - z)) ** 2
                        if square < best:
                            best = square
                            box[n, 0], box[n, 1], box[n, 2] = x, y, z
            if best == 0.0:
                break
        missed[n] = best == FAR
        for d in range(3):
            missed[n] = missed[n] or outside(place[n, d] - box[n, d]) > reach
            inside[n, d] = min(max(place[n, d] - box[n, d], 0.0), 1.0)


@compiled
def outside(u):  # type: ignore[no-untyped-def]
    """How far u lies outside 0 to 1."""
    return max(-u, u - 1.0, 0.0)


@compiled
def share_out(corner, which, inside, values, out):  # type: ignore[no-untyped-def]
    """Add `values` (q, c) to `out` (s, c) at the corners (b, 8) of each point's box `which` (q,), by trilinear
    weights of its place `inside` (q, 3)."""
    for n in range(len(which)):
        for c in range(8):
            w = inside[n, 0] if c & 1 else 1.0 - inside[n, 0]
            w *= inside[n, 1] if (c >> 1) & 1 else 1.0 - inside[n, 1]
            w *= inside[n, 2] if c >> 2 else 1.0 - inside[n, 2]
            node = corner[which[n], c]
            for d in range(values.shape[1]):
                out[node, d] += w * values[n, d]
