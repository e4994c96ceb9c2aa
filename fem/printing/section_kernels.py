"""Compiled loops over the section of a body with the middle of a layer. Imported only when first used.

All lengths in mm, in print axes. A section is segments (n, 4) from (x, y) to (x, y) that run with the part on their
left, and a flat grid of boxes that finds those near a place: `frame` holds its lowest x and y, the side of a box and
how many there are along x (`wide`) and y; listed[start[c]:start[c + 1]] are the segments that touch box
c = j * wide + i. Loops take plain numbers and arrays one by one: an array in a tuple costs time at each look.
"""

import numba
import numpy as np

compiled = numba.njit(cache=True, nogil=True)

SHIFTS = (0.013, -0.029, 0.11, -0.13, 0.31, -0.37)
"""Shares of a row's distance by which a row is moved that meets the outline of an open surface."""


@compiled
def layers_of_triangles(corner, middle, height, low, count):  # type: ignore[no-untyped-def]
    """Which triangles (t, 3, 3) meet each of `count` layers from number `low`: start (count + 1,) and their numbers.

    `middle` is the height of layer 0's middle, `height` that of a layer. A triangle may be named once too often."""
    start = np.zeros(count + 1, dtype=np.int64)
    first = np.empty(corner.shape[0], dtype=np.int64)
    last = np.empty(corner.shape[0], dtype=np.int64)
    for t in range(corner.shape[0]):
        a = (min(corner[t, 0, 2], corner[t, 1, 2], corner[t, 2, 2]) - middle) / height - low
        b = (max(corner[t, 0, 2], corner[t, 1, 2], corner[t, 2, 2]) - middle) / height - low
        first[t] = int(min(max(np.ceil(a - 1e-9), 0.0), count))
        last[t] = int(min(max(np.floor(b + 1e-9), -1.0), count - 1.0))
        for k in range(first[t], last[t] + 1):
            start[k + 1] += 1
    start = np.cumsum(start)
    number = np.empty(start[count], dtype=np.int32)
    fill = start.copy()
    for t in range(corner.shape[0]):
        for k in range(first[t], last[t] + 1):
            number[fill[k]] = t
            fill[k] += 1
    return start, number


@compiled
def segments_at(z, corner, number, begin, end):  # type: ignore[no-untyped-def]
    """Segments (n, 4) of the triangles number[begin:end] with the height z."""
    out = np.empty((end - begin, 4))
    n = 0
    for at in range(begin, end):
        t = number[at]
        met = 0
        for a in range(3):
            b = (a + 1) % 3
            # A corner in the layer counts as above it, so that each side is met from both its triangles or none
            low, high = a, b
            if corner[t, a, 2] >= z:
                low, high = b, a
            if corner[t, low, 2] >= z or corner[t, high, 2] < z:
                continue
            # From the lower end, whichever triangle asks: both then find the same place to the last digit
            s = (z - corner[t, low, 2]) / (corner[t, high, 2] - corner[t, low, 2])
            x = corner[t, low, 0] + s * (corner[t, high, 0] - corner[t, low, 0])
            y = corner[t, low, 1] + s * (corner[t, high, 1] - corner[t, low, 1])
            # Seen from outside, corners run counter-clockwise: the section begins on the side that runs down
            if low == b:
                out[n, 0], out[n, 1] = x, y
            else:
                out[n, 2], out[n, 3] = x, y
            met += 1
        if met == 2 and (out[n, 0] != out[n, 2] or out[n, 1] != out[n, 3]):
            n += 1
    return out[:n]


