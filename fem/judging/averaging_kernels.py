"""The compiled loops of the average over a material length. Imported only when first used.

Matrices stand by rows: `row` (n + 1,) where each begins, `column` (nz,), and values for the stresses that keep their
sign when a bead's axes point the other way beside those (`odd`) for the two interlayer shears, which do not.
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
def fill_rows(start, around, corner, weight, square, slope, sign, row, column, mass, whole, first, last):  # type: ignore[no-untyped-def]
    """The rows first..last of `mass` (2, nz), even and odd, and of `whole` (2, nz), mass and `square` [mm^2] times
    the products of `slope` (m, 4, 3): all of `weight` (m,), turned by `sign` (m, 10).
    """
    place = np.full(len(start) - 1, -1)
    for i in range(first, last):
        end = row[i]
        for at in range(start[i], start[i + 1]):
            t, a = around[at] // 4, around[at] % 4
            for b in range(4):
                j = corner[t, b]
                if place[j] < row[i]:
                    place[j], column[end] = end, j
                    mass[:, end] = 0.0
                    whole[:, end] = 0.0
                    end += 1
                k, turned = place[j], sign[t, a] * sign[t, b]
                own = weight[t] * (0.1 if a == b else 0.05)
                steep = (
                    slope[t, a, 0] * slope[t, b, 0]
                    + slope[t, a, 1] * slope[t, b, 1]
                    + slope[t, a, 2] * slope[t, b, 2]
                )
                both = own + weight[t] * square * steep
                mass[0, k] += own
                mass[1, k] += turned * own
                whole[0, k] += both
                whole[1, k] += turned * both


@compiled
def multiply(row, column, value, x, out):  # type: ignore[no-untyped-def]
    """Matrix times six stresses (n, 6), the fourth and fifth of which are the odd ones."""
    for i in range(len(row) - 1):
        xx, yy, zz, yz, xz, xy = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
        for k in range(row[i], row[i + 1]):
            j, even, odd = column[k], value[0, k], value[1, k]
            xx += even * x[j, 0]
            yy += even * x[j, 1]
            zz += even * x[j, 2]
            yz += odd * x[j, 3]
            xz += odd * x[j, 4]
            xy += even * x[j, 5]
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
def average(row, column, mass, whole, used, middles, signs, residual, most, stress, out, first, last):  # type: ignore[no-untyped-def]
    """Averaged stress `out` (k, e, 6) of the loads first..last from `stress` (k, e, 6): of the entries `used` (n,) by
    a solve, of the `middles` (j, 3) by what becomes of the two entries beside them, by `signs` (j, 2).
    """
    scale = np.empty(len(used))
    for i in range(len(used)):
        for k in range(row[i], row[i + 1]):
            if column[k] == i:
                scale[i] = 1 / whole[0, k]
    for load in range(first, last):
        x = np.empty((len(used), 6))
        for i in range(len(used)):
            x[i] = stress[load, used[i]]
        solve(row, column, mass, whole, scale, x, residual, most)
        out[load] = stress[load]
        for i in range(len(used)):
            out[load, used[i]] = x[i]
        for j in range(len(middles)):
            at, one, two = middles[j]
            for c in range(6):
                a, b = (signs[j, 0], signs[j, 1]) if c == 3 or c == 4 else (1.0, 1.0)
                change = a * (out[load, one, c] - stress[load, one, c]) + b * (
                    out[load, two, c] - stress[load, two, c]
                )
                out[load, at, c] = stress[load, at, c] + change / 2
