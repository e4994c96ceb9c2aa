"""Compiled: the criteria, one stress at a time.

The question is always the same: by what lam may the stress v grow until p + lam v meets a criterion, p being
permanent? All criteria but maximum stress are quadratic in lam and share one root-finder (W. H. Press et al.,
Numerical Recipes (2007), section 5.6: the quadratic without cancellation). Their safe stresses are convex and hold
zero: where p and p + lam v are inside, the reserve is larger than lam. Imported only when first used.

`row` are the limits of a strength, `kind` what it is (strength.py).
"""

import numba
import numpy as np

from fem.criteria.strength import (
    BEADS,
    FORM,
    HILL,
    HILL_COUNTS,
    LINEAR,
    METAL,
    SHEAR,
    TEAR,
)

compiled = numba.njit(cache=True, nogil=True, error_model="numpy")

COMBINED, TOGETHER = 9, 10
"""Modes of Tsai-Wu and of the layer interface; the one after is the interface sheared under pressure."""
SAME = 1e-9
"""Reserve factors nearer than this, relative, are one: then the mode of a single stress is named."""


# ---- the forms


@compiled
def form(row, first, s, t):  # type: ignore[no-untyped-def]
    """s F t of the quadratic form that stands in the row from `first` on."""
    out = row[first] * s[0] * t[0] + row[first + 1] * s[1] * t[1] + row[first + 2] * s[2] * t[2]
    out += row[first + 3] * (s[0] * t[1] + s[1] * t[0]) + row[first + 4] * (s[0] * t[2] + s[2] * t[0])
    out += row[first + 5] * (s[1] * t[2] + s[2] * t[1])
    return out + sheared(row, s, t) + row[SHEAR + 2] * s[5] * t[5]


@compiled
def sheared(row, s, t):  # type: ignore[no-untyped-def]
    """What shears 23 and 13 use up of the layer interface."""
    return row[SHEAR] * s[3] * t[3] + row[SHEAR + 1] * s[4] * t[4]


@compiled
def linear(row, s):  # type: ignore[no-untyped-def]
    """Tsai-Wu's linear part."""
    return row[LINEAR] * s[0] + row[LINEAR + 1] * s[1] + row[LINEAR + 2] * s[2]


# ---- yes or no


@compiled
def single_met(row, s):  # type: ignore[no-untyped-def]
    """Whether one of the six stresses reaches its own strength."""
    along = (s[0] >= row[0]) | (-s[0] >= row[1]) | (abs(s[3]) >= row[6])
    across = (s[1] >= row[2]) | (-s[1] >= row[3]) | (abs(s[4]) >= row[7])
    return along | across | (s[2] >= row[4]) | (-s[2] >= row[5]) | (abs(s[5]) >= row[8])


@compiled
def tsai_wu_met(row, s):  # type: ignore[no-untyped-def]
    """Whether Tsai-Wu is met."""
    return form(row, FORM, s, s) + linear(row, s) >= 1


@compiled
def interlayer_met(row, s):  # type: ignore[no-untyped-def]
    """Whether the layer interface fails."""
    pulled = s[2] if s[2] > 0 else 0.0
    return row[TEAR] * pulled * pulled + sheared(row, s, s) >= 1


@compiled
def hill_met(row, s):  # type: ignore[no-untyped-def]
    """Whether Hill's form, or von Mises' for a metal, is met."""
    return form(row, HILL, s, s) >= 1


@compiled
def buckling_met(row, s):  # type: ignore[no-untyped-def]
    """Whether a thin wall buckles."""
    along = -s[0] if s[0] < 0 else 0.0
    up = -s[2] if s[2] < 0 else 0.0
    return along * row[0] + up * row[1] + (s[4] * row[2]) * (s[4] * row[2]) >= 1


@compiled
def fails(kind, row, s):  # type: ignore[no-untyped-def]
    """Whether s meets a criterion that decides."""
    if kind == BEADS:
        return single_met(row, s) | tsai_wu_met(row, s) | interlayer_met(row, s)
    return hill_met(row, s) if kind == METAL else buckling_met(row, s)


# ---- reserves


