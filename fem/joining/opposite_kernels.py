"""The compiled loops that find what lies opposite a triangle. Imported only when first used.

All lengths in mm. A tree sorts boxes (n, 6), lowest corner then highest, into halves: node k holds the boxes
`order[span[k, 0]:span[k, 1]]` within `bound[k]` (6,), its halves are nodes `span[k, 2]` and the one after, and
`span[k, 2]` is -1 where it has none.
"""

import numba
import numpy as np

compiled = numba.njit(cache=True, nogil=True)

LEAF = 4
"""Boxes that are not halved any more."""
OPPOSED = -0.5
"""Cosine of the angle between two outward normals, at the most: 120 degrees."""
SLIVER = 1e-14
"""Share of a triangle below which an overlap is rounding."""
STEPS = 20
"""Steps of Newton's method at the most."""
SETTLED = 1e-8
"""A step after which the next one would be rounding: Newton's method squares the error."""
OUTSIDE = 1e-9
"""How far outside of a triangle, in reference coordinates, a point still counts as inside."""
FARTHEST = 0.5
"""How far outside, in reference coordinates, a triangle still stands for what is opposite a point."""
WILD = 2.0
"""A reference coordinate that goes farther outside than this belongs to another triangle."""


@compiled
def tree_of(box):  # type: ignore[no-untyped-def]
    """The tree of boxes (n, 6): order (n,), bound (k, 6), span (k, 3)."""
    n = box.shape[0]
    order = np.arange(n)
    bound = np.empty((2 * n + 1, 6))
    span = np.empty((2 * n + 1, 3), dtype=np.int64)
    span[0, 0], span[0, 1], span[0, 2] = 0, n, -1
    at, count = 0, 1
    while at < count:
        begin, end = span[at, 0], span[at, 1]
        own = order[begin:end].copy()
        for d in range(3):
            bound[at, d], bound[at, d + 3] = np.inf, -np.inf
            for t in own:
                bound[at, d] = min(bound[at, d], box[t, d])
                bound[at, d + 3] = max(bound[at, d + 3], box[t, d + 3])
        if end - begin > LEAF:
            axis = np.argmax(bound[at, 3:] - bound[at, :3])
            order[begin:end] = own[np.argsort(box[own, axis] + box[own, axis + 3])]
            middle = (begin + end) // 2
            span[at, 2] = count
            for half in range(2):
                span[count, 0] = begin if half == 0 else middle
                span[count, 1] = middle if half == 0 else end
                span[count, 2] = -1
                count += 1
        at += 1
    return order, bound[:count], span[:count]


@compiled
def outside(box, planes):  # type: ignore[no-untyped-def]
    """Whether a box (6,) lies wholly beyond one of the planes (k, 4), which keep what has m . x <= d."""
    for k in range(planes.shape[0]):
        nearest = 0.0
        for d in range(3):
            nearest += planes[k, d] * (box[d] if planes[k, d] > 0 else box[d + 3])
        if nearest > planes[k, 3]:
            return True
    return False


@compiled
def found_in(planes, box, order, bound, span, stack, found):  # type: ignore[no-untyped-def]
    """Writes to `found` the numbers of the boxes that reach into what the planes (k, 4) enclose; how many."""
    stack[0] = 0
    depth, count = 1, 0
    while depth > 0:
        depth -= 1
        node = stack[depth]
        if outside(bound[node], planes):
            continue
        if span[node, 2] >= 0:
            stack[depth], stack[depth + 1] = span[node, 2], span[node, 2] + 1
            depth += 2
            continue
        for at in range(span[node, 0], span[node, 1]):
            if not outside(box[order[at]], planes):
                found[count] = order[at]
                count += 1
    return count


@compiled
def unit_normal(corner):  # type: ignore[no-untyped-def]
    """Unit normal of a flat triangle (3, 3)."""
    normal = np.cross(corner[1] - corner[0], corner[2] - corner[0])
    return normal / max(np.sqrt((normal * normal).sum()), 1e-300)


@compiled
def sorted_triangles(corner):  # type: ignore[no-untyped-def]
    """Unit normals (n, 3) of flat triangles (n, 3, 3), their boxes (n, 6), and the tree of these."""
    n = corner.shape[0]
    box, look = np.empty((n, 6)), np.empty((n, 3))
    for t in range(n):
        look[t] = unit_normal(corner[t])
        for d in range(3):
            box[t, d] = min(corner[t, 0, d], corner[t, 1, d], corner[t, 2, d])
            box[t, d + 3] = max(corner[t, 0, d], corner[t, 1, d], corner[t, 2, d])
    order, bound, span = tree_of(box)
    return look, box, order, bound, span


