"""The compiled loops that tell walls from covers from infill. Imported only when first used.

All lengths in mm, in print axes (x and y in the layer, z up the build). The part's surface is a list of flat
triangles `corner` (t, 3, 3), sorted into a grid of boxes of sides `side` (3,), the first two alike, whose lowest
corner is `origin`, `count` (3,) boxes along each axis: those that touch box c are `inside[start[c]:start[c + 1]]`.
"""

import numba
import numpy as np

compiled = numba.njit(cache=True, nogil=True)

WALL, COVER, CORE = 0, 1, 2
FAR = 1e30
NUDGE = 1e-6
TOGETHER = np.cos(np.pi / 4)
"""Beads whose directions differ by less than 22.5 degrees run one way: the cosine of twice that."""


@compiled
def box_at(x, axis, origin, side, count):  # type: ignore[no-untyped-def]
    """Number along one axis of the box that holds x, kept inside the grid."""
    return int(min(max((x - origin[axis]) / side[axis], 0.0), count[axis] - 1.0))


@compiled
def sort_into_boxes(corner, origin, side, count, start, inside):  # type: ignore[no-untyped-def]
    """Fill `inside`; with an empty `inside` only count, into `start` shifted by one."""
    low, high = np.empty(3), np.empty(3)
    first, last = np.empty(3, dtype=np.int64), np.empty(3, dtype=np.int64)
    counting = inside.shape[0] == 0
    fill = start.copy()
    for t in range(corner.shape[0]):
        for d in range(3):
            low[d] = min(corner[t, 0, d], corner[t, 1, d], corner[t, 2, d])
            high[d] = max(corner[t, 0, d], corner[t, 1, d], corner[t, 2, d])
        for d in range(3):
            first[d] = box_at(low[d], d, origin, side, count)
            last[d] = box_at(high[d], d, origin, side, count)
        for i in range(first[0], last[0] + 1):
            for j in range(first[1], last[1] + 1):
                for k in range(first[2], last[2] + 1):
                    c = (i * count[1] + j) * count[2] + k
                    if counting:
                        start[c + 1] += 1
                    else:
                        inside[fill[c]] = t
                        fill[c] += 1


@compiled
def foot_on_outline(x, y, z, corner, t):  # type: ignore[no-untyped-def]
    """The section of triangle t with the layer at z: whether there is one, the vector in the layer from its point
    nearest to (x, y), and the section's own direction."""
    ax, ay, bx, by = 0.0, 0.0, 0.0, 0.0
    n = 0
    for a in range(3):
        b = (a + 1) % 3
        za, zb = corner[t, a, 2] - z, corner[t, b, 2] - z
        # A corner in the layer counts as above it, so that each section is met exactly once
        if (za >= 0) != (zb >= 0):
            s = za / (za - zb)
            px = corner[t, a, 0] + s * (corner[t, b, 0] - corner[t, a, 0])
            py = corner[t, a, 1] + s * (corner[t, b, 1] - corner[t, a, 1])
            if n == 0:
                ax, ay = px, py
            else:
                bx, by = px, py
            n += 1
    ux, uy = bx - ax, by - ay
    square = ux * ux + uy * uy
    if n != 2 or square == 0:
        return False, 0.0, 0.0, 0.0, 0.0
    s = min(max(((x - ax) * ux + (y - ay) * uy) / square, 0.0), 1.0)
    return True, x - ax - s * ux, y - ay - s * uy, ux, uy


