"""The compiled loops over boxes of bead. Imported only when first used.

A box has 24 displacements: eight corners, corner a at bit 0 of a along x, bit 1 along y, bit 2 along z, three
components each. Corners that are neighbours along x bear neighbouring numbers, so that a box needs to know the
`first` (v, 4) node of its four edges along x alone. Its stiffness is `share` / 255 of row `which` of `table`
(t, 576). Vectors are flat, three to a node.
"""

import numba
import numpy as np

from fem.solving.lanes import add_scaled, add_six, add_times, load, load_six, store, zeros

U = np.uint64
compiled = numba.njit(cache=True, nogil=True, fastmath=True)


@compiled
def add_product(first, which, share, table, x, out, gain, begin, end):  # type: ignore[no-untyped-def]
    """out += gain K x over boxes begin..end, which no other thread's boxes may touch."""
    given = np.empty(24, x.dtype)
    told = np.empty(24, x.dtype)
    part = gain / x.dtype.type(255)
    for v in range(begin, end):
        for c in range(4):
            n = U(3) * U(first[v, c])
            for d in range(6):
                given[6 * c + d] = x[n + U(d)]
        t = U(576) * U(which[v])
        a, b, c_ = zeros(table, 8), zeros(table, 8), zeros(table, 8)
        p, q, r = zeros(table, 8), zeros(table, 8), zeros(table, 8)
        for j in range(0, 24, 2):
            u, w = given[j], given[j + 1]
            at = t + U(24 * j)
            a = add_scaled(a, u, load(table, at, 8))
            b = add_scaled(b, u, load(table, at + U(8), 8))
            c_ = add_scaled(c_, u, load(table, at + U(16), 8))
            p = add_scaled(p, w, load(table, at + U(24), 8))
            q = add_scaled(q, w, load(table, at + U(32), 8))
            r = add_scaled(r, w, load(table, at + U(40), 8))
        one = table.dtype.type(1)
        store(told, U(0), add_scaled(a, one, p))
        store(told, U(8), add_scaled(b, one, q))
        store(told, U(16), add_scaled(c_, one, r))
        scale = part * share[v]
        for c in range(4):
            n = U(3) * U(first[v, c])
            for d in range(6):
                out[n + U(d)] += scale * told[6 * c + d]


@compiled
def add_bead_product(first, which, share, table, x, out, gain, begin, end):  # type: ignore[no-untyped-def]
    """What add_product does, for boxes that are their own image when turned by half a turn about the vertical and
    when mirrored up and down: of `table` (ways * 192,), see tables.four_blocks.

    The four edges along x are images of each other. Sums and differences of what they bear, `mixed`, fall into four
    sets that know nothing of each other: 4 blocks (6, 6) take the place of (24, 24).
    """
    mixed = np.empty(32, x.dtype)
    sign = np.array([-1, -1, 1, -1, -1, 1, 0, 0]).astype(x.dtype)
    flip = load(sign, U(0), 8)
    one, minus = table.dtype.type(1), table.dtype.type(-1)
    part = gain / x.dtype.type(255)
    for v in range(begin, end):
        n, m = U(3) * U(first[v, 0]), U(3) * U(first[v, 1])
        o, p = U(3) * U(first[v, 2]), U(3) * U(first[v, 3])
        a, b = load_six(x, n, 0), load_six(x, m, 1)
        c, d = load_six(x, o, 0), load_six(x, p, 1)
        a, d = add_scaled(a, one, d), add_scaled(a, minus, d)
        b, c = add_scaled(b, one, c), add_scaled(b, minus, c)
        store(mixed, U(0), add_times(d, flip, c))
        store(mixed, U(16), add_times(a, flip, b))
        none = zeros(table, 8)
        b, c = add_scaled(none, minus, b), add_scaled(none, minus, c)
        store(mixed, U(8), add_times(a, flip, b))
        store(mixed, U(24), add_times(d, flip, c))
        at = U(192) * U(which[v])
        e, f, g, h = none, none, none, none
        for j in range(6):
            e = add_scaled(e, mixed[j], load(table, at + U(8 * j), 8))
            f = add_scaled(f, mixed[8 + j], load(table, at + U(48 + 8 * j), 8))
            g = add_scaled(g, mixed[16 + j], load(table, at + U(96 + 8 * j), 8))
            h = add_scaled(h, mixed[24 + j], load(table, at + U(144 + 8 * j), 8))
        e, f = add_scaled(e, one, f), add_scaled(e, minus, f)
        g, h = add_scaled(g, one, h), add_scaled(g, minus, h)
        scale = part * x.dtype.type(share[v])
        add_six(out, n, add_scaled(none, scale, add_scaled(e, one, g)), 0)
        add_six(out, m, add_scaled(none, scale, add_times(none, flip, add_scaled(f, one, h))), 1)
        add_six(out, o, add_scaled(none, -scale, add_times(none, flip, add_scaled(e, minus, g))), 0)
        add_six(out, p, add_scaled(none, -scale, add_scaled(f, minus, h)), 1)