@compiled
def section_of(segment, low_x, low_y, high_x, high_y, side):  # type: ignore[no-untyped-def]
    """The segments that touch a window, sorted into boxes of `side`: start, listed, frame."""
    wide, high = int((high_x - low_x) / side) + 1, int((high_y - low_y) / side) + 1
    start = np.zeros(wide * high + 1, dtype=np.int32)
    n = segment.shape[0]
    box = np.empty((n, 4), dtype=np.int32)
    for s in range(n):
        x0, x1 = min(segment[s, 0], segment[s, 2]), max(segment[s, 0], segment[s, 2])
        y0, y1 = min(segment[s, 1], segment[s, 3]), max(segment[s, 1], segment[s, 3])
        if x1 < low_x or x0 > high_x or y1 < low_y or y0 > high_y:
            box[s, 0], box[s, 1], box[s, 2], box[s, 3] = 0, -1, 0, -1
            continue
        box[s, 0] = int(max(x0 - low_x, 0.0) / side)
        box[s, 1] = int(min(x1 - low_x, (wide - 0.5) * side) / side)
        box[s, 2] = int(max(y0 - low_y, 0.0) / side)
        box[s, 3] = int(min(y1 - low_y, (high - 0.5) * side) / side)
        for j in range(box[s, 2], box[s, 3] + 1):
            for i in range(box[s, 0], box[s, 1] + 1):
                start[j * wide + i + 1] += 1
    for c in range(wide * high):
        start[c + 1] += start[c]
    listed = np.empty(start[wide * high], dtype=np.int32)
    fill = start.copy()
    for s in range(n):
        for j in range(box[s, 2], box[s, 3] + 1):
            for i in range(box[s, 0], box[s, 1] + 1):
                listed[fill[j * wide + i]] = s
                fill[j * wide + i] += 1
    return start, listed, (low_x, low_y, side, wide, high)


@compiled
def boxes_within(reach, start, frame):  # type: ignore[no-untyped-def]
    """Boxes (high, wide) of a section with a place that may lie within `reach` of a segment."""
    _, _, side, wide, high = frame
    far = int(np.ceil(reach / side))
    beside = np.zeros((high, wide), dtype=np.uint8)
    out = np.zeros((high, wide), dtype=np.uint8)
    for q in range(high):
        for p in range(wide):
            if start[q * wide + p] != start[q * wide + p + 1]:
                beside[q, max(p - far, 0) : p + far + 1] = 1
    for q in range(high):
        for p in range(wide):
            if beside[q, p]:
                out[max(q - far, 0) : q + far + 1, p] = 1
    return out


@compiled
def foot_on(x, y, segment, s):  # type: ignore[no-untyped-def]
    """The point of segment s nearest to (x, y), and the square of its distance."""
    ax, ay = segment[s, 0], segment[s, 1]
    ux, uy = segment[s, 2] - ax, segment[s, 3] - ay
    along = min(max(((x - ax) * ux + (y - ay) * uy) / (ux * ux + uy * uy), 0.0), 1.0)
    fx, fy = ax + along * ux, ay + along * uy
    return fx, fy, (x - fx) ** 2 + (y - fy) ** 2


@compiled
def nearest(x, y, reach, guess, segment, start, listed, frame):  # type: ignore[no-untyped-def]
    """The outline's point nearest to (x, y): its segment (-1 if none lies nearer than `reach`), the distance, the
    point. `guess` is a segment that may be near, or -1."""
    best = reach * reach
    which, foot_x, foot_y = -1, 0.0, 0.0
    if guess >= 0:
        fx, fy, square = foot_on(x, y, segment, guess)
        if square < best:
            best, which, foot_x, foot_y = square, guess, fx, fy
            reach = np.sqrt(best)
    low_x, low_y, side, wide, high = frame
    px, py = (x - low_x) / side, (y - low_y) / side
    i, j = int(min(max(px, 0.0), wide - 1.0)), int(min(max(py, 0.0), high - 1.0))
    i0, i1 = int(min(max(px - reach / side, 0.0), wide - 1.0)), int(min(max(px + reach / side, 0.0), wide - 1.0))
    j0, j1 = int(min(max(py - reach / side, 0.0), high - 1.0)), int(min(max(py + reach / side, 0.0), high - 1.0))
    # Rings of boxes around the place's own, until what is left lies farther than what is found
    for ring in range(max(i - i0, i1 - i, j - j0, j1 - j) + 1):
        if ring > 1 and ((ring - 1) * side) ** 2 > best:
            break
        for q in range(max(j - ring, j0), min(j + ring, j1) + 1):
            dy = max(q - py, py - q - 1, 0.0) * side
            step = 1 if abs(q - j) == ring or ring == 0 else 2 * ring
            for p in range(i - ring, i + ring + 1, step):
                if p < i0 or p > i1:
                    continue
                c = q * wide + p
                begin, end = start[c], start[c + 1]
                dx = max(p - px, px - p - 1, 0.0) * side
                if begin == end or dx * dx + dy * dy >= best:
                    continue
                for at in range(begin, end):
                    fx, fy, square = foot_on(x, y, segment, listed[at])
                    if square < best:
                        best, which, foot_x, foot_y = square, listed[at], fx, fy
    return which, np.sqrt(best), foot_x, foot_y