@compiled
def near_outline(x, y, z, reach, thin, corner, start, inside, origin, side, count):  # type: ignore[no-untyped-def]
    """The outline in the layer of (x, y, z): the distance to it (FAR beyond `reach`), the angle of its tangent, the
    distance to the outline on the other side (FAR unless the two add up to less than `thin`), and its triangle."""
    i0, i1 = box_at(x - reach, 0, origin, side, count), box_at(x + reach, 0, origin, side, count)
    j0, j1 = box_at(y - reach, 1, origin, side, count), box_at(y + reach, 1, origin, side, count)
    i, j = box_at(x, 0, origin, side, count), box_at(y, 1, origin, side, count)
    k = box_at(z, 2, origin, side, count)
    best = reach * reach
    nx, ny, tx, ty = 0.0, 0.0, 0.0, 0.0
    nearest = -1
    # Rings of boxes around the place's own, until what is left lies farther than what is found
    for ring in range(max(i - i0, i1 - i, j - j0, j1 - j) + 1):
        if ring > 1 and ((ring - 1) * side[0]) ** 2 > best:
            break
        for p in range(max(i - ring, i0), min(i + ring, i1) + 1):
            inner = abs(p - i) < ring
            for q in range(max(j - ring, j0), min(j + ring, j1) + 1):
                if inner and abs(q - j) < ring:
                    continue
                c = (p * count[1] + q) * count[2] + k
                for at in range(start[c], start[c + 1]):
                    met, fx, fy, ux, uy = foot_on_outline(x, y, z, corner, inside[at])
                    square = fx * fx + fy * fy
                    if met and square <= best:
                        best, nearest = square, inside[at]
                        nx, ny, tx, ty = fx, fy, ux, uy
    if nearest < 0:
        return FAR, 0.0, FAR, nearest
    length = np.sqrt(best)
    # Around a corner that points into the part the bead goes round it, square to the way there
    angle = np.arctan2(nx, -ny) if length > 1e-6 else np.arctan2(ty, tx)
    if length <= 1e-6 or length >= thin:
        return length, angle, FAR, nearest
    other = (thin - length) ** 2
    beyond = FAR
    i0, i1 = box_at(x - thin, 0, origin, side, count), box_at(x + thin, 0, origin, side, count)
    j0, j1 = box_at(y - thin, 1, origin, side, count), box_at(y + thin, 1, origin, side, count)
    for i in range(i0, i1 + 1):
        for j in range(j0, j1 + 1):
            c = (i * count[1] + j) * count[2] + k
            for at in range(start[c], start[c + 1]):
                met, fx, fy, ux, uy = foot_on_outline(x, y, z, corner, inside[at])
                square = fx * fx + fy * fy
                # The other side runs much as this one does: a side that meets it in a corner is none
                across = abs(ux * nx + uy * ny) < 0.5 * length * np.sqrt(ux * ux + uy * uy)
                if met and across and square < other and fx * nx + fy * ny < -0.5 * length * np.sqrt(square):
                    other = square
                    beyond = np.sqrt(square)
    return length, angle, beyond, nearest


@compiled
def above_or_below(x, y, z, below, above, corner, start, inside, origin, side, count):  # type: ignore[no-untyped-def]
    """The triangle nearest to (x, y, z) that a vertical line meets from `below` under it to `above` over it; -1 where
    there is none."""
    i, j = box_at(x, 0, origin, side, count), box_at(y, 1, origin, side, count)
    k0, k1 = box_at(z - below, 2, origin, side, count), box_at(z + above, 2, origin, side, count)
    nearest, best = -1, FAR
    for k in range(k0, k1 + 1):
        c = (i * count[1] + j) * count[2] + k
        for at in range(start[c], start[c + 1]):
            t = inside[at]
            ax, ay = corner[t, 0, 0] - x, corner[t, 0, 1] - y
            bx, by = corner[t, 1, 0] - x, corner[t, 1, 1] - y
            cx, cy = corner[t, 2, 0] - x, corner[t, 2, 1] - y
            u, v, w = bx * cy - by * cx, cx * ay - cy * ax, ax * by - ay * bx
            area = u + v + w
            if area == 0 or not ((u >= 0 and v >= 0 and w >= 0) or (u <= 0 and v <= 0 and w <= 0)):
                continue
            there = (u * corner[t, 0, 2] + v * corner[t, 1, 2] + w * corner[t, 2, 2]) / area
            if z - below <= there <= z + above and abs(there - z) < best:
                nearest, best = t, abs(there - z)
    return nearest


