"""The compiled loops that multiply with 3 x 3 blocks and work on vectors. Imported only when first used.

Vectors are (3n, k), k columns side by side, so that a block is read once for all of them: one column, or a multiple
of four, taken eight or four at a time (lanes.py). `blocks` (b, 3, 3) are in single or double precision; rows `start`
(n + 1,), `column` (b,). Each loop works on rows (or nodes) first..last. Places are unsigned: a signed one costs a
test for counting from the end.
"""

import numba
import numpy as np

from fem.solving.lanes import add_scaled, load, prefetch, store, zeros

U = np.uint64
_0, _1, _2, _3, _4, _8 = U(0), U(1), U(2), U(3), U(4), U(8)
AHEAD = U(16)
"""A node's part of the vector is asked for so many blocks before its turn: it seldom lies in the nearest memory."""

_MATRIX = "i4[::1], i4[::1], {f}[:, :, ::1]"
_RANGE = "i8, i8"


def _loop(arguments, *, precisions):  # type: ignore[no-untyped-def]
    """Compile at import, in single (f4) or double (f8) precision: the first solve does not wait."""
    kinds = [f"void({arguments}, {_RANGE})".format(f=f) for f in precisions]
    return numba.njit(kinds, cache=True, nogil=True, fastmath=True)


@numba.njit(inline="always")
def _one(start, column, blocks, x, row):  # type: ignore[no-untyped-def]
    """Row of blocks (b, 9) times one column x (3n,): three sums."""
    zero = blocks.dtype.type(0)
    a, b, c = zero, zero, zero
    for at in range(U(start[row]), U(start[row + _1])):
        j = _3 * U(column[at])
        m = blocks[at]
        u, v, w = x[j], x[j + _1], x[j + _2]
        a += m[_0] * u + m[_1] * v + m[_2] * w
        b += m[_3] * u + m[U(4)] * v + m[U(5)] * w
        c += m[U(6)] * u + m[U(7)] * v + m[U(8)] * w
    return a, b, c


def _row_of(width):  # type: ignore[no-untyped-def]
    """The loop over one row of blocks for so many columns at once."""

    @numba.njit
    def row_times(start, column, blocks, x, k, row, s):  # type: ignore[no-untyped-def]
        """Row of flat blocks (9b,) times columns s..s+width of flat x (3nk,): lanes of three sums."""
        a, b, c = zeros(x, width), zeros(x, width), zeros(x, width)
        last = U(column.shape[0] - 1)
        for at in range(U(start[row]), U(start[row + _1])):
            soon = _3 * k * U(column[min(at + AHEAD, last)]) + s
            prefetch(x, soon)
            prefetch(x, soon + k)
            prefetch(x, soon + _2 * k)
            j, m = _3 * k * U(column[at]) + s, U(9) * at
            u, v, w = load(x, j, width), load(x, j + k, width), load(x, j + _2 * k, width)
            a = add_scaled(add_scaled(add_scaled(a, blocks[m], u), blocks[m + _1], v), blocks[m + _2], w)
            b = add_scaled(add_scaled(add_scaled(b, blocks[m + _3], u), blocks[m + _4], v), blocks[m + U(5)], w)
            c = add_scaled(add_scaled(add_scaled(c, blocks[m + U(6)], u), blocks[m + U(7)], v), blocks[m + _8], w)
        return a, b, c

    return row_times


def _write_of(width, row_times):  # type: ignore[no-untyped-def]
    """How a row's sums become a product."""

    @numba.njit
    def write(start, column, blocks, x, out, keep, gain, k, row, s):  # type: ignore[no-untyped-def]
        none, i = zeros(x, width), _3 * k * row + s
        for sums in row_times(start, column, blocks, x, k, row, s):
            value = add_scaled(none, gain, sums)
            if keep != 0:
                value = add_scaled(value, keep, load(out, i, width))
            store(out, i, value)
            i += k

    return write


