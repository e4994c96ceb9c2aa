"""Compiled: pieces of a layer too small to be beads or gaps go to their neighbours. Imported only when first used."""

import numba
import numpy as np

compiled = numba.njit(cache=True, nogil=True)

WALL, COVER, CORE, AIR = 1, 2, 3, 4
FULL = 255


@compiled
def sweep_crumbs(zone, share, way, bead, least):  # type: ignore[no-untyped-def]
    """In a layer (ny, nx): pieces of wall, cover, core or air that fill fewer than `least` boxes, and do not reach
    the grid's border, become part of a bead beside them; the melt closes such gaps. A lone one is not laid."""
    ny, nx = zone.shape
    seen = np.zeros((ny, nx), dtype=np.uint8)
    piece = np.empty(ny * nx, dtype=np.int32)
    for j in range(ny):
        for i in range(nx):
            kind = zone[j, i]
            if kind < WALL or seen[j, i]:
                continue
            count, filled, edge = gather(zone, share, seen, piece, j, i)
            if edge or (count if kind == AIR else filled) >= least:
                continue
            for n in range(count):
                give_away(piece[n], kind, zone, share, way, bead)


@compiled
def gather(zone, share, seen, piece, j, i):  # type: ignore[no-untyped-def]
    """Fill `piece` with the boxes of one zone that hang together with (j, i): how many, how full in all, and whether
    they reach the grid's border."""
    ny, nx = zone.shape
    kind = zone[j, i]
    piece[0] = j * nx + i
    seen[j, i] = 1
    count, done, filled, edge = 1, 0, 0.0, False
    while done < count:
        q, p = piece[done] // nx, piece[done] % nx
        done += 1
        filled += share[q, p] / FULL
        for b, a in ((q - 1, p), (q + 1, p), (q, p - 1), (q, p + 1)):
            if b < 0 or b >= ny or a < 0 or a >= nx:
                edge = True
            elif zone[b, a] == kind and not seen[b, a]:
                seen[b, a] = 1
                piece[count] = b * nx + a
                count += 1
    return count, filled, edge


@compiled
def give_away(place, kind, zone, share, way, bead):  # type: ignore[no-untyped-def]
    """One box becomes part of a bead beside it that is of another zone, or air where there is none."""
    ny, nx = zone.shape
    q, p = place // nx, place % nx
    for b, a in (
        (q - 1, p), (q + 1, p), (q, p - 1), (q, p + 1), (q - 1, p - 1), (q - 1, p + 1), (q + 1, p - 1), (q + 1, p + 1)
    ):  # fmt: skip
        if 0 <= b < ny and 0 <= a < nx and WALL <= zone[b, a] <= CORE and zone[b, a] != kind:
            zone[q, p], way[q, p], bead[q, p] = zone[b, a], way[b, a], bead[b, a]
            if kind == AIR:
                share[q, p] = FULL
            return
    zone[q, p], way[q, p], bead[q, p] = AIR, 0, 0
    share[q, p] = 0
