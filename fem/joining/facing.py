"""Two meshed faces that lie opposite each other, at the points where both are integrated together.

The triangles of both sides need not share nodes. Each triangle of the first face is cut, along its own normal, into
what lies opposite each triangle of the second, and every cut is integrated by a rule of degree 2: what second-order
shape functions and a pressure that varies linearly need is exact on plane faces with straight sides. This is
segment-based integration (M. A. Puso and T. A. Laursen, Comput. Methods Appl. Mech. Engrg. 193 (2004) 601).

A point of the first mesh has its counterpart where the line along the normal meets the second mesh, so that a
pressure pushes both sides with opposite forces on one line: force and moment balance to rounding, also across a gap.
A force along the faces (friction) turns the pair by its size times the gap, which is zero where they touch.

Gaps are those of the faces as drawn, not of their facets: exact where each is a plane, cylinder, cone or sphere. On a
free form they err by the third power of the side: 8e-5 mm on a saddle of radii 1.7 and 4 mm with sides of 0.25 mm
that curve with it, 1.5e-4 mm with straight ones (facets: 6e-3 mm), ten times as much in the outermost triangles of
these, whose normals know one side alone. Where a curved face ends upon another one, its chords are seen askew, and
the area misses by some thousandth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fem.cores import even_ranges, shared, workers
from fem.joining.barrier import Barrier, barrier
from fem.joining.misses import not_facing, refuse_no_counterpart, refuse_wide_clearance
from fem.joining.overlaps import Overlaps, overlaps_of
from fem.joining.sides import Side, side_of
from fem.loading.dense import Box
from fem.part.quadrature import TRIANGLE_POINTS, TRIANGLE_WEIGHTS, surface_points
from fem.part.tetmesh import Index, TetMesh
from fem.tensors import Array

REACH = 0.1
"""Share of the smaller face's diagonal, within which the other one is looked for."""
AT_ONCE = 20_000
"""Overlaps whose points are worked out together, so that what is needed meanwhile stays small."""
ACROSS = 2.8
"""A triangle whose sides are so many times a spacing has three points that stand for about its square each."""


@dataclass(frozen=True)
class Facing:
    """Points at which two faces lie opposite each other, and what their nodes share there.

    `nodes` (q, a) are those of the first face's triangle, then those of the second's (a = 12; 6 where only corners
    count; half of it where the counterpart is rigid), `shares` (q, a) their shape functions, with a minus on the
    second side: the sum of shares times displacements is the displacement of the first face less that of the second.
    `normals` (q, 3) are unit vectors out of the first body, `gaps` (q,) [mm] the way along them until the faces touch
    (negative: they press from the start), `areas` (q,) [mm^2] what each point stands for, `places` and `opposite`
    (q, 3) [mm] where it lies on both meshes (of a rigid counterpart: a gap along the normal from `places`).
    """

    nodes: NDArray[np.int64]
    shares: Array
    normals: Array
    gaps: Array
    areas: Array
    places: Array
    opposite: Array

    @property
    def area(self) -> float:
        """The area [mm^2] over which the faces lie opposite each other."""
        return float(self.areas.sum())

    def only(self, which: NDArray[np.bool_]) -> Facing:
        """Some of the points, by a mask (q,)."""
        return Facing(*(getattr(self, part.name)[which] for part in fields(self)))


def faces_opposite(
    mesh: TetMesh,
    first: Index,
    second: Index,
    *,
    clearance: float = 0.0,
    reach: float | None = None,
    order: int = 2,
) -> Facing:
    """Where boundary triangles `first` (j,) lie opposite boundary triangles `second` (k,).

    They do where normals are at least 120 degrees apart and the way along the first's normal is shorter than `reach`
    [mm] (unless given, a tenth of the smaller face's diagonal), with no body's surface in between. Of several that
    lie behind each other the nearest counts. `clearance` [mm] is added to the gap as drawn: it is the distance of two
    planes, of a pin in its bore the radial gap; negative it is a press fit. With `order` 1 corners alone count, and
    triangles are flat. The first face should be the finer one (`first_of`).

    Errors: InputError when the faces do not face each other, or the clearance is wider than the part.
    """
    return opposite_faces(mesh, first, second, clearance=clearance, reach=reach, order=order).facing


