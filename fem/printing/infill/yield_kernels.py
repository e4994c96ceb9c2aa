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
CYCLES = 40
CLOSE = 1e-7
"""Dykstra's cycle ends when it moves by less, in shares of the strength."""
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
    if value <= 0:
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
        if value <= 1e-10 or fall <= 0:
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
def onto_interface(x, row, weight, none):  # type: ignore[no-untyped-def]
    """Move x (6,) to where the layer interface holds: pressed layers count by their shears alone."""
    weight[2] = row[TEAR] if x[2] > 0 else 0.0
    weight[3], weight[4] = row[TEAR + 1], row[TEAR + 2]
    return onto_quadratic(x, weight, none)


@compiled
def onto_yield(x, row, p, work, weight, none):  # type: ignore[no-untyped-def]
    """Move x (6,) to the nearest stress that the bead bears; p (3, 6) is room for Dykstra's corrections."""
    p[:] = 0.0
    for cycle in range(CYCLES):
        change = 0.0
        moved = 0
        for k in range(3):
            before0, before1, before2 = x[0], x[1], x[2]
            before3, before4, before5 = x[3], x[4], x[5]
            for i in range(6):
                x[i] += p[k, i]
                p[k, i] = x[i]
            if k == 0:
                moved += onto_combined(x, row, work)
            elif k == 1:
                moved += onto_box(x, row)
            else:
                moved += onto_interface(x, row, weight, none)
            for i in range(6):
                p[k, i] -= x[i]
            change += abs(x[0] - before0) + abs(x[1] - before1) + abs(x[2] - before2)
            change += abs(x[3] - before3) + abs(x[4] - before4) + abs(x[5] - before5)
        # a single set that moves it is the answer once the others leave it alone
        if change < CLOSE or (cycle == 0 and moved == 0):
            break


@compiled
def split(row, c, s, first, grown, mean, told, pull, first_hex, last_hex):  # type: ignore[no-untyped-def]
    """One step of the alternating projections at the points of some hexahedra.

    `grown` (n, q, 6, d) is what the cell's answer adds to the stress that was asked for, `mean` (n, q, 6, d) that
    stress, the mean over the layers at a point; `told` (m, 6, d) and `pull` (m, 6, d) are each layer's stress that
    was asked for and its multiplier; point q of hexahedron n has the layers `first`[n q] to `first`[n q + 1], with
    beads of cosine `c` (m,) and sine `s` (m,). All of mean, told and pull are replaced.
    """
    points, wide = grown.shape[1], grown.shape[3]
    x, v, p = np.empty(6), np.empty(6), np.empty((3, 6))
    work, weight, none, total = np.empty(6), np.zeros(6), np.zeros(6), np.empty(6)
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
                    onto_yield(x, row, p, work, weight, none)
                    turn(x, c[k], -s[k])
                    for i in range(6):
                        pull[k, i, d] = v[i] - x[i]
                        told[k, i, d] = x[i] - pull[k, i, d]
                        total[i] += told[k, i, d] * share
                for i in range(6):
                    mean[n, q, i, d] = total[i]


@compiled
def bound(row, c, s, first, weight, grown, pull, told, out, first_hex, last_hex):  # type: ignore[no-untyped-def]
    """Add to out (d,) what beads can take up at most while the cell moves as in `grown`: the work of the multipliers,
    and what single strengths make of the rest (an upper bound of the support function of the common part)."""
    points, wide = grown.shape[1], grown.shape[3]
    x, mid = np.empty(6), np.empty(6)
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
                    work = 0.0
                    for i in range(6):
                        y = pull[k, i, d]
                        work += y * (told[k, i, d] + y)
                        x[i] = grown[n, q, i, d] - (mid[i] if 2 <= i <= 4 else y)
                    turn(x, c[k], s[k])
                    for i in range(6):
                        work += x[i] * (row[HIGH + i] if x[i] > 0 else row[LOW + i])
                    out[d] += work * share
