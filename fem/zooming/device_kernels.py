"""The loops over boxes of bead as an accelerator runs them: one thread a node, which gathers from its eight boxes.

Imported only when first used. A level's boxes and nodes lie in grids of one shape, with one empty place before and
three behind along each axis, so that nothing asks whether it has come to an end: the node at place p of the flat grid
is the low corner of the box at p, and `sy`, `sz` lead to the next along y and z. Corner a of a box lies at bit 0 of a
along x, bit 1 along y, bit 2 along z. Places are unsigned: a signed one is asked each time whether it is negative.
"""

import math

import numpy as np
from numba import cuda

U = np.uint64
kernel = cuda.jit(cache=True)
part = cuda.jit(device=True, cache=True)


@kernel
def place_nodes(raw, number, place, sy, sz):  # type: ignore[no-untyped-def]
    """Numbers (nz + 1, ny + 1, nx + 1) into the wide grid `number` (flat), and each node's place there (n,)."""
    i, j, k = cuda.grid(3)
    if k >= raw.shape[0] or j >= raw.shape[1] or i >= raw.shape[2]:
        return
    n = raw[k, j, i]
    p = (k + 1) * sz + (j + 1) * sy + i + 1
    number[p] = n
    if n >= 0:
        place[n] = p


@kernel
def place_boxes(low, which, share, place, code):  # type: ignore[no-untyped-def]
    """Each filled box's row of the table and, from bit 8, its share, at its place in the grid `code` (flat)."""
    v = cuda.grid(1)
    if v < low.shape[0]:
        code[place[low[v]]] = np.uint16(which[v]) | (np.uint16(share[v]) << np.uint16(8))


@kernel
def add_product(place, number, code, held, table, x, out, gain, sy, sz):  # type: ignore[no-untyped-def]
    """out += gain K x at nodes that are not held, for boxes of `table` (t * 576,)."""
    n = cuda.grid(1)
    if n >= place.shape[0] or held[n] != 0:
        return
    p, y, z = U(place[n]), U(sy), U(sz)
    o = U(3) * U(n)
    a, b, c = out[o], out[o + U(1)], out[o + U(2)]
    gain = gain / table.dtype.type(255)
    for corner in range(8):
        q = p - U(corner & 1) - U((corner >> 1) & 1) * y - U(corner >> 2) * z
        box = code[q]
        if box == 0:
            continue
        t = U(576) * U(box & np.uint16(255)) + U(72) * U(corner)
        u, v, w = table.dtype.type(0), table.dtype.type(0), table.dtype.type(0)
        for edge in range(4):
            m = U(3) * U(number[q + U(edge & 1) * y + U(edge >> 1) * z])
            for d in range(6):
                given = x[m + U(d)]
                at = t + U(6 * edge + d)
                u += table[at] * given
                v += table[at + U(24)] * given
                w += table[at + U(48)] * given
        s = gain * table.dtype.type(box >> np.uint16(8))
        a += s * u
        b += s * v
        c += s * w
    out[o], out[o + U(1)], out[o + U(2)] = a, b, c


@kernel
def add_coarse_product(place, number, cell, table, x, out, gain, sy, sz):  # type: ignore[no-untyped-def]
    """out += gain K x for boxes `cell` (flat grid, -1 for none), each with its own column of `table` (576, v)."""
    n = cuda.grid(1)
    if n >= place.shape[0]:
        return
    p, y, z = U(place[n]), U(sy), U(sz)
    u, v, w = table.dtype.type(0), table.dtype.type(0), table.dtype.type(0)
    for corner in range(8):
        q = p - U(corner & 1) - U((corner >> 1) & 1) * y - U(corner >> 2) * z
        if cell[q] < 0:
            continue
        box, row = U(cell[q]), U(72) * U(corner)
        for edge in range(4):
            m = U(3) * U(number[q + U(edge & 1) * y + U(edge >> 1) * z])
            for d in range(6):
                given = x[m + U(d)]
                at = row + U(6 * edge + d)
                u += table[at, box] * given
                v += table[at + U(24), box] * given
                w += table[at + U(48), box] * given
    o = U(3) * U(n)
    out[o] += gain * u
    out[o + U(1)] += gain * v
    out[o + U(2)] += gain * w


@kernel
def add_springs(node, spring, held, x, out, gain):  # type: ignore[no-untyped-def]
    """out += gain S x for springs (s, 3, 3) at nodes (s,), each once, that are not held."""
    s = cuda.grid(1)
    if s >= node.shape[0] or held[node[s]] != 0:
        return
    n = 3 * node[s]
    for i in range(3):
        total = spring[s, i, 0] * x[n] + spring[s, i, 1] * x[n + 1] + spring[s, i, 2] * x[n + 2]
        out[n + i] += gain * total