@compiled
def prism_on(corner, normal, ahead, behind, planes):  # type: ignore[no-untyped-def]
    """Writes the planes (5, 4) of the prism over a triangle (3, 3), `ahead` along its normal and `behind` it."""
    size = 0.0
    for k in range(3):
        side = corner[(k + 1) % 3] - corner[k]
        out = np.cross(side, normal)
        out /= max(np.sqrt((out * out).sum()), 1e-300)
        planes[k, :3] = out
        planes[k, 3] = (out * corner[k]).sum()
        size = max(size, np.sqrt((side * side).sum()))
    planes[3, :3], planes[4, :3] = normal, -normal
    level = (normal * corner[0]).sum()
    planes[3, 3], planes[4, 3] = level + ahead, behind - level
    planes[:, 3] += 1e-9 * size


@compiled
def clipped(polygon, spare):  # type: ignore[no-untyped-def]
    """Clips the triangle in polygon[:3] (9, 2) to the reference triangle, in place; how many corners are left."""
    count = 3
    for side in range(3):
        kept = 0
        for k in range(count):
            ax, ay = polygon[k, 0], polygon[k, 1]
            bx, by = polygon[(k + 1) % count, 0], polygon[(k + 1) % count, 1]
            a = ax if side == 0 else ay if side == 1 else 1.0 - ax - ay
            b = bx if side == 0 else by if side == 1 else 1.0 - bx - by
            if a >= 0.0:
                spare[kept, 0], spare[kept, 1] = ax, ay
                kept += 1
            if (a >= 0.0) != (b >= 0.0):
                s = a / (a - b)
                spare[kept, 0], spare[kept, 1] = ax + s * (bx - ax), ay + s * (by - ay)
                kept += 1
        count = kept
        polygon[:count] = spare[:count]
    return count


@compiled
def reference_of(corner, normal, into):  # type: ignore[no-untyped-def]
    """Writes the rows (2, 3) that take a way from a triangle's first corner into its reference, along its normal."""
    u, v = corner[1] - corner[0], corner[2] - corner[0]
    into[0], into[1] = np.cross(v, normal), np.cross(normal, u)
    into[0] /= (into[0] * u).sum()
    into[1] /= (into[1] * v).sum()


@compiled
def seen_from(start, into, other, polygon):  # type: ignore[no-untyped-def]
    """Writes the corners of a triangle `other` (3, 3), which looks the other way, in the reference `into` (2, 3) from
    `start` (3,), counter-clockwise."""
    for k in range(3):
        polygon[k, 0] = polygon[k, 1] = 0.0
        for d in range(3):
            off = other[2 - k, d] - start[d]
            polygon[k, 0] += into[0, d] * off
            polygon[k, 1] += into[1, d] * off


@compiled
def overlaps(first, second, ahead, behind):  # type: ignore[no-untyped-def]
    """Where triangles `second` (d, 3, 3) lie opposite triangles `first` (c, 3, 3), seen along the first's normals, no
    farther than `ahead` of it and `behind` it.

    The overlaps cut into triangles: numbers of both (s, 2), sorted by the first, and corners (s, 3, 2) in the first's
    reference coordinates; and how many pairs were clipped.
    """
    look, box, order, bound, span = sorted_triangles(second)
    stack, found = np.empty(200, dtype=np.int64), np.empty(len(second), dtype=np.int64)
    planes, into, polygon, spare = np.empty((5, 4)), np.empty((2, 3)), np.empty((9, 2)), np.empty((9, 2))
    pair, cut = np.empty((1024, 2), dtype=np.int64), np.empty((1024, 3, 2))
    kept, tried = 0, 0
    for t in range(first.shape[0]):
        normal = unit_normal(first[t])
        prism_on(first[t], normal, ahead, behind, planes)
        reference_of(first[t], normal, into)
        for k in range(found_in(planes, box, order, bound, span, stack, found)):
            other = found[k]
            if normal[0] * look[other, 0] + normal[1] * look[other, 1] + normal[2] * look[other, 2] > OPPOSED:
                continue
            tried += 1
            seen_from(first[t, 0], into, second[other], polygon)
            corners = clipped(polygon, spare)
            if kept + corners > pair.shape[0]:
                pair = np.concatenate((pair, np.empty_like(pair)))
                cut = np.concatenate((cut, np.empty_like(cut)))
            for m in range(1, corners - 1):
                ux, uy = polygon[m, 0] - polygon[0, 0], polygon[m, 1] - polygon[0, 1]
                vx, vy = polygon[m + 1, 0] - polygon[0, 0], polygon[m + 1, 1] - polygon[0, 1]
                if ux * vy - uy * vx > SLIVER:
                    pair[kept, 0], pair[kept, 1] = t, other
                    cut[kept, 0], cut[kept, 1], cut[kept, 2] = polygon[0], polygon[m], polygon[m + 1]
                    kept += 1
    return pair[:kept], cut[:kept], tried


