"""Triangles sorted into faces: sharp edges first, then real planes, then fitted surfaces, the rest is free.

A file of triangles shows a curved surface as a chain of narrow flat pieces, and a fillet runs into its
planes without a sharp edge. A plane is told from such a piece by being much wider than its smooth
neighbours; cylinders, cones and spheres are grown from a few neighbouring pieces as far as all corner
points lie on one exact surface.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from fem.part.holes import with_holes
from fem.part.solid import Face
from fem.part.triangulated.flats import Flats, connected, flat_pieces, triangle_normals
from fem.part.triangulated.primitives import ConeFace, Primitive, directions, first_guess, misfit, refined
from fem.part.triangulated.soundness import Ints
from fem.tensors import Array

SHARP = 40.0
"""Neighbours turned by more [degrees] meet at a real edge."""
WIDER = 3.0
"""A plane is wider than the pieces next to it by this factor."""
SHARE_OF_DEPTH = 0.002
"""Largest misfit as a share of how far the points bulge from a plane."""
AIM = np.cos(np.deg2rad(20.0))
MOST_TRIALS = 1500
"""Places at which a fit is begun, at most, so that a sculpted surface does not take minutes."""
LEAST_PIECES = {"cylinder": 3, "cone": 3, "sphere": 6}
ENOUGH_PIECES = 9
"""A few pieces lie on some surface by chance; so many hardly do, even with no real edge around them."""
SCRAP = 0.08
"""A few pieces with less than this share of a neighbour's area are part of it."""


@dataclass
class _Sorting:
    """What has been found so far: `owner` (f,) the region of each piece, -1 for none yet."""

    flats: Flats
    smooth: Ints
    width: Array
    owner: Ints
    shapes: dict[int, Primitive | None] = field(default_factory=dict)

    def claim(self, pieces: Ints, shape: Primitive | None) -> None:
        number = len(self.shapes)
        self.owner[pieces] = number
        self.shapes[number] = shape


def sorted_into_faces(
    points: Array, triangles: Ints, region: Ints, *, name: str, sharp: float = SHARP
) -> tuple[tuple[Face, ...], Ints]:
    """Faces of a closed surface and the face (k,) of each triangle.

    `region` (k,) keeps apart surfaces of different bodies; `sharp` [degrees] is the angle of a real edge.
    """
    flats = flat_pieces(points, triangles)
    limit = np.deg2rad(sharp)
    smooth = np.flatnonzero(flats.turn < limit)
    around = np.bincount(flats.pair.ravel(), np.repeat(flats.length, 2), len(flats.area))
    sorting = _Sorting(flats, smooth, 2 * flats.area / np.maximum(around, 1e-300), np.full(len(flats.area), -1))
    _claim_planes(sorting)
    planes = len(sorting.shapes)
    for across in (False, True):
        _claim_primitives(sorting, across=across)
    _claim_rest(sorting)
    _absorb_scraps(sorting, planes)
    face = _number_faces(sorting, triangles, region)
    faces = [_described(sorting, points, triangles, face, i, name) for i in range(int(face.max()) + 1)]
    return with_holes(faces, [points[triangles[face == i]] for i in range(len(faces))]), face


def _claim_planes(sorting: _Sorting) -> None:
    flats = sorting.flats
    pair = flats.pair[sorting.smooth]
    widest = np.zeros(len(flats.area))
    np.maximum.at(widest, pair[:, 0], sorting.width[pair[:, 1]])
    np.maximum.at(widest, pair[:, 1], sorting.width[pair[:, 0]])
    for piece in np.flatnonzero(sorting.width > WIDER * widest):
        sorting.claim(np.array([piece]), None)


def _tolerance(sorting: _Sorting, points: Array) -> float:
    offset = points - points.mean(axis=0)
    flattest = np.linalg.eigh(offset.T @ offset)[1][:, 0]
    return max(sorting.flats.noise, SHARE_OF_DEPTH * float(np.ptp(offset @ flattest)))