def _improve_of(width, row_times):  # type: ignore[no-untyped-def]
    """How a row's sums become a step of the polynomial."""

    @numba.njit
    def improve(start, column, blocks, inverse, step, new, residual, x, keep, gain, k, row, s):  # type: ignore[no-untyped-def]
        i, plus, minus = _3 * k * row + s, blocks.dtype.type(1), blocks.dtype.type(-1)
        a, b, c = row_times(start, column, blocks, step, k, row, s)
        p = add_scaled(load(residual, i, width), minus, a)
        q = add_scaled(load(residual, i + k, width), minus, b)
        r = add_scaled(load(residual, i + _2 * k, width), minus, c)
        store(residual, i, p)
        store(residual, i + k, q)
        store(residual, i + _2 * k, r)
        for d in range(_3):
            m = U(9) * row + _3 * d
            value = add_scaled(zeros(x, width), keep, load(step, i, width))
            value = add_scaled(value, gain * inverse[m], p)
            value = add_scaled(value, gain * inverse[m + _1], q)
            value = add_scaled(value, gain * inverse[m + _2], r)
            store(new, i, value)
            store(x, i, add_scaled(value, plus, load(x, i, width)))
            i += k

    return improve


_row_4, _row_8 = _row_of(4), _row_of(8)
_write_4, _write_8 = _write_of(4, _row_4), _write_of(8, _row_8)
_improve_4, _improve_8 = _improve_of(4, _row_4), _improve_of(8, _row_8)


@_loop(_MATRIX + ", {f}[:, ::1], {f}[:, ::1], {f}, {f}", precisions=("f4", "f8"))
def multiply(start, column, blocks, x, out, keep, gain, first, last):  # type: ignore[no-untyped-def]
    """out = keep out + gain blocks x; with keep = 0 what `out` holds before does not matter."""
    k, given, told = U(x.shape[1]), x.reshape(x.size), out.reshape(out.size)
    if k == _1:
        flat = blocks.reshape((blocks.shape[0], 9))
        for row in range(U(first), U(last)):
            i = _3 * row
            a, b, c = _one(start, column, flat, given, row)
            if keep == 0:
                told[i], told[i + _1], told[i + _2] = gain * a, gain * b, gain * c
            else:
                told[i] = keep * told[i] + gain * a
                told[i + _1] = keep * told[i + _1] + gain * b
                told[i + _2] = keep * told[i + _2] + gain * c
        return
    every = blocks.reshape(blocks.size)
    for row in range(U(first), U(last)):
        s = _0
        while s + _8 <= k:
            _write_8(start, column, every, given, told, keep, gain, k, row, s)
            s += _8
        if s < k:
            _write_4(start, column, every, given, told, keep, gain, k, row, s)


@_loop(_MATRIX + ", {f}[:, :, ::1], {f}[:, ::1], {f}[:, ::1], {f}[:, ::1], {f}[:, ::1], {f}, {f}", precisions=("f4",))
def polynomial_step(start, column, blocks, inverse, step, new, residual, x, keep, gain, first, last):  # type: ignore[no-untyped-def]
    """residual -= blocks step; new = keep step + gain inverse residual; x += new: one pass over the matrix."""
    k, given = U(x.shape[1]), step.reshape(step.size)
    if k == _1:
        flat = blocks.reshape((blocks.shape[0], 9))
        for row in range(U(first), U(last)):
            i = _3 * row
            m = inverse[row]
            a, b, c = _one(start, column, flat, given, row)
            p, q, r = residual[i, _0] - a, residual[i + _1, _0] - b, residual[i + _2, _0] - c
            residual[i, _0], residual[i + _1, _0], residual[i + _2, _0] = p, q, r
            for d in range(_3):
                value = keep * step[i + d, _0] + gain * (m[d, _0] * p + m[d, _1] * q + m[d, _2] * r)
                new[i + d, _0] = value
                x[i + d, _0] += value
        return
    every, own = blocks.reshape(blocks.size), inverse.reshape(inverse.size)
    told, left, improved = new.reshape(new.size), residual.reshape(x.size), x.reshape(x.size)
    for row in range(U(first), U(last)):
        s = _0
        while s + _8 <= k:
            _improve_8(start, column, every, own, given, told, left, improved, keep, gain, k, row, s)
            s += _8
        if s < k:
            _improve_4(start, column, every, own, given, told, left, improved, keep, gain, k, row, s)


