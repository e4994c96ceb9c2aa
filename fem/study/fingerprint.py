"""What still holds: a hash of all that the numbers of a study depend on.

Whoever keeps a result keeps the fingerprint with it, and takes it again only where the fingerprint is the same. Words
that change no number do not count: title, question, currency, requirements, names and places of files.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fem.printing.infill.store import ALGORITHM
from fem.study.machine import NUMERIC, program_version, version_of

if TYPE_CHECKING:
    from fem.study.plans import BodyPlan, Study

METHOD = 10
"""Raised when a change of the program changes numbers within one version."""
WORDS = frozenset(
    {
        "path",
        "title",
        "question",
        "currency",
        "requirements",
        "bench",
        "text",
        "tree",
        "variants",
        "sweep",
        "variant",
        "changes",
    }
)
"""What of a study no number depends on; requirements are compared anew."""


def fingerprint(study: Study, **more: Any) -> str:
    """Hash of the plans of a study, the bytes of its solids and cards, and of what computes; `more` counts too."""
    plans = {f.name: getattr(study, f.name) for f in dataclasses.fields(study) if f.name not in WORDS}
    plans["bodies"] = {name: _nameless(body) for name, body in study.bodies.items()}
    return digest_of([_program(), plans, study.solid_sha256, study.card_sha256, more])


def fingerprint_of_all(study: Study, variants: Mapping[str, Study | None]) -> str:
    """Hash of all that a comparison of `variants` by name depends on, the study's own words included, and how many
    places of its leaders were solved bead by bead.
    """
    each = {name: None if variant is None else fingerprint(variant) for name, variant in variants.items()}
    return digest_of([_program(), study.sha256, [study.judge.zoom, study.judge.voxel], each])


def mesh_key(study: Study, *, sizes: Mapping[str, Any] | None = None) -> str:
    """Hash of what the mesh of a study depends on; `sizes` (size, finest) [mm] by body replace the study's own."""
    bodies = {
        n: dataclasses.replace(b, print=None, metal=None, laminate=None, state=None) for n, b in study.bodies.items()
    }
    cuts = [(name, face) for name, face in sorted(study.faces.items()) if face.cut is not None]
    return digest_of(
        [bodies, cuts, study.solid_sha256, sizes or {n: (b.size, b.finest) for n, b in study.bodies.items()}]
    )


def file_digest(file: Path) -> str:
    """SHA-256 of a file's bytes. Errors: OSError."""
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def shown_digests(folder: Path) -> dict[str, str]:
    """Digests of fields, part in hand and pictures of a run in `folder`, by their paths in it. Errors: OSError."""
    files = [*folder.glob("fields.vtu"), *folder.glob("part.json"), *folder.glob("pictures/*.png")]
    return {file.relative_to(folder).as_posix(): file_digest(file) for file in sorted(files)}


def digest_of(value: Any) -> str:
    """Hash of plain data and dataclasses; a path counts by its suffix alone."""
    return hashlib.sha256(json.dumps(_plain(value), sort_keys=True, default=str).encode()).hexdigest()


def _program() -> list[Any]:
    return [program_version(), METHOD, ALGORITHM, [version_of(name) for name in NUMERIC]]


def _nameless(body: BodyPlan) -> BodyPlan:
    """The body without its card's name, for which the card's bytes count."""
    keys = None if body.print is None else dataclasses.replace(body.print, polymer="")
    plies = None if body.laminate is None else dataclasses.replace(body.laminate, card="")
    return dataclasses.replace(body, print=keys, metal=None if body.metal is None else "", laminate=plies)


def _plain(value: Any) -> Any:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        kept = {f.name: _plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
        return {"kind": type(value).__name__, **kept}
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(v) for v in value]
    return value.suffix.lower() if isinstance(value, Path) else value
