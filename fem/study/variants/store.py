"""Finished variants on disk, so that nothing is computed twice and a run that was stopped goes on.

Each is a findings file of its own, named by the variant and by its fingerprint. One that was damaged, or whose
fingerprint within differs from the one sought, is as good as absent.
"""

from __future__ import annotations

import dataclasses
import re
from collections import Counter
from collections.abc import Iterable
from pathlib import Path

from fem.errors import InputError
from fem.judging.findings import Findings, read_findings, write_findings
from fem.judging.requirements import decided_anew
from fem.judging.sealed import read_sealed
from fem.study.fingerprint import fingerprint
from fem.study.machine import program_version
from fem.study.plans import Study
from fem.study.variants.asked import FOLDER

SHOWN = 12
"""So many digits of the fingerprint stand in a file's name; the whole of it stands in the file."""


class VariantStore:
    """The finished variants in a results folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder / FOLDER

    def path_of(self, findings: Findings, name: str) -> Path:
        """Where the findings of the variant of that name lie."""
        plain = re.sub(r"[^A-Za-z0-9=.+-]+", "_", name).strip("_")[:80]
        return self.folder / f"{plain}-{findings.inputs['fingerprint'][:SHOWN]}.json"

    def find(self, study: Study) -> Findings | None:
        """What was kept of the study, under whatever name, told for this one; None when there is nothing whole."""
        mark = fingerprint(study)
        for path in sorted(self.folder.glob(f"*-{mark[:SHOWN]}.json")):
            try:
                found = read_findings(path)
            except InputError:
                continue
            if found.inputs.get("fingerprint") == mark and _says_chance(study, found):
                told = _in_present_words(study, found)
                if told != found or path != self.path_of(told, study.variant):
                    self._write(told, study.variant)
                return told
        return None

    def count(self, studies: Iterable[Study]) -> int:
        """How many of these studies were finished before."""
        return sum(self.find(study) is not None for study in studies)

    def keep(self, study: Study, findings: Findings) -> Findings:
        """Keep what a variant came to. Errors: InputError when the disk does not take it."""
        told = _in_present_words(study, findings)
        self._write(told, study.variant)
        return told

    def not_taken(self) -> dict[str, int]:
        """Who made the variants that lie here and cannot serve this version, and how many of each."""
        out = Counter[str]()
        for path in self.folder.glob("*.json"):
            try:
                maker = f"Beadwork {read_sealed(path).get('beadwork')}"
            except (OSError, ValueError, RecursionError):
                maker = "an earlier version of Beadwork, or damaged,"
            out[maker] += maker != f"Beadwork {program_version()}"
        return dict(+out)

    def _write(self, findings: Findings, name: str) -> None:
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            write_findings(findings, self.path_of(findings, name))
        except OSError as error:
            raise InputError(
                f"a finished variant cannot be kept ({error.strerror}).",
                where=str(self.folder),
                advice="Make room, or name another --out; the variants kept so far are used again.",
            ) from None


def _says_chance(study: Study, found: Findings) -> bool:
    """Whether what was kept knows the chance that the study asks for: it is of one required reserve factor alone."""
    wanted = study.requirements
    known = (case.reserve for case in found.cases.values())
    return wanted.chance is None or all(r.chance_above_1 is None or r.chance_of(wanted.reserve) for r in known)


def _in_present_words(study: Study, found: Findings) -> Findings:
    """The same numbers under the study's present words and requirements."""
    own = {key: found.inputs[key] for key in ("fingerprint", "versions")}
    found = decided_anew(found, study.requirements)
    return dataclasses.replace(
        found,
        title=study.title,
        question=study.question,
        currency=study.currency,
        inputs={**study.inputs, **own},
    )