@kernel
def diagonal(place, code, table, out, sy, sz):  # type: ignore[no-untyped-def]
    """The blocks on the diagonal (6, n), xx yy zz yz xz xy, of boxes of `table` (t * 576,)."""
    n = cuda.grid(1)
    if n >= place.shape[0]:
        return
    for e in range(6):
        row, column = (0, 1, 2, 1, 0, 0)[e], (0, 1, 2, 2, 2, 1)[e]
        total = table.dtype.type(0)
        for corner in range(8):
            box = code[place[n] - (corner & 1) - ((corner >> 1) & 1) * sy - (corner >> 2) * sz]
            at = 576 * np.int64(box & np.uint16(255)) + 24 * (3 * corner + row) + 3 * corner + column
            total += table.dtype.type(box >> np.uint16(8)) * table[at]
        out[e, n] = total / table.dtype.type(255)


@kernel
def coarse_diagonal(place, cell, table, out, sy, sz):  # type: ignore[no-untyped-def]
    """The same for boxes with their own columns of `table` (576, v)."""
    n = cuda.grid(1)
    if n >= place.shape[0]:
        return
    for e in range(6):
        row, column = (0, 1, 2, 1, 0, 0)[e], (0, 1, 2, 2, 2, 1)[e]
        total = table.dtype.type(0)
        for corner in range(8):
            box = cell[place[n] - (corner & 1) - ((corner >> 1) & 1) * sy - (corner >> 2) * sz]
            if box >= 0:
                total += table[24 * (3 * corner + row) + 3 * corner + column, box]
        out[e, n] = total


@kernel
def add_spring_blocks(node, spring, out):  # type: ignore[no-untyped-def]
    """Add springs (s, 3, 3) at nodes (s,), each once, to the blocks (6, n)."""
    s = cuda.grid(1)
    if s < node.shape[0]:
        for e in range(6):
            out[e, node[s]] += spring[s, (0, 1, 2, 1, 0, 0)[e], (0, 1, 2, 2, 2, 1)[e]]


@kernel
def invert_blocks(diagonal, held):  # type: ignore[no-untyped-def]
    """The symmetric blocks (6, n) become their inverses; what has no stiffness or is held gets none."""
    n = cuda.grid(1)
    if n >= held.shape[0]:
        return
    a, b, c = np.float64(diagonal[0, n]), np.float64(diagonal[1, n]), np.float64(diagonal[2, n])
    d, e, f = np.float64(diagonal[3, n]), np.float64(diagonal[4, n]), np.float64(diagonal[5, n])
    for i in range(6):
        diagonal[i, n] = 0
    size = max(a, max(b, c))
    if held[n] != 0 or size <= 0:
        return
    det = a * (b * c - d * d) - f * (f * c - d * e) + e * (f * d - b * e)
    if det <= 1e-9 * size * size * size:
        for i in range(3):
            own = (a, b, c)[i]
            if own > 1e-6 * size:
                diagonal[i, n] = 1 / (3 * own)
        return
    diagonal[0, n] = (b * c - d * d) / det
    diagonal[1, n] = (a * c - e * e) / det
    diagonal[2, n] = (a * b - f * f) / det
    diagonal[3, n] = (e * f - a * d) / det
    diagonal[4, n] = (d * f - b * e) / det
    diagonal[5, n] = (d * e - c * f) / det


@kernel
def polynomial_step(inverse, residual, step, x, old, keep, gain):  # type: ignore[no-untyped-def]
    """step = keep step + gain D^-1 residual; x = old x + step."""
    n = U(cuda.grid(1))
    if n >= U(inverse.shape[1]):
        return
    i = U(3) * n
    a, b, c = inverse[U(0), n], inverse[U(1), n], inverse[U(2), n]
    d, e, f = inverse[U(3), n], inverse[U(4), n], inverse[U(5), n]
    u, v, w = residual[i], residual[i + U(1)], residual[i + U(2)]
    p, q, r = gain * (a * u + f * v + e * w), gain * (f * u + b * v + d * w), gain * (e * u + d * v + c * w)
    if keep != 0:
        p += keep * step[i]
        q += keep * step[i + U(1)]
        r += keep * step[i + U(2)]
    step[i], step[i + U(1)], step[i + U(2)] = p, q, r
    if old != 0:
        p += old * x[i]
        q += old * x[i + U(1)]
        r += old * x[i + U(2)]
    x[i], x[i + U(1)], x[i + U(2)] = p, q, r


@kernel
def gather_fine(place, number, x, out, sy, sz, ty, tz):  # type: ignore[no-untyped-def]
    """out = P^T x at the coarse nodes, whose `place` lies in a grid of steps sy, sz; the finer grid's are ty, tz."""
    n = cuda.grid(1)
    if n >= place.shape[0]:
        return
    p = twice(place[n], sy, sz, ty, tz)
    u, v, w = x.dtype.type(0), x.dtype.type(0), x.dtype.type(0)
    for k in range(-1, 2):
        for j in range(-1, 2):
            for i in range(-1, 2):
                m = number[p + i + j * ty + k * tz]
                if m >= 0:
                    s = x.dtype.type(1.0 / (1 << (abs(i) + abs(j) + abs(k))))
                    u += s * x[3 * m]
                    v += s * x[3 * m + 1]
                    w += s * x[3 * m + 2]
    out[3 * n], out[3 * n + 1], out[3 * n + 2] = u, v, w


