"""The compiled loops that find points in second-order tetrahedra. Imported only when first used.

All lengths in mm, in part axes. Boxes are sorted as in `printing.kernels`: those that touch box c of the grid are
`inside[start[c]:start[c + 1]]`.
"""

import numba
import numpy as np

from fem.printing.kernels import box_at

compiled = numba.njit(cache=True, nogil=True)

CLOSE = 1e-9
"""Share of a tetrahedron by which a point may lie outside and still count as inside."""
STEPS = 20
"""Steps of Newton's method at the most."""
WILD = 2.0
"""A reference coordinate that goes farther outside than this belongs to another tetrahedron."""
FARTHEST = 1.0
"""How far outside, in reference coordinates, a field is carried on; beyond, it stays as it is there."""
FAR = 1e300


@compiled
def shapes(x, y, z, out):  # type: ignore[no-untyped-def]
    """The ten shape functions at a reference point."""
    w = 1.0 - x - y - z
    out[0], out[1], out[2], out[3] = w * (2 * w - 1), x * (2 * x - 1), y * (2 * y - 1), z * (2 * z - 1)
    out[4], out[5], out[6] = 4 * w * x, 4 * x * y, 4 * w * y
    out[7], out[8], out[9] = 4 * w * z, 4 * x * z, 4 * y * z


@compiled
def slopes(x, y, z, out):  # type: ignore[no-untyped-def]
    """Their slopes (10, 3)."""
    w = 1.0 - x - y - z
    for d in range(3):
        out[0, d] = 1 - 4 * w
        out[1, d] = out[2, d] = out[3, d] = 0.0
    out[1, 0], out[2, 1], out[3, 2] = 4 * x - 1, 4 * y - 1, 4 * z - 1
    out[4, 0], out[4, 1], out[4, 2] = 4 * (w - x), -4 * x, -4 * x
    out[5, 0], out[5, 1], out[5, 2] = 4 * y, 4 * x, 0.0
    out[6, 0], out[6, 1], out[6, 2] = -4 * y, 4 * (w - y), -4 * y
    out[7, 0], out[7, 1], out[7, 2] = -4 * z, -4 * z, 4 * (w - z)
    out[8, 0], out[8, 1], out[8, 2] = 4 * z, 0.0, 4 * x
    out[9, 0], out[9, 1], out[9, 2] = 0.0, 4 * z, 4 * y


@compiled
def off_from(nodes, tet, p, shape, off):  # type: ignore[no-untyped-def]
    """The vector from the place of `shape` in a tetrahedron to the point p."""
    for d in range(3):
        here = 0.0
        for a in range(10):
            here += shape[a] * nodes[tet[a], d]
        off[d] = p[d] - here


@compiled
def step_to(nodes, tet, slope, off, step):  # type: ignore[no-untyped-def]
    """The step in reference coordinates that a way `off` is, by the slopes there; false where the map is flat."""
    j = np.zeros((3, 3))
    for a in range(10):
        for d in range(3):
            for e in range(3):
                j[d, e] += nodes[tet[a], d] * slope[a, e]
    c00, c01, c02 = (
        j[1, 1] * j[2, 2] - j[1, 2] * j[2, 1],
        j[1, 2] * j[2, 0] - j[1, 0] * j[2, 2],
        j[1, 0] * j[2, 1] - j[1, 1] * j[2, 0],
    )
    det = j[0, 0] * c00 + j[0, 1] * c01 + j[0, 2] * c02
    if det == 0.0:
        return False
    step[0] = (
        c00 * off[0]
        + (j[0, 2] * j[2, 1] - j[0, 1] * j[2, 2]) * off[1]
        + (j[0, 1] * j[1, 2] - j[0, 2] * j[1, 1]) * off[2]
    ) / det
    step[1] = (
        c01 * off[0]
        + (j[0, 0] * j[2, 2] - j[0, 2] * j[2, 0]) * off[1]
        + (j[0, 2] * j[1, 0] - j[0, 0] * j[1, 2]) * off[2]
    ) / det
    step[2] = (
        c02 * off[0]
        + (j[0, 1] * j[2, 0] - j[0, 0] * j[2, 1]) * off[1]
        + (j[0, 0] * j[1, 1] - j[0, 1] * j[1, 0]) * off[2]
    ) / det
    return True


