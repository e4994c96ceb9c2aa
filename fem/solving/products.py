"""The compiled loops that multiply with 3 x 3 blocks and work on vectors. Imported only when first used.

Vectors are (3n, k), k columns side by side, so that a block is read once for all of them: one column, or a multiple
of four. `blocks` (b, 3, 3) are in single or double precision; rows `start` (n + 1,), `column` (b,). Each loop works
on rows (or nodes) first..last. Places are unsigned: a signed one costs a test for counting from the end.
"""

import numba
import numpy as np
from numba.core import config

U = np.uint64
_0, _1, _2, _3 = U(0), U(1), U(2), U(3)

# Sums of four columns fill a processor's wide registers only if it is told to look for them
_before = config.SLP_VECTORIZE  # type: ignore[attr-defined]
config.SLP_VECTORIZE = 1  # type: ignore[attr-defined]

_MATRIX = "i4[::1], i4[::1], {f}[:, :, ::1]"
_RANGE = "i8, i8"


def _loop(arguments, *, precisions):  # type: ignore[no-untyped-def]
    """Compile now, in single (f4) or double (f8) precision, so that the switch above holds for these loops alone."""
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


@numba.njit(inline="always")
def _four(start, column, blocks, x, row, s):  # type: ignore[no-untyped-def]
    """Row of blocks (b, 9) times columns s..s+3: three sums for each."""
    zero = blocks.dtype.type(0)
    a0, a1, a2, a3 = zero, zero, zero, zero
    b0, b1, b2, b3 = zero, zero, zero, zero
    c0, c1, c2, c3 = zero, zero, zero, zero
    for at in range(U(start[row]), U(start[row + _1])):
        j = _3 * U(column[at])
        m = blocks[at]
        for d in range(_3):
            p, q, r = m[d], m[_3 + d], m[U(6) + d]
            x0, x1, x2, x3 = x[j + d, s], x[j + d, s + _1], x[j + d, s + _2], x[j + d, s + _3]
            a0 += p * x0
            a1 += p * x1
            a2 += p * x2
            a3 += p * x3
            b0 += q * x0
            b1 += q * x1
            b2 += q * x2
            b3 += q * x3
            c0 += r * x0
            c1 += r * x1
            c2 += r * x2
            c3 += r * x3
    return ((a0, a1, a2, a3), (b0, b1, b2, b3), (c0, c1, c2, c3))


@_loop(_MATRIX + ", {f}[:, ::1], {f}[:, ::1], {f}, {f}", precisions=("f4", "f8"))
def multiply(start, column, blocks, x, out, keep, gain, first, last):  # type: ignore[no-untyped-def]
    """out = keep out + gain blocks x; with keep = 0 what `out` holds before does not matter."""
    k = U(x.shape[1])
    flat = blocks.reshape((blocks.shape[0], 9))
    if k == _1:
        alone, sum_ = x.reshape(x.size), out.reshape(out.size)
        for row in range(U(first), U(last)):
            i = _3 * row
            a, b, c = _one(start, column, flat, alone, row)
            if keep == 0:
                sum_[i], sum_[i + _1], sum_[i + _2] = gain * a, gain * b, gain * c
            else:
                sum_[i] = keep * sum_[i] + gain * a
                sum_[i + _1] = keep * sum_[i + _1] + gain * b
                sum_[i + _2] = keep * sum_[i + _2] + gain * c
        return
    for row in range(U(first), U(last)):
        i = _3 * row
        for s in range(_0, k, U(4)):
            sums = _four(start, column, flat, x, row, s)
            for d in range(3):
                for e in range(4):
                    place = s + U(e)
                    if keep == 0:
                        out[i + U(d), place] = gain * sums[d][e]
                    else:
                        out[i + U(d), place] = keep * out[i + U(d), place] + gain * sums[d][e]


@_loop(_MATRIX + ", {f}[:, :, ::1], {f}[:, ::1], {f}[:, ::1], {f}[:, ::1], {f}[:, ::1], {f}, {f}", precisions=("f4",))
def polynomial_step(start, column, blocks, inverse, step, new, residual, x, keep, gain, first, last):  # type: ignore[no-untyped-def]
    """residual -= blocks step; new = keep step + gain inverse residual; x += new: one pass over the matrix."""
    k = U(x.shape[1])
    flat = blocks.reshape((blocks.shape[0], 9))
    alone = step.reshape(step.size)
    for row in range(U(first), U(last)):
        i = _3 * row
        m = inverse[row]
        if k == _1:
            a, b, c = _one(start, column, flat, alone, row)
            p, q, r = residual[i, _0] - a, residual[i + _1, _0] - b, residual[i + _2, _0] - c
            residual[i, _0], residual[i + _1, _0], residual[i + _2, _0] = p, q, r
            for d in range(_3):
                value = keep * step[i + d, _0] + gain * (m[d, _0] * p + m[d, _1] * q + m[d, _2] * r)
                new[i + d, _0] = value
                x[i + d, _0] += value
            continue
        for s in range(_0, k, U(4)):
            sums = _four(start, column, flat, step, row, s)
            for d in range(3):
                for e in range(4):
                    residual[i + U(d), s + U(e)] -= sums[d][e]
            for d in range(_3):
                for t in range(s, s + U(4)):
                    value = keep * step[i + d, t] + gain * (
                        m[d, _0] * residual[i, t] + m[d, _1] * residual[i + _1, t] + m[d, _2] * residual[i + _2, t]
                    )
                    new[i + d, t] = value
                    x[i + d, t] += value


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


config.SLP_VECTORIZE = _before  # type: ignore[attr-defined]

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