@_loop("{f}[:, :, ::1], {f}[:, ::1], {f}[:, ::1], {f}[:, ::1], {f}", precisions=("f4",))
def jacobi(inverse, residual, step, x, gain, first, last):  # type: ignore[no-untyped-def]
    """step = gain inverse residual; x += step."""
    for row in range(U(first), U(last)):
        i = _3 * row
        m = inverse[row]
        for t in range(U(x.shape[1])):
            p, q, r = residual[i, t], residual[i + _1, t], residual[i + _2, t]
            for d in range(_3):
                value = gain * (m[d, _0] * p + m[d, _1] * q + m[d, _2] * r)
                step[i + d, t] = value
                x[i + d, t] += value


compiled = numba.njit(cache=True, nogil=True)
quick = numba.njit(cache=True, nogil=True, fastmath=True)


@compiled
def invert(blocks, out, first, last):  # type: ignore[no-untyped-def]
    """out = inverse of each symmetric positive 3 x 3 block, in closed form."""
    for n in range(first, last):
        a, b, c = blocks[n, 0, 0], blocks[n, 0, 1], blocks[n, 0, 2]
        d, e, f = blocks[n, 1, 1], blocks[n, 1, 2], blocks[n, 2, 2]
        p, q, r = d * f - e * e, c * e - b * f, b * e - c * d
        det = a * p + b * q + c * r
        out[n, 0, 0], out[n, 0, 1], out[n, 0, 2] = p / det, q / det, r / det
        out[n, 1, 0], out[n, 1, 1], out[n, 1, 2] = q / det, (a * f - c * c) / det, (b * c - a * e) / det
        out[n, 2, 0], out[n, 2, 1], out[n, 2, 2] = r / det, (b * c - a * e) / det, (a * d - b * b) / det


@compiled
def diagonal(start, column, blocks, out, first, last):  # type: ignore[no-untyped-def]
    """out (n, 3, 3) = the blocks on the diagonal."""
    for row in range(first, last):
        for at in range(start[row], start[row + 1]):
            if column[at] == row:
                out[row] = blocks[at]


@compiled
def project(start, column, blocks, projector, plain, scale, rows, first, last):  # type: ignore[no-untyped-def]
    """blocks = P K P + scale (I - P) in place in rows[first:last]; `plain` (n,) tells where P is the identity."""
    left, right = np.empty((3, 3)), np.empty((3, 3))
    for turn in range(first, last):
        row = rows[turn]
        for at in range(start[row], start[row + 1]):
            if plain[row] and plain[column[at]]:
                continue
            left[:] = projector[row]
            right[:] = projector[column[at]]
            kept = np.zeros((3, 3))
            for i in range(3):
                for j in range(3):
                    for k in range(3):
                        for m in range(3):
                            kept[i, j] += left[i, k] * blocks[at, k, m] * right[m, j]
                    if column[at] == row:
                        kept[i, j] += scale * ((1.0 if i == j else 0.0) - left[i, j])
            blocks[at] = kept


