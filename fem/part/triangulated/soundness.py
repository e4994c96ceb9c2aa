"""Whether a surface of triangles encloses a volume: closed, manifold, consistent, free of crossings."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fem.errors import SolidError
from fem.tensors import Array

Ints = NDArray[np.int64]
SAME_POINT = 1e-6
"""Points nearer than this share of the box's diagonal are one; it is ten times the rounding of a 32-bit number."""


def at(point: Array) -> str:
    """A place in words."""
    x, y, z = (round(float(v), 3) + 0.0 for v in point)
    return f"({x:g}, {y:g}, {z:g}) mm"


def diagonal(points: Array) -> float:
    """Length of the diagonal of the points' box [mm]."""
    return float(np.linalg.norm(np.ptp(points, axis=0))) if len(points) else 0.0


def tidied(points: Array, triangles: Ints) -> tuple[Array, Ints]:
    """Points that coincide become one; triangles without area go, without opening the surface.

    A triangle whose corners lie on one line closes a gap between unequal edges; its long edge is turned
    towards the neighbour, so that both get area.
    """
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    points, back = np.unique(points, axis=0, return_inverse=True)
    triangles = back.reshape(-1)[triangles]
    near = cKDTree(points).query_pairs(SAME_POINT * diagonal(points), output_type="ndarray")
    if len(near):
        graph = coo_matrix((np.ones(len(near)), near.T), shape=(len(points),) * 2)
        _, group = connected_components(graph, directed=False)
        _, first = np.unique(group, return_index=True)
        points, triangles = points[first], group.astype(np.int64)[triangles]
    a, b, c = triangles.T
    triangles = triangles[(a != b) & (b != c) & (c != a)]
    if len(triangles):
        _, first = np.unique(_turned(triangles), axis=0, return_index=True)
        triangles = triangles[np.sort(first)]
    triangles = _flat_ones_turned(points, triangles)
    used, back = np.unique(triangles, return_inverse=True)
    return points[used], back.reshape(-1, 3).astype(np.int64)


def _turned(triangles: Ints) -> Ints:
    """The same triangles beginning with their lowest corner."""
    shift = (np.argmin(triangles, axis=1)[:, None] + np.arange(3)) % 3
    return np.take_along_axis(triangles, shift, axis=1)


def _flat_ones_turned(points: Array, triangles: Ints) -> Ints:
    tolerance = SAME_POINT * diagonal(points)
    for _ in range(20):
        corner = points[triangles]
        side = np.linalg.norm(np.roll(corner, -1, axis=1) - corner, axis=2)
        double = np.linalg.norm(np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]), axis=1)
        flat = np.flatnonzero(double <= tolerance * side.max(axis=1))
        if not len(flat):
            return triangles
        owner = {(int(a), int(b)): k for k, t in enumerate(triangles) for a, b in zip(t, np.roll(t, -1), strict=True)}
        triangles, touched, gone = triangles.copy(), set[int](), list[int]()
        for k in flat:
            i = int(side[k].argmax())
            a, b, c = (int(v) for v in np.roll(triangles[k], -i))
            other = owner.get((b, a))
            if other is None or other in touched or int(k) in touched:
                continue
            d = int(triangles[other].sum()) - a - b
            touched |= {int(k), other}
            if d == c:
                gone += [int(k), other]
                continue
            triangles[k], triangles[other] = (a, d, c), (d, b, c)
        if not touched:
            return triangles
        triangles = np.delete(triangles, gone, axis=0)
    return triangles


def paired_edges(triangles: Ints) -> tuple[Ints, Ints]:
    """Edges (e, 2) of a closed manifold surface and the two triangles (e, 2) that meet at each.

    The edge runs from its first to its second point in the first of the two triangles.
    """
    directed, owner = _directed(triangles)
    key = np.sort(directed, axis=1)
    order = np.lexsort((key[:, 1], key[:, 0]))
    return directed[order[::2]], owner[order].reshape(-1, 2)


def _directed(triangles: Ints) -> tuple[Ints, Ints]:
    directed = np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=2).reshape(-1, 2)
    return directed, np.repeat(np.arange(len(triangles), dtype=np.int64), 3)


def refuse_unclosed(points: Array, triangles: Ints, *, where: str) -> None:
    """Errors: SolidError where an edge has one triangle (open) or more than two (not a solid's surface)."""
    directed, _ = _directed(triangles)
    edges, count = np.unique(np.sort(directed, axis=1), axis=0, return_counts=True)
    alone, many = edges[count == 1], edges[count > 2]
    if len(alone):
        middle = points[alone[0]].mean(axis=0)
        raise SolidError(
            f"the surface is open: {len(alone)} edges have a triangle on one side only, the first near {at(middle)}.",
            where=where,
            advice="Close the surface, or export the part as STEP.",
        )
    if len(many):
        middle = points[many[0]].mean(axis=0)
        raise SolidError(
            f"at {len(many)} edges more than two triangles meet (non-manifold), the first near {at(middle)}.",
            where=where,
            advice="Join bodies that touch along an edge or a face into one, or export the part as STEP.",
        )


