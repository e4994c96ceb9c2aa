"""Compiled: the search for the least reserve over all families of beads of a zone. Imported only when first used.

numba keeps these loops by this file: whoever changes kernels.py also touches it.
"""

import numba
import numpy as np
from numba.np.unsafe.ndarray import to_fixed_tuple

from fem.criteria.kernels import (
    fails,
    hill_met,
    interlayer_met,
    reserves,
    single_met,
    tsai_wu_met,
    turned,
)
from fem.criteria.strength import BEADS, HILL_COUNTS, WIDE

compiled = numba.njit(cache=True, nogil=True, error_model="numpy")

LANES = 64
"""So many nodes are looked at side by side."""


@compiled
def load(p, v, begin, n, fixed, grows, still, rising):  # type: ignore[no-untyped-def]
    """Put n nodes' stresses (7, n) side by side, with the sizes (n,) of their stress (of a warming its own); whether
    nothing warms, and the largest permanent size."""
    cold, full = True, 0.0
    for j in range(n):
        one, two = 0.0, 0.0
        for m in range(7):
            fixed[m, j], grows[m, j] = p[begin + j, m], v[begin + j, m]
            one += fixed[m, j] * fixed[m, j]
            two += grows[m, j] * grows[m, j]
        still[j], rising[j] = np.sqrt(one), np.sqrt(two)
        full = max(full, still[j])
        cold &= fixed[6, j] == 0 and grows[6, j] == 0
    return cold, full


@compiled
def grown(p, v, f, j):  # type: ignore[no-untyped-def]
    """Stresses and warming of node j with what grows f times as large."""
    return (
        p[0, j] + f * v[0, j],
        p[1, j] + f * v[1, j],
        p[2, j] + f * v[2, j],
        p[3, j] + f * v[3, j],
        p[4, j] + f * v[4, j],
        p[5, j] + f * v[5, j],
        p[6, j] + f * v[6, j],
    )


@compiled
def find_met(kind, row, turn, fixed, grows, bound, met, n):  # type: ignore[no-untyped-def]
    """Mark in met (n,) which of n nodes are outside some criterion of a phase, reported ones too, under fixed + bound
    grows."""
    # As plain numbers, which no write can change, they let the loops below run several nodes to a register
    limits, matrix = to_fixed_tuple(row, WIDE), as_numbers(turn)
    if kind == BEADS:
        hill = limits[HILL_COUNTS] > 0
        for j in range(n):
            s = turned(matrix, grown(fixed, grows, bound[j], j))
            alone = single_met(limits, s) | tsai_wu_met(limits, s) | interlayer_met(limits, s)
            met[j] |= alone | (hill & hill_met(limits, s))
    else:
        for j in range(n):
            met[j] |= fails(kind, limits, turned(matrix, grown(fixed, grows, bound[j], j)))


@compiled
def as_numbers(m):  # type: ignore[no-untyped-def]
    """A matrix (6, 7) as six tuples."""
    return (
        to_fixed_tuple(m[0], 7),
        to_fixed_tuple(m[1], 7),
        to_fixed_tuple(m[2], 7),
        to_fixed_tuple(m[3], 7),
        to_fixed_tuple(m[4], 7),
        to_fixed_tuple(m[5], 7),
    )


@compiled
def needed(kind, row, minima):  # type: ignore[no-untyped-def]
    """The largest of the minima that a phase of this kind could still lower."""
    if kind != BEADS:
        return minima[kind, 0]
    most = max(minima[kind, 0], minima[kind, 1], minima[kind, 2])
    return max(most, minima[kind, 3]) if row[HILL_COUNTS] > 0 else most


@compiled
def judge_zone(p, v, matrix, kinds, limits, safe, least, mode, phase, first, last):  # type: ignore[no-untyped-def]
    """The least reserve over all k phases at the nodes first to last of a zone, under mean stresses and warmings p
    and v (j, 7) [MPa, K], by matrices (k, 6, 7); into least, mode and phase (j,). Returns the minimum (3, 4) of each
    criterion of each kind.

    A phase is turned to only where it may lower a node's reserve or a criterion's minimum. Most are so far inside
    that the size of the mean stress tells it, others are when looked at with the reserve found so far; nodes are
    looked at some at a time, side by side in a register.
    """
    minima, each = np.full((3, 4), np.inf), np.empty(4)
    fixed, grows = np.empty((7, LANES)), np.empty((7, LANES))
    still, rising, bound = np.empty(LANES), np.empty(LANES), np.empty(LANES)
    met = np.empty(LANES, dtype=np.bool_)
    for begin in range(first, last, LANES):
        n = min(LANES, last - begin)
        cold, full = load(p, v, begin, n, fixed, grows, still, rising)
        for k in range(len(kinds)):
            kind, row, turn = kinds[k], limits[k], matrix[k]
            need = needed(kind, row, minima)
            met[:n] = k == 0
            if k > 0:
                near = not cold
                for j in range(n):
                    one = max(least[begin + j], need)
                    bound[j] = one if rising[j] > 0 else 0.0
                    near |= still[j] + bound[j] * rising[j] >= safe[k]
                if not near:
                    continue
                met[:n] = bound[:n] == np.inf
                find_met(kind, row, turn, fixed, grows, bound, met, n)
                if not cold or full >= safe[k]:
                    bound[:n] = 0.0
                    find_met(kind, row, turn, fixed, grows, bound, met, n)
            for j in range(n):
                if met[j]:
                    i = begin + j
                    one, how = reserves(kind, row, turned(turn, fixed[:, j]), turned(turn, grows[:, j]), each)
                    for m in range(4):
                        minima[kind, m] = min(minima[kind, m], each[m])
                    if k == 0 or one < least[i]:
                        least[i], mode[i], phase[i] = one, how, k
        for j in range(n):
            if np.isnan(still[j] + rising[j]):
                least[begin + j] = np.nan
    return minima


@compiled
def bead_stress(s, matrix, phase, out, first, last):  # type: ignore[no-untyped-def]
    """Stress in the axes of each node's own phase (j,), of mean stresses and warmings s (j, 7), into out (j, 6)."""
    for i in range(first, last):
        one = turned(matrix[phase[i]], s[i])
        for k in range(6):
            out[i, k] = one[k]