@compiled
def coarsen(start, column, blocks, parent, children, begin, corner, top, below, out, first, last):  # type: ignore[no-untyped-def]
    """Rows first..last of the first-order matrix: a corner gathers its own row and half of its mid-sides' rows, and
    each of their blocks goes to the corners that its column stems from.
    """
    place = np.empty(begin.shape[0] - 1, dtype=np.int64)
    for c in range(first, last):
        for at in range(top[c], top[c + 1]):
            place[below[at]] = at
        for child in range(begin[c] - 1, begin[c + 1]):
            row, weight = (corner[c], 1.0) if child < begin[c] else (children[child], 0.5)
            for at in range(start[row], start[row + 1]):
                p, q = parent[column[at], 0], parent[column[at], 1]
                if p == q:
                    there = place[p]
                    for i in range(3):
                        for j in range(3):
                            out[there, i, j] += weight * blocks[at, i, j]
                else:
                    here, there = place[p], place[q]
                    for i in range(3):
                        for j in range(3):
                            half = 0.5 * weight * blocks[at, i, j]
                            out[here, i, j] += half
                            out[there, i, j] += half


@quick
def block_times(blocks, x, out, first, last):  # type: ignore[no-untyped-def]
    """out (3n,) = each block (n, 3, 3) times its three values of x."""
    for n in range(U(first), U(last)):
        i, m = _3 * n, blocks[n]
        p, q, r = x[i], x[i + _1], x[i + _2]
        for d in range(_3):
            out[i + d] = m[d, _0] * p + m[d, _1] * q + m[d, _2] * r


@quick
def lift(parent, coarse, x, first, last):  # type: ignore[no-untyped-def]
    """x += what the corners' values (3c, k) are at nodes first..last."""
    for n in range(U(first), U(last)):
        i, p, q = _3 * n, _3 * U(parent[n, 0]), _3 * U(parent[n, 1])
        for d in range(_3):
            for s in range(U(x.shape[1])):
                x[i + d, s] += np.float32(0.5) * (coarse[p + d, s] + coarse[q + d, s])


@quick
def gather(children, begin, residual, corner, coarse, first, last):  # type: ignore[no-untyped-def]
    """coarse = what corners first..last receive of residuals (3n, k): all of their own, half of their mid-sides'."""
    for c in range(U(first), U(last)):
        own = _3 * U(corner[c])
        for d in range(_3):
            for s in range(U(coarse.shape[1])):
                coarse[_3 * c + d, s] = residual[own + d, s]
        for at in range(U(begin[c]), U(begin[c + _1])):
            child = _3 * U(children[at])
            for d in range(_3):
                for s in range(U(coarse.shape[1])):
                    coarse[_3 * c + d, s] += np.float32(0.5) * residual[child + d, s]


@quick
def advance(x, residual, direction, image, alpha, first, last):  # type: ignore[no-untyped-def]
    """x += alpha direction; residual -= alpha image; returns the squares (k,) of the new residuals."""
    squares = np.zeros(x.shape[1])
    for i in range(U(first), U(last)):
        for s in range(U(x.shape[1])):
            x[i, s] += alpha[s] * direction[i, s]
            value = residual[i, s] - alpha[s] * image[i, s]
            residual[i, s] = value
            squares[s] += value * value
    return squares


@quick
def turn(direction, z, beta, first, last):  # type: ignore[no-untyped-def]
    """direction = z + beta direction."""
    for i in range(U(first), U(last)):
        for s in range(U(z.shape[1])):
            direction[i, s] = z[i, s] + beta[s] * direction[i, s]


@quick
def scaled(x, factor, out, first, last):  # type: ignore[no-untyped-def]
    """out = factor x, column by column, in the precision of `out`."""
    for i in range(U(first), U(last)):
        for s in range(U(x.shape[1])):
            out[i, s] = factor[s] * x[i, s]


@quick
def dots(x, y, first, last):  # type: ignore[no-untyped-def]
    """Products (k,) of the columns of x with those of y."""
    sums = np.zeros(x.shape[1])
    for i in range(U(first), U(last)):
        for s in range(U(x.shape[1])):
            sums[s] += x[i, s] * y[i, s]
    return sums