@compiled
def row_crossings(y, segment):  # type: ignore[no-untyped-def]
    """Where a row meets the outline: x in rising order, +1 where the part begins and -1 where it ends."""
    n = 0
    for s in range(segment.shape[0]):
        if (segment[s, 1] >= y) != (segment[s, 3] >= y):
            n += 1
    x, sign = np.empty(n), np.empty(n, dtype=np.int64)
    n = 0
    for s in range(segment.shape[0]):
        if (segment[s, 1] >= y) != (segment[s, 3] >= y):
            x[n], sign[n] = crossing(y, segment, s)
            n += 1
    order = np.argsort(x)
    return x[order], sign[order]


@compiled
def crossing(y, segment, s):  # type: ignore[no-untyped-def]
    """Where segment s meets the row y, and whether the part begins (+1) or ends (-1) there."""
    share = (y - segment[s, 1]) / (segment[s, 3] - segment[s, 1])
    return segment[s, 0] + share * (segment[s, 2] - segment[s, 0]), 1 if segment[s, 3] < segment[s, 1] else -1


@compiled
def sound_row(y, between, segment):  # type: ignore[no-untyped-def]
    """The crossings of a row that leaves the part as often as it enters it: the row at y, or one moved aside by a
    share of the distance `between` rows. The last answer says whether there is one."""
    x, sign = row_crossings(y, segment)
    for shift in SHIFTS:
        if sign.sum() == 0:
            return x, sign, True
        x, sign = row_crossings(y + shift * between, segment)
    return x, sign, sign.sum() == 0


@compiled
def is_inside(x, y, between, segment):  # type: ignore[no-untyped-def]
    """Whether (x, y) lies in the part, and whether the outline there is closed."""
    where, sign, sound = sound_row(y, between, segment)
    turns = 0
    for n in range(where.shape[0]):
        if where[n] > x:
            break
        turns += sign[n]
    return turns > 0, sound


@compiled
def mark_inside(segment, low_x, low_y, step_x, step_y, inside):  # type: ignore[no-untyped-def]
    """Fill `inside` (ny, nx): 1 where the middle of a box lies in the part. How many rows meet an open outline."""
    ny, nx = inside.shape
    inside[:] = 0
    count = np.zeros(ny + 1, dtype=np.int64)
    first = np.empty(segment.shape[0], dtype=np.int64)
    last = np.empty(segment.shape[0], dtype=np.int64)
    for s in range(segment.shape[0]):
        a, b = min(segment[s, 1], segment[s, 3]), max(segment[s, 1], segment[s, 3])
        first[s] = int(min(max((a - low_y) / step_y - 1.5, 0.0), float(ny)))
        last[s] = int(min(max((b - low_y) / step_y + 0.5, -1.0), ny - 1.0))
        for j in range(first[s], last[s] + 1):
            y = low_y + (j + 0.5) * step_y
            if (segment[s, 1] >= y) != (segment[s, 3] >= y):
                count[j + 1] += 1
    start = np.cumsum(count)
    where, sign = np.empty(start[ny]), np.empty(start[ny], dtype=np.int64)
    fill = start.copy()
    for s in range(segment.shape[0]):
        for j in range(first[s], last[s] + 1):
            y = low_y + (j + 0.5) * step_y
            if (segment[s, 1] >= y) != (segment[s, 3] >= y):
                x, way = crossing(y, segment, s)
                at = fill[j]
                while at > start[j] and where[at - 1] > x:
                    where[at], sign[at] = where[at - 1], sign[at - 1]
                    at -= 1
                where[at], sign[at] = x, way
                fill[j] += 1
    broken = 0
    for j in range(ny):
        x, way = where[start[j] : start[j + 1]], sign[start[j] : start[j + 1]]
        if way.sum() != 0:
            x, way, sound = sound_row(low_y + (j + 0.5) * step_y, step_y, segment)
            if not sound:
                broken += 1
                continue
        turns = 0
        for n in range(x.shape[0] - 1):
            turns += way[n]
            if turns > 0:
                i0 = int(min(max(np.ceil((x[n] - low_x) / step_x - 0.5), 0.0), float(nx)))
                i1 = int(min(max(np.ceil((x[n + 1] - low_x) / step_x - 0.5), 0.0), float(nx)))
                inside[j, i0:i1] = 1
    return broken