def _claim_primitives(sorting: _Sorting, *, across: bool) -> None:
    """Begin a fit at each piece with its neighbours, or, `across`, with those over its longest edges only."""
    flats = sorting.flats
    open_edges = sorting.smooth[(sorting.owner[flats.pair[sorting.smooth]] < 0).all(axis=1)]
    if not len(open_edges):
        return
    ends = np.concatenate([flats.pair[open_edges], flats.pair[open_edges][:, ::-1]])
    long = np.concatenate([flats.length[open_edges]] * 2)
    order = np.argsort(ends[:, 0], kind="stable")
    ends, long = ends[order], long[order]
    first = np.searchsorted(ends[:, 0], np.arange(len(flats.area) + 1))
    seeds = np.unique(ends[:, 0])
    seeds = seeds[np.argsort(-flats.area[seeds], kind="stable")]
    seeds = seeds[np.unique(np.linspace(0, len(seeds) - 1, min(len(seeds), MOST_TRIALS)).astype(int))]
    for seed in seeds:
        if sorting.owner[seed] >= 0:
            continue
        rows = slice(first[seed], first[seed + 1])
        beside, reach = ends[rows, 1], long[rows]
        if across:
            beside = beside[reach > 0.5 * reach.max()]
        beside = beside[sorting.owner[beside] < 0]
        start = np.unique(np.append(beside, seed))
        if len(start) < 3:
            continue
        for kind in ("cylinder", "cone", "sphere"):
            if across and kind == "sphere":
                continue
            grown = _grown(sorting, kind, start, int(seed))
            if grown is None:
                continue
            if (across or len(grown[0]) < ENOUGH_PIECES) and _fades_out(sorting, grown[0]):
                continue
            sorting.claim(*grown)
            break


def _fitted(sorting: _Sorting, kind: str, pieces: Ints) -> tuple[Primitive, float] | None:
    """A surface that all corners of the pieces lie on, and the tolerance used; None if there is none."""
    flats = sorting.flats
    points = flats.corners(pieces)
    tolerance = _tolerance(sorting, points)
    shape = first_guess(kind, points, flats.normal[pieces], flats.centre[pieces], flats.area[pieces])
    if shape is None:
        return None
    worst = np.abs(misfit(shape, points)).max()
    if worst > 10 * tolerance + 0.02 * np.ptp(points, axis=0).max():
        return None
    if worst > 0.1 * tolerance:
        shape = refined(shape, points)
    if np.abs(misfit(shape, points)).max() > tolerance:
        return None
    aim = (directions(shape, flats.centre[pieces]) * flats.normal[pieces]).sum(axis=1)
    if not ((aim > AIM).all() or (aim < -AIM).all()):
        return None
    return shape, tolerance


def _grown(sorting: _Sorting, kind: str, pieces: Ints, seed: int) -> tuple[Ints, Primitive] | None:
    found = _fitted(sorting, kind, pieces)
    if found is None:
        return None
    flats = sorting.flats
    for _ in range(12):
        shape, tolerance = found
        apart = np.abs(misfit(shape, flats.points))[flats.corner]
        aim = (directions(shape, flats.centre) * flats.normal).sum(axis=1)
        side = np.sign(aim[seed])
        fits = (np.maximum.reduceat(apart, flats.start[:-1]) <= tolerance) & (side * aim > AIM) & (sorting.owner < 0)
        edges = flats.pair[sorting.smooth]
        edges = edges[fits[edges].all(axis=1)]
        component = connected(len(fits), edges)
        wider = np.flatnonzero(fits & (component == component[seed]))
        if len(wider) <= len(pieces):
            break
        again = _fitted(sorting, kind, wider)
        if again is None:
            break
        pieces, found = wider, again
    if len(pieces) < LEAST_PIECES[kind]:
        return None
    return pieces, found[0]


def _fades_out(sorting: _Sorting, pieces: Ints) -> bool:
    """Whether most of the rim runs on smoothly into pieces of no face yet: then it is a cut-out of something else."""
    flats = sorting.flats
    inside = np.zeros(len(flats.area), dtype=bool)
    inside[pieces] = True
    rim = inside[flats.pair].sum(axis=1) == 1
    smooth = np.zeros(len(flats.pair), dtype=bool)
    smooth[sorting.smooth] = True
    loose = (sorting.owner[flats.pair] < 0).all(axis=1)
    return bool(flats.length[rim & smooth & loose].sum() > 0.5 * flats.length[rim].sum())


