"""Named failures: what is wrong, where, and what to do next.

Every failure that a user can cause is one of these, so that the command line can print one clear
line and leave with the right status. A plain Python exception that reaches the user is a defect.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from difflib import get_close_matches
from typing import Any, Self, TypeVar

T = TypeVar("T")


class BeadworkError(Exception):
    """Base of all failures that Beadwork names itself.

    `exit_status` is what the command line leaves with; `advice` says what to do next; `each` holds the single
    failures where several are told together, a line each (see `together`).
    """

    exit_status = 2

    def __init__(
        self, message: str, *, where: str = "", advice: str = "", each: Sequence[BeadworkError] = ()
    ) -> None:
        self.message, self.where, self.advice, self.each = message, where, advice, tuple(each)
        super().__init__(str(self))

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        advice = f" {self.advice}" if self.advice else ""
        line = printable(" ".join(f"{place}{self.message}{advice}".split()))
        return "\n".join([line, *(f"  {error}" for error in self.each)])

    def inside(self, place: str) -> Self:
        """The same failure, told from `place` on."""
        where = f"{place}: {self.where}" if self.where else place
        return type(self)(self.message, where=where, advice=self.advice, each=self.each)

    def __reduce__(self) -> tuple[Any, ...]:
        # As it was, also from another process: a failure's own arguments may be more than its text
        return _as_it_was, (type(self), self.args, self.__dict__)


def _as_it_was(kind: type[BeadworkError], texts: tuple[Any, ...], facts: dict[str, Any]) -> BeadworkError:
    error = kind.__new__(kind)
    error.args = texts
    error.__dict__.update(facts)
    return error


class InputError(BeadworkError):
    """Something that the user gave is missing, contradictory or impossible."""


class SolidError(InputError):
    """A solid file that cannot be read, has no volume, or whose surface is open or crosses itself."""


class SeveralSolidsError(SolidError):
    """A file holds several solids, and nothing says which one is meant."""


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
    return "tables or lists are nested too deep" if isinstance(error, RecursionError) else str(error).rstrip(".")


class Faults:
    """Collects what is wrong with one file, so that the user is told all of it at once."""

    def __init__(self) -> None:
        self.found: list[InputError] = []

    def of(self, read: Callable[..., T], *arguments: Any) -> T | None:
        """What `read` gives; None when it fails, and the failure is kept."""
        try:
            return read(*arguments)
        except InputError as error:
            self.found += [e for e in error.each if isinstance(e, InputError)] or [error]
            return None

    def refuse(self, where: str = "") -> None:
        """Errors: what was kept, if anything, as `together` tells it."""
        if self.found:
            raise together(self.found, where=where)


def together(errors: Sequence[InputError], *, where: str, more: int = 0) -> InputError:
    """One failure that tells all of `errors`, a line each, under the place `where` that they share; `more` are only
    counted.
    """
    if len(errors) + more == 1:
        return errors[0]
    kind = type(errors[0])
    each = [
        type(e)(e.message, where="" if e.where == where else e.where.removeprefix(f"{where}: "), advice=e.advice)
        for e in errors
    ]
    rest = [kind(f"And {more} more.")] if more else []
    return kind(f"{len(errors) + more} things are wrong.", where=where, each=[*each, *rest])


def printable(text: str) -> str:
    """The text with what a terminal would obey, or could not show, written out as an escape."""
    return text if text.isprintable() else "".join(c if c.isprintable() else repr(c)[1:-1] for c in text)


def clean(text: str) -> str:
    """The text as a terminal may have it: its lines, each `printable`."""
    return "\n".join(map(printable, text.split("\n")))


def shown(value: Any, *, longest: int = 50) -> str:
    """A value from a file as a message shows it: escaped, and shortened where it is long."""
    try:
        text = repr(value[: longest + 1] if isinstance(value, str) else value)
    except ValueError:  # Python does not write out whole numbers of more than 4300 digits
        return "a number of thousands of digits"
    return text if len(text) <= longest else f"{text[:longest]}..."


def nearest(word: str, words: Iterable[str], *, count: int = 3) -> str:
    """A sentence that names the right spellings nearest to `word`, or all of a short list."""
    known = sorted(set(words))
    close = get_close_matches(word, known, n=count, cutoff=0.5)
    if close:
        return f"Nearest: {', '.join(close)}."
    if 0 < len(known) <= 14:
        return f"Known: {', '.join(known)}."
    return ""
