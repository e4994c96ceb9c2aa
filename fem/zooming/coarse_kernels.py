"""The compiled loops that make coarse boxes out of eight finer ones. Imported only when first used.

A child k of a coarse box lies at bit 0 of k along x, bit 1 along y, bit 2 along z. The coarse stiffness is P^T K P
with trilinear P, so that the coarse level holds exactly the energy that the fine one has for its displacements.
"""

import numba
import numpy as np

compiled = numba.njit(cache=True, nogil=True)


@compiled
def join_children(code, keys, begin, end):  # type: ignore[no-untyped-def]
    """The codes (nz, ny, nx) of eight boxes as the eight bytes of `keys` (mz, my, mx), planes begin..end."""
    nz, ny, nx = code.shape
    _, my, mx = keys.shape
    for c in range(begin, end):
        for b in range(my):
            for a in range(mx):
                key = np.uint64(0)
                for k in range(8):
                    x, y, z = 2 * a + (k & 1), 2 * b + ((k >> 1) & 1), 2 * c + (k >> 2)
                    if x < nx and y < ny and z < nz:
                        key |= np.uint64(code[z, y, x]) << np.uint64(8 * k)
                keys[c, b, a] = key


@compiled
def held_corners(keys, number, held, out):  # type: ignore[no-untyped-def]
    """For each coarse box that holds something, in order: which of its 27 finer corners are held, as bits."""
    nz, ny, nx = number.shape
    mz, my, mx = keys.shape
    v = 0
    for c in range(mz):
        for b in range(my):
            for a in range(mx):
                if keys[c, b, a] == 0:
                    continue
                bits = np.uint32(0)
                for q in range(27):
                    x, y, z = 2 * a + q % 3, 2 * b + (q // 3) % 3, 2 * c + q // 9
                    if x < nx and y < ny and z < nz:
                        n = number[z, y, x]
                        if n >= 0 and held[n] != 0:
                            bits |= np.uint32(1) << np.uint32(q)
                out[v] = bits
                v += 1


@compiled
def joined_tables(key, bits, plain, matrix, shares, out, begin, end):  # type: ignore[no-untyped-def]
    """Stiffness begin..end of `out` (u, 576) of coarse boxes with the child codes `key` (u,) and held corners.

    A code is 1 + way * len(shares) + the share's number. `plain` (8, ways, 576) is P^T K P of each child without held
    corners, `matrix` (ways, 24, 24) K itself.
    """
    count = len(shares)
    weight = np.empty((8, 8))
    whole = np.empty((24, 24))
    for u in range(begin, end):
        whole[:] = 0
        for k in range(8):
            code = np.int64((key[u] >> np.uint64(8 * k)) & np.uint64(255))
            if code == 0:
                continue
            way, share = (code - 1) // count, shares[(code - 1) % count]
            if bits[u] == 0:
                for i in range(24):
                    for j in range(24):
                        whole[i, j] += share * plain[k, way, 24 * i + j]
                continue
            child_weights(k, bits[u], weight)
            add_folded(weight, matrix[way], share, whole)
        for i in range(24):
            for j in range(24):
                out[u, 24 * i + j] = whole[i, j]


@compiled
def child_weights(k, bits, weight):  # type: ignore[no-untyped-def]
    """Weight (8, 8) of the coarse corners at the corners of child k; none at those that are held."""
    for a in range(8):
        x, y, z = (k & 1) + (a & 1), ((k >> 1) & 1) + ((a >> 1) & 1), (k >> 2) + (a >> 2)
        free = (bits >> np.uint32(x + 3 * y + 9 * z)) & np.uint32(1) == 0
        for m in range(8):
            weight[a, m] = corner_weight(x, m & 1) * corner_weight(y, (m >> 1) & 1) * corner_weight(z, m >> 2)
            if not free:
                weight[a, m] = 0.0


@compiled
def corner_weight(place, side):  # type: ignore[no-untyped-def]
    """The coarse hat of side 0 or 1 at place 0, 1, 2 along an edge."""
    return 0.5 * place if side == 1 else 1 - 0.5 * place


@compiled
def add_folded(weight, matrix, share, whole):  # type: ignore[no-untyped-def]
    """whole += share W^T K W, where W works alike on the three components."""
    half = np.zeros((24, 24))
    for i in range(24):
        for b in range(8):
            for m in range(8):
                w = weight[b, m]
                if w != 0:
                    for d in range(3):
                        half[i, 3 * m + d] += w * matrix[i, 3 * b + d]
    for a in range(8):
        for m in range(8):
            w = share * weight[a, m]
            if w != 0:
                for d in range(3):
                    for j in range(24):
                        whole[3 * m + d, j] += w * half[3 * a + d, j]


@compiled
def add_spring_tables(keys, coarse_of, which, spare, table, number, node_place, spring):  # type: ignore[no-untyped-def]
    """Give each coarse box that holds a spring a table of its own, and add the springs (s, 3, 3) to it.

    `node_place` (s, 3) are the springs' fine grid corners (x, y, z); `coarse_of` (mz, my, mx) the boxes' numbers.
    `spare` is the first free row of `table`; returns the first that is still free.
    """
    mz, my, mx = keys.shape
    own = np.zeros(len(which), dtype=np.uint8)
    for s in range(len(node_place)):
        x, y, z = node_place[s]
        done = False
        for c in range(max((z - 1) >> 1, 0), min((z >> 1) + 1, mz)):
            for b in range(max((y - 1) >> 1, 0), min((y >> 1) + 1, my)):
                for a in range(max((x - 1) >> 1, 0), min((x >> 1) + 1, mx)):
                    if done or keys[c, b, a] == 0:
                        continue
                    done = True
                    v = coarse_of[c, b, a]
                    if own[v] == 0:
                        table[spare] = table[which[v]]
                        which[v] = spare
                        own[v] = 1
                        spare += 1
                    add_spring(table[which[v]], x - 2 * a, y - 2 * b, z - 2 * c, spring[s])
    return spare


@compiled
def add_spring(row, x, y, z, spring):  # type: ignore[no-untyped-def]
    """Add a spring at the place x, y, z in 0..2 of a coarse box to its matrix (576,)."""
    for m in range(8):
        for n in range(8):
            w = corner_weight(x, m & 1) * corner_weight(y, (m >> 1) & 1) * corner_weight(z, m >> 2)
            w *= corner_weight(x, n & 1) * corner_weight(y, (n >> 1) & 1) * corner_weight(z, n >> 2)
            if w != 0:
                for i in range(3):
                    for j in range(3):
                        row[24 * (3 * m + i) + 3 * n + j] += w * spring[i, j]


@compiled
def children_of(number, coarse, out):  # type: ignore[no-untyped-def]
    """The eight boxes (v, 8) in each coarse box, -1 where there is none; `number` and `coarse` are -1 there, too."""
    nz, ny, nx = number.shape
    mz, my, mx = coarse.shape
    for c in range(mz):
        for b in range(my):
            for a in range(mx):
                v = coarse[c, b, a]
                if v < 0:
                    continue
                for k in range(8):
                    x, y, z = 2 * a + (k & 1), 2 * b + ((k >> 1) & 1), 2 * c + (k >> 2)
                    out[v, k] = number[z, y, x] if x < nx and y < ny and z < nz else -1


@compiled
def fold(child, side, direction, out):  # type: ignore[no-untyped-def]
    """out += T^T A T, where T draws the corners of a finer box from those of the coarse one, at whose `side` along a
    direction it lies.
    """
    bit = 1 << direction
    half = np.empty((24, 24), child.dtype)
    for a in range(8):
        if a & bit:
            continue
        low, high = 3 * a, 3 * (a | bit)
        for d in range(3):
            for j in range(24):
                p, q = child[low + d, j], child[high + d, j]
                if side == 0:
                    half[low + d, j], half[high + d, j] = p + q / 2, q / 2
                else:
                    half[low + d, j], half[high + d, j] = p / 2, p / 2 + q
    for i in range(24):
        for a in range(8):
            if a & bit:
                continue
            low, high = 3 * a, 3 * (a | bit)
            for d in range(3):
                p, q = half[i, low + d], half[i, high + d]
                if side == 0:
                    out[i, low + d] += p + q / 2
                    out[i, high + d] += q / 2
                else:
                    out[i, low + d] += p / 2
                    out[i, high + d] += p / 2 + q


@compiled
def folded_tables(children, table, out, begin, end):  # type: ignore[no-untyped-def]
    """Stiffness begin..end of `out` (u, 576) of coarse boxes with `children` (u, 8), rows of `table`, -1 for none."""
    child = np.empty((24, 24), table.dtype)
    x = np.empty((4, 24, 24), table.dtype)
    y = np.empty((2, 24, 24), table.dtype)
    z = np.empty((24, 24), table.dtype)
    for u in range(begin, end):
        x[:], y[:], z[:] = 0, 0, 0
        for k in range(8):
            row = children[u, k]
            if row >= 0:
                for i in range(24):
                    for j in range(24):
                        child[i, j] = table[row, 24 * i + j]
                fold(child, k & 1, 0, x[k >> 1])
        for k in range(4):
            fold(x[k], k & 1, 1, y[k >> 1])
        for k in range(2):
            fold(y[k], k, 2, z)
        for i in range(24):
            for j in range(24):
                out[u, 24 * i + j] = z[i, j]