@compiled
def rising_root(a, b, c):  # type: ignore[no-untyped-def]
    """The positive root at which a lam^2 + b lam + c rises through 0; infinite where there is none.

    Written as -2c / (b + sqrt(b^2 - 4ac)) it goes over into -c/b as a vanishes and is the lower of two positive
    roots when a < 0; for b < 0 the other form avoids the cancellation.
    """
    square = b * b - 4 * a * c
    if square < 0 or (b >= 0 and c >= 0) or (a <= 0 and b <= 0):
        return np.inf
    root = np.sqrt(square)
    if b >= 0:
        return -2 * c / (b + root)
    return (root - b) / (2 * a) if a > 0 else np.inf


@compiled
def first_root(a, b, c):  # type: ignore[no-untyped-def]
    """The first lam >= 0 at which a lam^2 + b lam + c reaches 0 from below; 0 where c >= 0 already."""
    return 0.0 if c >= 0 else rising_root(a, b, c)


@compiled
def single_reserve(row, p, v):  # type: ignore[no-untyped-def]
    """Reserve by each stress against its own strength, and its mode: where nothing grows towards failure or p alone
    fails, that which p uses up most."""
    least, first = np.inf, 0
    most, fullest = -1.0, 0
    for k in range(9):
        if k < 6:
            sign = 1.0 if k % 2 == 0 else -1.0
            still, grows = sign * p[k // 2], sign * v[k // 2]
            used = max(still, 0.0) / row[k]
        else:
            # a shear fails either way: what counts is the sign in which it ends
            one = p[k - 3]
            still, grows = -one if v[k - 3] < 0 else one, abs(v[k - 3])
            used = abs(one) / row[k]
        lam = (row[k] - still) / grows if grows > 0 else np.inf
        lam = 0.0 if used >= 1 else lam
        if lam < least:
            least, first = lam, k
        if used > most:
            most, fullest = used, k
    return least, first if 0 < least < np.inf else fullest


@compiled
def form_reserve(row, first, p, v):  # type: ignore[no-untyped-def]
    """Reserve by a quadratic form alone."""
    return first_root(form(row, first, v, v), 2 * form(row, first, p, v), form(row, first, p, p) - 1)


@compiled
def tsai_wu_reserve(row, p, v):  # type: ignore[no-untyped-def]
    """Reserve by Tsai-Wu; the root passes over into the linear one where the quadratic term vanishes."""
    b = linear(row, v) + 2 * form(row, FORM, p, v)
    return first_root(form(row, FORM, v, v), b, linear(row, p) + form(row, FORM, p, p) - 1)


@compiled
def interlayer_reserve(row, p, v):  # type: ignore[no-untyped-def]
    """Reserve of the layer interface: <s33>^2 / Zt^2 + s23^2 / S23^2 + s13^2 / S13^2 = 1, <s33> = max(s33, 0).

    The left side is convex along lam, so it is met at most once. Either the shears alone meet it while s33 is
    not tensile, and that is exact; or it is met with s33 tensile, and then it is where the full form rises.
    """
    a, b, c = sheared(row, v, v), 2 * sheared(row, p, v), sheared(row, p, p) - 1
    if c + row[TEAR] * max(p[2], 0.0) ** 2 >= 0:
        return 0.0
    by_shear = first_root(a, b, c)
    there = p[2] if v[2] == 0 else p[2] + by_shear * v[2]
    if there <= 0:
        return by_shear
    tear = row[TEAR]
    return rising_root(a + tear * v[2] * v[2], b + 2 * tear * p[2] * v[2], c + tear * p[2] * p[2])


@compiled
def buckling_reserve(row, p, v):  # type: ignore[no-untyped-def]
    """Reserve of a thin wall under compression along the bead and up the build and shear between the two:
    c1 / along + c3 / up + (s13 / shear)^2 = 1, where tension (c < 0) is taken to help nothing.

    Source: the usual interaction of plate buckling under combined load, as in G. Gerard and H. Becker, Handbook of
    Structural Stability I, NACA TN 3781 (1957); linear in the two compressions, which is on the safe side.
    """
    square = row[2] * row[2]
    a, b, c = square * v[4] * v[4], 2 * square * p[4] * v[4], square * p[4] * p[4] - 1
    least = np.inf
    # Each compression counts or not: the left side is the largest of these four, so the first to reach 1 decides
    for along in (0.0, row[0]):
        for up in (0.0, row[1]):
            lam = first_root(a, b - v[0] * along - v[2] * up, c - p[0] * along - p[2] * up)
            least = min(least, lam)
    return least


@compiled
def reserves(kind, row, p, v, each):  # type: ignore[no-untyped-def]
    """The least reserve of the criteria that decide and its mode; each criterion's own goes into `each` (4,)."""
    each[:] = np.inf
    if kind != BEADS:
        each[0] = form_reserve(row, HILL, p, v) if kind == METAL else buckling_reserve(row, p, v)
        return each[0], 0
    each[0], mode = single_reserve(row, p, v)
    each[1] = tsai_wu_reserve(row, p, v)
    each[2] = interlayer_reserve(row, p, v)
    if row[HILL_COUNTS] > 0:
        each[3] = form_reserve(row, HILL, p, v)
    least = each[0]
    for k in (1, 2):
        if each[k] < least * (1 - SAME):
            mode = COMBINED + k - 1
        least = min(least, each[k])
    # Where the layers are pressed together at failure, the interface shears; nothing pulls it apart
    if mode == TOGETHER and p[2] + (least if least < np.inf else 0.0) * v[2] <= 0:
        mode += 1
    return least, mode


# ---- many stresses


@compiled
def outside_all(kind, row, s, met):  # type: ignore[no-untyped-def]
    """Into met (n, 4): which criteria of its kind stresses s (n, 6) meet."""
    met[:] = False
    for i in range(len(s)):
        if kind != BEADS:
            met[i, 0] = fails(kind, row, s[i])
            continue
        met[i, 0], met[i, 1] = single_met(row, s[i]), tsai_wu_met(row, s[i])
        met[i, 2], met[i, 3] = interlayer_met(row, s[i]), hill_met(row, s[i]) and row[HILL_COUNTS] > 0


@compiled
def reserves_all(kind, row, p, v, least, mode, each):  # type: ignore[no-untyped-def]
    """As `reserves`, of stresses p, v (n, 6); a stress that is no number has no reserve."""
    for i in range(len(p)):
        least[i], mode[i] = reserves(kind, row, p[i], v[i], each[i])
        if np.isnan(p[i].sum() + v[i].sum()):
            least[i] = np.nan


@compiled
def fails_before(kind, row, p, v, before, out):  # type: ignore[no-untyped-def]
    """Into out (n,): whether p (n, 6) or p + before (n,) v fails."""
    s = np.empty(6)
    for i in range(len(p)):
        for k in range(6):
            s[k] = p[i, k] + before[i] * v[i, k]
        out[i] = fails(kind, row, p[i]) or fails(kind, row, s)


@compiled
def turned(matrix, s):  # type: ignore[no-untyped-def]
    """The six stresses in a phase's bead axes of a mean stress and a warming, s of seven, by a matrix (6, 7)."""
    return (
        along_row(matrix[0], s),
        along_row(matrix[1], s),
        along_row(matrix[2], s),
        along_row(matrix[3], s),
        along_row(matrix[4], s),
        along_row(matrix[5], s),
    )


@compiled
def along_row(m, s):  # type: ignore[no-untyped-def]
    """Sum of seven products."""
    return m[0] * s[0] + m[1] * s[1] + m[2] * s[2] + m[3] * s[3] + m[4] * s[4] + m[5] * s[5] + m[6] * s[6]


@compiled
def uses(places, states, kind, row, out, first, last):  # type: ignore[no-untyped-def]
    """Into out (k, m): the share of their strength that the places first to last of (k, 6, 7) use up under states of
    mean stress and warming (m, 7)."""
    none, each = np.zeros(6), np.empty(4)
    for k in range(first, last):
        for i in range(len(states)):
            s = turned(places[k], states[i])
            out[k, i] = 1 / reserves(kind, row, none, s, each)[0]


@compiled
def largest_uses(places, states, kind, row, most, where, first, last):  # type: ignore[no-untyped-def]
    """For states first to last of mean stress and warming (m, 7): the largest share of their strength that any of the
    `places` (k, 6, 7) uses up under it, into most (m,), and which place, into where (m,)."""
    none, each = np.zeros(6), np.empty(4)
    for i in range(first, last):
        most[i], where[i] = 0.0, 0
        for k in range(len(places)):
            s = turned(places[k], states[i])
            if most[i] > 0:
                f = 1 / most[i]
                if not fails(kind, row, (f * s[0], f * s[1], f * s[2], f * s[3], f * s[4], f * s[5])):
                    continue
            used = 1 / reserves(kind, row, none, s, each)[0]
            if used > most[i]:
                most[i], where[i] = used, k