@compiled
def add_springs(node, spring, x, out, gain):  # type: ignore[no-untyped-def]
    """out += gain S x for springs (s, 3, 3) at nodes (s,)."""
    for s in range(len(node)):
        n = 3 * node[s]
        for i in range(3):
            sum_ = spring[s, i, 0] * x[n] + spring[s, i, 1] * x[n + 1] + spring[s, i, 2] * x[n + 2]
            out[n + i] += gain * sum_


@compiled
def add_diagonal(first, which, share, table, diagonal, begin, end):  # type: ignore[no-untyped-def]
    """Add the boxes' blocks on the diagonal to (n, 6): xx yy zz yz xz xy."""
    for v in range(begin, end):
        t, s = 576 * np.int64(which[v]), share[v] / table.dtype.type(255)
        for a in range(8):
            n = first[v, a >> 1] + (a & 1)
            at = t + 75 * a
            diagonal[n, 0] += s * table[at]
            diagonal[n, 1] += s * table[at + 25]
            diagonal[n, 2] += s * table[at + 50]
            diagonal[n, 3] += s * table[at + 26]
            diagonal[n, 4] += s * table[at + 2]
            diagonal[n, 5] += s * table[at + 1]


@compiled
def invert_blocks(diagonal, begin, end):  # type: ignore[no-untyped-def]
    """The symmetric blocks begin..end of (n, 6) become their inverses; a direction without stiffness gets none."""
    for n in range(begin, end):
        a, b, c = np.float64(diagonal[n, 0]), np.float64(diagonal[n, 1]), np.float64(diagonal[n, 2])
        d, e, f = np.float64(diagonal[n, 3]), np.float64(diagonal[n, 4]), np.float64(diagonal[n, 5])
        size = max(a, b, c)
        det = a * (b * c - d * d) - f * (f * c - d * e) + e * (f * d - b * e)
        if size <= 0 or det <= 1e-9 * size**3:
            for i in range(6):
                diagonal[n, i] = 0
            for i, s in enumerate((a, b, c)):
                if s > 1e-6 * size:
                    diagonal[n, i] = 1 / (3 * s)
            continue
        diagonal[n, 0] = (b * c - d * d) / det
        diagonal[n, 1] = (a * c - e * e) / det
        diagonal[n, 2] = (a * b - f * f) / det
        diagonal[n, 3] = (e * f - a * d) / det
        diagonal[n, 4] = (d * f - b * e) / det
        diagonal[n, 5] = (d * e - c * f) / det


@compiled
def polynomial_step(inverse, residual, step, x, keep, gain, begin, end):  # type: ignore[no-untyped-def]
    """step = keep step + gain D^-1 residual; x += step, at nodes begin..end; keep = 0 forgets the old step."""
    for n in range(begin, end):
        a, b, c = inverse[n, 0], inverse[n, 1], inverse[n, 2]
        d, e, f = inverse[n, 3], inverse[n, 4], inverse[n, 5]
        i = 3 * n
        u, v, w = residual[i], residual[i + 1], residual[i + 2]
        p, q, r = gain * (a * u + f * v + e * w), gain * (f * u + b * v + d * w), gain * (e * u + d * v + c * w)
        if keep != 0:
            p += keep * step[i]
            q += keep * step[i + 1]
            r += keep * step[i + 2]
        step[i], step[i + 1], step[i + 2] = p, q, r
        x[i] += p
        x[i + 1] += q
        x[i + 2] += r


