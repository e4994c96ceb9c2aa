"""The compiled loops of the solver. Imported only when first used, since numba takes its time to load.

Top-level functions, so that numba keeps their machine code on disk: the second run starts at once. Shapes:
`nodes` (n, 3), `tets` (m, 10), `table` (k, 6, 6), `material` (m, q), `slope` (q, 10, 3), `weight` (q,), block rows
`start` (n + 1,) with sorted `column` (b,), and `blocks` (b, 3, 3).
"""

import numba
import numpy as np

compiled = numba.njit(cache=True, nogil=True)


@compiled
def find(start, column, row, wanted):  # type: ignore[no-untyped-def]
    """Place of block (row, wanted) in the pattern, by bisection of the sorted row."""
    low, high = start[row], start[row + 1]
    while low < high:
        middle = (low + high) // 2
        if column[middle] < wanted:
            low = middle + 1
        else:
            high = middle
    return low


@compiled
def assemble(nodes, tets, table, material, slope, weight, start, column, blocks):  # type: ignore[no-untyped-def]
    """Add the stiffness of every tetrahedron to the blocks; the integration points are those of the rule given."""
    grad = np.empty((10, 3))
    flux = np.empty((6, 3))
    local = np.empty((10, 10, 3, 3))
    for e in range(tets.shape[0]):
        local[:] = 0.0
        for q in range(weight.shape[0]):
            c = table[material[e, q]]
            jac = np.zeros((3, 3))
            for a in range(10):
                for d in range(3):
                    for i in range(3):
                        jac[d, i] += slope[q, a, d] * nodes[tets[e, a], i]
            cof = np.empty((3, 3))
            cof[0, 0] = jac[1, 1] * jac[2, 2] - jac[1, 2] * jac[2, 1]
            cof[0, 1] = jac[0, 2] * jac[2, 1] - jac[0, 1] * jac[2, 2]
            cof[0, 2] = jac[0, 1] * jac[1, 2] - jac[0, 2] * jac[1, 1]
            cof[1, 0] = jac[1, 2] * jac[2, 0] - jac[1, 0] * jac[2, 2]
            cof[1, 1] = jac[0, 0] * jac[2, 2] - jac[0, 2] * jac[2, 0]
            cof[1, 2] = jac[0, 2] * jac[1, 0] - jac[0, 0] * jac[1, 2]
            cof[2, 0] = jac[1, 0] * jac[2, 1] - jac[1, 1] * jac[2, 0]
            cof[2, 1] = jac[0, 1] * jac[2, 0] - jac[0, 0] * jac[2, 1]
            cof[2, 2] = jac[0, 0] * jac[1, 1] - jac[0, 1] * jac[1, 0]
            det = jac[0, 0] * cof[0, 0] + jac[0, 1] * cof[1, 0] + jac[0, 2] * cof[2, 0]
            for a in range(10):
                for i in range(3):
                    grad[a, i] = (
                        cof[i, 0] * slope[q, a, 0] + cof[i, 1] * slope[q, a, 1] + cof[i, 2] * slope[q, a, 2]
                    ) / det
            factor = weight[q] * det
            for b in range(10):
                gx, gy, gz = grad[b, 0] * factor, grad[b, 1] * factor, grad[b, 2] * factor
                for r in range(6):
                    flux[r, 0] = c[r, 0] * gx + c[r, 4] * gz + c[r, 5] * gy
                    flux[r, 1] = c[r, 1] * gy + c[r, 3] * gz + c[r, 5] * gx
                    flux[r, 2] = c[r, 2] * gz + c[r, 3] * gy + c[r, 4] * gx
                for a in range(b + 1):
                    hx, hy, hz = grad[a, 0], grad[a, 1], grad[a, 2]
                    for j in range(3):
                        local[a, b, 0, j] += hx * flux[0, j] + hz * flux[4, j] + hy * flux[5, j]
                        local[a, b, 1, j] += hy * flux[1, j] + hz * flux[3, j] + hx * flux[5, j]
                        local[a, b, 2, j] += hz * flux[2, j] + hy * flux[3, j] + hx * flux[4, j]
        for a in range(10):
            for b in range(a, 10):
                at = find(start, column, tets[e, a], tets[e, b])
                for i in range(3):
                    for j in range(3):
                        blocks[at, i, j] += local[a, b, i, j]
                if b > a:
                    back = find(start, column, tets[e, b], tets[e, a])
                    for i in range(3):
                        for j in range(3):
                            blocks[back, j, i] += local[a, b, i, j]


@compiled
def scatter(nodes, local, start, column, blocks):  # type: ignore[no-untyped-def]
    """Add dense element matrices (j, a, a, 3, 3) to the blocks."""
    for e in range(nodes.shape[0]):
        for a in range(nodes.shape[1]):
            for b in range(nodes.shape[1]):
                blocks[find(start, column, nodes[e, a], nodes[e, b])] += local[e, a, b]


@compiled
def project(start, column, blocks, projector, scale, out):  # type: ignore[no-untyped-def]
    """P K P + scale (I - P), block by block."""
    for row in range(start.shape[0] - 1):
        for at in range(start[row], start[row + 1]):
            right = projector[column[at]]
            left = projector[row]
            for i in range(3):
                for j in range(3):
                    total = 0.0
                    for k in range(3):
                        for m in range(3):
                            total += left[i, k] * blocks[at, k, m] * right[m, j]
                    if column[at] == row:
                        total -= scale * left[i, j]
                        if i == j:
                            total += scale
                    out[at, i, j] = total


@numba.njit(cache=True, nogil=True, fastmath=True)
def multiply(start, column, blocks, x, out, first, last):  # type: ignore[no-untyped-def]
    """Rows first..last of the product with k vectors (3n, k); one vector has a loop of its own."""
    k = x.shape[1]
    if k == 1:
        for row in range(first, last):
            a, b, c = 0.0, 0.0, 0.0
            for at in range(start[row], start[row + 1]):
                j = 3 * column[at]
                u, v, w = x[j, 0], x[j + 1, 0], x[j + 2, 0]
                m = blocks[at]
                a += m[0, 0] * u + m[0, 1] * v + m[0, 2] * w
                b += m[1, 0] * u + m[1, 1] * v + m[1, 2] * w
                c += m[2, 0] * u + m[2, 1] * v + m[2, 2] * w
            out[3 * row, 0], out[3 * row + 1, 0], out[3 * row + 2, 0] = a, b, c
        return
    total = np.empty((3, k))
    for row in range(first, last):
        total[:] = 0.0
        for at in range(start[row], start[row + 1]):
            j = 3 * column[at]
            for i in range(3):
                p, q, r = blocks[at, i, 0], blocks[at, i, 1], blocks[at, i, 2]
                for s in range(k):
                    total[i, s] += p * x[j, s] + q * x[j + 1, s] + r * x[j + 2, s]
        for i in range(3):
            for s in range(k):
                out[3 * row + i, s] = total[i, s]
