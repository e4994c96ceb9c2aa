"""The compiled loops of stress recovery by patches. Imported only when first used."""

import numba
import numpy as np

compiled = numba.njit(cache=True, nogil=True)

TERMS = 10
ENOUGH = 12
"""A patch of fewer tetrahedra around a corner takes in those around its tetrahedra's other corners."""
RIDGE = 1e-6
"""What holds terms that a small patch leaves open, as a share of the sum of weights."""


@compiled
def fit_patches(start, around, corner, point, value, weight, node, fitted, scale, first, last):  # type: ignore[no-untyped-def]
    """For corners first to last of `node` (c, 3): the second-order polynomial `fitted` (c, 10, 6), in lengths of
    `scale` (c,), nearest to the `value` (j, 4, 6) at the `point`s (j, 4, 3) of the tetrahedra around.

    `around` between `start` (c + 1,) lists each corner's tetrahedra, whose corners are `corner` (j, 4), and their
    `weight` (j,).
    """
    matrix, term = np.empty((TERMS, TERMS)), np.empty(TERMS)
    for v in range(first, last):
        matrix[:] = 0.0
        fitted[v] = 0.0
        wide = start[v + 1] - start[v] < ENOUGH
        square, total = 0.0, 0.0
        for at in range(start[v], start[v + 1]):
            for q in range(4):
                for d in range(3):
                    square += (point[around[at], q, d] - node[v, d]) ** 2
        scale[v] = np.sqrt(square / (4 * (start[v + 1] - start[v]))) * (2.0 if wide else 1.0)
        for at in range(start[v], start[v + 1]):
            t = around[at]
            if not wide:
                total += add_samples(t, point, value, weight[t], node[v], scale[v], matrix, fitted[v], term)
                continue
            for k in range(4):
                u = corner[t, k]
                for other in range(start[u], start[u + 1]):
                    s = around[other]
                    total += add_samples(s, point, value, weight[s], node[v], scale[v], matrix, fitted[v], term)
        for i in range(TERMS):
            matrix[i, i] += RIDGE * total * (1.0 if i > 3 else 1e-6)
        solve_in_place(matrix, fitted[v])


@compiled
def add_samples(t, point, value, w, middle, scale, matrix, right, term):  # type: ignore[no-untyped-def]
    """Take one tetrahedron's four samples into the normal equations; returns their weight."""
    for q in range(4):
        terms_of(point[t, q], middle, scale, term)
        for i in range(TERMS):
            for j in range(i + 1):
                matrix[i, j] += w * term[i] * term[j]
            for c in range(6):
                right[i, c] += w * term[i] * value[t, q, c]
    return 4 * w


@compiled
def terms_of(place, middle, scale, term):  # type: ignore[no-untyped-def]
    """The ten terms of a second-order polynomial at a place."""
    x, y, z = (place[0] - middle[0]) / scale, (place[1] - middle[1]) / scale, (place[2] - middle[2]) / scale
    term[0], term[1], term[2], term[3] = 1.0, x, y, z
    term[4], term[5], term[6] = x * x, y * y, z * z
    term[7], term[8], term[9] = y * z, x * z, x * y


@compiled
def solve_in_place(matrix, right):  # type: ignore[no-untyped-def]
    """Cholesky on the lower triangle; the answer stands in `right` (10, 6)."""
    for j in range(TERMS):
        for i in range(j, TERMS):
            s = matrix[i, j]
            for k in range(j):
                s -= matrix[i, k] * matrix[j, k]
            matrix[i, j] = np.sqrt(max(s, 1e-300)) if i == j else s / matrix[j, j]
    for c in range(right.shape[1]):
        for i in range(TERMS):
            s = right[i, c]
            for k in range(i):
                s -= matrix[i, k] * right[k, c]
            right[i, c] = s / matrix[i, i]
        for i in range(TERMS - 1, -1, -1):
            s = right[i, c]
            for k in range(i + 1, TERMS):
                s -= matrix[k, i] * right[k, c]
            right[i, c] = s / matrix[i, i]


@compiled
def at_nodes(corner, ends, place, node, fitted, scale, out, first, last):  # type: ignore[no-untyped-def]
    """Recovered stress `out` (j, 10, 6) at the nodes `place` (j, 10, 3) of tetrahedra first to last: a corner's own
    polynomial there, in the middle of an edge the mean of those of its `ends` (6, 2)."""
    term = np.empty(TERMS)
    out[first:last] = 0.0
    for t in range(first, last):
        for a in range(10):
            for k in range(2):
                v = corner[t, a] if a < 4 else corner[t, ends[a - 4, k]]
                terms_of(place[t, a], node[v], scale[v], term)
                for i in range(TERMS):
                    for c in range(6):
                        out[t, a, c] += 0.5 * term[i] * fitted[v, i, c]
