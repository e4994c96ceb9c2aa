"""The compiled loops that assemble stiffness. Imported only when first used, since numba takes its time to load.

Top-level functions, so that numba keeps their machine code on disk: the second run starts at once. Shapes:
`nodes` (n, 3), `tets` (m, 10), `table` (k, 6, 6), `material` (m, 4) at the integration points, block rows `start`
(n + 1,) with sorted `column` (b,), and `blocks` (b, 3, 3); `slot` (m, 55) is the place in `blocks` of each pair of a
tetrahedron's nodes a <= b, `back` (m, 55) that of its transpose.
"""

import numba
import numpy as np

compiled = numba.njit(cache=True, nogil=True)

EDGES = np.array([[0, 1], [1, 2], [0, 2], [0, 3], [1, 3], [2, 3]])


@compiled
def tets_around(tets, start, around):  # type: ignore[no-untyped-def]
    """The tetrahedra at each node: with an empty `around` count them into `start` (n + 1,), else list them."""
    if around.shape[0] == 0:
        for e in range(tets.shape[0]):
            for a in range(10):
                start[tets[e, a] + 1] += 1
        return
    fill = start[:-1].copy()
    for e in range(tets.shape[0]):
        for a in range(10):
            around[fill[tets[e, a]]] = e
            fill[tets[e, a]] += 1


@compiled
def neighbours(tets, begin, around, start, column, first, last):  # type: ignore[no-untyped-def]
    """Columns of rows first..last: with an empty `column` count them into `start`, else list them in order."""
    n = begin.shape[0] - 1
    seen = np.full(n, -1, dtype=np.int32)
    row = np.empty(4096, dtype=np.int32)
    for i in range(first, last):
        count = 0
        for at in range(begin[i], begin[i + 1]):
            for a in range(10):
                j = tets[around[at], a]
                if seen[j] != i:
                    seen[j] = i
                    if count == row.shape[0]:
                        row = np.concatenate((row, np.empty_like(row)))
                    row[count] = j
                    count += 1
        if column.shape[0] == 0:
            start[i + 1] = count
        else:
            column[start[i] : start[i] + count] = np.sort(row[:count])


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
def find_slots(tets, start, column, slot, back, first, last):  # type: ignore[no-untyped-def]
    """Fill `slot` and `back` of tetrahedra first..last."""
    for e in range(first, last):
        pair = 0
        for a in range(10):
            for b in range(a, 10):
                slot[e, pair] = find(start, column, tets[e, a], tets[e, b])
                back[e, pair] = slot[e, pair] if a == b else find(start, column, tets[e, b], tets[e, a])
                pair += 1


@compiled
def times_stiffness(c, grad, count, flux):  # type: ignore[no-untyped-def]
    """flux[b] (6, 3) = c : strain of the unit displacements of slope grad[b]."""
    for b in range(count):
        gx, gy, gz = grad[b, 0], grad[b, 1], grad[b, 2]
        for r in range(6):
            flux[b, r, 0] = c[r, 0] * gx + c[r, 4] * gz + c[r, 5] * gy
            flux[b, r, 1] = c[r, 1] * gy + c[r, 3] * gz + c[r, 5] * gx
            flux[b, r, 2] = c[r, 2] * gz + c[r, 3] * gy + c[r, 4] * gx


@compiled
def couple(g, flux, factor, out):  # type: ignore[no-untyped-def]
    """Add factor times the 3 x 3 that slope g feels of a flux (6, 3)."""
    hx, hy, hz = factor * g[0], factor * g[1], factor * g[2]
    for j in range(3):
        out[0, j] += hx * flux[0, j] + hz * flux[4, j] + hy * flux[5, j]
        out[1, j] += hy * flux[1, j] + hz * flux[3, j] + hx * flux[5, j]
        out[2, j] += hz * flux[2, j] + hy * flux[3, j] + hx * flux[4, j]


@compiled
def is_straight(x):  # type: ignore[no-untyped-def]
    """Whether the mid-side nodes of a tetrahedron x (10, 3) lie in the middle of their edges."""
    for k in range(6):
        p, q = EDGES[k]
        for i in range(3):
            half = 0.5 * (x[p, i] + x[q, i])
            if abs(x[4 + k, i] - half) > 1e-11 * (abs(x[p, i] - x[q, i]) + 1e-3 * abs(half)):
                return False
    return True


@compiled
def slopes(x, slope, q, grad):  # type: ignore[no-untyped-def]
    """Slopes `grad` (10, 3) of the shape functions at integration point q of a tetrahedron, and its volume factor."""
    jac = np.zeros((3, 3))
    for a in range(10):
        for d in range(3):
            for i in range(3):
                jac[d, i] += slope[q, a, d] * x[a, i]
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
            grad[a, i] = (cof[i, 0] * slope[q, a, 0] + cof[i, 1] * slope[q, a, 1] + cof[i, 2] * slope[q, a, 2]) / det
    return det


