"""The loops over boxes of bead as an accelerator runs them: one thread a node, which gathers from its eight boxes.

Imported only when first used. A level's boxes and nodes lie in grids of one shape, with one empty place before and
three behind along each axis, so that nothing asks whether it has come to an end: the node at place p of the flat grid
is the low corner of the box at p, and `sy`, `sz` lead to the next along y and z. Corner a of a box lies at bit 0 of a
along x, bit 1 along y, bit 2 along z. Vectors hold all first components, then all second, then all third ones.
Places are unsigned where it matters: a signed one is asked each time whether it is negative.

A box of bead looks the same when turned by half a turn about the vertical, and when mirrored up and down, if its
displacements are. So the rows of corners 0 and 1 stand for all eight, and a table holds them with the ways side by
side, (144, WAYS): threads whose boxes differ in their way read the same line of memory.
"""

import math
import warnings

import numpy as np
from numba import cuda

from fem.printing.beads import WAYS

warnings.filterwarnings("ignore", message=".*under-utilization due to low occupancy")  # coarse levels are small

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
    """out += gain K x at nodes that are not held, for boxes of `table` (144 * WAYS,)."""
    n = cuda.grid(1)
    if n >= place.shape[0] or held[n] != 0:
        return
    o, p, y, z, many = U(n), U(place[n]), U(sy), U(sz), U(place.shape[0])
    a, b, c = table.dtype.type(0), table.dtype.type(0), table.dtype.type(0)
    for corner in range(8):
        q = p - U(corner & 1) - U((corner >> 1) & 1) * y - U(corner >> 2) * z
        box = code[q]
        if box == 0:
            continue
        above, behind = corner >> 2, (corner >> 1) & 1
        turned = (4 * above) ^ (3 * behind)
        level, up = table.dtype.type(1 - 2 * behind), table.dtype.type(1 - 2 * above)
        t = U(72 * WAYS) * U(corner ^ turned) + U(box & np.uint16(255))
        u, v, w = table.dtype.type(0), table.dtype.type(0), table.dtype.type(0)
        for edge in range(4):
            m = U(number[q + U(edge & 1) * y + U(edge >> 1) * z])
            for end in range(2):
                at = t + U(3 * WAYS) * U((2 * edge + end) ^ turned)
                i = m + U(end)
                given = level * x[i]
                u += table[at] * given
                v += table[at + U(24 * WAYS)] * given
                w += table[at + U(48 * WAYS)] * given
                given = level * x[i + many]
                u += table[at + U(WAYS)] * given
                v += table[at + U(25 * WAYS)] * given
                w += table[at + U(49 * WAYS)] * given
                given = up * x[i + many + many]
                u += table[at + U(2 * WAYS)] * given
                v += table[at + U(26 * WAYS)] * given
                w += table[at + U(50 * WAYS)] * given
        s = table.dtype.type(box >> np.uint16(8))
        a += s * level * u
        b += s * level * v
        c += s * up * w
    gain = gain / table.dtype.type(255)
    out[o] += gain * a
    out[o + many] += gain * b
    out[o + many + many] += gain * c


@kernel
def add_coarse_product(place, number, cell, table, x, out, gain, sy, sz):  # type: ignore[no-untyped-def]
    """out += gain K x for boxes `cell` (flat grid, -1 for none), each with its own column of `table` (576, v)."""
    n = cuda.grid(1)
    if n >= place.shape[0]:
        return
    o, p, y, z, many = U(n), U(place[n]), U(sy), U(sz), U(place.shape[0])
    u, v, w = table.dtype.type(0), table.dtype.type(0), table.dtype.type(0)
    for corner in range(8):
        q = p - U(corner & 1) - U((corner >> 1) & 1) * y - U(corner >> 2) * z
        if cell[q] < 0:
            continue
        box, row = U(cell[q]), U(72) * U(corner)
        for edge in range(4):
            m = U(number[q + U(edge & 1) * y + U(edge >> 1) * z])
            for end in range(2):
                for d in range(3):
                    given = x[m + U(end) + U(d) * many]
                    at = row + U(6 * edge + 3 * end + d)
                    u += table[at, box] * given
                    v += table[at + U(24), box] * given
                    w += table[at + U(48), box] * given
    out[o] += gain * u
    out[o + many] += gain * v
    out[o + many + many] += gain * w