@compiled
def add_slant(t, weight, corner, slant):  # type: ignore[no-untyped-def]
    """Add to `slant` (6,) xx yy zz yz xz xy the square of triangle t's unit normal, times a weight."""
    ax, ay, az = (
        corner[t, 1, 0] - corner[t, 0, 0],
        corner[t, 1, 1] - corner[t, 0, 1],
        corner[t, 1, 2] - corner[t, 0, 2],
    )
    bx, by, bz = (
        corner[t, 2, 0] - corner[t, 0, 0],
        corner[t, 2, 1] - corner[t, 0, 1],
        corner[t, 2, 2] - corner[t, 0, 2],
    )
    x, y, z = ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx
    part = weight / max(x * x + y * y + z * z, 1e-300)
    slant[0] += part * x * x
    slant[1] += part * y * y
    slant[2] += part * z * z
    slant[3] += part * y * z
    slant[4] += part * x * z
    slant[5] += part * x * y


@compiled
def zone_of(x, y, z, wall, cover, thin, corner, start, inside, origin, side, count):  # type: ignore[no-untyped-def]
    """Zone of a place in the part, the angle of the outline next to it, whether the part is thin there, and the
    triangle of the surface that makes it wall or cover (-1: none).

    `wall` and `cover` are the depths of these zones, `thin` the width below which a part counts as thin."""
    near, angle, other, by = FAR, 0.0, FAR, -1
    reach = max(wall, thin)
    if reach > 0:
        near, angle, other, by = near_outline(x, y, z, reach, thin, corner, start, inside, origin, side, count)
    narrow = near + other < thin
    if wall > 0 and near <= wall:
        return WALL, angle, narrow, by
    by = above_or_below(x, y, z, cover, cover, corner, start, inside, origin, side, count) if cover > 0 else -1
    return (COVER if by >= 0 else CORE), angle, narrow, by


@compiled
def main_way(ways, many):  # type: ignore[no-untyped-def]
    """The direction [rad] that most of the beads run: `ways` (many, 3) are a weight, and cosine and sine of twice an
    angle, since directions have no sense. It is the mean of those that run together with the one which has the most
    weight around it: across a mitre beads run two ways, whose mean no bead has.
    """
    near = -1
    cosine, sine = (ways[:many, 0] * ways[:many, 1]).sum(), (ways[:many, 0] * ways[:many, 2]).sum()
    length = np.sqrt(cosine * cosine + sine * sine)
    best = 0.0
    for i in range(many):
        if ways[i, 1] * cosine + ways[i, 2] * sine < TOGETHER * length:
            near = 0
            break
    if near == 0:
        for i in range(many):
            around = 0.0
            for j in range(many):
                if ways[i, 1] * ways[j, 1] + ways[i, 2] * ways[j, 2] >= TOGETHER:
                    around += ways[j, 0]
            if around > best * (1 + 1e-9):
                near, best = i, around
        cosine, sine = 0.0, 0.0
        for j in range(many):
            if ways[near, 1] * ways[j, 1] + ways[near, 2] * ways[j, 2] >= TOGETHER:
                cosine += ways[j, 0] * ways[j, 1]
                sine += ways[j, 0] * ways[j, 2]
    return 0.5 * np.arctan2(sine, cosine)


