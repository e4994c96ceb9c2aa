"""Compiled: the nearest stress that a bead bears, at all points of a cell and for many loads side by side.

Stress stands in scaled components (see `yielding`), in which distance is plain. What a bead bears is the common part
of three convex sets: every single stress within its strengths, Tsai-Wu (or von Mises), the layer interface. The
nearest point of one is found by itself, that of the common part by Dykstra's cycle (R. L. Dykstra, J. Amer. Stat.
Assoc. 78 (1983) 837). Imported only when first used.
"""

import numba
import numpy as np

compiled = numba.njit(cache=True, nogil=True, error_model="numpy")

LOW, HIGH, CURVE, SLOPE, WAYS, TEAR, WIDE = 0, 6, 12, 18, 24, 33, 36
"""Where in a row of `yielding.YieldSet.row` stand the six limits below and above, the curvatures and slopes of the
quadratic criterion in its own axes, those axes (3, 3) of the three normal stresses, and the layer interface's weights
of the squared stresses 33, 23 and 13."""
CYCLES = 4
CLOSE = 1e-5
"""Dykstra's cycle ends when it moves by less, in shares of the strength."""
ROUNDING = 1e-9
HALF = np.sqrt(0.5)


@compiled
def turn(x, c, s):  # type: ignore[no-untyped-def]
    """Turn scaled stress x (6,) about the third axis by an angle of cosine c and sine s."""
    a, b, d, e, f = x[0], x[1], x[3], x[4], x[5]
    mean, half = 0.5 * (a + b), 0.5 * (a - b)
    c2, s2 = c * c - s * s, 2 * c * s
    turned = half * c2 + f * HALF * s2
    x[0], x[1] = mean + turned, mean - turned
    x[5] = f * c2 - half * s2 / HALF
    x[3], x[4] = c * d - s * e, c * e + s * d


@compiled
def onto_quadratic(x, curve, slope):  # type: ignore[no-untyped-def]
    """Move x (6,) to the nearest point with sum curve x^2 + slope x <= 1; whether it moved."""
    value = -1.0
    for i in range(6):
        value += (curve[i] * x[i] + slope[i]) * x[i]
    if value <= ROUNDING:
        return False
    # x(mu) = (x - mu slope / 2) / (1 + mu curve); the criterion falls and is convex in mu: Newton's steps do not pass
    mu = 0.0
    for _ in range(60):
        value, fall = -1.0, 0.0
        for i in range(6):
            under = 1 / (1 + mu * curve[i])
            at = (x[i] - 0.5 * mu * slope[i]) * under
            steep = 2 * curve[i] * at + slope[i]
            value += (curve[i] * at + slope[i]) * at
            fall += 0.5 * steep * steep * under
        if value <= 0.1 * ROUNDING or fall <= 0:
            break
        mu += value / fall
    for i in range(6):
        x[i] = (x[i] - 0.5 * mu * slope[i]) / (1 + mu * curve[i])
    return True


@compiled
def onto_box(x, row):  # type: ignore[no-untyped-def]
    """Move x (6,) to within every single strength; whether it moved."""
    moved = False
    for i in range(6):
        if x[i] < row[LOW + i]:
            x[i], moved = row[LOW + i], True
        elif x[i] > row[HIGH + i]:
            x[i], moved = row[HIGH + i], True
    return moved


@compiled
def onto_combined(x, row, work):  # type: ignore[no-untyped-def]
    """Move x (6,) onto the quadratic criterion, which stands in the axes of its normal stresses."""
    for i in range(3):
        w = WAYS + 3 * i
        work[i] = row[w] * x[0] + row[w + 1] * x[1] + row[w + 2] * x[2]
        work[i + 3] = x[i + 3]
    if not onto_quadratic(work, row[CURVE:SLOPE], row[SLOPE:WAYS]):
        return False
    for i in range(3):
        x[i] = row[WAYS + i] * work[0] + row[WAYS + 3 + i] * work[1] + row[WAYS + 6 + i] * work[2]
        x[i + 3] = work[i + 3]
    return True


@compiled
def onto_interface(x, row, weight):  # type: ignore[no-untyped-def]
    """Move x (6,) to where the layer interface holds: pressed layers count by their shears alone."""
    weight[2] = row[TEAR] if x[2] > 0 else 0.0
    weight[3], weight[4] = row[TEAR + 1], row[TEAR + 2]
    return onto_quadratic(x, weight, weight[6:])


@compiled
def onto_one(k, x, row, work, weight):  # type: ignore[no-untyped-def]
    """Move x (6,) to the nearest point of the set number k; whether it moved."""
    if k == 0:
        return onto_combined(x, row, work)
    return onto_box(x, row) if k == 1 else onto_interface(x, row, weight)


