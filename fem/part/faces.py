"""Faces found by what they are, so that a study never depends on a kernel's numbering.

A query gives one or more conditions; a face must meet all of them. Zero matches is an error that lists the
nearest candidates; how many matched, and how large they are, is printed by every command.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fem.errors import FaceError, nearest
from fem.part.clipping import area_inside, middles_inside
from fem.part.quadrature import surface_points
from fem.part.solid import Cut, Face
from fem.part.tetmesh import Index, TetMesh
from fem.tensors import Array, unit

ANGLE_TOLERANCE = 1.0
"""Degrees by which a plane's normal or a cylinder's axis may miss the one asked for."""
LENGTH_TOLERANCE = 0.02
"""Share of a radius, or part of a millimetre, by which a place or a radius may miss (see `_near`)."""

FOLLOWED = 1e-3
"""Share by which the area of a cut patch may miss before it is told."""


@dataclass(frozen=True)
class FaceQuery:
    """Conditions on a face; None means: not asked. Lengths in mm.

    `normal` and `at` ask for a plane by its outward normal and its position: "min", "max" or a number, the place
    of its centre measured along the normal, with the sign that makes the normal's largest component positive (so
    at = "min" with normal (0, 0, -1) is the lowest plane that looks down, and at = 10 lies at z = 10). `radius`,
    `axis` ask for a cylinder, sphere or cone; `near` for the face nearest to a point; `ids` for numbers that
    `beadwork faces` prints; `low`, `high` for faces wholly inside a box. Of the faces found only what lies
    inside the box `cut` = (low, high) counts.
    """

    body: str | None = None
    kind: str | None = None
    normal: tuple[float, float, float] | None = None
    at: str | float | None = None
    radius: float | None = None
    axis: tuple[float, float, float] | None = None
    near: tuple[float, float, float] | None = None
    ids: tuple[int, ...] | None = None
    low: tuple[float, float, float] | None = None
    high: tuple[float, float, float] | None = None
    cut: tuple[tuple[float, float, float], tuple[float, float, float]] | None = None

    def __post_init__(self) -> None:
        if isinstance(self.at, str) and self.at not in ("min", "max"):
            raise FaceError(f"at = {self.at!r} is not a place.", advice='Write "min", "max" or a number in mm.')
        if self.at is not None and not isinstance(self.at, str):
            if isinstance(self.at, bool) or not np.isfinite(self.at):
                raise FaceError(f"at = {self.at!r} is not a place.", advice='Write "min", "max" or a number in mm.')
            object.__setattr__(self, "at", float(self.at))
        if self.cut is not None and not (np.asarray(self.cut[0]) < np.asarray(self.cut[1])).all():
            raise FaceError(f"cut {[list(c) for c in self.cut]}: low is not below high in every direction.")
        for name, v in (("normal", self.normal), ("axis", self.axis)):
            if v is not None and not np.linalg.norm(v) > 0:
                raise FaceError(f"{name} {list(v)} has zero length.")


@dataclass(frozen=True)
class FaceGroup:
    """The faces of a mesh that a name of the study stands for: `faces` indices into `mesh.faces`.

    `triangles` (j,) are the boundary triangles that count, all of these faces or, of a cut patch, those inside the
    box; `area` [mm^2] and `centre` (3,) [mm] are theirs. `cut_area` [mm^2] is the area that lies inside the box,
    None for whole faces.
    """

    name: str
    faces: tuple[int, ...]
    count: int
    area: float
    centre: Array
    triangles: Index
    cut_area: float | None = None

    @property
    def what(self) -> str:
        """What the name stands for, in words: whole faces or a patch of them, how many, how large."""
        faces = "1 face" if self.count == 1 else f"{self.count} faces"
        return faces if self.cut_area is None else f"part of {faces}"

    @property
    def note(self) -> str:
        """How far the mesh misses the border of a cut patch; empty where it follows it."""
        if self.cut_area is None or abs(self.area - self.cut_area) <= FOLLOWED * self.cut_area:
            return ""
        return (
            f"face {self.name}: the mesh does not follow the border of the cut: {self.area:.4g} mm² count where "
            f"{self.cut_area:.4g} mm² lie inside."
        )


def find_faces(faces: Sequence[Face], query: FaceQuery, *, name: str = "face") -> tuple[int, ...]:
    """Indices into `faces` of those that meet the query.

    Errors: FaceError when nothing matches (with the three nearest candidates) or a `near` query is ambiguous.
    """
    bodies = {f.body for f in faces}
    if query.body is not None and query.body not in bodies:
        raise FaceError(
            f"there is no body {query.body!r}.", where=f"faces.{name}", advice=nearest(query.body, bodies)
        )
    if query.ids is not None:
        _refuse_unknown_ids(faces, query, name)
    pool = [i for i, f in enumerate(faces) if query.body in (None, f.body)]
    hits = [i for i in pool if _misfit(faces[i], query) == 0]
    if isinstance(query.at, str) and hits and query.normal is not None:
        place = {i: plane_place(faces[i], query) for i in hits}
        edge = min(place.values()) if query.at == "min" else max(place.values())
        hits = [i for i in hits if abs(place[i] - edge) <= _slack(edge)]
    if not hits:
        candidates = sorted(pool, key=lambda i: _misfit(faces[i], query))[:3]
        raise FaceError(
            "no face matches.",
            where=f"faces.{name}",
            advice=_other_sign(faces, query) + "Nearest: " + "; ".join(describe(faces[i]) for i in candidates) + ".",
        )
    if query.near is not None:
        hits = _nearest_face(faces, hits, query, name)
    return tuple(hits)


def _other_sign(faces: Sequence[Face], query: FaceQuery) -> str:
    """A sentence where a plane is named by its place along the wrong one of its two normals; "" otherwise."""
    if not isinstance(query.at, float) or query.normal is None:
        return ""
    turned = replace(query, at=-query.at)
    if not any(_misfit(face, turned) == 0 for face in faces if query.body in (None, face.body)):
        return ""
    return (
        f"`at` counts along the normal whose largest component is positive: there a plane lies at {-query.at:g} mm. "
    )


def describe(face: Face) -> str:
    """One face in words: what it is, where it is, how large it is."""
    c = ", ".join(f"{v:.4g}" for v in face.centre)
    if face.kind == "plane" and face.normal is not None:
        what = "plane, normal (" + ", ".join(f"{v + 0.0:.3g}" for v in face.normal) + ")"
    elif face.radius is not None:
        what = f"{kind_of(face)}, radius {face.radius:.4g} mm"
    else:
        what = kind_of(face)
    return f"{face.label} ({what}, centre ({c}) mm, {face.area:.4g} mm²)"


def kind_of(face: Face) -> str:
    """Kind in words: a hollow cylinder is a hole where it goes all round, else hollow like a fillet."""
    return f"{face.kind} hole" if face.hole else f"hollow {face.kind}" if face.hollow else face.kind


def cuts_of(faces: Sequence[Face], queries: Mapping[str, FaceQuery]) -> dict[str, tuple[Cut, ...]]:
    """The cuts that a study's queries make in the faces of all its bodies, by body: what `mesh_solid` is told.

    Errors: FaceError as in `find_faces`.
    """
    out: dict[str, tuple[Cut, ...]] = {}
    for name, query in queries.items():
        if query.cut is None:
            continue
        found = [faces[i] for i in find_faces(faces, query, name=name)]
        for body in dict.fromkeys(f.body for f in found):
            cut = Cut(tuple(f.id for f in found if f.body == body), *query.cut)
            out[body] = (*out.get(body, ()), cut)
    return out


def name_faces(mesh: TetMesh, queries: Mapping[str, FaceQuery]) -> dict[str, FaceGroup]:
    """Match every query of a study against the meshed faces; area and centre are those of the mesh.

    Errors: FaceError as in `find_faces`, or when the group has no area.
    """
    groups = {}
    for name, query in queries.items():
        found = find_faces(mesh.faces, query, name=name)
        groups[name] = face_group(mesh, found, name=name, cut=query.cut)
    return groups


def cut_notes(groups: Mapping[str, FaceGroup]) -> dict[str, str]:
    """What is to be told, by name, of cut patches whose border the mesh does not follow."""
    return {name: group.note for name, group in groups.items() if group.note}


def face_group(
    mesh: TetMesh, faces: tuple[int, ...], *, name: str, cut: tuple[Sequence[float], Sequence[float]] | None = None
) -> FaceGroup:
    """The group of these faces, or of what lies inside the box `cut` of them, measured on the mesh.

    Of a cut face those triangles count whose middle lies inside; the mesh follows the border where `mesh_solid` was
    told of it. Errors: FaceError when nothing is left.
    """
    triangles, cut_area = mesh.triangles_of(faces), None
    if cut is not None:
        whole, _ = area_and_centre(mesh, triangles)
        cut_area = area_inside(mesh, triangles, *cut)
        if not cut_area > 1e-9 * whole:
            box = " to ".join("(" + ", ".join(f"{v:.4g}" for v in corner) + ")" for corner in cut)
            seen = " and ".join(describe(mesh.faces[i]) for i in faces[:2]) + (" and others" if faces[2:] else "")
            raise FaceError(f"the cut {box} mm misses {seen}.", where=f"faces.{name}", advice="Move the box onto it.")
        triangles = triangles[middles_inside(mesh, triangles, *cut)]
    area, centre = area_and_centre(mesh, triangles)
    if not area > 0 and cut_area:
        raise FaceError(
            f"no triangle of the mesh has its middle in the {cut_area:.4g} mm² of the cut.",
            where=f"faces.{name}",
            advice="Ask for a finer mesh, or make the cut larger.",
        )
    if not area > 0:
        raise FaceError("the face has no area.", where=f"faces.{name}")
    return FaceGroup(name, faces, len(faces), area, centre, triangles, cut_area)


def area_and_centre(mesh: TetMesh, triangles: Index) -> tuple[float, Array]:
    """Area [mm^2] and centroid (3,) [mm] of boundary triangles (j,), curved sides included."""
    if len(triangles) == 0:
        return 0.0, np.zeros(3)
    points, weights, _ = surface_points(mesh, triangles)
    flat = weights.ravel()
    return float(flat.sum()), flat @ points.reshape(-1, 3) / flat.sum()


def _slack(value: float) -> float:
    return max(LENGTH_TOLERANCE, 1e-4 * abs(value))


def plane_place(face: Face, query: FaceQuery) -> float:
    """Where a face's centre lies along the asked normal, its largest component taken as positive [mm]: what `at` is
    compared with.
    """
    n = unit(query.normal)
    n = n * np.sign(n[np.argmax(np.abs(n))])
    return float(face.centre @ n)


def _misfit(face: Face, query: FaceQuery) -> float:
    """Zero where the face meets every condition (min and max aside), else how far off it is."""
    miss = 0.0
    if query.kind is not None and face.kind != query.kind:
        miss += 100.0
    if query.ids is not None and face.id not in query.ids:
        miss += 1000.0
    if query.normal is not None:
        if face.normal is None:
            miss += 100.0
        else:
            off = float(np.degrees(np.arccos(np.clip(unit(query.normal) @ face.normal, -1, 1))))
            miss += off if off > ANGLE_TOLERANCE else 0.0
        if isinstance(query.at, float):
            off = abs(plane_place(face, query) - query.at)
            miss += off if off > _slack(query.at) else 0.0
    if query.radius is not None:
        if face.radius is None:
            miss += 100.0
        else:
            off = abs(face.radius - query.radius)
            miss += 10 * off if off > max(LENGTH_TOLERANCE * query.radius, 1e-3) else 0.0
    if query.axis is not None:
        if face.axis is None:
            miss += 100.0
        else:
            off = float(np.degrees(np.arccos(min(1.0, abs(float(unit(query.axis) @ face.axis))))))
            miss += off if off > ANGLE_TOLERANCE else 0.0
    if query.low is not None:
        miss += float(np.clip(np.asarray(query.low) - face.low - 1e-3, 0, None).sum())
    if query.high is not None:
        miss += float(np.clip(face.high - np.asarray(query.high) - 1e-3, 0, None).sum())
    return miss


def _nearest_face(faces: Sequence[Face], hits: list[int], query: FaceQuery, name: str) -> list[int]:
    """The one face whose surface comes nearest to the point, by the exact surface of planes and cylinders."""
    point = np.asarray(query.near, dtype=float)
    distance = {i: distance_to(faces[i], point) for i in hits}
    ranked = sorted(hits, key=lambda i: (round(distance[i], 6), np.linalg.norm(faces[i].centre - point)))
    best = ranked[0]
    if len(ranked) > 1:
        second = ranked[1]
        to_first, to_second = (float(np.linalg.norm(faces[i].centre - point)) for i in (best, second))
        if distance[second] - distance[best] < 1e-3 and to_second - to_first < 1e-3:
            raise FaceError(
                f"{describe(faces[best])} and {describe(faces[second])} are equally near.",
                where=f"faces.{name}",
                advice="Move the point, or add another condition.",
            )
    return [best]


def true_normals(mesh: TetMesh, triangles: Index, points: Array, meshed: Array) -> Array:
    """Outward normals (j, q, 3) at points (j, q, 3) of boundary triangles, exact on planes, cylinders and spheres.

    The meshed normals wobble by the square of the element size: enough to give a smooth pin a grip that it has
    not. `meshed` (j, q, 3) is kept on faces whose shape is not known.
    """
    out = meshed.copy()
    for index in np.unique(mesh.face[triangles]):
        face = mesh.faces[int(index)]
        own = mesh.face[triangles] == index
        if face.kind == "plane" and face.normal is not None:
            out[own] = face.normal
        elif face.kind in ("cylinder", "sphere") and face.origin is not None:
            off = points[own] - face.origin
            if face.kind == "cylinder" and face.axis is not None:
                off = off - (off @ face.axis)[..., None] * face.axis
            out[own] = off / np.linalg.norm(off, axis=-1)[..., None] * (-1.0 if face.hollow else 1.0)
    return out


def distance_to(face: Face, point: Array) -> float:
    """Distance [mm] from a point to a face's surface, held within the face's box."""
    outside = float(np.linalg.norm(np.clip(point, face.low, face.high) - point))
    if face.kind == "plane" and face.normal is not None:
        surface = abs(float((point - face.centre) @ face.normal))
    elif face.kind == "cylinder" and face.axis is not None and face.origin is not None and face.radius is not None:
        off = point - face.origin
        surface = abs(float(np.linalg.norm(off - (off @ face.axis) * face.axis)) - face.radius)
    elif face.kind == "sphere" and face.origin is not None and face.radius is not None:
        surface = abs(float(np.linalg.norm(point - face.origin)) - face.radius)
    else:
        surface = 0.0 if outside else float(np.linalg.norm(point - face.centre)) * 0.5
    return max(outside, surface)


def _refuse_unknown_ids(faces: Sequence[Face], query: FaceQuery, name: str) -> None:
    known = {f.id for f in faces if query.body in (None, f.body)}
    unknown = sorted(set(query.ids or ()) - known)
    if unknown:
        raise FaceError(
            f"there is no face number {unknown[0]}.",
            where=f"faces.{name}",
            advice=f"The numbers run from {min(known)} to {max(known)}; `beadwork faces SOLID` shows them.",
        )
