"""Faces that belong together: neighbours across an edge, smooth ones, and families of one shape."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fem.part.faces import LENGTH_TOLERANCE
from fem.part.holes import round_bundles
from fem.part.solid import Face, Solid, Triangulation, shown_surface
from fem.tensors import Array

SMOOTH = 8.0
"""Neighbours whose normals differ by less [degrees] all along their common edge run on smoothly."""
SMOOTH_FREE = 30.0
"""The same where a face has no exact normals: those of its triangles, twelve to a full turn."""
SAME_WAY = 0.2
"""Planes whose normals differ by less [degrees] face one way."""


@dataclass(frozen=True)
class Neighbours:
    """By face: the indices of those that it shares an edge with, and of those among them that it runs on into
    smoothly.
    """

    touching: tuple[tuple[int, ...], ...]
    smooth: tuple[tuple[int, ...], ...]

    def grown(self, start: Iterable[int]) -> tuple[int, ...]:
        """The faces that one comes to from these over smooth edges alone, themselves included."""
        found = set(start)
        edge = list(found)
        while edge:
            beside = set(self.smooth[edge.pop()]) - found
            found |= beside
            edge += beside
        return tuple(sorted(found))


@dataclass(frozen=True)
class Round:
    """A hole, or a pin or boss where it is not `hollow`: `faces` the indices that make it up, `kind` "cylinder" or
    "cone", `radius` [mm] of a cylinder, else None.
    """

    faces: tuple[int, ...]
    kind: str
    hollow: bool
    radius: float | None


def neighbours_of(solid: Solid) -> Neighbours:
    """Which faces of a solid touch, and which of them smoothly."""
    surface = Triangulation(*shown_surface(solid))
    edges, pair = _borders(surface)
    count = len(solid.faces)
    touching: list[set[int]] = [set() for _ in range(count)]
    rough: set[tuple[int, int]] = set()
    between = np.sort(surface.face[pair], axis=1)
    limit, turn = _turns(solid.faces, surface, edges, pair)
    for (a, b), sharp in zip(between.tolist(), (turn > limit).tolist(), strict=True):
        touching[a].add(b)
        touching[b].add(a)
        if sharp:
            rough.add((a, b))
    smooth = [{j for j in own if (min(i, j), max(i, j)) not in rough} for i, own in enumerate(touching)]
    return Neighbours(tuple(tuple(sorted(t)) for t in touching), tuple(tuple(sorted(s)) for s in smooth))


def holes_and_bosses(solid: Solid) -> tuple[Round, ...]:
    """All holes and bosses of a solid, each of one or several faces; its holes first."""
    points, triangles, face = shown_surface(solid)
    corners = [points[triangles[face == i]] for i in range(len(solid.faces))]
    return tuple(
        Round(tuple(sorted(bundle)), solid.faces[bundle[0]].kind, hollow, solid.faces[bundle[0]].radius)
        for hollow in (True, False)
        for bundle in round_bundles(solid.faces, corners, hollow=hollow)
    )


def same_radius(faces: Sequence[Face], index: int) -> tuple[int, ...]:
    """Indices of the faces of this one's kind and radius, hollow where it is hollow, holes where it is a hole."""
    own = faces[index]
    return tuple(
        i
        for i, f in enumerate(faces)
        if (f.kind, f.hollow, f.hole) == (own.kind, own.hollow, own.hole)
        and (f.radius is None) == (own.radius is None)
        and (f.radius is None or own.radius is None or abs(f.radius - own.radius) <= LENGTH_TOLERANCE * own.radius)
    )


def same_way(faces: Sequence[Face], index: int) -> tuple[int, ...]:
    """Indices of the planes that face the way of this one; itself alone where it is no plane."""
    normal = faces[index].normal
    if normal is None:
        return (index,)
    cosine = np.cos(np.radians(SAME_WAY))
    return tuple(i for i, f in enumerate(faces) if f.normal is not None and float(f.normal @ normal) >= cosine)


def _borders(surface: Triangulation) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Edges (e, 2) between triangles of different faces, and the two triangles (e, 2) of each."""
    t = surface.triangles
    ends = np.sort(np.concatenate([t[:, [0, 1]], t[:, [1, 2]], t[:, [0, 2]]]), axis=1)
    of = np.tile(np.arange(len(t)), 3)
    order = np.lexsort((ends[:, 1], ends[:, 0]))
    ends, of = ends[order], of[order]
    same = (ends[1:] == ends[:-1]).all(axis=1) & (surface.face[of[1:]] != surface.face[of[:-1]])
    return ends[1:][same], np.column_stack([of[:-1][same], of[1:][same]])


def _turns(
    faces: Sequence[Face], surface: Triangulation, edges: NDArray[np.int64], pair: NDArray[np.int64]
) -> tuple[Array, Array]:
    """Up to which angle [degrees] each edge (e,) counts as smooth, and by which angle its faces turn there."""
    corner = surface.points[surface.triangles]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None]
    at = surface.points[edges].mean(axis=1)
    sides, exact = [], np.ones(len(edges), dtype=bool)
    for side in (0, 1):
        here = normal[pair[:, side]].copy()
        owner = surface.face[pair[:, side]]
        for i in np.unique(owner):
            own = owner == i
            known = _exact_normals(faces[i], at[own], here[own])
            if known is None:
                exact[own] = False
            else:
                here[own] = known
        sides.append(here)
    one, other = sides
    across = np.linalg.norm(np.cross(one, other), axis=1)
    turn = np.degrees(np.arctan2(across, np.einsum("ei,ei->e", one, other)))
    return np.where(exact, SMOOTH, SMOOTH_FREE), turn


def _exact_normals(face: Face, at: Array, rough: Array) -> Array | None:
    """Outward normals (e, 3) of a plane, cylinder or sphere at points (e, 3), on the side of the `rough` ones; None
    for other faces.
    """
    if face.kind == "plane" and face.normal is not None:
        return np.broadcast_to(face.normal, at.shape)
    if face.kind not in ("cylinder", "sphere") or face.origin is None:
        return None
    off = at - face.origin
    if face.kind == "cylinder" and face.axis is not None:
        off = off - (off @ face.axis)[:, None] * face.axis
    out = off / np.maximum(np.linalg.norm(off, axis=1), 1e-300)[:, None]
    return np.asarray(out * np.where(np.einsum("ei,ei->e", out, rough) < 0, -1.0, 1.0)[:, None])
