"""Compiled: what of the infill lies at a place of a layer, and which way its bead runs. Imported only when first used.

The same walls, lines and sheet as `patterns.solid_at`, with the share of a small box that they fill.
"""

from collections import namedtuple

import numba
import numpy as np

compiled = numba.njit(cache=True, nogil=True)

LINES, HONEYCOMB, GYROID = range(3)
Lattice = namedtuple("Lattice", "kind cosine sine turn half length level angle offset slope shift takes_turns")
"""An infill: `cosine`, `sine`, `turn` [rad] of its axes from print axes; `half` [mm] a bead's half width; `length`
[mm] the distance of lines, the side of a hexagon, the gyroid's period; `level` of the gyroid; of lines, by family:
`angle` (f,) [rad], `offset` (f,) [mm] across, `slope` (f,) [mm] that they move across for each mm of height; `shift`
(3,) [mm] of the lattice; `takes_turns` whether each layer holds one family, in turns from that number on, or -1."""


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
    u = lattice.cosine * x + lattice.sine * y - lattice.shift[0]
    v = lattice.cosine * y - lattice.sine * x - lattice.shift[1]
    if lattice.kind == GYROID:
        return gyroid_at(u, v, z - lattice.shift[2], hx, hy, lattice)
    if lattice.kind == HONEYCOMB:
        return honeycomb_at(u, v, layer, hx, hy, lattice)
    return lines_at(u, v, z, layer, hx, hy, lattice)


@compiled
def lines_at(u, v, z, layer, hx, hy, lattice):  # type: ignore[no-untyped-def]
    """Families of lines in the layer: where some cross, the layers take turns."""
    empty, crossing, most, best, number = 1.0, 0, -1.0, 0, 0
    met = np.zeros(3, dtype=np.int64)
    line = np.zeros(3, dtype=np.int64)
    families = lattice.angle.shape[0]
    for f in range(families):
        if lattice.takes_turns >= 0 and (layer + lattice.takes_turns) % families != f:
            continue
        angle = lattice.angle[f]
        across = v * np.cos(angle) - u * np.sin(angle) + lattice.offset[f] + lattice.slope[f] * z
        nearest = np.round(across / lattice.length)
        wide = across_box(angle + lattice.turn + np.pi / 2, hx, hy)
        share = overlap(across - nearest * lattice.length, lattice.half, wide)
        empty *= 1 - share
        line[f] = int(nearest)
        if share >= 0.5:
            met[crossing] = f
            crossing += 1
        if share > most:
            most, best = share, f
    if crossing > 1:
        best = met[layer % crossing]
    number = 3 * line[best] + best
    return 1 - empty, lattice.angle[best] + lattice.turn, number


@compiled
def honeycomb_at(u, v, layer, hx, hy, lattice):  # type: ignore[no-untyped-def]
    """The three pairs of walls around the hexagon that holds the place."""
    side = lattice.length
    wide, high = 3 * side, np.sqrt(3.0) * side
    least, off = 2 * side, np.zeros(3)
    for k in range(2):
        p = u - side / 2 - k * wide / 2
        q = v - high / 2 - k * high / 2
        p, q = p - np.round(p / wide) * wide, q - np.round(q / high) * high
        one = abs(q), abs(p * wide / 2 + q * high / 2) / high, abs(q * high / 2 - p * wide / 2) / high
        farthest = max(one[0], one[1], one[2])
        if farthest < least:
            least = farthest
            # Walls at 0, 60 and 120 degrees lie across the directions of 90, 150 and 30
            off[0], off[1], off[2] = high / 2 - one[0], high / 2 - one[2], high / 2 - one[1]
    empty, crossing, most, best = 1.0, 0, -1.0, 0
    met = np.zeros(3, dtype=np.int64)
    for f in range(3):
        box = across_box(f * np.pi / 3 + lattice.turn + np.pi / 2, hx, hy)
        share = overlap(off[f], lattice.half, box)
        empty *= 1 - share
        if share >= 0.5:
            met[crossing] = f
            crossing += 1
        if share > most:
            most, best = share, f
    if crossing > 1:
        best = met[layer % crossing]
    return 1 - empty, best * np.pi / 3 + lattice.turn, 0


@compiled
def gyroid_at(u, v, z, hx, hy, lattice):  # type: ignore[no-untyped-def]
    """The sheet between two levels of the gyroid's function; its bead follows the sheet's horizontal tangent."""
    k = 2 * np.pi / lattice.length
    sx, cx, sy, cy, sz, cz = np.sin(k * u), np.cos(k * u), np.sin(k * v), np.cos(k * v), np.sin(k * z), np.cos(k * z)
    value = sx * cy + sy * cz + sz * cx
    gx, gy = cx * cy - sz * sx, cy * cz - sx * sy
    steep = np.sqrt(gx * gx + gy * gy)
    angle = np.arctan2(-gx, gy) + lattice.turn
    wide = k * across_box(angle + np.pi / 2, hx, hy)
    # How much the function changes over the box: by its slope, or by its curvature where it has none
    change = max(steep * wide, wide * wide / 8)
    return overlap(value, lattice.level, change), angle, 0
