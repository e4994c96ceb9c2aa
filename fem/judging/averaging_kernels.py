"""The compiled loops of the average over a material length. Imported only when first used.

Matrices stand by rows: `row` (n + 1,) where each begins, `column` (nz,), and their values (nz,).
"""

import numba
import numpy as np

compiled = numba.njit(cache=True, nogil=True)


@compiled
def grouped(owner, n):  # type: ignore[no-untyped-def]
    """Where each of n owners' items begin (n + 1,), and the items (m,) by `owner` (m,), in their order."""
    start = np.zeros(n + 1, dtype=np.int64)
    for o in owner:
        start[o + 1] += 1
    for i in range(n):
        start[i + 1] += start[i]
    place, items = start[:-1].copy(), np.empty(len(owner), dtype=np.int64)
    for k in range(len(owner)):
        items[place[owner[k]]] = k
        place[owner[k]] += 1
    return start, items


@compiled
def count_neighbours(start, around, corner, count, first, last):  # type: ignore[no-untyped-def]
    """How many entries (n,) share a tetrahedron with each of first..last, itself among them.

    `around[start[i]:start[i + 1]]` are the places of entry i in `corner` (m, 4), taken flat.
    """
    seen = np.full(len(count), -1)
    for i in range(first, last):
        for at in range(start[i], start[i + 1]):
            for j in corner[around[at] // 4]:
                if seen[j] != i:
                    seen[j] = i
                    count[i] += 1


@compiled
def fill_rows(start, around, corner, weight, square, slope, row, column, mass, whole, kept, first, last):  # type: ignore[no-untyped-def]
    """The rows first..last of `mass` (nz,), all of `weight` (m,), and of `whole` (nz,), mass and `square` [mm^2]
    times the products of `slope` (m, 4, 3); and the share of a spike at one node alone that is `kept` (n,).
    """
    place = np.full(len(start) - 1, -1)
    for i in range(first, last):
        end, lumped, steepest = row[i], 0.0, 0.0
        for at in range(start[i], start[i + 1]):
            t, a = around[at] // 4, around[at] % 4
            lumped += weight[t] / 4
            for b in range(4):
                j = corner[t, b]
                if place[j] < row[i]:
                    place[j], column[end] = end, j
                    mass[end] = 0.0
                    whole[end] = 0.0
                    end += 1
                own = weight[t] * (0.1 if a == b else 0.05)
                steep = (
                    slope[t, a, 0] * slope[t, b, 0]
                    + slope[t, a, 1] * slope[t, b, 1]
                    + slope[t, a, 2] * slope[t, b, 2]
                )
                mass[place[j]] += own
                whole[place[j]] += own + weight[t] * square * steep
                if a == b:
                    steepest += weight[t] * square * steep
        kept[i] = lumped / (lumped + steepest)


@compiled
def multiply(row, column, value, x, out):  # type: ignore[no-untyped-def]
    """Matrix times six stresses (n, 6)."""
    for i in range(len(row) - 1):
        xx, yy, zz, yz, xz, xy = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
        for k in range(row[i], row[i + 1]):
            j, v = column[k], value[k]
            xx += v * x[j, 0]
            yy += v * x[j, 1]
            zz += v * x[j, 2]
            yz += v * x[j, 3]
            xz += v * x[j, 4]
            xy += v * x[j, 5]
        out[i, 0], out[i, 1], out[i, 2], out[i, 3], out[i, 4], out[i, 5] = xx, yy, zz, yz, xz, xy


@compiled
def solve(row, column, mass, whole, scale, x, residual, most):  # type: ignore[no-untyped-def]
    """Conjugate gradients for `whole` x = `mass` x0 from x0 = x (n, 6), in place and behind the diagonal's inverse
    `scale` (n,); each stress has its own steps, and all end at `residual` over the right side. Returns the steps.
    """
    n = len(x)
    r, along = np.empty((n, 6)), np.empty((n, 6))
    step, goal, before, after, curve = np.empty(6), np.zeros(6), np.zeros(6), np.empty(6), np.empty(6)
    multiply(row, column, mass, x, r)
    multiply(row, column, whole, x, along)
    for i in range(n):
        for c in range(6):
            goal[c] += scale[i] * r[i, c] ** 2
            r[i, c] -= along[i, c]
            before[c] += scale[i] * r[i, c] ** 2
    goal = residual**2 * np.maximum(goal, 1e-300)
    p = r * scale.reshape(-1, 1)
    for steps in range(most):
        if (before <= goal).all():
            return steps
        multiply(row, column, whole, p, along)
        curve[:] = 0.0
        after[:] = 0.0
        for i in range(n):
            for c in range(6):
                curve[c] += p[i, c] * along[i, c]
        step[:] = before / np.maximum(curve, 1e-300)
        for i in range(n):
            for c in range(6):
                x[i, c] += step[c] * p[i, c]
                r[i, c] -= step[c] * along[i, c]
                after[c] += scale[i] * r[i, c] ** 2
        step[:] = after / np.maximum(before, 1e-300)
        before[:] = after
        for i in range(n):
            for c in range(6):
                p[i, c] = scale[i] * r[i, c] + step[c] * p[i, c]
    return most


@compiled
def average(row, column, mass, whole, corners, middles, kept, residual, most, stress, out, first, last):  # type: ignore[no-untyped-def]
    """Averaged stress `out` (k, n, 6) of the loads first..last from `stress` (k, n, 6): at `corners` by a solve, at
    `middles` (j, 3) the mean of the two ends, and what was `kept` (n,) of the difference from theirs.
    """
    scale, x = np.empty(len(corners)), np.empty((len(corners), 6))
    for i in range(len(corners)):
        for k in range(row[i], row[i + 1]):
            if column[k] == i:
                scale[i] = 1 / whole[k]
    for load in range(first, last):
        for i in range(len(corners)):
            x[i] = stress[load, corners[i]]
        solve(row, column, mass, whole, scale, x, residual, most)
        out[load] = stress[load]
        for i in range(len(corners)):
            out[load, corners[i]] = x[i]
        for at, one, two in middles:
            for c in range(6):
                off = stress[load, at, c] - (stress[load, one, c] + stress[load, two, c]) / 2
                out[load, at, c] = (out[load, one, c] + out[load, two, c]) / 2 + kept[at] * off