@dataclass(frozen=True)
class OppositeFaces:
    """Two sides with what of them lies opposite each other, from which points are made as close as one asks.

    `free` tells whether a body stands between, `reach` [mm] how far is looked, `clearance` [mm] is added to gaps.
    """

    one: Side
    two: Side
    overlaps: Overlaps
    free: Barrier
    reach: float
    clearance: float

    @cached_property
    def facing(self) -> Facing:
        """The points at which the mesh is integrated."""
        count = len(self.overlaps.first)
        ranges = even_ranges(count, pieces=max(workers(), count // AT_ONCE))

        def some(start: int, stop: int) -> Facing:
            return self._at(*self.overlaps.points(start, stop))

        return _together([some(0, 0), *shared(some, ranges)])

    def closer(self, spacing: float, box: Box) -> Facing:
        """Points no farther apart than about `spacing` [mm], in all overlaps that a box may hold."""
        overlaps = self.overlaps
        six = self.one.place[overlaps.first]
        corner = np.einsum("skb,sbi->ski", _barycentric(overlaps.corner), six[:, :3])
        longest = np.max([np.linalg.norm(corner[:, i] - corner[:, i - 1], axis=1) for i in range(3)], axis=0)
        near = box.holds(corner.mean(axis=1), grown=longest + self.reach + self.one.bulge)
        cuts = np.ceil(longest / (ACROSS * spacing)).astype(int)
        parts = [self._at(*overlaps.points(0, 0))]
        for cut in np.unique(cuts[near]):
            same = np.flatnonzero(near & (cuts == cut))
            for some in np.array_split(same, max(1, len(same) * int(cut) ** 2 // AT_ONCE)):
                parts.append(self._at(*overlaps.finer(some, int(cut))))
        return _together(parts)

    def _at(self, row: Index, reference: Array, part: Array) -> Facing:
        """The points at places `reference` (q, 2) of overlaps `row` (q,) at which the second side is within reach."""
        from fem.joining.opposite_kernels import places_at

        one, two, overlaps = self.one, self.two, self.overlaps
        triangle = overlaps.first[row]
        places, across = places_at(one.place, triangle, reference)
        true, normals = one.true_places(triangle, reference, places)
        met, opposite, along = overlaps.met(two.place, places, normals, row)
        kept = (met >= 0) & (np.abs(along) <= self.reach)
        kept &= self.free(places, normals, along, triangle=triangle, other=met)
        from_true = along - ((true - places) * normals).sum(axis=1)
        gaps = _gaps(two, overlaps, true, normals, row=row, met=met, start=from_true)
        there, _ = places_at(two.place, met, opposite)
        found = Facing(
            nodes=np.hstack([one.nodes[triangle], two.nodes[met]]).astype(np.int64),
            shares=np.hstack([one.shapes(reference), -two.shapes(opposite)]),
            normals=normals,
            gaps=gaps + self.clearance,
            areas=np.linalg.norm(across, axis=1) * part,
            places=places,
            opposite=there,
        )
        return found if kept.all() else found.only(kept)


def opposite_faces(
    mesh: TetMesh,
    first: Index,
    second: Index,
    *,
    clearance: float = 0.0,
    reach: float | None = None,
    order: int = 2,
) -> OppositeFaces:
    """What `faces_opposite` makes its points from, which makes closer ones too. Errors: as there."""
    refuse_wide_clearance(mesh, (first, second), clearance)
    one, two = side_of(mesh, first, order=order), side_of(mesh, second, order=order)
    far = REACH * min(one.diagonal, two.diagonal) + 2 * (one.bulge + two.bulge) if reach is None else reach
    found = OppositeFaces(one, two, overlaps_of(one, two, reach=far), barrier(mesh, one, two), far, clearance)
    if not len(found.facing.areas):
        raise not_facing(mesh, first, second, reach=far, hidden=len(found.overlaps.first) > 0)
    return found


def _together(parts: Sequence[Facing]) -> Facing:
    return Facing(*(np.concatenate([getattr(part, each.name) for part in parts]) for each in fields(Facing)))


def _barycentric(reference: Array) -> Array:
    """Shares (..., 3) of a triangle's corners at reference points (..., 2)."""
    return np.concatenate([1 - reference.sum(axis=-1, keepdims=True), reference], axis=-1)


def rigid_counterpart(mesh: TetMesh, first: Index, *, clearance: float = 0.0, order: int = 2) -> Facing:
    """Boundary triangles `first` (j,) opposite a rigid body that has their shape, `clearance` [mm] away.

    Errors: InputError when the clearance is wider than the part, or than half the face.
    """
    from fem.joining.opposite_kernels import places_at

    refuse_wide_clearance(mesh, (first,), clearance)
    refuse_no_counterpart(mesh, first, clearance)
    one = side_of(mesh, first, order=order)
    q = len(TRIANGLE_POINTS)
    triangle = np.repeat(np.arange(len(first)), q)
    reference = np.tile(TRIANGLE_POINTS, (len(first), 1))
    places, across = places_at(one.place, triangle, reference)
    _, normals = one.true_places(triangle, reference, places)
    areas = np.linalg.norm(across, axis=1) * np.tile(TRIANGLE_WEIGHTS, len(first))
    gaps = np.full(len(places), float(clearance))
    nodes = one.nodes[triangle].astype(np.int64)
    return Facing(nodes, one.shapes(reference), normals, gaps, areas, places, places + clearance * normals)


def first_of(mesh: TetMesh, one: Index, other: Index) -> tuple[Index, Index]:
    """Both faces, the one with the smaller triangles first: points lie on its triangles, so its facets count."""
    mean = [float(surface_points(mesh, t)[1].sum()) / len(t) for t in (one, other)]
    return (other, one) if mean[1] < mean[0] else (one, other)


def covered(mesh: TetMesh, first: Index, facing: Facing) -> float:
    """The share of the area of the first face's triangles (j,) that has a counterpart."""
    return facing.area / float(surface_points(mesh, first)[1].sum())


def _gaps(
    two: Side, overlaps: Overlaps, points: Array, ways: Array, *, row: Index, met: Index, start: Array
) -> Array:
    """How far (q,) [mm] the second side's own surface lies from points (q, 3) along unit vectors (q, 3), in triangles
    `met` (q,) or beside them, nearest to `start` (q,) [mm].
    """
    out = start.copy()
    shape = two.shape[met]
    for k, known in enumerate(two.known):
        own = shape == k
        out[own] = known.along(points[own], ways[own], start[own])
    free = shape < 0
    if free.any():
        at, _, along = overlaps.met(two.smooth, points[free], ways[free], row[free])
        out[free] = np.where((at >= 0) & (two.shape[at] < 0), along, start[free])
    return out
