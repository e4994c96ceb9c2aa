"""The faces of a solid that a study may want to name: flats, holes and bosses, each with a short name and query."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fem.part.faces import FaceQuery
from fem.part.families import Round, holes_and_bosses
from fem.part.naming import shortest_queries
from fem.part.solid import Face, Solid
from fem.tensors import Array

SIDES = {
    "top": (0, 0, 1),
    "bottom": (0, 0, -1),
    "front": (0, -1, 0),
    "back": (0, 1, 0),
    "left": (-1, 0, 0),
    "right": (1, 0, 0),
}
"""Names of the ends of a part, by the way that they face."""
ALONG = 0.1
"""Degrees by which a normal may miss an axis, or two flats may be turned, and still be told as one."""
SAME_PLACE = 1e-4
"""Share of the part's size by which flats of one plane, or the end of the part, may lie apart."""
LARGE = 0.01
"""Share of the body's surface from which a flat is named; smaller ones are offered as a comment."""
MOST_NAMED, MOST_SINGLE, MOST_OFFERED = 12, 4, 60
"""So many flats of a body are named, so many holes of one size each on its own, and so many faces offered at all."""


@dataclass(frozen=True)
class Offer:
    """A name that a study may use: `faces` indices into the faces of all bodies, `ids` their numbers, `what` they are
    in a word, `area` [mm^2] and `centre` (3,) [mm] of all together, the `normal` (3,) of flats, `radius` [mm] and
    `axis` (3,) of round ones. `named` ones stand in the study, the others as a comment.
    """

    name: str
    faces: tuple[int, ...]
    ids: tuple[int, ...]
    what: str
    area: float
    centre: Array
    normal: Array | None = None
    radius: float | None = None
    axis: Array | None = None
    named: bool = True


@dataclass(frozen=True)
class Named:
    """An offer with the query that matches just its faces."""

    offer: Offer
    query: FaceQuery


def offers_of(solid: Solid) -> tuple[Offer, ...]:
    """What there is to name on one body, by indices into its own faces: flats by size, then holes, then bosses."""
    flats = list(_flats(solid))
    rounds = holes_and_bosses(solid)
    holes, bosses = [r for r in rounds if r.hollow], [r for r in rounds if not r.hollow]
    return (*flats, *_round_offers(solid, holes, "hole"), *_round_offers(solid, bosses, "boss"))


def whole_face(solid: Solid, index: int, *, name: str) -> Offer:
    """A face of any kind as an offer, for solids that have nothing else to hold or to load."""
    return _offer(name, (index,), solid.faces, what=f"{solid.faces[index].kind} face")


def moved(offer: Offer, *, by: int, prefix: str) -> Offer:
    """The offer among the faces of all bodies, where its own begin at index `by`."""
    return replace(offer, name=prefix + offer.name, faces=tuple(i + by for i in offer.faces))


def named(
    offers: Sequence[Offer], faces: Sequence[Face], *, body: str | None, always: Sequence[str] = ()
) -> tuple[Named, ...]:
    """The offers with their shortest queries; those named `always` stand in the study, and of the others that are no
    more than a comment only the first so many are kept.
    """
    told = [replace(offer, named=True) if offer.name in always else offer for offer in offers]
    spare = {offer.name for offer in [o for o in told if not o.named][MOST_OFFERED:]}
    kept = [offer for offer in told if offer.name not in spare]
    queries = shortest_queries(faces, [offer.faces for offer in kept], body=body)
    return tuple(map(Named, kept, queries))


def _flats(solid: Solid) -> Iterator[Offer]:
    groups = sorted(_planes(solid), key=lambda g: -sum(solid.faces[i].area for i in g))
    surface = sum(face.area for face in solid.faces)
    counts: dict[str, int] = {}
    for rank, group in enumerate(groups):
        normal = solid.faces[group[0]].normal
        assert normal is not None
        side = next((name for name, way in SIDES.items() if _alike(normal, np.array(way, dtype=float))), "")
        if side and _is_end(solid, group, normal) and side not in counts:
            name, counts[side] = side, 0
        else:
            stem = f"facing_{_WAYS.get(side, side)}" if side else "flat"
            counts[stem] = counts.get(stem, 0) + 1
            name = f"{stem}_{counts[stem]}"
        whole = _offer(name, group, solid.faces, what="flat", normal=normal)
        large = rank < MOST_NAMED and whole.area >= LARGE * surface
        yield replace(whole, named=large)
        if 1 < len(group) <= MOST_NAMED:
            for n, i in enumerate(group, start=1):
                yield _offer(f"{name}_part_{n}", (i,), solid.faces, what="flat", normal=normal, is_named=False)


_WAYS = {"top": "up", "bottom": "down"}


def _planes(solid: Solid) -> list[tuple[int, ...]]:
    """Flat faces, those that face one way at one place together."""
    near = max(0.02, SAME_PLACE * solid.size)
    groups: list[list[int]] = []
    for i, face in enumerate(solid.faces):
        if face.kind != "plane" or face.normal is None:
            continue
        for group in groups:
            first = solid.faces[group[0]]
            assert first.normal is not None
            if _alike(face.normal, first.normal) and abs((face.centre - first.centre) @ first.normal) <= near:
                group.append(i)
                break
        else:
            groups.append([i])
    return [tuple(group) for group in groups]


def _is_end(solid: Solid, group: tuple[int, ...], normal: Array) -> bool:
    """Whether nothing of the part lies beyond these flats, which face along an axis."""
    axis = int(np.abs(normal).argmax())
    end = solid.box[1 if normal[axis] > 0 else 0][axis]
    return abs(solid.faces[group[0]].centre[axis] - end) <= max(0.02, SAME_PLACE * solid.size)


def _round_offers(solid: Solid, rounds: Sequence[Round], noun: str) -> Iterator[Offer]:
    """Holes or bosses: those of one size together, then each."""
    plural = {"hole": "holes", "boss": "bosses"}[noun]
    sizes: dict[str, list[Round]] = {}
    for each in rounds:
        size = "cone" if each.radius is None else f"{round(2 * each.radius, 2):g}"
        sizes.setdefault(size, []).append(each)
    for size, alike in sorted(sizes.items(), key=lambda item: -(item[1][0].radius or 0.0)):
        radius, what = alike[0].radius, noun if size != "cone" else f"conical {noun}"
        if len(alike) > 1:
            together = tuple(sorted(i for each in alike for i in each.faces))
            yield _offer(f"{plural}_{size}", together, solid.faces, what=f"{len(alike)} {plural}", radius=radius)
        for n, each in enumerate(alike, start=1):
            name = f"{noun}_{size}" + (f"_{n}" if len(alike) > 1 else "")
            single = len(alike) <= MOST_SINGLE
            yield _offer(name, each.faces, solid.faces, what=what, radius=radius, is_named=single)


def _offer(
    name: str,
    group: tuple[int, ...],
    faces: Sequence[Face],
    *,
    what: str,
    normal: Array | None = None,
    radius: float | None = None,
    is_named: bool = True,
) -> Offer:
    areas = np.array([faces[i].area for i in group])
    centre = areas @ np.array([faces[i].centre for i in group]) / max(float(areas.sum()), 1e-300)
    ids = tuple(faces[i].id for i in group)
    axis = faces[group[0]].axis
    return Offer(name, group, ids, what, float(areas.sum()), centre, normal, radius, axis, is_named)


def _alike(one: Array, other: Array) -> bool:
    return bool(np.linalg.norm(one - other) <= np.radians(ALONG))