@compiled
def place_in(nodes, tet, into, straight, p, at, shape, slope, off, step):  # type: ignore[no-untyped-def]
    """The reference point `at` of p; the least barycentric coordinate there, -FAR where lost. `into` (3, 3) undoes
    the map of the straight corners, which is all of it where the tetrahedron is `straight`; else Newton's method goes
    on from there.
    """
    for d in range(3):
        at[d] = 0.0
        for e in range(3):
            at[d] += into[d, e] * (p[e] - nodes[tet[0], e])
    if straight:
        least = min(at[0], at[1], at[2], 1 - at[0] - at[1] - at[2])
        if least >= -CLOSE:
            shapes(at[0], at[1], at[2], shape)
        return least
    most = 0.0
    for _ in range(STEPS):
        shapes(at[0], at[1], at[2], shape)
        off_from(nodes, tet, p, shape, off)
        slopes(at[0], at[1], at[2], slope)
        if not step_to(nodes, tet, slope, off, step):
            return -FAR
        most = 0.0
        for d in range(3):
            at[d] += step[d]
            most = max(most, abs(step[d]))
        least = min(at[0], at[1], at[2], 1 - at[0] - at[1] - at[2])
        if not least > -WILD:
            return -FAR
        if most < 1e-13:
            break
    if most > 1e-9:
        return -FAR
    shapes(at[0], at[1], at[2], shape)
    return least


@compiled
def nearest_in_triangle(p, a, b, c, out):  # type: ignore[no-untyped-def]
    """Barycentric coordinates `out` (3,) of the point of a flat triangle nearest to p, and its squared distance.

    Source: C. Ericson, Real-Time Collision Detection (2005), section 5.1.5.
    """
    d1 = d2 = d3 = d4 = d5 = d6 = 0.0
    for d in range(3):
        u, v = b[d] - a[d], c[d] - a[d]
        d1 += u * (p[d] - a[d])
        d2 += v * (p[d] - a[d])
        d3 += u * (p[d] - b[d])
        d4 += v * (p[d] - b[d])
        d5 += u * (p[d] - c[d])
        d6 += v * (p[d] - c[d])
    vc, vb, va = d1 * d4 - d3 * d2, d5 * d2 - d1 * d6, d3 * d6 - d5 * d4
    if d1 <= 0 and d2 <= 0:
        out[0], out[1], out[2] = 1.0, 0.0, 0.0
    elif d3 >= 0 and d4 <= d3:
        out[0], out[1], out[2] = 0.0, 1.0, 0.0
    elif d6 >= 0 and d5 <= d6:
        out[0], out[1], out[2] = 0.0, 0.0, 1.0
    elif vc <= 0 and d1 >= 0 and d3 <= 0:
        t = d1 / (d1 - d3)
        out[0], out[1], out[2] = 1 - t, t, 0.0
    elif vb <= 0 and d2 >= 0 and d6 <= 0:
        t = d2 / (d2 - d6)
        out[0], out[1], out[2] = 1 - t, 0.0, t
    elif va <= 0 and d4 >= d3 and d5 >= d6:
        t = (d4 - d3) / ((d4 - d3) + (d5 - d6))
        out[0], out[1], out[2] = 0.0, 1 - t, t
    else:
        whole = va + vb + vc
        out[0], out[1], out[2] = va / whole, vb / whole, vc / whole
    square = 0.0
    for d in range(3):
        square += (out[0] * a[d] + out[1] * b[d] + out[2] * c[d] - p[d]) ** 2
    return square


