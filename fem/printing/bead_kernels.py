"""Compiled loops that lay beads, place by place in the middle of a layer. Imported only when first used.

The beads of a wall follow the outline at depths 0 to 1, 1 to 2, ... bead widths. Bead i is laid where its middle
line, (i + 1/2) bead widths deep, has room: where a circle of that radius that touches the outline at the place's
nearest point lies in the part, or can be pushed into it along the corner that it sits in. Lengths in mm, print axes.

`rule` is: how many walls, bead width [mm], how many covers, whether the core is an infill (else raster), layer height
[mm], directions over half a turn. segment, start, listed, frame: a section, see `section_kernels`. `lattice`: see
`infill.in_layer`.
"""

import numba
import numpy as np

from fem.printing.crumb_kernels import sweep_crumbs
from fem.printing.infill.in_layer import infill_at
from fem.printing.section_kernels import boxes_within, is_inside, mark_inside, nearest, section_of, segments_at

compiled = numba.njit(cache=True, nogil=True)

NOTHING, WALL, COVER, CORE, AIR = range(5)
INNER = 5
"""Inside the walls: cover or core."""
FULL = 255
LEAST = 0.1
"""A box less full than that holds nothing."""
CLOSED = 0.5
"""Gaps up to so many bead widths are closed by the melt; the innermost strip of so many takes what lies beyond it."""
ALONG = 0.5
"""A bead runs along a wall where the sine of the angle between them is smaller."""
END = 1.1
"""A bead's end reaches at most so many bead widths beyond its middle line, into a corner."""
MITRE = 0.1
"""Sides that meet at a smaller sine of half their angle are the two sides of a rib, not a corner."""


@compiled
def room_for(depth, x, y, foot_x, foot_y, nx, ny, width, segment, start, listed, frame):  # type: ignore[no-untyped-def]
    """Whether a middle line `depth` from the outline has room near (x, y), whose nearest outline lies at the foot,
    with the inward normal (nx, ny); if not, the half width of the part there."""
    near = depth - 1e-6 * width
    cx, cy = foot_x + depth * nx, foot_y + depth * ny
    other, _, gx, gy = nearest(cx, cy, near, -1, segment, start, listed, frame)
    if other < 0:
        return True, depth
    radius = depth
    for _ in range(8):
        # The circle that touches at the foot and goes through the other place
        ax, ay = gx - foot_x, gy - foot_y
        ahead = nx * ax + ny * ay
        if ahead <= 0 or ax * ax + ay * ay >= 2 * ahead * radius * (1 - 1e-9):
            break
        radius = (ax * ax + ay * ay) / (2 * ahead)
        cx, cy = foot_x + radius * nx, foot_y + radius * ny
        other, _, hx, hy = nearest(cx, cy, radius * (1 - 1e-6), -1, segment, start, listed, frame)
        if other < 0:
            break
        gx, gy = hx, hy
    # Out of a corner the circle grows along the line between its two sides
    mx, my = nx + (cx - gx) / radius, ny + (cy - gy) / radius
    length = np.sqrt(mx * mx + my * my)
    if length / 2 < MITRE:
        return False, radius
    mx, my = mx / length, my / length
    far = (depth - radius) / (length / 2)
    ex, ey = cx + far * mx, cy + far * my
    slack = 2e-3 * width
    other, _, _, _ = nearest(ex, ey, depth - slack, -1, segment, start, listed, frame)
    if other < 0:
        return (ex - x) ** 2 + (ey - y) ** 2 <= (END * width) ** 2, radius
    low, high = 0.0, 1.0
    for _ in range(6):
        middle = (low + high) / 2
        other, _, _, _ = nearest(
            cx + middle * far * mx,
            cy + middle * far * my,
            radius + middle * (depth - radius) - slack,
            -1,
            segment,
            start,
            listed,
            frame,
        )
        if other < 0:
            low = middle
        else:
            high = middle
    return False, radius + low * (depth - radius)