@compiled
def onto_yield(x, row, p, work, weight, none):  # type: ignore[no-untyped-def]
    """Move x (6,) to the nearest stress that the bead bears; p (3, 6) is each set's part of the way, as found for a
    place nearby, and is replaced: from there a few cycles suffice.

    What comes back is the most work that any borne stress does on that way, or a little more: each part of it by the
    point at which its set was left.
    """
    for k in range(3):
        for i in range(6):
            x[i] -= p[k, i]
    done = 0.0
    for _ in range(CYCLES):
        change, done = 0.0, 0.0
        for k in range(3):
            for i in range(6):
                before = x[i]
                x[i] += p[k, i]
                none[i] = x[i]
                p[k, i] = before
            onto_one(k, x, row, work, weight)
            for i in range(6):
                change += abs(x[i] - p[k, i])
                p[k, i] = none[i] - x[i]
                done += p[k, i] * x[i]
        if change < CLOSE:
            break
    return done


@compiled
def split(row, c, s, first, grown, mean, told, pull, parts, first_hex, last_hex):  # type: ignore[no-untyped-def]
    """One step of the alternating projections at the points of some hexahedra.

    `grown` (n, q, 6, d) is what the cell's answer adds to the stress that was asked for, `mean` (n, q, 6, d) that
    stress, the mean over the layers at a point; `told` (m, 6, d) and `pull` (m, 6, d) are each layer's stress that
    was asked for and its multiplier, `parts` (m, d, 3, 6) the sets' shares in that, in bead axes; point q of
    hexahedron n has the layers `first`[n q] to `first`[n q + 1], with beads of cosine `c` (m,) and sine `s` (m,). All
    of mean, told, pull and parts are replaced.
    """
    points, wide = grown.shape[1], grown.shape[3]
    x, v, work, room = np.empty(6), np.empty(6), np.empty(6), np.empty(6)
    weight, total = np.zeros(12), np.empty(6)
    for n in range(first_hex, last_hex):
        for q in range(points):
            begin, end = first[n * points + q], first[n * points + q + 1]
            share = 1 / (end - begin)
            for d in range(wide):
                total[:] = 0.0
                for k in range(begin, end):
                    for i in range(6):
                        # layers share what pulls through them, and have stresses of their own in the plane
                        asked = mean[n, q, i, d] if 2 <= i <= 4 else told[k, i, d]
                        v[i] = asked + grown[n, q, i, d] + pull[k, i, d]
                        x[i] = v[i]
                    turn(x, c[k], s[k])
                    onto_yield(x, row, parts[k, d], work, weight, room)
                    turn(x, c[k], -s[k])
                    for i in range(6):
                        pull[k, i, d] = v[i] - x[i]
                        told[k, i, d] = x[i] - pull[k, i, d]
                        total[i] += told[k, i, d] * share
                for i in range(6):
                    mean[n, q, i, d] = total[i]


@compiled
def bound(row, c, s, first, weight, grown, pull, told, parts, out, first_hex, last_hex):  # type: ignore[no-untyped-def]
    """Add to out (d,) what beads can take up at most while the cell moves as in `grown`: what they take up of the
    multipliers `pull`, and what single strengths make of the rest (an upper bound of the common part's)."""
    points, wide = grown.shape[1], grown.shape[3]
    x, y, mid, p = np.empty(6), np.empty(6), np.empty(6), np.empty((3, 6))
    work, weigh, room = np.empty(6), np.zeros(12), np.empty(6)
    for n in range(first_hex, last_hex):
        for q in range(points):
            begin, end = first[n * points + q], first[n * points + q + 1]
            share = weight[n, q] / (end - begin)
            for d in range(wide):
                mid[:] = 0.0
                for k in range(begin, end):
                    for i in range(6):
                        mid[i] += pull[k, i, d] / (end - begin)
                for k in range(begin, end):
                    for i in range(6):
                        x[i] = told[k, i, d] + 2 * pull[k, i, d]
                        y[i] = x[i]
                    p[:] = parts[k, d]
                    turn(x, c[k], s[k])
                    taken = onto_yield(x, row, p, work, weigh, room)
                    turn(x, c[k], -s[k])
                    for i in range(6):
                        y[i] = grown[n, q, i, d] - (
                            (mid[i] - pull[k, i, d] + y[i] - x[i]) if 2 <= i <= 4 else y[i] - x[i]
                        )
                    turn(y, c[k], s[k])
                    for i in range(6):
                        taken += y[i] * (row[HIGH + i] if y[i] > 0 else row[LOW + i])
                    out[d] += taken * share