@compiled
def nearest_skin(p, skin, start, inside, origin, side, count, weight, best_weight):  # type: ignore[no-untyped-def]
    """The flat triangle of `skin` (t, 3, 3) nearest to p, its barycentric coordinates, and the squared distance."""
    i, j, k = (
        box_at(p[0], 0, origin, side, count),
        box_at(p[1], 1, origin, side, count),
        box_at(p[2], 2, origin, side, count),
    )
    # A point outside the grid is that much farther from all boxes
    best, found = FAR, -1
    for ring in range(max(count[0], count[1], count[2])):
        if ring > 1 and ((ring - 1) * min(side[0], side[1], side[2])) ** 2 > best:
            break
        for x in range(max(i - ring, 0), min(i + ring, count[0] - 1) + 1):
            for y in range(max(j - ring, 0), min(j + ring, count[1] - 1) + 1):
                rim = abs(x - i) == ring or abs(y - j) == ring
                for z in range(k - ring, k + ring + 1, 1 if rim or ring == 0 else 2 * ring):
                    if z < 0 or z >= count[2]:
                        continue
                    c = (x * count[1] + y) * count[2] + z
                    for at in range(start[c], start[c + 1]):
                        t = inside[at]
                        square = nearest_in_triangle(p, skin[t, 0], skin[t, 1], skin[t, 2], weight)
                        if square < best:
                            best, found = square, t
                            best_weight[:] = weight
    return found, best


@compiled
def find(  # type: ignore[no-untyped-def]
    nodes, tets, into, straight, low, high, t_start, t_inside, skin, owner, corner, s_start, s_inside,
    origin, side, count, points, beyond, tet_of, shape_of, away, first, last,
):  # fmt: skip
    """For points first to last: the tetrahedron, the weights of its nodes, and how far outside it the point lies.

    `low`, `high` (m, 3) hold each tetrahedron; `skin` (t, 3, 3) are flat triangles of the boundary, each with its
    tetrahedron `owner` (t,) and the reference points `corner` (t, 3, 3) of its corners in that. Without `beyond` a
    point outside is only told to be endlessly far.
    """
    at, step, off = np.empty(3), np.empty(3), np.empty(3)
    shape, slope = np.empty(10), np.empty((10, 3))
    weight, best_weight = np.empty(3), np.empty(3)
    last_tet = -1
    for n in range(first, last):
        p = points[n]
        found = -1
        # Neighbours in a list are often neighbours in space
        if last_tet >= 0:
            t = last_tet
            if place_in(nodes, tets[t], into[t], straight[t], p, at, shape, slope, off, step) >= -CLOSE:
                found = t
        outside = False
        for d in range(3):
            outside = outside or p[d] < origin[d] or p[d] > origin[d] + side[d] * count[d]
        if found < 0 and not outside:
            c = box_at(p[0], 0, origin, side, count)
            c = c * count[1] + box_at(p[1], 1, origin, side, count)
            c = c * count[2] + box_at(p[2], 2, origin, side, count)
            for i in range(t_start[c], t_start[c + 1]):
                t = t_inside[i]
                within = True
                for d in range(3):
                    within = within and low[t, d] <= p[d] <= high[t, d]
                if not within:
                    continue
                if place_in(nodes, tets[t], into[t], straight[t], p, at, shape, slope, off, step) >= -CLOSE:
                    found = t
                    break
        if found >= 0:
            last_tet = found
            away[n] = 0.0
        elif not beyond:
            away[n] = np.inf
            continue
        else:
            t, square = nearest_skin(p, skin, s_start, s_inside, origin, side, count, weight, best_weight)
            found = owner[t]
            away[n] = np.sqrt(square)
            carry_on(nodes, tets[found], p, best_weight, corner[t], shape, slope, off, step)
        tet_of[n] = found
        shape_of[n] = shape


@compiled
def carry_on(nodes, tet, p, weight, corner, shape, slope, off, step):  # type: ignore[no-untyped-def]
    """Weights that carry a field on linearly from a place on a tetrahedron's side, by its slope there, to p."""
    at = np.zeros(3)
    for c in range(3):
        for d in range(3):
            at[d] += weight[c] * corner[c, d]
    shapes(at[0], at[1], at[2], shape)
    off_from(nodes, tet, p, shape, off)
    slopes(at[0], at[1], at[2], slope)
    if not step_to(nodes, tet, slope, off, step):
        return
    most = max(abs(step[0]), abs(step[1]), abs(step[2]))
    part = 1.0 if most <= FARTHEST else FARTHEST / most
    for a in range(10):
        for d in range(3):
            shape[a] += part * step[d] * slope[a, d]
