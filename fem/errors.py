"""Named failures: what is wrong, where, and what to do next.

Every failure that a user can cause is one of these, so that the command line can print one clear
line and leave with the right status. A plain Python exception that reaches the user is a defect.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from difflib import get_close_matches
from typing import Any


class BeadworkError(Exception):
    """Base of all failures that Beadwork names itself.

    `exit_status` is what the command line leaves with; `advice` says what to do next.
    """

    exit_status = 2

    def __init__(self, message: str, *, where: str = "", advice: str = "") -> None:
        self.message, self.where, self.advice = message, where, advice
        super().__init__(str(self))

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        advice = f" {self.advice}" if self.advice else ""
        return clean(" ".join(f"{place}{self.message}{advice}".split()))

    def __reduce__(self) -> tuple[Any, ...]:
        # As it was, also from another process: a failure's own arguments may be more than its text
        return _as_it_was, (type(self), self.args, self.__dict__)


def _as_it_was(kind: type[BeadworkError], texts: tuple[Any, ...], facts: dict[str, Any]) -> BeadworkError:
    error = kind.__new__(kind)
    error.args = texts
    error.__dict__.update(facts)
    return error


def clean(text: str) -> str:
    """The text as a terminal may have it: lines stay, but nothing that moves the cursor, colours, rings, reverses the
    reading direction, or is no character at all (a file name that is not UTF-8).
    """
    return "".join(c if c in "\n\t" or unicodedata.category(c) not in _UNSAFE else "\ufffd" for c in text)


_UNSAFE = ("Cc", "Cf", "Cs", "Zl", "Zp")
"""Categories of Unicode: control, format, surrogate, line and paragraph separator."""


class InputError(BeadworkError):
    """Something that the user gave is missing, contradictory or impossible."""


class SolidError(InputError):
    """A solid file that cannot be read, has no volume, or whose surface is open or crosses itself."""


class MeshError(InputError):
    """The solid cannot be filled with tetrahedra of the size asked for."""


class FaceError(InputError):
    """A face query matches nothing, or more than it may."""


class CardError(InputError):
    """A material card is missing, lacks a state, or holds constants that no material can have."""


class FreeBodyError(InputError):
    """A body can move without any resistance; the message names the free motions."""


class TooLargeError(InputError):
    """The mesh or the solve asked for does not fit into this machine's memory."""


class NoTrustworthyAnswer(BeadworkError):
    """The computation ended without an answer that may be relied on."""

    exit_status = 4


class NotConverged(NoTrustworthyAnswer):
    """The iteration stopped before the tolerance; carries the best answer and the history.

    `best` is the displacement of the last iteration [mm], `history` the relative residuals.
    """

    def __init__(self, message: str, *, best: Any, history: list[float], advice: str = "") -> None:
        self.best, self.history = best, history
        super().__init__(message, advice=advice)


def toml_trouble(error: Exception) -> str:
    """What is wrong with a text that `tomllib` does not take, without the point at the end."""
    if isinstance(error, RecursionError):
        return "tables or lists are nested too deep"
    text = str(error).rstrip(".")
    return "a whole number has too many digits" if "integer string conversion" in text else text


def nearest(word: str, words: Iterable[str], *, count: int = 3) -> str:
    """A sentence that names the right spellings nearest to `word`, or all of a short list."""
    known = sorted(set(words))
    close = get_close_matches(word, known, n=count, cutoff=0.5)
    if close:
        return f"Nearest: {', '.join(close)}."
    if 0 < len(known) <= 14:
        return f"Known: {', '.join(known)}."
    return ""
