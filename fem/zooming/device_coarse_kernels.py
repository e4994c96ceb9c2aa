"""The loops that make coarse boxes out of eight finer ones, on an accelerator. Imported only when first used.

Grids are as in device_kernels: flat, one empty place before and three behind along each axis. A finer box or corner
at x, y, z in twos lies at place 2 p - 1 of what the coarse place p is. A child k of a coarse box lies at bit 0 of k
along x, bit 1 along y, bit 2 along z.
"""

import numpy as np
from numba import cuda

from fem.zooming.device_kernels import kernel, part, twice

U = np.uint64


@kernel
def mark_boxes(fine, none, cell, nx, ny, nz, sy, sz, ty, tz):  # type: ignore[no-untyped-def]
    """0 in `cell` for each of nx, ny, nz coarse boxes of which a child's entry in `fine` is more than `none`."""
    i, j, k = cuda.grid(3)
    if i >= nx or j >= ny or k >= nz:
        return
    p = (k + 1) * sz + (j + 1) * sy + i + 1
    q = (2 * k + 1) * tz + (2 * j + 1) * ty + 2 * i + 1
    for child in range(8):
        if fine[q + (child & 1) + ((child >> 1) & 1) * ty + (child >> 2) * tz] > none:
            cell[p] = 0


@kernel
def mark_nodes(cell, number, nx, ny, nz, sy, sz):  # type: ignore[no-untyped-def]
    """0 in `number` for each of nx, ny, nz corners that a box of `cell` touches."""
    i, j, k = cuda.grid(3)
    if i >= nx or j >= ny or k >= nz:
        return
    p = (k + 1) * sz + (j + 1) * sy + i + 1
    for corner in range(8):
        if cell[p - (corner & 1) - ((corner >> 1) & 1) * sy - (corner >> 2) * sz] >= 0:
            number[p] = 0


@kernel
def count_rows(grid, width, counts):  # type: ignore[no-untyped-def]
    """How many marks there are in each row of a grid."""
    row = cuda.grid(1)
    if row < counts.shape[0]:
        many = 0
        for i in range(width):
            if grid[row * width + i] >= 0:
                many += 1
        counts[row] = many


@kernel
def number_rows(grid, width, starts, place):  # type: ignore[no-untyped-def]
    """Number the marks in a grid on from each row's start, and tell the place of each."""
    row = cuda.grid(1)
    if row < starts.shape[0]:
        next_ = starts[row]
        for i in range(width):
            p = row * width + i
            if grid[p] >= 0:
                grid[p] = next_
                place[next_] = p
                next_ += 1


@kernel
def held_corners(place, number, held, out, sy, sz, ty, tz):  # type: ignore[no-untyped-def]
    """For each coarse box: which of its 27 finer corners are held, as bits."""
    v = cuda.grid(1)
    if v >= place.shape[0]:
        return
    q = twice(place[v], sy, sz, ty, tz)
    bits = np.int32(0)
    for corner in range(27):
        n = number[q + corner % 3 + (corner // 3) % 3 * ty + corner // 9 * tz]
        if n >= 0 and held[n] != 0:
            bits |= np.int32(1) << np.int32(corner)
    out[v] = bits


@part
def hat(place, side):  # type: ignore[no-untyped-def]
    """The coarse hat of side 0 or 1 at place 0, 1, 2 along an edge."""
    return 0.5 * place if side == 1 else 1 - 0.5 * place


@part
def is_held(bits, child, a):  # type: ignore[no-untyped-def]
    """Whether corner a of a child is among the held ones."""
    x, y, z = (child & 1) + (a & 1), ((child >> 1) & 1) + ((a >> 1) & 1), (child >> 2) + (a >> 2)
    return (bits >> (x + 3 * y + 9 * z)) & 1 != 0


@kernel
def joined_tables(place, code, bits, matrix, weight, plain, table, sy, sz, ty, tz):  # type: ignore[no-untyped-def]
    """Stiffness (576, v) of coarse boxes: the sum of P^T K P over their children, K of `matrix` (ways, 576).

    `weight` (8, 8, 8) is that of the last, a coarse corner, at the second, the corner of a child, which is the first;
    `plain` (8, ways, 576) is P^T K P of each child that has no held corner.
    """
    v, e = cuda.grid(2)
    if v >= place.shape[0] or e >= 576:
        return
    q = twice(place[v], sy, sz, ty, tz)
    row, column = e // 24, e % 24
    m, d, n, f = row // 3, row % 3, column // 3, column % 3
    total = 0.0
    for child in range(8):
        box = code[q + (child & 1) + ((child >> 1) & 1) * ty + (child >> 2) * tz]
        if box == 0:
            continue
        way, share = box & np.uint16(255), (box >> np.uint16(8)) / 255.0
        if bits[v] == 0:
            total += share * plain[child, way, e]
            continue
        for a in range(8):
            w = share * weight[child, a, m]
            if w == 0 or is_held(bits[v], child, a):
                continue
            for b in range(8):
                s = w * weight[child, b, n]
                if s != 0 and not is_held(bits[v], child, b):
                    total += s * matrix[way, 24 * (3 * a + d) + 3 * b + f]
    table[e, v] = total


@kernel
def folded_tables(place, cell, above, weight, table, sy, sz, ty, tz):  # type: ignore[no-untyped-def]
    """Stiffness (576, v) of coarse boxes: the sum of P^T K P over their children, boxes of `above` (576, u)."""
    v, e = cuda.grid(2)
    if v >= place.shape[0] or e >= 576:
        return
    q = twice(place[v], sy, sz, ty, tz)
    row, column = e // 24, e % 24
    m, d, n, f = row // 3, row % 3, column // 3, column % 3
    total = 0.0
    for child in range(8):
        box = cell[q + (child & 1) + ((child >> 1) & 1) * ty + (child >> 2) * tz]
        if box < 0:
            continue
        for a in range(8):
            w = weight[child, a, m]
            if w == 0:
                continue
            for b in range(8):
                s = w * weight[child, b, n]
                if s != 0:
                    total += s * above[24 * (3 * a + d) + 3 * b + f, box]
    table[e, v] = total


@kernel
def add_spring_tables(node, spring, place, cell, table, sy, sz, ty, tz):  # type: ignore[no-untyped-def]
    """Add each spring (s, 3, 3) at finer nodes (s,), with their `place`, to one coarse box that holds it."""
    s = cuda.grid(1)
    if s >= node.shape[0]:
        return
    p = place[node[s]]
    k = p // tz - 1
    j = (p - (k + 1) * tz) // ty - 1
    i = p - (k + 1) * tz - (j + 1) * ty - 1
    for corner in range(8):
        # The coarse box that begins at or before the node, then those before it where it lies on their border
        a, b, c = i // 2 - (corner & 1), j // 2 - ((corner >> 1) & 1), k // 2 - (corner >> 2)
        x, y, z = i - 2 * a, j - 2 * b, k - 2 * c
        box = cell[(c + 1) * sz + (b + 1) * sy + a + 1]
        if x > 2 or y > 2 or z > 2 or box < 0:
            continue
        for m in range(8):
            w = hat(x, m & 1) * hat(y, (m >> 1) & 1) * hat(z, m >> 2)
            for n in range(8):
                both = w * hat(x, n & 1) * hat(y, (n >> 1) & 1) * hat(z, n >> 2)
                if both != 0:
                    for d in range(3):
                        for f in range(3):
                            at = 24 * (3 * m + d) + 3 * n + f
                            cuda.atomic.add(table, (at, box), table.dtype.type(both * spring[s, d, f]))
        return