@compiled
def shapes_at(x, y, shape, slope):  # type: ignore[no-untyped-def]
    """Writes the shape functions (6,) of a second-order triangle and their slopes (6, 2) at a reference point."""
    z = 1.0 - x - y
    shape[0], shape[1], shape[2] = z * (2 * z - 1), x * (2 * x - 1), y * (2 * y - 1)
    shape[3], shape[4], shape[5] = 4 * x * z, 4 * x * y, 4 * y * z
    slope[0, 0] = slope[0, 1] = 1 - 4 * z
    slope[1, 0], slope[1, 1], slope[2, 0], slope[2, 1] = 4 * x - 1, 0.0, 0.0, 4 * y - 1
    slope[3, 0], slope[3, 1], slope[4, 0], slope[4, 1] = 4 * (z - x), -4 * x, 4 * y, 4 * x
    slope[5, 0], slope[5, 1] = -4 * y, 4 * (z - y)


@compiled
def shapes_of(reference):  # type: ignore[no-untyped-def]
    """The shape functions (q, 6) of a second-order triangle at reference points (q, 2)."""
    out, slope = np.empty((reference.shape[0], 6)), np.empty((6, 2))
    for q in range(reference.shape[0]):
        shapes_at(reference[q, 0], reference[q, 1], out[q], slope)
    return out


@compiled
def places_at(place, triangle, reference):  # type: ignore[no-untyped-def]
    """Points (q, 3) of second-order triangles place[triangle] (., 6, 3) at reference points (q, 2), and the cross
    products (q, 3) of their tangents there: twice the area by part of the reference, along the normal."""
    point, across = np.zeros((triangle.shape[0], 3)), np.empty((triangle.shape[0], 3))
    shape, slope, tangent = np.empty(6), np.empty((6, 2)), np.empty((2, 3))
    for q in range(triangle.shape[0]):
        shapes_at(reference[q, 0], reference[q, 1], shape, slope)
        tangent[:] = 0.0
        for a in range(6):
            for d in range(3):
                at = place[triangle[q], a, d]
                point[q, d] += shape[a] * at
                tangent[0, d] += slope[a, 0] * at
                tangent[1, d] += slope[a, 1] * at
        across[q, 0] = tangent[0, 1] * tangent[1, 2] - tangent[0, 2] * tangent[1, 1]
        across[q, 1] = tangent[0, 2] * tangent[1, 0] - tangent[0, 0] * tangent[1, 2]
        across[q, 2] = tangent[0, 0] * tangent[1, 1] - tangent[0, 1] * tangent[1, 0]
    return point, across


@compiled
def met(place, start, way, shape, slope, at):  # type: ignore[no-untyped-def]
    """Writes to `at` (3,) the reference point at which the line from `start` (3,) along `way` (3,) meets a
    second-order triangle (6, 3), and how far along it; how far outside it is, infinite where it is not met."""
    at[0] = at[1] = 1.0 / 3.0
    at[2] = 0.0
    for _ in range(STEPS):
        shapes_at(at[0], at[1], shape, slope)
        ux = uy = uz = vx = vy = vz = 0.0
        ox, oy, oz = start[0] + at[2] * way[0], start[1] + at[2] * way[1], start[2] + at[2] * way[2]
        for a in range(6):
            px, py, pz = place[a, 0], place[a, 1], place[a, 2]
            ox, oy, oz = ox - shape[a] * px, oy - shape[a] * py, oz - shape[a] * pz
            ux, uy, uz = ux + slope[a, 0] * px, uy + slope[a, 0] * py, uz + slope[a, 0] * pz
            vx, vy, vz = vx + slope[a, 1] * px, vy + slope[a, 1] * py, vz + slope[a, 1] * pz
        cx, cy, cz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        det = cx * way[0] + cy * way[1] + cz * way[2]
        if det * det <= 1e-12 * (cx * cx + cy * cy + cz * cz):
            return np.inf
        # Cramer's rule for u du + v dv - way dt = off
        wx, wy, wz = way[1] * oz - way[2] * oy, way[2] * ox - way[0] * oz, way[0] * oy - way[1] * ox
        du = (vx * wx + vy * wy + vz * wz) / det
        dv = -(ux * wx + uy * wy + uz * wz) / det
        at[0] += du
        at[1] += dv
        at[2] -= (cx * ox + cy * oy + cz * oz) / det
        if max(-at[0], -at[1], at[0] + at[1] - 1.0) > WILD:
            return np.inf
        if abs(du) + abs(dv) < SETTLED:
            break
    return max(-at[0], -at[1], at[0] + at[1] - 1.0)