@compiled
def zones_of_tets(  # type: ignore[no-untyped-def]
    nodes,
    tets,
    sets,
    shape,
    slope,
    bary,
    wall,
    cover,
    thin,
    corner,
    start,
    inside,
    origin,
    side,
    count,
    share,
    size,
    turn,
    reach,
    slant,
    begin,
    end,
):
    """Sample tetrahedra begin..end of (m, 10): volume `share` (m, 4, 4) of wall, cover, core and thin in the quarter
    nearest to each corner, the quarter's `size` (m, 4) as a share of the whole, `turn` (m,) of the wall's bead [rad],
    how near (m, 3, 4) each zone comes to each corner, as the corner's largest barycentric coordinate there, and
    `slant` (m, 4, 6) the sum of squares of the normals of the surface that makes walls and covers of a quarter.

    `shape` (b, q, 10), `slope` (b, q, 10, 3) and `bary` (b, q, 4) belong to b sets of sample points, of which each
    tetrahedron takes its own number `sets` (m,), beginning where its number in the mesh says, so that the shares are
    the same however the work is cut; the corners are looked at as well.
    """
    p = np.empty(3)
    jac = np.empty((3, 3))
    low, high = np.empty(3), np.empty(3)
    first, last = np.empty(3, dtype=np.int64), np.empty(3, dtype=np.int64)
    most = shape.shape[1] * sets.max()
    ways = np.empty((most, 3))
    depth = max(wall, thin)
    for e in range(begin, end):
        x = nodes[tets[e]]
        for d in range(3):
            low[d], high[d] = x[:, d].min(), x[:, d].max()
            margin = depth if d < 2 else cover
            low[d] -= margin
            high[d] += margin
        for d in range(3):
            first[d] = box_at(low[d], d, origin, side, count)
            last[d] = box_at(high[d], d, origin, side, count)
        empty = True
        for i in range(first[0], last[0] + 1):
            for j in range(first[1], last[1] + 1):
                c = (i * count[1] + j) * count[2]
                if start[c + first[2]] != start[c + last[2] + 1]:
                    empty = False
        if empty:
            share[e, :, CORE] = 1.0
            size[e] = 0.25
            reach[e, CORE] = 1.0
            continue
        walls = 0
        many = sets[e] * shape.shape[1]
        for n in range(many + 4):
            b, q = (7 * e + n // shape.shape[1]) % shape.shape[0], n % shape.shape[1]
            if n < many:
                for d in range(3):
                    p[d] = 0.0
                    for a in range(10):
                        p[d] += shape[b, q, a] * x[a, d]
                jac[:] = 0.0
                for a in range(10):
                    for d in range(3):
                        for i in range(3):
                            jac[d, i] += slope[b, q, a, d] * x[a, i]
                weight = (
                    jac[0, 0] * (jac[1, 1] * jac[2, 2] - jac[1, 2] * jac[2, 1])
                    - jac[0, 1] * (jac[1, 0] * jac[2, 2] - jac[1, 2] * jac[2, 0])
                    + jac[0, 2] * (jac[1, 0] * jac[2, 1] - jac[1, 1] * jac[2, 0])
                )
            else:
                # A corner is looked at from inside, where its own layer meets the outline
                for d in range(3):
                    p[d] = x[n - many, d] + NUDGE * ((x[0, d] + x[1, d] + x[2, d] + x[3, d]) / 4 - x[n - many, d])
                weight = 0.0
            zone, angle, narrow, by = zone_of(
                p[0], p[1], p[2], wall, cover, thin, corner, start, inside, origin, side, count
            )
            if n < many:
                near = np.argmax(bary[b, q])
                if zone != CORE:
                    # Where two sides weigh the same, the order of the samples decides, and not rounding
                    add_slant(by, weight * (1 + 1e-5 * n), corner, slant[e, near])
                size[e, near] += weight
                share[e, near, zone] += weight
                if narrow:
                    share[e, near, 3] += weight
            if zone == WALL and n < many:
                ways[walls, 0], ways[walls, 1], ways[walls, 2] = weight, np.cos(2 * angle), np.sin(2 * angle)
                walls += 1
            if n < many:
                for a in range(4):
                    reach[e, zone, a] = max(reach[e, zone, a], bary[b, q, a])
            else:
                reach[e, zone, n - many] = 1.0
        total = size[e].sum()
        for a in range(4):
            for z in range(4):
                share[e, a, z] /= size[e, a]
            size[e, a] /= total
        turn[e] = main_way(ways, walls)
