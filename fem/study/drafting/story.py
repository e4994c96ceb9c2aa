"""From a solid file to a first study: read, name, guess, write."""

from __future__ import annotations

import os
import re
import tomllib
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from fem.errors import InputError, SeveralSolidsError
from fem.part.faces import find_faces
from fem.part.query_text import key_text, query_text
from fem.part.several import FileSolid
from fem.part.solid import Face, Solid, read_solid, solids_in
from fem.study.drafting.guesses import Guess, guess_of
from fem.study.drafting.offers import Named, moved, named, offers_of
from fem.study.drafting.text import DraftedBody, study_text

MOST_BODIES = 12
"""A file with more solids than this is no part but a machine: its user chooses."""


@dataclass(frozen=True)
class Draft:
    """A drafted study: the file's `text`, where it was written (`path`), and its bodies."""

    path: Path
    text: str
    bodies: tuple[DraftedBody, ...]


def draft_study(
    path: Any,
    *,
    out: Path | None = None,
    unit: str | None = None,
    part: int | str | None = None,
    fused: bool = False,
    any_size: bool = False,
) -> Draft:
    """Write a first study of the solid file at `path` to `out` (<solid>.toml here if left out), which must be new.

    Of a file with several solids each becomes a body, unless `part` or `fused` says otherwise.
    Errors: InputError where `out` is taken or no place for a file, or the solid's path is no text; SolidError.
    """
    file = Path(path)
    place = out if out is not None else Path(f"{file.stem}.toml")
    _refuse_taken(place)
    solids = _solids(file, unit=unit, part=part, fused=fused, any_size=any_size)
    bodies = _bodies(solids, relative_path(file, place), unit=unit, any_size=any_size)
    text = study_text(bodies)
    place.parent.mkdir(parents=True, exist_ok=True)
    _prove(text, bodies, place)
    _write_new(place, text)
    return Draft(place, text, tuple(bodies))


def relative_path(solid: Path, study: Path) -> str:
    """The solid's path as a study writes it: from the study's folder, with slashes; whole where there is no way.

    Errors: InputError where it is no text.
    """
    target, folder = solid.parent.resolve() / solid.name, study.parent.resolve()
    try:
        way = Path(os.path.relpath(target, folder)).as_posix()
    except ValueError:  # another drive
        way = target.as_posix()
    try:
        way.encode()
    except UnicodeEncodeError:
        raise InputError(
            "its path is no text that a study could hold.", where=str(solid), advice="Rename the file or its folder."
        ) from None
    return way


def _refuse_taken(place: Path) -> None:
    try:
        place.lstat()  # of a link that leads nowhere too
        folder = place.is_dir()
    except (FileNotFoundError, NotADirectoryError):
        return
    except (OSError, ValueError):  # a name too long, a NUL
        raise InputError("that is no place for a file.", where=str(place)) from None
    if folder:
        raise InputError("that is a folder.", where=str(place), advice="Give the study a name: --out NAME.toml.")
    advice = "A draft never replaces one: remove it, or give another name with --out NAME.toml."
    raise InputError("there is a file already.", where=str(place), advice=advice)


def _write_new(place: Path, text: str) -> None:
    try:
        with place.open("x", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
    except FileExistsError:
        _refuse_taken(place)
        raise


def _solids(
    file: Path, *, unit: str | None, part: int | str | None, fused: bool, any_size: bool
) -> list[tuple[str, Solid]]:
    """The solids of the study and the names of their bodies."""
    stem = body_name(file.stem)
    try:
        return [(stem, read_solid(file, name=stem, unit=unit, part=part, fused=fused, any_size=any_size))]
    except SeveralSolidsError as several:
        found = solids_in(file, unit=unit)
        if len(found) > MOST_BODIES:
            raise InputError(
                f"it holds {len(found)} solids, more than a draft takes as bodies ({MOST_BODIES}).",
                where=str(file),
                advice=f"Choose one with --part, or join all with --fused; `beadwork faces {file.name}` lists them.",
            ) from several
    names = _names(found)
    return [
        (name, read_solid(file, name=name, unit=unit, part=_called(solid, found), any_size=any_size))
        for name, solid in zip(names, found, strict=True)
    ]


def _called(solid: FileSolid, found: Sequence[FileSolid]) -> int | str:
    """How a study says which solid is meant: by its name where no other has it."""
    alone = [other.name for other in found].count(solid.name) == 1
    return solid.name if solid.name.strip() and alone and _is_text(solid.name) else solid.number


def _is_text(name: str) -> bool:
    return name.isprintable() and not any(0xD800 <= ord(c) < 0xE000 for c in name)


def _names(found: Iterable[FileSolid]) -> list[str]:
    names: list[str] = []
    for solid in found:
        name = body_name(solid.name, other=f"part_{solid.number}")
        names.append(name if name not in names else f"{name}_{solid.number}")
    return names


def body_name(text: str, *, other: str = "part") -> str:
    """A short bare name in plain letters, made from any text."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "_", plain).strip("_")[:30].strip("_") or other


def _bodies(solids: Sequence[tuple[str, Solid]], path: str, *, unit: str | None, any_size: bool) -> list[DraftedBody]:
    faces = [face for _, solid in solids for face in solid.faces]
    several, start, out = len(solids) > 1, 0, []
    for name, solid in solids:
        body, prefix = (name, f"{name}_") if several else (None, "")
        offers = offers_of(solid)
        guess = guess_of(solid, offers, body=body)
        own = [moved(offer, by=start, prefix=prefix) for offer in (*offers, *guess.added)]
        kept = named(own, faces, body=body, always=(prefix + guess.held, prefix + guess.loaded))
        out.append(DraftedBody(name, solid, path, unit, any_size, kept, _prefixed(guess, prefix), several))
        start += len(solid.faces)
    return out


def _prefixed(guess: Guess, prefix: str) -> Guess:
    cuts = tuple((prefix + name, query) for name, query in guess.cuts)
    return replace(guess, held=prefix + guess.held, loaded=prefix + guess.loaded, cuts=cuts)


def _prove(text: str, bodies: Sequence[DraftedBody], place: Path) -> None:
    """The file reads as a study, and each query, as the file has it, matches just the faces that it names."""
    from fem.study.file import study_of
    from fem.study.keys.faces import FaceForm
    from fem.study.to_plans import face_query

    study_of(tomllib.loads(text), file=place, text=text)
    faces: list[Face] = [face for body in bodies for face in body.solid.faces]
    for each in [n for body in bodies for n in body.faces]:
        table = tomllib.loads(_line(each))["faces"][each.offer.name]
        if find_faces(faces, face_query(FaceForm.model_validate(table))) != each.offer.faces:
            raise RuntimeError(f"the query of face {each.offer.name} does not match just it")


def _line(each: Named) -> str:
    return f"[faces]\n{key_text(each.offer.name)} = {query_text(each.query)}"
