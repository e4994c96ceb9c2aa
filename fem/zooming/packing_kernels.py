"""The compiled loops that pack a grid's filled boxes and number their corners. Imported only when first used."""

import numba
import numpy as np

compiled = numba.njit(cache=True, nogil=True)


@compiled
def count_boxes(filled, counts, begin, end):  # type: ignore[no-untyped-def]
    """How many boxes are filled in each of the layers begin..end of (nz, ny, nx)."""
    _, ny, nx = filled.shape
    for k in range(begin, end):
        many = 0
        for j in range(ny):
            for i in range(nx):
                many += filled[k, j, i] != 0
        counts[k] = many


@compiled
def mark_nodes(filled, number, counts, begin, end):  # type: ignore[no-untyped-def]
    """In planes begin..end of `number` (nz + 1, ny + 1, nx + 1): 0 at corners that touch a filled box of (nz, ny,
    nx), -1 at the others; counts the former of each plane.
    """
    nz, ny, nx = filled.shape
    for k in range(begin, end):
        many, low, high = 0, max(k - 1, 0), min(k, nz - 1)
        for j in range(ny + 1):
            near, far = max(j - 1, 0), min(j, ny - 1)
            before = np.uint8(0)
            for i in range(nx):
                here = filled[low, near, i] | filled[low, far, i] | filled[high, near, i] | filled[high, far, i]
                touched = (before | here) != 0
                number[k, j, i] = np.int32(touched) - np.int32(1)
                many += touched
                before = here
            number[k, j, nx] = np.int32(before != 0) - np.int32(1)
            many += before != 0
        counts[k] = many


@compiled
def number_nodes(starts, number, begin, end):  # type: ignore[no-untyped-def]
    """Number the corners marked 0 in planes begin..end, x fastest, each plane on from its start."""
    _, ny, nx = number.shape
    for k in range(begin, end):
        next_ = np.int32(starts[k])
        for j in range(ny):
            for i in range(nx):
                if number[k, j, i] == 0:
                    number[k, j, i] = next_
                    next_ += np.int32(1)


@compiled
def list_boxes(filled, number, start, first, begin, end):  # type: ignore[no-untyped-def]
    """The `first` nodes (v, 4) of the filled boxes of layers begin..end, which begin at `start` (nz + 1,)."""
    _, ny, nx = filled.shape
    for k in range(begin, end):
        v = start[k]
        for j in range(ny):
            for i in range(nx):
                if filled[k, j, i] != 0:
                    first[v, 0] = number[k, j, i]
                    first[v, 1] = number[k, j + 1, i]
                    first[v, 2] = number[k + 1, j, i]
                    first[v, 3] = number[k + 1, j + 1, i]
                    v += 1


@compiled
def pick(values, per_layer, filled, start, out, begin, end):  # type: ignore[no-untyped-def]
    """What `values` (layers, ny, nx) say of filled boxes (v,), planes begin..end; `per_layer` planes are a layer."""
    _, ny, nx = filled.shape
    for k in range(begin, end):
        v = start[k]
        for j in range(ny):
            for i in range(nx):
                if filled[k, j, i] != 0:
                    out[v] = values[k // per_layer, j, i]
                    v += 1
