"""Compiled: what of the infill lies at a place of a layer, and which way its bead runs. Imported when first used.

The same walls, lines and sheet as `patterns.solid_at`, with the share of a small box that they fill. A lattice is a
tuple of plain numbers and tuples (`filling` makes it):

kind      LINES, HONEYCOMB or GYROID
turn      [rad] of its own axes from print axes, then that angle's cosine and sine
half      [mm] a bead's half width
length    [mm] the distance of lines, the side of a hexagon, the gyroid's period
shift     (3,) [mm] of the lattice
families  how many families of lines
angle     (3,) [rad] of each family
offset    (3,) [mm] of each family across its lines
slope     how far lines move across while they rise
first     the family of layer 0 where each layer holds one, else -1
level     of the gyroid's sheet
"""

import numba
import numpy as np

compiled = numba.njit(cache=True, nogil=True)

LINES, HONEYCOMB, GYROID = range(3)


@compiled
def overlap(off, half, wide):  # type: ignore[no-untyped-def]
    """Share of a stretch of length `wide`, its middle at `off`, that lies within `half` of zero."""
    return min(max((min(off + wide / 2, half) - max(off - wide / 2, -half)) / wide, 0.0), 1.0)


@compiled
def across_box(normal, hx, hy):  # type: ignore[no-untyped-def]
    """Width [mm] of a box of sides hx, hy as seen along a direction [rad]."""
    return abs(np.cos(normal)) * hx + abs(np.sin(normal)) * hy


@compiled
def infill_at(x, y, z, layer, hx, hy, lattice):  # type: ignore[no-untyped-def]
    """Share of a box of sides hx, hy around (x, y) that is bead, the bead's angle [rad] from print axis 1, and a
    number that tells it from the next. Height z [mm] counts from the build plate."""
    kind, _, cosine, sine, _, _, shift, _, _, _, _, _, _ = lattice
    u = cosine * x + sine * y - shift[0]
    v = cosine * y - sine * x - shift[1]
    if kind == GYROID:
        return gyroid_at(u, v, z - shift[2], hx, hy, lattice)
    if kind == HONEYCOMB:
        return honeycomb_at(u, v, layer, hx, hy, lattice)
    return lines_at(u, v, z, layer, hx, hy, lattice)


@compiled
def lines_at(u, v, z, layer, hx, hy, lattice):  # type: ignore[no-untyped-def]
    """Families of lines in the layer: where some cross, the layers take turns."""
    _, turn, _, _, half, length, _, families, angles, offset, slope, first, _ = lattice
    shares, lines = (0.0, 0.0, 0.0), (0, 0, 0)
    for f in range(families):
        if first >= 0 and (layer + first) % families != f:
            continue
        angle = angles[f]
        across = v * np.cos(angle) - u * np.sin(angle) + offset[f] + slope * z
        nearest = np.round(across / length)
        wide = across_box(angle + turn + np.pi / 2, hx, hy)
        shares = with_item(shares, f, overlap(across - nearest * length, half, wide))
        lines = with_item(lines, f, int(nearest))
    share, best = joined(shares, layer)
    return share, angles[best] + turn, 3 * lines[best] + best


@compiled
def with_item(three, which, value):  # type: ignore[no-untyped-def]
    """Three numbers with one of them exchanged: no array is asked for at each place."""
    return (
        value if which == 0 else three[0],
        value if which == 1 else three[1],
        value if which == 2 else three[2],
    )


@compiled
def joined(shares, layer):  # type: ignore[no-untyped-def]
    """The share that families fill together, and the one whose bead runs there: in turns where some cross."""
    crossing, best, most = 0, 0, -1.0
    for f in range(3):
        crossing += shares[f] >= 0.5
        if shares[f] > most:
            most, best = shares[f], f
    if crossing > 1:
        turn, met = layer % crossing, 0
        for f in range(3):
            if shares[f] >= 0.5:
                if met == turn:
                    best = f
                met += 1
    return 1 - (1 - shares[0]) * (1 - shares[1]) * (1 - shares[2]), best


@compiled
def honeycomb_at(u, v, layer, hx, hy, lattice):  # type: ignore[no-untyped-def]
    """The three pairs of walls around the hexagon that holds the place."""
    _, turn, _, _, half, side, _, _, _, _, _, _, _ = lattice
    wide, high = 3 * side, np.sqrt(3.0) * side
    least, off = 2 * side, (0.0, 0.0, 0.0)
    for k in range(2):
        p = u - side / 2 - k * wide / 2
        q = v - high / 2 - k * high / 2
        p, q = p - np.round(p / wide) * wide, q - np.round(q / high) * high
        # Walls at 0, 60 and 120 degrees lie across the directions of 90, 150 and 30
        one = abs(q), abs(q * high / 2 - p * wide / 2) / high, abs(p * wide / 2 + q * high / 2) / high
        if max(one) < least:
            least, off = max(one), one
    shares = (0.0, 0.0, 0.0)
    for f in range(3):
        box = across_box(f * np.pi / 3 + turn + np.pi / 2, hx, hy)
        shares = with_item(shares, f, overlap(high / 2 - off[f], half, box))
    share, best = joined(shares, layer)
    return share, best * np.pi / 3 + turn, best


@compiled
def gyroid_at(u, v, z, hx, hy, lattice):  # type: ignore[no-untyped-def]
    """The sheet between two levels of the gyroid's function; its bead follows the sheet's horizontal tangent."""
    _, turn, cosine, sine, _, length, _, _, _, _, _, _, level = lattice
    k = 2 * np.pi / length
    sx, cx, sy, cy, sz, cz = np.sin(k * u), np.cos(k * u), np.sin(k * v), np.cos(k * v), np.sin(k * z), np.cos(k * z)
    value = sx * cy + sy * cz + sz * cx
    gx, gy = cx * cy - sz * sx, cy * cz - sx * sy
    # How much the function changes over the box: by its slope, or by its curvature where it has none
    slope = k * (abs(cosine * gx - sine * gy) * hx + abs(sine * gx + cosine * gy) * hy)
    curve = (k * (hx + hy)) ** 2 / 16
    share = overlap(value, level, max(slope, curve))
    return share, (np.arctan2(-gx, gy) + turn if share > 0 else 0.0), 0
