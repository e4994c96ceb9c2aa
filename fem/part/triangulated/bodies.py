"""The solids of a file of triangles: closed shells, each with the cavities right inside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from fem.errors import SolidError
from fem.part.several import FileSolid
from fem.part.triangulated.crossing import first_crossing, overlapping_boxes
from fem.part.triangulated.soundness import Ints, diagonal, oriented, refuse_unclosed, tidied, volumes
from fem.tensors import Array

TOUCHING = 1e-4
"""Bodies whose points come nearer than this share of the file's size touch."""


@dataclass(frozen=True)
class Shell:
    """One object of a file: `points` (n, 3), `triangles` (k, 3), its `name` or ""."""

    name: str
    points: Array
    triangles: Ints


@dataclass(frozen=True)
class Bodies:
    """Outward triangles of all bodies: `points` (n, 3) [mm], `triangles` (k, 3), `region` (k,) which of `names`."""

    points: Array
    triangles: Ints
    region: Ints
    names: tuple[str, ...]
    remarks: tuple[str, ...]

    def one(self, index: int) -> tuple[Array, Ints]:
        """Points (n, 3) [mm] and triangles (k, 3) of one body alone."""
        own = self.triangles[self.region == index]
        used, back = np.unique(own, return_inverse=True)
        return self.points[used], back.reshape(-1, 3).astype(np.int64)

    def facts(self) -> tuple[FileSolid, ...]:
        """Number, name, volume, box and contacts of each body."""
        each = [self.one(i) for i in range(len(self.names))]
        boxes = [np.array([p.min(axis=0), p.max(axis=0)]) for p, _ in each]
        near = TOUCHING * diagonal(self.points)
        touches: list[list[int]] = [[] for _ in each]
        overlaps: list[list[int]] = [[] for _ in each]
        for i, j in combinations(range(len(each)), 2):
            if (boxes[i][0] > boxes[j][1] + near).any() or (boxes[j][0] > boxes[i][1] + near).any():
                continue
            found = overlaps if _cross(each[i], each[j]) else touches if _touch(each[i], each[j], near) else None
            if found is not None:
                found[i].append(j + 1)
                found[j].append(i + 1)
        return tuple(
            FileSolid(
                i + 1, self.names[i], float(volumes(*each[i]).sum()), boxes[i], tuple(touches[i]), tuple(overlaps[i])
            )
            for i in range(len(each))
        )


def bodies_of(shells: Sequence[Shell], *, where: str) -> Bodies:
    """The bodies that the objects of a file form, numbered as they come in it.

    All triangles are taken together first, so that a cavity drawn as an object of its own stays a cavity; where
    objects touch and the surface is not clean any more, each object is taken by itself.
    Errors: SolidError (no triangles, open, non-manifold or one-sided surface, no volume).
    """
    try:
        return _sorted(shells, where=where)
    except SolidError:
        if len(shells) == 1:
            raise
        try:
            each = [_sorted([shell], where=where) for shell in shells]
        except SolidError:
            each = []
        if not each:
            raise
    points = np.cumsum([0] + [len(b.points) for b in each])
    bodies = np.cumsum([0] + [len(b.names) for b in each])
    return Bodies(
        np.concatenate([b.points for b in each]),
        np.concatenate([b.triangles + n for b, n in zip(each, points, strict=False)]),
        np.concatenate([b.region + n for b, n in zip(each, bodies, strict=False)]),
        tuple(name for b in each for name in b.names),
        tuple(remark for b in each for remark in b.remarks),
    )


def _sorted(shells: Sequence[Shell], *, where: str) -> Bodies:
    start = np.cumsum([0] + [len(s.points) for s in shells])
    raw = np.concatenate([s.points for s in shells])
    triangles = np.concatenate([s.triangles + n for s, n in zip(shells, start, strict=False)])
    points, triangles = tidied(raw, triangles)
    if len(triangles) < 4:
        raise SolidError("it holds no triangles with an area.", where=where, advice="Export a closed solid.")
    refuse_unclosed(points, triangles, where=where)
    triangles, region, remarks = oriented(points, triangles, where=where)
    numbers = np.unique(region)
    source = _sources(raw, start, points, triangles, region, numbers)
    order = np.argsort(source, kind="stable")
    place = np.empty(int(numbers.max()) + 1, dtype=np.int64)
    place[numbers[order]] = np.arange(len(numbers))
    names = tuple(shells[s].name for s in source[order])
    return Bodies(points, triangles, place[region], names, remarks)


def _sources(raw: Array, start: Ints, points: Array, triangles: Ints, region: Ints, numbers: Ints) -> Ints:
    """The object of the file that each body came from: the one that most of its points belong to."""
    from scipy.spatial import cKDTree

    nearest = cKDTree(raw).query(points)[1]
    object_of = np.searchsorted(start, nearest, side="right") - 1
    return np.array([np.bincount(object_of[np.unique(triangles[region == r])]).argmax() for r in numbers])


def _cross(one: tuple[Array, Ints], other: tuple[Array, Ints]) -> bool:
    points = np.concatenate([one[0], other[0]])
    triangles = np.concatenate([one[1], other[1] + len(one[0])])
    pairs = overlapping_boxes(points, triangles)
    apart = (pairs < len(one[1])).sum(axis=1) == 1
    return first_crossing(points, triangles, pairs[apart]) is not None


def _touch(one: tuple[Array, Ints], other: tuple[Array, Ints], near: float) -> bool:
    """Whether a corner of one lies on the other, or the other way round."""
    import trimesh

    for (points, _), (there, triangles) in ((one, other), (other, one)):
        low, high = there.min(axis=0) - near, there.max(axis=0) + near
        close = points[((points >= low) & (points <= high)).all(axis=1)]
        mesh = trimesh.Trimesh(there, triangles, process=False)
        for block in np.array_split(close, len(close) * len(triangles) // 2_000_000 + 1):
            if len(block) and (trimesh.proximity.closest_point_naive(mesh, block)[1] <= near).any():
                return True
    return False
