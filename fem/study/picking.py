"""From a solid file to the page on which its faces are picked: read, name, prove, write."""

from __future__ import annotations

import hashlib
import os
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from itertools import count
from pathlib import Path
from typing import Any

from fem.digits import number
from fem.errors import InputError, SeveralSolidsError
from fem.part.faces import FaceQuery, find_faces, kind_of
from fem.part.families import holes_and_bosses, neighbours_of, same_radius, same_way
from fem.part.naming import round_directions, shortest_queries
from fem.part.query_text import query_text
from fem.part.solid import Face, Solid, read_solid, shown_surface
from fem.study.drafting.offers import offers_of
from fem.study.drafting.story import body_name
from fem.telling.files import write_text
from fem.telling.picking import Choices, FaceChoice, GroupChoice, mark_in, pick_html
from fem.telling.picking.page import refuse_too_large

MOST_NAMED = 600
"""Faces of a solid up to which the shortest query of each is sought; beyond, all go by their numbers."""


def write_pick_page(
    path: Any,
    *,
    out: Path | None = None,
    unit: str | None = None,
    part: int | str | None = None,
    fused: bool = False,
    any_size: bool = False,
) -> tuple[Path, Choices]:
    """Write the page of the solid file at `path` to `out` (<solid>_<format>_pick.html here if left out).

    Only a page of this very solid is replaced.
    Errors: InputError where `out` is taken by something else or no place for a file; SolidError.
    """
    if out is not None:
        _refuse_taken(out)
    try:
        solid = read_solid(path, name="part", unit=unit, any_size=any_size, part=part, fused=fused)
    except SeveralSolidsError as several:
        raise InputError(
            "it holds several solids.",
            where=str(path),
            advice="Choose one with --part, or join all with --fused; `beadwork faces` lists them.",
        ) from several
    refuse_too_large(len(shown_surface(solid)[1]), len(solid.faces), where=str(solid.path))
    choices = choices_of(solid)
    place = out if out is not None else _own_place(solid, choices.mark)
    _refuse_taken(place, mark=choices.mark)
    return write_text(pick_html(choices), place), choices


def choices_of(solid: Solid) -> Choices:
    """What can be picked on a solid; each query is read back as a study reads it and matches just its faces."""
    offers = offers_of(solid) if len(solid.faces) <= MOST_NAMED else ()
    names = {offer.faces: offer.name for offer in offers}
    families = _families(solid)
    groups = sorted({g for own in families for g in own.values()} | {g for g in names if len(g) > 1})
    meant = [*((i,) for i in range(len(solid.faces))), *groups]
    texts = dict(zip(meant, _queries(solid.faces, meant), strict=True))
    place = {group: n for n, group in enumerate(groups)}
    faces = [
        FaceChoice(
            query=texts[(i,)],
            what=_words(face),
            name=names.get((i,), ""),
            way=None if face.normal is None else round_directions(face.normal)[0],
            families={family: place[group] for family, group in families[i].items()},
        )
        for i, face in enumerate(solid.faces)
    ]
    told = tuple(GroupChoice(group, texts[group], names.get(group, "")) for group in groups)
    return Choices(solid, tuple(faces), told, body_name(solid.path.stem), _title(solid), _mark(solid))


def _families(solid: Solid) -> list[dict[str, tuple[int, ...]]]:
    """The groups of several faces that each face belongs to, by the kind of family."""
    neighbours = neighbours_of(solid)
    rounds = {face: each.faces for each in holes_and_bosses(solid) for face in each.faces}
    out: list[dict[str, tuple[int, ...]]] = []
    for i, face in enumerate(solid.faces):
        own = {
            "hole": rounds.get(i, (i,)),
            "radius": same_radius(solid.faces, i) if face.radius is not None else (i,),
            "way": same_way(solid.faces, i),
            "grown": neighbours.grown([i]),
        }
        out.append({family: tuple(sorted(group)) for family, group in own.items() if len(group) > 1})
    return out


def _queries(faces: Sequence[Face], meant: Sequence[tuple[int, ...]]) -> list[str]:
    """The query of each group as a study writes it, proven on that text."""
    if len(faces) <= MOST_NAMED:
        queries: Iterable[FaceQuery] = shortest_queries(faces, meant)
    else:
        queries = [FaceQuery(ids=tuple(faces[i].id for i in group)) for group in meant]
    texts = [query_text(query) for query in queries]
    prove(faces, dict(zip(meant, texts, strict=True)))
    return texts


def prove(faces: Sequence[Face], texts: Mapping[tuple[int, ...], str]) -> None:
    """Each query, read as a study reads it, matches just the faces that it is given for. Errors: RuntimeError."""
    from fem.study.keys.faces import FaceForm
    from fem.study.to_plans import face_query

    for meant, text in texts.items():
        query = face_query(FaceForm.model_validate(tomllib.loads(f"face = {text}")["face"]))
        if tuple(sorted(find_faces(faces, query))) != meant:
            raise RuntimeError(f"the query {text} does not match just the faces {meant}")


def _words(face: Face) -> str:
    radius = "" if face.radius is None else f", radius {number(face.radius)} mm"
    return f"{kind_of(face)}{radius}, {number(face.area)} mm²"


def _title(solid: Solid) -> str:
    if solid.part is not None:
        return f"{solid.path.name}, part {solid.part}"
    return f"{solid.path.name}, all solids fused" if solid.fused and len(solid.parts) > 1 else solid.path.name


def _mark(solid: Solid) -> str:
    said = f"{os.path.realpath(solid.path)}\n{solid.part}\n{solid.fused}"
    return hashlib.sha256(os.fsencode(said)).hexdigest()


def _own_place(solid: Solid, mark: str) -> Path:
    """A name here that no other solid's page, and no other file, has taken."""
    stem = f"{solid.path.stem}_{solid.path.suffix[1:].lower()}_pick"
    for n in count(1):
        place = Path(f"{stem}.html" if n == 1 else f"{stem}_{n}.html")
        if not _is_there(place) or (place.is_file() and mark_in(place) == mark):
            return place
    raise AssertionError


def _refuse_taken(place: Path, *, mark: str | None = None) -> None:
    """Errors: InputError for anything at `place` but a page of the solid with this `mark` (None: of any solid)."""
    if not _is_there(place):
        return
    if not place.is_file():
        raise InputError("that is no file, and a page would take its place.", where=str(place))
    found = mark_in(place)
    if found is None or (mark is not None and found != mark):
        raise InputError(
            "there is another file already.",
            where=str(place),
            advice="Only a page of the same solid is replaced: remove it, or give another name with --out NAME.html.",
        )


def _is_there(place: Path) -> bool:
    try:
        place.lstat()  # of a link that leads nowhere too
    except (FileNotFoundError, NotADirectoryError):
        return False
    except (OSError, ValueError):  # a name too long, a NUL
        raise InputError("that is no place for a file.", where=str(place)) from None
    return True