@compiled
def partners(place, start, way, row, other, begin, end, layered):  # type: ignore[no-untyped-def]
    """Where the lines from points (q, 3) along (q, 3) meet second-order triangles `place` (d, 6, 3).

    The point comes from overlap `row` (q,); overlap r was made with triangle `other[r]`, those of the same first
    triangle are `begin[r]` to `end[r]`, and any of them is taken that is met better. Where these lie behind each
    other (`layered`), a point with another one nearer is left out.
    The triangle (q,), -1 where none is met, reference points (q, 2), and how far along (q,).
    """
    n = start.shape[0]
    triangle, reference, along = np.empty(n, dtype=np.int64), np.zeros((n, 2)), np.zeros(n)
    shape, slope, at, trial = np.empty(6), np.empty((6, 2)), np.zeros(3), np.zeros(3)
    for p in range(n):
        r = row[p]
        own, taken = other[r], other[r]
        out = met(place[own], start[p], way[p], shape, slope, at)
        if out > OUTSIDE or layered[r]:
            last = own
            for s in range(begin[r], end[r]):
                if other[s] == last or other[s] == own:
                    continue
                last = other[s]
                trial_out = met(place[last], start[p], way[p], shape, slope, trial)
                if layered[r]:
                    if trial_out <= OUTSIDE and abs(trial[2]) < (1 - 1e-6) * abs(at[2]):
                        out = np.inf
                elif trial_out < out:
                    out, taken = trial_out, last
                    at[:] = trial
        triangle[p] = taken if out <= FARTHEST else -1
        reference[p, 0], reference[p, 1], along[p] = at[0], at[1], at[2]
    return triangle, reference, along


@compiled
def crossed(start, way, near, far, corner, look, box, order, bound, span):  # type: ignore[no-untyped-def]
    """Whether the line from each point (q, 3) along unit (q, 3) crosses a triangle (n, 3, 3) from outside, or leaves
    it from inside going back, between `near` and `far` (q,) along it; the rest is from `sorted_triangles`."""
    stack, found = np.empty(200, dtype=np.int64), np.empty(len(corner), dtype=np.int64)
    planes, out = np.empty((6, 4)), np.zeros(start.shape[0], dtype=np.bool_)
    for p in range(start.shape[0]):
        if not near[p] < far[p]:
            continue
        axis = np.zeros(3)
        axis[np.argmin(np.abs(way[p]))] = 1.0
        planes[0, :3] = way[p]
        planes[2, :3] = np.cross(way[p], axis)
        planes[4, :3] = np.cross(way[p], planes[2, :3])
        for k in range(0, 6, 2):
            planes[k + 1, :3] = -planes[k, :3]
            level = (planes[k, :3] * start[p]).sum()
            planes[k, 3] = level + (far[p] if k == 0 else 0.0)
            planes[k + 1, 3] = -level - (near[p] if k == 0 else 0.0)
        for k in range(found_in(planes, box, order, bound, span, stack, found)):
            t = found[k]
            against = -(look[t] * way[p]).sum()
            if against <= 1e-9:
                continue
            along = ((start[p] - corner[t, 0]) * look[t]).sum() / against
            if not near[p] < along < far[p]:
                continue
            at = start[p] + along * way[p]
            inside = True
            for m in range(3):
                turn = np.cross(corner[t, (m + 1) % 3] - corner[t, m], at - corner[t, m])
                inside &= (turn * look[t]).sum() >= 0.0
            if inside:
                out[p] = True
                break
    return out
