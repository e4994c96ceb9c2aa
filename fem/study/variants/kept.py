"""Finished variants on disk, so that nothing is computed twice and a run that was stopped goes on.

Each is a findings file of its own, named by the variant and by a hash of all that its numbers depend on: the study
as it was changed, the files of solids and cards, the program's version. It is written beside and renamed; one that
cannot be read, or whose hash within differs from the one sought, is as good as absent.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from fem.errors import InputError
from fem.judging.findings import Findings, read_findings, write_findings
from fem.study.answers import compare_requirements
from fem.study.machine import program_version
from fem.study.plans import BodyPlan, Study

FOLDER = "variants"
METHOD = 2
"""Raised when a change of the program changes the numbers of a variant within one version."""
SHOWN = 12
"""So many digits of the hash stand in a file's name; the whole of it stands in the file."""
_WORDS = (
    "path",
    "title",
    "question",
    "currency",
    "requirements",
    "text",
    "sha256",
    "tree",
    "variants",
    "sweep",
    "variant",
    "changes",
)
"""What of a study no number of a variant depends on; the requirements are compared anew."""


def key_of(study: Study) -> str:
    """Hash of all that a variant's numbers depend on."""
    plain = {f.name: getattr(study, f.name) for f in dataclasses.fields(study) if f.name not in _WORDS}
    plain["bodies"] = {name: _by_digest(body) for name, body in study.bodies.items()}
    parts = {"version": program_version(), "method": METHOD, "study": _plain(plain)}
    return hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()


def _by_digest(body: BodyPlan) -> BodyPlan:
    """The body with its card named by the digest of the card's files."""
    from fem.printing.polymer import card_digest

    if body.print is not None:
        card = card_digest(body.print.polymer)
        return dataclasses.replace(body, print=dataclasses.replace(body.print, polymer=card))
    return dataclasses.replace(body, metal=card_digest(str(body.metal)))


def _plain(value: Any) -> Any:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {
            "kind": type(value).__name__,
            **{f.name: _plain(getattr(value, f.name)) for f in dataclasses.fields(value)},
        }
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(v) for v in value]
    return value.suffix if isinstance(value, Path) else value  # a solid counts by its hash, not by where it lies


class Kept:
    """The finished variants in a results folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder / FOLDER

    def path_of(self, name: str, key: str) -> Path:
        """Where the findings of a variant lie."""
        plain = re.sub(r"[^A-Za-z0-9=.+-]+", "_", name).strip("_")[:80]
        return self.folder / f"{plain}-{key[:SHOWN]}.json"

    def find(self, study: Study, key: str) -> Findings | None:
        """What was kept under the key, under whatever name, told for this study; None when there is nothing whole."""
        for path in sorted(self.folder.glob(f"*-{key[:SHOWN]}.json")):
            try:
                found = read_findings(path)
            except InputError:
                continue
            if found.inputs.get("key") == key:
                told = _told_for(study, found, key)
                if told != found or path != self.path_of(study.variant, key):
                    self._write(told, self.path_of(study.variant, key))
                return told
        return None

    def count(self, studies: Iterable[Study]) -> int:
        """How many of these studies were finished before."""
        return sum(self.find(study, key_of(study)) is not None for study in studies)

    def keep(self, study: Study, key: str, findings: Findings) -> Findings:
        """Keep what a variant came to. Errors: InputError when the disk does not take it."""
        told = _told_for(study, findings, key)
        self._write(told, self.path_of(study.variant, key))
        return told

    def other_versions(self) -> dict[str, int]:
        """Versions of the program, other than this one, whose variants lie here, and how many of each."""
        out: dict[str, int] = {}
        for path in self.folder.glob("*.json"):
            try:
                version = str(json.loads(path.read_text(encoding="utf-8"))["beadwork"])
            except (OSError, ValueError, KeyError, TypeError, RecursionError):
                continue
            if version != program_version():
                out[version] = out.get(version, 0) + 1
        return out

    def _write(self, findings: Findings, path: Path) -> None:
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            write_findings(findings, path)
        except OSError as error:
            path.with_name(path.name + ".part").unlink(missing_ok=True)
            raise InputError(
                f"a finished variant cannot be kept ({error.strerror}).",
                where=str(self.folder),
                advice="Make room, or name another --out; the variants kept so far are used again.",
            ) from None


def _told_for(study: Study, found: Findings, key: str) -> Findings:
    """The same numbers under the study's present words and requirements."""
    return dataclasses.replace(
        found,
        title=study.title,
        question=study.question,
        currency=study.currency,
        inputs={**study.inputs, "versions": found.inputs.get("versions", {}), "key": key},
        requirements=compare_requirements(study.requirements, bodies=found.bodies, cases=found.cases),
    )