@compiled
def straight_local(x, c, slope, grad, flux, pairs, local):  # type: ignore[no-untyped-def]
    """Stiffness `local` (55, 3, 3) of a straight tetrahedron, integrated in closed form.

    Second-order shapes have slopes linear in the barycentric coordinates L: (4 L_a - 1) grad L_a at corners,
    4 (L_p grad L_q + L_q grad L_p) at mid-sides; with the integrals V / 20 (1 + delta) of L_i L_j every block is a
    sum of few of the sixteen blocks `pairs` (4, 4, 3, 3) that the slopes of L make. It is what four points give, too.
    """
    det = slopes(x, slope, 0, grad)
    # A corner shape's slope is (4 L_a - 1) grad L_a, and the factor stands in its slope on the reference tetrahedron
    for a in range(4):
        at = slope[0, a, a - 1] if a > 0 else -slope[0, 0, 0]
        for i in range(3):
            grad[a, i] /= at
    times_stiffness(c, grad, 4, flux)
    volume = det / 6
    for a in range(4):
        for b in range(4):
            pairs[a, b] = 0.0
            couple(grad[a], flux[b], volume, pairs[a, b])
    pair = 0
    for a in range(10):
        for b in range(a, 10):
            out = local[pair]
            pair += 1
            if b < 4:
                factor = 0.6 if a == b else -0.2
                for i in range(3):
                    for j in range(3):
                        out[i, j] = factor * pairs[a, b, i, j]
            elif a < 4:
                p, q = EDGES[b - 4]
                u, v = 0.6 if a == p else -0.2, 0.6 if a == q else -0.2
                for i in range(3):
                    for j in range(3):
                        out[i, j] = u * pairs[a, q, i, j] + v * pairs[a, p, i, j]
            else:
                p, q = EDGES[a - 4]
                r, s = EDGES[b - 4]
                pr, ps = 1.6 if p == r else 0.8, 1.6 if p == s else 0.8
                qr, qs = 1.6 if q == r else 0.8, 1.6 if q == s else 0.8
                for i in range(3):
                    for j in range(3):
                        out[i, j] = (
                            pr * pairs[q, s, i, j]
                            + ps * pairs[q, r, i, j]
                            + qr * pairs[p, s, i, j]
                            + qs * pairs[p, r, i, j]
                        )


@compiled
def summed_local(x, table, material, slope, weight, grad, flux, local):  # type: ignore[no-untyped-def]
    """Stiffness `local` (55, 3, 3) of a tetrahedron with curved sides or mixed material, point by point."""
    local[:] = 0.0
    for q in range(weight.shape[0]):
        factor = weight[q] * slopes(x, slope, q, grad)
        times_stiffness(table[material[q]], grad, 10, flux)
        pair = 0
        for a in range(10):
            for b in range(a, 10):
                couple(grad[a], flux[b], factor, local[pair])
                pair += 1


@compiled
def assemble(nodes, tets, table, material, slope, weight, slot, back, order, blocks, first, last):  # type: ignore[no-untyped-def]
    """Add the stiffness of the tetrahedra order[first:last] to the blocks."""
    grad, flux = np.empty((10, 3)), np.empty((10, 6, 3))
    pairs, local = np.empty((4, 4, 3, 3)), np.empty((55, 3, 3))
    x = np.empty((10, 3))
    for at in range(first, last):
        e = order[at]
        for a in range(10):
            x[a] = nodes[tets[e, a]]
        own = material[e]
        if own[0] == own[1] and own[0] == own[2] and own[0] == own[3] and is_straight(x):
            straight_local(x, table[own[0]], slope, grad, flux, pairs, local)
        else:
            summed_local(x, table, own, slope, weight, grad, flux, local)
        for pair in range(55):
            here, there = np.uint64(slot[e, pair]), np.uint64(back[e, pair])
            for i in range(3):
                for j in range(3):
                    blocks[here, i, j] += local[pair, i, j]
            if there != here:
                for i in range(3):
                    for j in range(3):
                        blocks[there, j, i] += local[pair, i, j]


@compiled
def scatter(nodes, local, start, column, blocks):  # type: ignore[no-untyped-def]
    """Add dense element matrices (j, a, a, 3, 3) to the blocks."""
    for e in range(nodes.shape[0]):
        for a in range(nodes.shape[1]):
            for b in range(nodes.shape[1]):
                blocks[find(start, column, nodes[e, a], nodes[e, b])] += local[e, a, b]


@compiled
def link_slots(nodes, start, column, slot, first, last):  # type: ignore[no-untyped-def]
    """Fill the places `slot` (q, a, a) of the pairs of nodes (q, a) of links first..last."""
    for q in range(first, last):
        for a in range(nodes.shape[1]):
            for b in range(nodes.shape[1]):
                slot[q, a, b] = find(start, column, nodes[q, a], nodes[q, b])


@compiled
def scatter_links(slot, shares, spring, blocks):  # type: ignore[no-untyped-def]
    """Add springs (q, 3, 3) between the nodes of each link, by their shares (q, a), to the blocks at `slot`."""
    for q in range(slot.shape[0]):
        if not spring[q].any():
            continue
        for a in range(slot.shape[1]):
            if shares[q, a] == 0.0:
                continue
            for b in range(slot.shape[1]):
                factor = shares[q, a] * shares[q, b]
                if factor == 0.0:
                    continue
                at = slot[q, a, b]
                for i in range(3):
                    for j in range(3):
                        blocks[at, i, j] += factor * spring[q, i, j]