@compiled
def wall_at(x, y, inside, hx, hy, guess, rule, segment, start, listed, frame):  # type: ignore[no-untyped-def]
    """What the walls make of a box of sides hx, hy around (x, y): WALL, AIR, NOTHING, or INNER for what they leave;
    the bead's number and angle [rad], the share that is filled, for INNER the place that says what lies there; and
    the nearest segment, which `guess` (or -1) may name."""
    walls, width, _, _, _, _ = rule
    reach = (walls + CLOSED) * width
    which, away, fx, fy = nearest(
        x, y, reach + (hx + hy if not inside else 0.0), guess, segment, start, listed, frame
    )
    if which < 0:
        return (INNER if inside else NOTHING), 0, 0.0, 1.0, x, y, which
    if away > 1e-7 * width:
        sign = 1.0 if inside else -1.0
        nx, ny = sign * (x - fx) / away, sign * (y - fy) / away
    else:
        ux = segment[which, 2] - segment[which, 0]
        uy = segment[which, 3] - segment[which, 1]
        size = np.sqrt(ux * ux + uy * uy)
        nx, ny = -uy / size, ux / size
    angle = np.arctan2(-nx, ny)
    wide = abs(nx) * hx + abs(ny) * hy
    share = min(max(0.5 + (away if inside else -away) / wide, 0.0), 1.0)
    if share < LEAST:
        return NOTHING, 0, angle, 0.0, x, y, which
    depth = away if inside else 0.0
    within = fx + reach * nx, fy + reach * ny
    if walls == 0:
        return INNER, 0, angle, share, within[0], within[1], which
    bead = min(int(depth / width), walls)
    laid, half = room_for((bead + 0.5) * width, x, y, fx, fy, nx, ny, width, segment, start, listed, frame)
    if laid and bead == walls:
        return INNER, 0, angle, share, within[0], within[1], which
    if laid:
        edge = (bead + 1) * width
        if edge - depth < wide / 2:
            # The next box may lie in a gap
            more, half = room_for(edge + width / 2, x, y, fx, fy, nx, ny, width, segment, start, listed, frame)
            if not more and half > edge + CLOSED * width / 2:
                share *= min(0.5 + (edge - depth) / wide, 1.0)
        return WALL, bead, angle, share, x, y, which
    if bead == 0:
        return AIR, 0, angle, 0.0, x, y, which
    edge = bead * width
    if half - edge > CLOSED * width / 2 * (1 + 1e-6):
        share *= min(max(0.5 + (edge - depth) / wide, 0.0) + max(0.5 + (depth - 2 * half + edge) / wide, 0.0), 1.0)
        if share < LEAST:
            return AIR, 0, angle, 0.0, x, y, which
    return WALL, bead - 1, angle, share, x, y, which


@compiled
def inner_at(covered, x, y, px, py, beside, layer, raster, hx, hy, rule, lattice):  # type: ignore[no-untyped-def]
    """Zone, bead, angle [rad] and share inside the walls: `raster` [rad] in covers and solid cores, else infill or
    air. Where (px, py) is not the place itself, a wall runs past within half a bead at the angle `beside`."""
    _, width, _, filled, height, _ = rule
    if covered or not filled:
        bead = int(np.floor((y * np.cos(raster) - x * np.sin(raster)) / width))
        return (COVER if filled else CORE), bead & 0xFFFF, raster, 1.0
    z = (layer + 0.5) * height
    share, angle, bead = infill_at(x, y, z, layer, hx, hy, lattice)
    if px != x or py != y:
        # Beads end at the wall; one that runs along it is a bead for half its width or more, or melts into it
        share_in, angle_in, bead_in = infill_at(px, py, z, layer, hx, hy, lattice)
        lengthwise = abs(np.sin((angle_in if share_in >= LEAST else angle) - beside)) < ALONG
        if lengthwise and max(share, share_in) >= LEAST:
            share, angle, bead = share_in, angle_in, bead_in
    if share < LEAST:
        return AIR, 0, 0.0, 0.0
    return CORE, bead & 0xFFFF, angle, share


