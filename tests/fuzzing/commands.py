"""The real command on damaged inputs of every kind."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

from fem.judging.findings import read_findings
from fuzzing import cards, kept, studies
from fuzzing.doors import READ, REFUSED, Wrong, command, tried
from fuzzing.solids import CAD, TRIANGLES

SLOW = 150.0
"""Seconds that `report` may take, which answers the study anew and draws all of its pictures."""


KINDS: dict[str, Any] = {"check": studies, "cards": cards, "cad": CAD, "triangles": TRIANGLES, "report": kept}


class Sound(dict[str, Any]):
    """The sound inputs by kind, each made when it is first needed."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def __missing__(self, kind: str) -> Any:
        place = self.folder / kind
        place.mkdir()
        self[kind] = KINDS[kind].prepare(place)
        return self[kind]


def prepare(folder: Path) -> Sound:
    """The sound inputs of all kinds."""
    return Sound(folder)


def case(chance: random.Random, base: Sound, folder: Path) -> str:
    """The command ends properly: a known status, one message, nothing else on standard error."""
    (kind,) = chance.choices(("check", "cards", "cad", "triangles", "report"), (12, 6, 6, 6, 1))
    if kind == "check":
        path, _ = studies.spoilt(chance, base[kind], folder)
        status = command(chance, folder, "check", path.name)
    elif kind == "cards":
        path, _ = cards.spoilt(chance, base[kind], folder)
        status = command(chance, folder, "cards", f"./{path.name}")
    elif kind == "report":
        return _report(chance, base[kind], folder)
    else:
        file, _, said = (CAD if kind == "cad" else TRIANGLES).spoilt(chance, base[kind], folder)
        unit = ["--unit", said["unit"]] if said["unit"] else []
        part = ["--part", str(said["part"])] if said["part"] else []
        status = command(chance, folder, "faces", *unit, *part, "--picture", "faces.png", "--", file.name)
    return READ if status == 0 else REFUSED


def _report(chance: random.Random, base: Path, folder: Path) -> str:
    """Whatever was damaged, the review is of right results: those of the undamaged study."""
    kept.spoilt(chance, base, folder)
    (folder / "out" / "fields.vtu").unlink()  # no real ones: the study must be answered anew
    if command(chance, folder, "report", "study.toml", "--out", "out", seconds=SLOW) != 0:
        raise Wrong("damaged results are no reason to refuse a report")
    one, other = (tried(lambda f=f: read_findings(f / "out" / "findings.json")) for f in (base, folder))
    for name in one.cases:
        if abs(one.cases[name].reserve.minimum / other.cases[name].reserve.minimum - 1) > 1e-6:
            raise Wrong(f"case {name}: the report's reserve differs from the study's")
    return READ