@compiled
def add_coarse(number, coarse, x, out, begin, end):  # type: ignore[no-untyped-def]
    """out += P x: trilinear values of the coarse nodes at the fine ones, in planes begin..end of the fine grid."""
    _, ny, nx = number.shape
    for k in range(begin, end):
        k0, k1 = k >> 1, (k + 1) >> 1
        for j in range(ny):
            j0, j1 = j >> 1, (j + 1) >> 1
            for i in range(nx):
                n = number[k, j, i]
                if n < 0:
                    continue
                i0, i1 = i >> 1, (i + 1) >> 1
                u, v, w = x.dtype.type(0), x.dtype.type(0), x.dtype.type(0)
                many = 0
                for c in range(k0, k1 + 1):
                    for b in range(j0, j1 + 1):
                        for a in range(i0, i1 + 1):
                            m = 3 * coarse[c, b, a]
                            u += x[m]
                            v += x[m + 1]
                            w += x[m + 2]
                            many += 1
                s = x.dtype.type(1) / x.dtype.type(many)
                out[3 * n] += s * u
                out[3 * n + 1] += s * v
                out[3 * n + 2] += s * w


@compiled
def gather_fine(number, coarse, x, out, begin, end):  # type: ignore[no-untyped-def]
    """out = P^T x at the coarse nodes in planes begin..end of the coarse grid."""
    nz, ny, nx = number.shape
    _, my, mx = coarse.shape
    weight = np.array([0.5, 1.0, 0.5]).astype(x.dtype)
    for c in range(begin, end):
        for b in range(my):
            for a in range(mx):
                m = coarse[c, b, a]
                if m < 0:
                    continue
                u, v, w = x.dtype.type(0), x.dtype.type(0), x.dtype.type(0)
                for dk in range(3):
                    k = 2 * c + dk - 1
                    if k < 0 or k >= nz:
                        continue
                    for dj in range(3):
                        j = 2 * b + dj - 1
                        if j < 0 or j >= ny:
                            continue
                        both = weight[dk] * weight[dj]
                        for di in range(3):
                            i = 2 * a + di - 1
                            if i < 0 or i >= nx:
                                continue
                            n = number[k, j, i]
                            if n >= 0:
                                s = both * weight[di]
                                u += s * x[3 * n]
                                v += s * x[3 * n + 1]
                                w += s * x[3 * n + 2]
                out[3 * m], out[3 * m + 1], out[3 * m + 2] = u, v, w


@compiled
def zero_at(node, x):  # type: ignore[no-untyped-def]
    """x = 0 at nodes (s,)."""
    for s in range(len(node)):
        n = 3 * node[s]
        x[n] = x[n + 1] = x[n + 2] = 0


@compiled
def dot(a, b, begin, end):  # type: ignore[no-untyped-def]
    """The product of two vectors over begin..end, summed in double precision."""
    total = 0.0
    for i in range(begin, end):
        total += np.float64(a[i]) * np.float64(b[i])
    return total


@compiled
def combine(a, x, b, y, out, begin, end):  # type: ignore[no-untyped-def]
    """out = a x + b y."""
    for i in range(begin, end):
        out[i] = a * x[i] + b * y[i]


@compiled
def turn(direction, z, size, beta, begin, end):  # type: ignore[no-untyped-def]
    """direction = size z + beta direction."""
    for i in range(begin, end):
        direction[i] = size * z[i] + beta * direction[i]


@compiled
def advance(x, residual, direction, image, alpha, begin, end):  # type: ignore[no-untyped-def]
    """x += alpha direction; residual -= alpha image; returns the residual's square."""
    total = 0.0
    for i in range(begin, end):
        x[i] += alpha * direction[i]
        residual[i] -= alpha * image[i]
        total += residual[i] * residual[i]
    return total


@compiled
def scaled(x, factor, out, begin, end):  # type: ignore[no-untyped-def]
    """out = factor x."""
    for i in range(begin, end):
        out[i] = factor * x[i]