def oriented(points: Array, triangles: Ints, *, where: str) -> tuple[Ints, Ints, tuple[str, ...]]:
    """The triangles all counter-clockwise seen from outside, the region (k,) of each, and remarks.

    A region is one outer shell together with the cavities right inside it.
    Errors: SolidError when the surface is one-sided or encloses nothing.
    """
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    n = len(triangles)
    edges, pair = paired_edges(triangles)
    second = triangles[pair[:, 1]]
    along = ((second == edges[:, :1]) & (np.roll(second, -1, axis=1) == edges[:, 1:])).any(axis=1)
    # Each triangle appears twice, as given and reversed; who can be joined consistently lies in one component.
    i, j = pair.T
    rows = np.concatenate([i, i + n])
    columns = np.concatenate([np.where(along, j + n, j), np.where(along, j, j + n)])
    _, colour = connected_components(coo_matrix((np.ones(len(rows)), (rows, columns)), shape=(2 * n, 2 * n)), False)
    one_sided = np.flatnonzero(colour[:n] == colour[n:])
    if len(one_sided):
        shell_edges = np.flatnonzero(along & np.isin(i, one_sided))
        place = points[edges[shell_edges[0]]].mean(axis=0) if len(shell_edges) else points[triangles[one_sided[0], 0]]
        raise SolidError(
            f"the surface has no inside: it turns over on itself, noticed near {at(place)}.",
            where=where,
            advice="Export it again as a closed solid.",
        )
    reverse = colour[:n] > colour[n:]
    notes = [f"the winding of {min(reverse.sum(), n - reverse.sum())} triangles was corrected"] if along.any() else []
    triangles = np.where(reverse[:, None], triangles[:, ::-1], triangles)
    _, shell = np.unique(np.minimum(colour[:n], colour[n:]), return_inverse=True)
    shell = shell.reshape(-1).astype(np.int64)
    triangles, region, turned = _nested(points, triangles, shell, where=where)
    if turned and not along.any():
        notes.append(f"{turned} shell(s) were inside out and were turned")
    return triangles, region, tuple(notes)


def volumes(points: Array, triangles: Ints) -> Array:
    """Signed volume (k,) [mm^3] of the tetrahedron under each triangle; their sum is the enclosed volume."""
    corner = points[triangles] - points.mean(axis=0)
    return np.asarray(np.einsum("ki,ki->k", np.cross(corner[:, 0], corner[:, 1]), corner[:, 2]) / 6)


def _nested(points: Array, triangles: Ints, shell: Ints, *, where: str) -> tuple[Ints, Ints, int]:
    count = int(shell.max()) + 1
    own = [np.flatnonzero(shell == s) for s in range(count)]
    given = volumes(points, triangles)
    volume = np.array([given[t].sum() for t in own])
    size = np.array([diagonal(points[triangles[t].ravel()]) for t in own])
    if (np.abs(volume) <= 1e-9 * size**3).any():
        flat = int(np.argmax(np.abs(volume) <= 1e-9 * size**3))
        raise SolidError(
            f"a shell of triangles near {at(points[triangles[own[flat][0], 0]])} encloses no volume.",
            where=where,
            advice="Export a closed solid, not a sheet.",
        )
    low = np.array([points[triangles[t].ravel()].min(axis=0) for t in own])
    high = np.array([points[triangles[t].ravel()].max(axis=0) for t in own])
    around: list[list[int]] = []
    for s in range(count):
        probe = points[triangles[own[s][0], 0]]
        boxes = [o for o in range(count) if o != s and (low[o] < low[s]).all() and (high[o] > high[s]).all()]
        around.append([o for o in boxes if abs(_winding(points, triangles[own[o]], probe)) > 0.5])
    region, turned = np.zeros(len(triangles), dtype=np.int64), 0
    triangles = triangles.copy()
    for s in range(count):
        hollow = len(around[s]) % 2 == 1
        if (volume[s] < 0) != hollow:
            triangles[own[s]] = triangles[own[s]][:, ::-1]
            turned += 1
        region[own[s]] = max(around[s], key=lambda o: len(around[o])) if hollow else s
    return triangles, region, turned


def _winding(points: Array, triangles: Ints, probe: Array) -> float:
    """How often the surface winds round the point; A. Van Oosterom, J. Strackee, IEEE TBME 30 (1983) 125."""
    a, b, c = np.moveaxis(points[triangles] - probe, 1, 0)
    la, lb, lc = (np.linalg.norm(v, axis=1) for v in (a, b, c))
    top = np.einsum("ki,ki->k", a, np.cross(b, c))
    dot = np.einsum
    below = la * lb * lc + dot("ki,ki->k", a, b) * lc + dot("ki,ki->k", b, c) * la + dot("ki,ki->k", c, a) * lb
    return float(np.arctan2(top, below).sum() / (2 * np.pi))
