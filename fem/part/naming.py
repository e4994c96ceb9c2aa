"""Short names for faces: the shortest query that matches just the faces that are meant.

Queries are tried from short to long, each with numbers as round as the matcher forgives, and the first is taken that
the matcher itself (`faces.find_faces`) answers with just these faces.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from fem.errors import FaceError
from fem.part.faces import FaceQuery, find_faces, plane_place
from fem.part.solid import Face
from fem.tensors import Array, unit

Three = tuple[float, float, float]
ALIKE = 0.2
"""Degrees between directions that are told by the same numbers; the matcher forgives one."""
LARGEST_WHOLE = 9
"""A direction is told in whole numbers, such as (3, 0, 4), where none of them is larger."""
NEARLY_WHOLE = 1e-4
"""So far may a direction's numbers miss whole ones, in radians: the rounding of a file of triangles."""
ROUNDED_AT = 0.005
"""A quarter of the 0.02 mm by which the matcher lets a plane's place miss: so much may be rounded away."""
ROUNDED_RADIUS = 1e-3
"""Share of a radius that may be rounded away; the matcher forgives twenty times as much."""
STEPS = (1.0, 0.1, 0.01, 0.001)
"""To what the corners of a box are rounded outward [mm], the roundest first."""


def shortest_query(faces: Sequence[Face], wanted: Iterable[int], *, body: str | None = None) -> FaceQuery:
    """The shortest query that matches just the faces with indices `wanted` into `faces`.

    Shapes come first (`plane` by its normal, then with "max" or "min", then with its place; `cylinder` by its radius,
    then with its axis), then a point `near` one face, then a box, then numbers of faces. With `body` the query names
    it, as a study with several bodies asks for.
    Errors: FaceError where nothing is wanted, an index is none of a face, or not even numbers tell the faces apart.
    """
    return shortest_queries(faces, [wanted], body=body)[0]


def shortest_queries(
    faces: Sequence[Face], groups: Iterable[Iterable[int]], *, body: str | None = None
) -> tuple[FaceQuery, ...]:
    """The shortest query of each group, as `shortest_query` finds it; what several ask alike is matched once."""
    known: dict[FaceQuery, tuple[int, ...]] = {}
    return tuple(_shortest(faces, tuple(sorted(set(group))), body, known) for group in groups)


def _shortest(
    faces: Sequence[Face], meant: tuple[int, ...], body: str | None, known: dict[FaceQuery, tuple[int, ...]]
) -> FaceQuery:
    if not meant or meant[0] < 0 or meant[-1] >= len(faces):
        raise FaceError("there is nothing to name.", advice=f"Give indices of faces, from 0 to {len(faces) - 1}.")
    for query in _queries([faces[i] for i in meant], body):
        if query not in known:
            known[query] = matched(faces, query)
        if known[query] == meant:
            return query
    raise FaceError(
        "no query tells these faces from others.", advice="Several bodies have faces of one number: name the body."
    )


def matched(faces: Sequence[Face], query: FaceQuery) -> tuple[int, ...]:
    """Indices of the faces that the matcher finds; none where it refuses."""
    try:
        return find_faces(faces, query)
    except FaceError:
        return ()


def round_directions(v: Array) -> tuple[Three, ...]:
    """Ways (x, y, z) to write a direction (3,), the roundest first: whole numbers where it runs along such, then a
    unit vector of five decimals, whose places are right to 0.01 mm within a metre of the origin.
    """
    v = unit(v)
    out: list[Three] = []
    for size in range(1, LARGEST_WHOLE + 1):
        whole = np.round(v / np.abs(v).max() * size)
        if np.linalg.norm(unit(whole) - v) < NEARLY_WHOLE:
            out.append(_three(whole))
            break
    return tuple(dict.fromkeys([*out, _three(np.round(v, 5))]))


def rounded(value: float, *, within: float) -> float:
    """The number with the fewest decimals, up to six, that misses `value` by no more than `within`."""
    return next((r for d in range(7) if abs((r := round(value, d)) - value) <= within), round(value, 6)) + 0.0


def _queries(group: Sequence[Face], body: str | None) -> Iterator[FaceQuery]:
    """Queries that may match just this group, from short to long."""
    shapes = [replace(query, body=body) for query in _shapes(group)]
    yield from shapes
    if len(group) == 1:
        for near in dict.fromkeys(_points(group[0].centre)):
            yield from (replace(query, near=near) for query in shapes or [FaceQuery(body=body)])
    for step in STEPS:
        low, high = _box(group, step)
        yield FaceQuery(body=body, low=low, high=high)
        yield from (replace(query, low=low, high=high) for query in shapes)
    yield FaceQuery(body=body, ids=tuple(face.id for face in group))


def _shapes(group: Sequence[Face]) -> Iterator[FaceQuery]:
    """What all faces of the group have in common by their shape, the least first; nothing where they differ."""
    first, kinds = group[0], {face.kind for face in group}
    if len(kinds) > 1 or first.kind == "free":
        return
    kind = first.kind
    if kind == "plane":
        if first.normal is not None and all(_along(first.normal, f.normal, one_way=True) for f in group):
            yield from _planes(group, first.normal)
        return
    radius = _common_radius(group)
    if kind == "cone" or (kind == "sphere" and radius is None):
        yield FaceQuery(kind=kind)
    elif radius is None:
        return
    else:
        yield FaceQuery(kind=kind, radius=radius)
    if kind != "sphere" and first.axis is not None and all(_along(first.axis, f.axis) for f in group):
        axis = first.axis * np.sign(first.axis[np.abs(first.axis).argmax()])
        yield from (FaceQuery(kind=kind, radius=radius, axis=way) for way in round_directions(axis))


def _planes(group: Sequence[Face], normal: Array) -> Iterator[FaceQuery]:
    ways = [FaceQuery(kind="plane", normal=way) for way in round_directions(normal)]
    yield from ways
    for end in ("max", "min"):
        yield from (replace(way, at=end) for way in ways)
    for way in ways:
        places = [plane_place(face, way) for face in group]
        if max(places) - min(places) <= ROUNDED_AT:
            yield replace(way, at=rounded(float(np.mean(places)), within=ROUNDED_AT))


def _common_radius(group: Sequence[Face]) -> float | None:
    """The radius [mm] of all faces, rounded; None where one has none or they differ."""
    radii = [face.radius for face in group if face.radius is not None]
    if len(radii) < len(group) or max(radii) - min(radii) > ROUNDED_RADIUS * radii[0]:
        return None
    return rounded(float(np.mean(radii)), within=ROUNDED_RADIUS * radii[0])


def _points(centre: Array) -> Iterator[Three]:
    for within in (0.05, 0.0005):
        yield _three([rounded(float(c), within=within) for c in centre])


def _box(group: Sequence[Face], step: float) -> tuple[Three, Three]:
    """A box around the group with corners at whole multiples of `step` [mm], at least half a step off the faces."""
    low = np.min([face.low for face in group], axis=0)
    high = np.max([face.high for face in group], axis=0)
    digits = round(-np.log10(step))
    down = [round(float(np.floor(c / step - 0.5) * step), digits) for c in low]
    up = [round(float(np.ceil(c / step + 0.5) * step), digits) for c in high]
    return _three(down), _three(up)


def _along(one: Array, other: Array | None, *, one_way: bool = False) -> bool:
    if other is None:
        return False
    cosine = float(one @ other)
    return (cosine if one_way else abs(cosine)) >= np.cos(np.radians(ALIKE))


def _three(values: Iterable[float]) -> Three:
    x, y, z = (float(v) + 0.0 for v in values)
    return x, y, z