@compiled
def way_of(angle, zone, ways):  # type: ignore[no-untyped-def]
    """The number of a bead's direction."""
    return int(np.round(angle / np.pi * ways)) % (2 * ways if zone == WALL else ways)


@compiled
def lay_layer(
    layer,
    raster,
    segment,
    start,
    listed,
    frame,
    inside,
    run,
    whole,
    margin,
    box,
    rule,
    lattice,
    zone,
    share,
    way,
    bead,
):  # type: ignore[no-untyped-def]
    """Fill one layer's `zone`, `share`, `way`, `bead` (ny, nx). `inside` and `run` reach `margin` boxes farther; what
    lies in less than `whole` layers of the part in a row (`run`) is covered, unless `whole` is 1. `box`: low x, low y, how far boxes
    stand apart in both directions, and how much of that they are judged by (1, or 0 for their middles alone)."""
    low_x, low_y, hx, hy, part_judged = box
    wx, wy = max(part_judged, 1e-9) * hx, max(part_judged, 1e-9) * hy
    ways = rule[5]
    near = boxes_within((rule[0] + CLOSED) * rule[1] + hx + hy, start, frame)
    ny, nx = zone.shape
    for j in range(ny):
        y = low_y + (j + 0.5) * hy
        guess = -1
        for i in range(nx):
            p, q = i + margin, j + margin
            here = inside[q, p] == 1
            if not here:
                above, below = inside[q + 1], inside[q - 1]
                beside = above[p - 1] + above[p] + above[p + 1] + below[p - 1] + below[p] + below[p + 1]
                if beside + inside[q, p - 1] + inside[q, p + 1] == 0:
                    zone[j, i], share[j, i], way[j, i], bead[j, i] = NOTHING, 0, 0, 0
                    continue
            x = low_x + (i + 0.5) * hx
            kind, number, angle, filled, px, py = INNER, 0, 0.0, 1.0, x, y
            if near[int((y - frame[1]) / frame[2]), int((x - frame[0]) / frame[2])]:
                kind, number, angle, filled, px, py, guess = wall_at(
                    x, y, here, wx, wy, guess, rule, segment, start, listed, frame
                )
            if kind == INNER:
                a = min(max(int(np.floor((px - low_x) / hx)) + margin, 0), inside.shape[1] - 1)
                b = min(max(int(np.floor((py - low_y) / hy)) + margin, 0), inside.shape[0] - 1)
                kind, number, angle, part = inner_at(
                    whole > 1 and run[b, a] < whole, x, y, px, py, angle, layer, raster, wx, wy, rule, lattice
                )
                filled *= part
            if filled < LEAST:
                kind, number, angle, filled = (AIR if here else NOTHING), 0, 0.0, 0.0
            zone[j, i], bead[j, i] = kind, number
            share[j, i], way[j, i] = int(np.round(filled * FULL)), way_of(angle, kind, ways)


