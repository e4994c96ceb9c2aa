"""Finished directions on disk, so that a scan that was stopped goes on where it was.

Each is a file named by the hash of all that its numbers depend on. One that was damaged, or that holds another
direction than its name says, is computed again.
"""

from __future__ import annotations

from pathlib import Path

from fem.errors import InputError
from fem.judging.orientation import DirectionNumbers
from fem.judging.sealed import plain, read_sealed, typed, write_sealed
from fem.study.fingerprint import digest_of

FOLDER = "directions"


class DirectionStore:
    """The finished directions of one scan's mesh in a folder; `mark` is the fingerprint of the study on that mesh."""

    def __init__(self, folder: Path, *, mark: str) -> None:
        self.folder, self.mark = folder / FOLDER, mark

    def name_of(self, direction: tuple[float, ...], kind: str) -> str:
        """What stands for the numbers of a direction; the opposite direction has a file of its own."""
        return digest_of([self.mark, [round(v, 9) + 0.0 for v in direction], kind])

    def read(self, direction: tuple[float, ...], kind: str) -> DirectionNumbers | None:
        """What was kept, or None."""
        name = self.name_of(direction, kind)
        try:
            data = read_sealed(self.folder / f"{name}.json")
            found: DirectionNumbers = typed(DirectionNumbers, data["numbers"])
        except (OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError):
            return None
        return found if data["name"] == name else None

    def not_taken(self) -> int:
        """How many of the files here are of an earlier version of the program, or damaged."""
        return sum(not _whole(path) for path in self.folder.glob("*.json"))

    def write(self, asked: tuple[float, ...], numbers: DirectionNumbers) -> None:
        """Keep the numbers of a direction that was `asked` for. Errors: InputError when the disk does not take it."""
        name = self.name_of(asked, numbers.kind)
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            write_sealed({"name": name, "numbers": plain(numbers)}, self.folder / f"{name}.json")
        except OSError as error:
            raise InputError(
                f"a finished direction cannot be kept ({error.strerror}).",
                where=str(self.folder),
                advice="Make room or name another --out; the directions kept so far are used again.",
            ) from None


def _whole(path: Path) -> bool:
    try:
        return bool(read_sealed(path))
    except (OSError, ValueError):
        return False