@kernel
def add_springs(node, spring, held, x, out, gain):  # type: ignore[no-untyped-def]
    """out += gain S x for springs (s, 3, 3) at nodes (s,), each once, that are not held."""
    s = cuda.grid(1)
    if s >= node.shape[0] or held[node[s]] != 0:
        return
    n, many = node[s], held.shape[0]
    for i in range(3):
        total = spring[s, i, 0] * x[n] + spring[s, i, 1] * x[n + many] + spring[s, i, 2] * x[n + 2 * many]
        out[n + i * many] += gain * total


@kernel
def diagonal(place, code, blocks, out, sy, sz):  # type: ignore[no-untyped-def]
    """The blocks on the diagonal (6, n), xx yy zz yz xz xy, of boxes with `blocks` (6, 8, WAYS) at their corners."""
    n = cuda.grid(1)
    if n >= place.shape[0]:
        return
    for e in range(6):
        total = blocks.dtype.type(0)
        for corner in range(8):
            box = code[place[n] - (corner & 1) - ((corner >> 1) & 1) * sy - (corner >> 2) * sz]
            total += blocks.dtype.type(box >> np.uint16(8)) * blocks[e, corner, box & np.uint16(255)]
        out[e, n] = total / blocks.dtype.type(255)


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
    n, many = U(cuda.grid(1)), U(inverse.shape[1])
    if n >= many:
        return
    second, third = n + many, n + many + many
    a, b, c = inverse[U(0), n], inverse[U(1), n], inverse[U(2), n]
    d, e, f = inverse[U(3), n], inverse[U(4), n], inverse[U(5), n]
    u, v, w = residual[n], residual[second], residual[third]
    p, q, r = gain * (a * u + f * v + e * w), gain * (f * u + b * v + d * w), gain * (e * u + d * v + c * w)
    if keep != 0:
        p += keep * step[n]
        q += keep * step[second]
        r += keep * step[third]
    step[n], step[second], step[third] = p, q, r
    if old != 0:
        p += old * x[n]
        q += old * x[second]
        r += old * x[third]
    x[n], x[second], x[third] = p, q, r


@kernel
def gather_fine(place, number, x, out, sy, sz, ty, tz):  # type: ignore[no-untyped-def]
    """out = P^T x at the coarse nodes, whose `place` lies in a grid of steps sy, sz; the finer grid's are ty, tz."""
    n = cuda.grid(1)
    if n >= place.shape[0]:
        return
    p, many, fine = twice(place[n], sy, sz, ty, tz), place.shape[0], x.shape[0] // 3
    u, v, w = x.dtype.type(0), x.dtype.type(0), x.dtype.type(0)
    for k in range(-1, 2):
        for j in range(-1, 2):
            for i in range(-1, 2):
                m = number[p + i + j * ty + k * tz]
                if m >= 0:
                    s = x.dtype.type(1.0 / (1 << (abs(i) + abs(j) + abs(k))))
                    u += s * x[m]
                    v += s * x[m + fine]
                    w += s * x[m + 2 * fine]
    out[n], out[n + many], out[n + 2 * many] = u, v, w


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
    many, few = place.shape[0], found.shape[0] // 3
    u, v, w = x.dtype.type(0), x.dtype.type(0), x.dtype.type(0)
    if held[n] == 0:
        for c in range(dk + 1):
            for b in range(dj + 1):
                for a in range(di + 1):
                    m = coarse[p + a + b * ty + c * tz]
                    u += found[m]
                    v += found[m + few]
                    w += found[m + 2 * few]
    s = x.dtype.type(1.0 / (1 << (di + dj + dk)))
    step[n], step[n + many], step[n + 2 * many] = s * u, s * v, s * w
    x[n] += s * u
    x[n + many] += s * v
    x[n + 2 * many] += s * w


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
            x[node[s] + i * (x.shape[0] // 3)] = 0


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
            out[n + i * held.shape[0]] = 0 if held[n] != 0 else math.sin(1.0 + 0.7 * (3 * n + i))


@kernel
def by_component(x, out):  # type: ignore[no-untyped-def]
    """What stands node by node in x stands component by component in `out`."""
    i = cuda.grid(1)
    if i < x.shape[0]:
        out[i // 3 + i % 3 * (x.shape[0] // 3)] = x[i]


@kernel
def by_node(x, out):  # type: ignore[no-untyped-def]
    """What stands component by component in x stands node by node in `out`."""
    i = cuda.grid(1)
    if i < x.shape[0]:
        out[i] = x[i // 3 + i % 3 * (x.shape[0] // 3)]


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