@kernel
def add_coarse(place, coarse, held, found, step, x, sy, sz, ty, tz):  # type: ignore[no-untyped-def]
    """step = P found, trilinear values at the nodes that are not held; x += step. The finer grid has steps sy, sz."""
    n = cuda.grid(1)
    if n >= place.shape[0]:
        return
    k = place[n] // sz
    j = (place[n] - k * sz) // sy
    i = place[n] - k * sz - j * sy
    # Place 1 is corner 0: even places lie between two coarse nodes
    p = (k + 1) // 2 * tz + (j + 1) // 2 * ty + (i + 1) // 2
    di, dj, dk = 1 - i % 2, 1 - j % 2, 1 - k % 2
    u, v, w = x.dtype.type(0), x.dtype.type(0), x.dtype.type(0)
    if held[n] == 0:
        for c in range(dk + 1):
            for b in range(dj + 1):
                for a in range(di + 1):
                    m = 3 * coarse[p + a + b * ty + c * tz]
                    u += found[m]
                    v += found[m + 1]
                    w += found[m + 2]
    s = x.dtype.type(1.0 / (1 << (di + dj + dk)))
    step[3 * n], step[3 * n + 1], step[3 * n + 2] = s * u, s * v, s * w
    x[3 * n] += s * u
    x[3 * n + 1] += s * v
    x[3 * n + 2] += s * w


@part
def twice(p, sy, sz, ty, tz):  # type: ignore[no-untyped-def]
    """The place in the finer grid, of steps ty, tz, of what lies at place p of the coarse one."""
    k = p // sz
    j = (p - k * sz) // sy
    i = p - k * sz - j * sy
    return (2 * k - 1) * tz + (2 * j - 1) * ty + 2 * i - 1


@kernel
def multiply_whole(matrix, x, out):  # type: ignore[no-untyped-def]
    """out = A x for a symmetric matrix (n, n)."""
    i = cuda.grid(1)
    if i < matrix.shape[0]:
        total = 0.0
        for j in range(matrix.shape[0]):
            total += matrix[j, i] * x[j]
        out[i] = total


@kernel
def zero_at(node, x):  # type: ignore[no-untyped-def]
    """x = 0 at nodes (s,)."""
    s = cuda.grid(1)
    if s < node.shape[0]:
        for i in range(3):
            x[3 * node[s] + i] = 0


@kernel
def mark(node, out):  # type: ignore[no-untyped-def]
    """out = 1 at nodes (s,)."""
    s = cuda.grid(1)
    if s < node.shape[0]:
        out[node[s]] = 1


@kernel
def wave(held, out):  # type: ignore[no-untyped-def]
    """A vector that no direction is missing from; none at held nodes."""
    n = cuda.grid(1)
    if n < held.shape[0]:
        for i in range(3):
            out[3 * n + i] = 0 if held[n] != 0 else math.sin(1.0 + 0.7 * (3 * n + i))


@kernel
def combine(a, x, b, y, out):  # type: ignore[no-untyped-def]
    """out = a x + b y."""
    i = cuda.grid(1)
    if i < x.shape[0]:
        out[i] = a * x[i] + b * y[i]


@kernel
def dot(a, b, sums):  # type: ignore[no-untyped-def]
    """The product of two vectors in double precision, in as many `sums` as there are threads."""
    first = cuda.grid(1)
    if first >= sums.shape[0]:
        return
    total = 0.0
    for i in range(first, a.shape[0], sums.shape[0]):
        total += np.float64(a[i]) * np.float64(b[i])
    sums[first] = total


@kernel
def advance(x, residual, direction, image, alpha, sums):  # type: ignore[no-untyped-def]
    """x += alpha direction; residual -= alpha image; the residual's square in as many `sums` as there are threads."""
    first = cuda.grid(1)
    if first >= sums.shape[0]:
        return
    total = 0.0
    for i in range(first, x.shape[0], sums.shape[0]):
        x[i] += alpha * direction[i]
        left = residual[i] - alpha * image[i]
        residual[i] = left
        total += left * left
    sums[first] = total


@kernel
def add_up(sums, out):  # type: ignore[no-untyped-def]
    """Many sums (s,) in few (t,)."""
    first = cuda.grid(1)
    if first < out.shape[0]:
        total = 0.0
        for i in range(first, sums.shape[0], out.shape[0]):
            total += sums[i]
        out[first] = total


@kernel
def fill(out, value):  # type: ignore[no-untyped-def]
    """out = value."""
    i = cuda.grid(1)
    if i < out.shape[0]:
        out[i] = value
