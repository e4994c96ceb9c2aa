"""Finished directions on disk, so that a scan that was stopped goes on where it was.

Each is a file named by the hash of all that its numbers depend on. It is written beside and renamed: a half-written
one is never read, and one that cannot be read is computed again.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
import math
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from fem.errors import InputError
from fem.judging.orientation import DirectionNumbers
from fem.study.machine import program_version
from fem.study.plans import Study

FOLDER = "directions"
METHOD = 2
"""Raised when a change of the scan changes its numbers within one version of the program."""
_TUPLES = ("direction", "at_mm", "missed")


def base_key(study: Study, *, body: str, size: Mapping[str, tuple[float, float]]) -> str:
    """Hash of all that a direction's numbers depend on but the direction itself; `size` the mesh [mm] by body."""
    from fem.printing.polymer import card_digest

    cards = [card_digest(b.print.polymer if b.print is not None else b.metal or "") for b in study.bodies.values()]
    parts = [program_version(), METHOD, study.sha256, dict(study.solid_sha256), cards, body]
    return _hash([*parts, {name: list(pair) for name, pair in size.items()}])


def _hash(value: Any) -> str:
    return hashlib.sha256(json.dumps(value, sort_keys=True).encode()).hexdigest()


class Kept:
    """The finished directions of one scan's mesh in a folder."""

    def __init__(self, folder: Path, *, key: str) -> None:
        self.folder, self.key = folder / FOLDER, key

    def path_of(self, direction: tuple[float, ...], kind: str) -> Path:
        """Where the numbers of a direction lie; the opposite direction has a file of its own."""
        place = [round(v, 9) + 0.0 for v in direction]
        return self.folder / f"{_hash([self.key, place, kind])[:32]}.json"

    def read(self, direction: tuple[float, ...], kind: str) -> DirectionNumbers | None:
        """What was kept, or None."""
        try:
            data = json.loads(self.path_of(direction, kind).read_text(encoding="utf-8"))
            if data.pop("key") != self.key:
                return None
            back: dict[str, Any] = {k: math.inf if v == "unlimited" else v for k, v in data.items()}
            back |= {k: tuple(back[k]) for k in _TUPLES}
            return DirectionNumbers(**back)
        except (OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError):
            return None

    def write(self, asked: tuple[float, ...], numbers: DirectionNumbers) -> None:
        """Keep the numbers of a direction that was `asked` for. Errors: InputError when the disk does not take it."""
        data = {k: "unlimited" if v == math.inf else v for k, v in dataclasses.asdict(numbers).items()}
        path = self.path_of(asked, numbers.kind)
        beside = path.with_name(f"{path.name}.{os.getpid()}.part")
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            beside.write_text(json.dumps({"key": self.key, **data}, ensure_ascii=False), encoding="utf-8")
            os.replace(beside, path)
        except OSError as error:
            beside.unlink(missing_ok=True)
            raise InputError(
                f"a finished direction cannot be kept ({error.strerror}).",
                where=str(self.folder),
                advice="Make room or name another --out; the directions kept so far are used again.",
            ) from None