@compiled
def lay_layers(  # type: ignore[no-untyped-def]
    corner, start, number, lowest, middle, box, raster, rule, lattice, first, zone, share, way, bead, begin, end
):
    """Fill layers begin..end of `zone` and its like (layers, ny, nx), of which the first is number `first` of the
    print. start, number: which triangles `corner` meet the layers from `lowest` on; `middle` [mm] that of layer 0.
    How many rows met an outline that is open."""
    low_x, low_y, hx, hy, _ = box
    walls, width, covers, _, height, _ = rule
    ny, nx = zone.shape[1:]
    margin = int((CLOSED + 0.1) * width / min(hx, hy)) + 2
    inside = np.zeros((ny + 2 * margin, nx + 2 * margin), dtype=np.uint8)
    run = np.zeros(inside.shape, dtype=np.uint16)
    broken = 0
    beyond = (walls + 1) * width + 2 * (hx + hy)
    for ahead in range(first + begin - covers, first + end + covers):
        if covers > 0:
            segment = layer_segments(ahead, corner, start, number, lowest, middle, height)
            broken += mark_inside(segment, low_x - margin * hx, low_y - margin * hy, hx, hy, inside)
            for q in range(inside.shape[0]):
                for p in range(inside.shape[1]):
                    run[q, p] = min(run[q, p] + 1, 60000) if inside[q, p] else 0
        layer = ahead - covers
        if layer < first + begin or layer >= first + end:
            continue
        segment = layer_segments(layer, corner, start, number, lowest, middle, height)
        broken += mark_inside(segment, low_x - margin * hx, low_y - margin * hy, hx, hy, inside)
        boxes = section_of(
            segment,
            low_x - beyond,
            low_y - beyond,
            low_x + nx * hx + beyond,
            low_y + ny * hy + beyond,
            2 * width,
        )
        k = layer - first
        given = inside, run, 2 * covers + 1, margin, box, rule, lattice, zone[k], share[k], way[k], bead[k]
        lay_layer(layer, raster[layer % raster.shape[0]], segment, *boxes, *given)
        sweep_crumbs(zone[k], share[k], way[k], bead[k], 1.001 * (CLOSED * width) ** 2 / (hx * hy))
    return broken


@compiled
def layer_segments(layer, corner, start, number, lowest, middle, height):  # type: ignore[no-untyped-def]
    """Segments (n, 4) of the section with the middle of a layer."""
    k = layer - lowest
    if k < 0 or k >= start.shape[0] - 1:
        return np.empty((0, 4))
    return segments_at(middle + layer * height, corner, number, start[k], start[k + 1])


@compiled
def lay_points(  # type: ignore[no-untyped-def]
    points, layers, corner, start, number, lowest, middle, span, raster, rule, lattice, zone, way, bead, begin, end
):
    """Fill `zone`, `way`, `bead` (n,) of places (n, 2), sorted by their `layers`, begin..end. How many met an outline
    that is open."""
    _, width, covers, _, height, ways = rule
    tiny = 1e-9 * width
    broken = 0
    at, angle, covered = np.empty((end - begin, 2)), np.empty(end - begin), np.zeros(end - begin, dtype=np.uint8)
    a = begin
    while a < end:
        layer, b = layers[a], a
        segment = layer_segments(layer, corner, start, number, lowest, middle, height)
        boxes = section_of(segment, span[0], span[1], span[2], span[3], 2 * width)
        while b < end and layers[b] == layer:
            x, y = points[b]
            here, sound = is_inside(x, y, width, segment)
            broken += not sound
            kind, which, angle[b - begin], px, py = NOTHING, 0, 0.0, x, y
            if here:
                kind, which, angle[b - begin], _, px, py, _ = wall_at(
                    x, y, True, tiny, tiny, -1, rule, segment, *boxes
                )
            zone[b], bead[b] = kind, which
            at[b - begin, 0], at[b - begin, 1] = px, py
            b += 1
        for other in range(layer - covers, layer + covers + 1) if covers > 0 else range(0):
            segment = layer_segments(other, corner, start, number, lowest, middle, height)
            for n in range(a, b):
                if zone[n] == INNER and not covered[n - begin]:
                    covered[n - begin] = not is_inside(at[n - begin, 0], at[n - begin, 1], width, segment)[0]
        ahead = raster[layer % raster.shape[0]]
        for n in range(a, b):
            kind, which, turn = zone[n], bead[n], angle[n - begin]
            if kind == INNER:
                x, y = at[n - begin]
                kind, which, turn, _ = inner_at(
                    covered[n - begin] == 1,
                    points[n, 0],
                    points[n, 1],
                    x,
                    y,
                    turn,
                    layer,
                    ahead,
                    tiny,
                    tiny,
                    rule,
                    lattice,
                )
            zone[n], way[n], bead[n] = kind, way_of(turn, kind, ways), which
        a = b
    return broken