@compiled
def add_stress(first, way, table, x, row, column, out, place, gain, warm, start, begin, end):  # type: ignore[no-untyped-def]
    """Add `gain` times the mean stress of boxes, less `warm` (6,), to out[row, column, place : place + 6].

    Box number start + i lies at row[i], column[i], for i from begin to end; `table` (ways, 6, 24) [MPa/mm] takes its
    displacements to the stress in its bead's axes.
    """
    given = np.empty(24)
    for i in range(begin, end):
        v = start + i
        for c in range(4):
            n = 3 * np.int64(first[v, c])
            for d in range(6):
                given[6 * c + d] = x[n + d]
        for s in range(6):
            total = -warm[s]
            for j in range(24):
                total += table[way[v], s, j] * given[j]
            out[row[i], column[i], place + s] += gain * total


@compiled
def add_turned(stress, c, s, weight, out):  # type: ignore[no-untyped-def]
    """out += weight times a stress (6,) in axes that are turned ahead of those of `out`, by cosine c and sine s."""
    xx, yy, xy = stress[0], stress[1], stress[5]
    out[0] += weight * (c * c * xx + s * s * yy - 2 * c * s * xy)
    out[1] += weight * (s * s * xx + c * c * yy + 2 * c * s * xy)
    out[2] += weight * stress[2]
    out[3] += weight * (c * stress[3] + s * stress[4])
    out[4] += weight * (c * stress[4] - s * stress[3])
    out[5] += weight * (c * s * (xx - yy) + (c * c - s * s) * xy)


@compiled
def bead_means(  # type: ignore[no-untyped-def]
    zone, bead, way, share, stress, side, width, length, turns, out, filled, begin, end
):
    """Mean of the `stress` (ny, nx, c) of a layer over the bead around each box, rows begin..end of `out`, and which
    part of such a bead is there, in `filled` (ny, nx).

    It is `length` [mm] long along the bead in its middle, and holds the bead's whole section: boxes of the same zone
    and bead within one `width` [mm] across; one that its end cuts counts in part. The bead turns from box to box: the
    mean is that of the stress itself, told in the axes of the bead in the middle. `side` (2,) [mm] are the sides of a
    box, `turns` ways make a full turn.
    """
    ny, nx, many = stress.shape
    reach = np.sqrt((length / 2) ** 2 + width**2) + max(side[0], side[1])
    wide, high = int(reach / side[0]) + 1, int(reach / side[1]) + 1
    full = 255.0 * width * length / (side[0] * side[1])
    turn = 2 * np.pi / turns * np.arange(turns)
    cosine, sine = np.cos(turn), np.sin(turn)
    for j in range(begin, end):
        for i in range(nx):
            if share[j, i] == 0:
                continue
            c, s = cosine[way[j, i]], sine[way[j, i]]
            fade = abs(c) * side[0] + abs(s) * side[1]
            total = 0.0
            for m in range(many):
                out[j, i, m] = 0
            for q in range(max(j - high, 0), min(j + high + 1, ny)):
                for p in range(max(i - wide, 0), min(i + wide + 1, nx)):
                    if share[q, p] == 0 or zone[q, p] != zone[j, i] or bead[q, p] != bead[j, i]:
                        continue
                    x, y = (p - i) * side[0], (q - j) * side[1]
                    along, across = abs(c * x + s * y), abs(c * y - s * x)
                    weight = (length / 2 + fade / 2 - along) / fade
                    if weight <= 0 or across > width:
                        continue
                    ahead = (np.int64(way[q, p]) - np.int64(way[j, i])) % turns
                    # The opposite wall's beads bear the same numbers, but run the other way
                    if zone[j, i] == 1 and 4 * min(ahead, turns - ahead) >= turns:
                        continue
                    weight = min(weight, 1.0) * share[q, p]
                    total += weight
                    if ahead == 0:
                        for m in range(many):
                            out[j, i, m] += weight * stress[q, p, m]
                        continue
                    for m in range(0, many, 6):
                        add_turned(stress[q, p, m : m + 6], cosine[ahead], sine[ahead], weight, out[j, i, m : m + 6])
            for m in range(many):
                out[j, i, m] /= total
            filled[j, i] = total / full