def _claim_rest(sorting: _Sorting) -> None:
    """What no surface fits is free where it bends on and on, and planes where a few pieces meet."""
    flats = sorting.flats
    edges = flats.pair[sorting.smooth]
    edges = edges[(sorting.owner[edges] < 0).all(axis=1)]
    component = connected(len(flats.area), edges)
    component[sorting.owner >= 0] = -1
    for number in np.unique(component[component >= 0]):
        pieces = np.flatnonzero(component == number)
        if len(pieces) <= 3:
            for piece in pieces:
                sorting.claim(np.array([piece]), None)
        else:
            sorting.claim(pieces, Primitive("free", np.zeros(3), np.zeros(3)))


def _absorb_scraps(sorting: _Sorting, planes: int) -> None:
    """A few pieces left beside a far larger curved face belong to it: its mesh strayed over the seam there.

    The first `planes` regions are real planes and stay.
    """
    flats = sorting.flats
    count = len(sorting.shapes)
    area = np.bincount(sorting.owner, flats.area, count)
    pieces = np.bincount(sorting.owner, minlength=count)
    curved = np.array([sorting.shapes[i] is not None for i in range(count)])
    small = (np.arange(count) >= planes) & (pieces < ENOUGH_PIECES)
    edges = flats.pair[sorting.smooth]
    length = np.concatenate([flats.length[sorting.smooth]] * 2)
    mine, other = np.concatenate([sorting.owner[edges], sorting.owner[edges][:, ::-1]]).T
    joins = small[mine] & curved[other] & (area[mine] < SCRAP * area[other])
    for scrap in np.unique(mine[joins]):
        rows = joins & (mine == scrap)
        shared = np.bincount(other[rows], length[rows], count)
        sorting.owner[sorting.owner == scrap] = int(shared.argmax())


def _number_faces(sorting: _Sorting, triangles: Ints, region: Ints) -> Ints:
    """Face numbers (k,) in the order of the file; pieces that touch along a smooth edge only are one face."""
    flats = sorting.flats
    edges = flats.pair[sorting.smooth]
    edges = edges[sorting.owner[edges[:, 0]] == sorting.owner[edges[:, 1]]]
    component = connected(len(flats.area), edges)[flats.of] * (int(region.max()) + 1) + region
    _, first, back = np.unique(component, return_index=True, return_inverse=True)
    rank = np.empty(len(first), dtype=np.int64)
    rank[np.argsort(first)] = np.arange(len(first))
    return rank[back.reshape(-1)]


def _described(sorting: _Sorting, points: Array, triangles: Ints, face: Ints, number: int, name: str) -> Face:
    own = np.flatnonzero(face == number)
    normals, areas = triangle_normals(points, triangles[own])
    corner = points[triangles[own]]
    centre = np.asarray((areas[:, None] * corner.mean(axis=1)).sum(axis=0) / areas.sum())
    common = {
        "id": number + 1,
        "body": name,
        "area": float(areas.sum()),
        "centre": centre,
        "low": corner.min(axis=(0, 1)),
        "high": corner.max(axis=(0, 1)),
    }
    shape = sorting.shapes[int(sorting.owner[sorting.flats.of[own[0]]])]
    if shape is None:
        normal = (areas[:, None] * normals).sum(axis=0)
        return Face(kind="plane", normal=normal / np.linalg.norm(normal), **common)
    if shape.kind == "free":
        return Face(kind="free", **common)
    aim = (directions(shape, corner.mean(axis=1)) * normals).sum(axis=1)
    hollow = bool((aim * areas).sum() < 0)
    if shape.kind == "sphere":
        return Face(kind="sphere", origin=shape.origin, radius=shape.radius, hollow=hollow, **common)
    if shape.kind == "cone":
        return ConeFace(
            kind="cone", origin=shape.origin, axis=shape.axis, half_angle=shape.half_angle, hollow=hollow, **common
        )
    axis = shape.axis * (1.0 if shape.axis[np.abs(shape.axis).argmax()] > 0 else -1.0)
    origin = shape.origin + ((centre - shape.origin) @ axis) * axis
    return Face(kind="cylinder", axis=axis, origin=origin, radius=shape.radius, hollow=hollow, **common)
