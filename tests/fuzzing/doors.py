"""How the program may answer a damaged input: with what it read, or with a refusal that is fit to be told."""

from __future__ import annotations

import os
import random
import resource
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from fem.errors import BeadworkError
from fem.fault import FILE

STATUSES = (0, 2, 3, 4)
HANGING, LONGEST = 20.0, 170.0
"""Seconds of processor time after which a command hangs, whatever else the machine does; and seconds by the clock."""
PROJECT = Path(__file__).parents[2]
READ, REFUSED = "read", "refused"


class Wrong(Exception):
    """What must not be: a wrong answer, an untold difference, a refusal that is no single line."""


def tried(read: Callable[[], Any]) -> Any:
    """What `read` gives, or the BeadworkError that it raised, whose text is looked at; others pass on."""
    try:
        return read()
    except BeadworkError as error:
        lines = str(error).split("\n")
        if len(lines) > 1 + len(error.each):
            raise Wrong(f"the refusal is of {len(lines)} lines: {str(error)!r}") from None
        if not all(line.isprintable() and line.strip() for line in lines):
            raise Wrong(f"the refusal is not fit for a terminal: {str(error)!r}") from None
        if max(map(len, lines)) > 4000:
            raise Wrong(f"the refusal is of {len(str(error))} characters: {str(error)[:300]!r}") from None
        if error.exit_status not in STATUSES:
            raise Wrong(f"exit status {error.exit_status}") from None
        return error


def refused(found: Any) -> bool:
    """Whether `tried` met a refusal."""
    return isinstance(found, BeadworkError)


def _spent() -> float:
    """Processor time of all processes that this one has started and that have ended [s]."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def command(chance: random.Random, folder: Path, *arguments: str, seconds: float = HANGING) -> int:
    """The exit status of the real command in `folder`. Errors: Wrong for anything but a proper end."""
    env = {**os.environ, "PYTHONPATH": str(PROJECT), "PYTHONIOENCODING": chance.choice(("utf-8", "ascii", "latin-1"))}
    before = _spent()
    try:
        done = subprocess.run(
            [sys.executable, "-m", "fem.cli", *arguments],
            cwd=folder, env=env, stdin=subprocess.DEVNULL, capture_output=True, timeout=LONGEST,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        raise Wrong(f"{arguments}: no end after {LONGEST:g} s") from None
    except ValueError:  # a NUL cannot be an argument
        return 2
    told = done.stderr.decode("utf-8", "replace")
    wrong = ""
    if _spent() - before > seconds:
        wrong = f"it took {_spent() - before:.0f} s of processor time"
    elif done.returncode not in STATUSES:
        wrong = f"exit status {done.returncode}"
    elif (folder / FILE).exists():
        wrong = f"{FILE} was written"
    elif "Traceback" in told or "Warning" in told or "Exception" in told:
        wrong = "Python speaks"
    elif "\x1b" in told or b"\x1b" in done.stdout:
        wrong = "an escape reaches the terminal"
    lines = [
        line for line in told.splitlines() if not line.startswith(("beadwork: ", "  ", "Picture: ", "Choose one "))
    ]
    usage = told.startswith("usage: ")
    if lines and not usage:
        wrong = wrong or f"more on standard error than the message: {lines[0]!r}"
    if (
        done.returncode == 2
        and not usage
        and not told.rstrip("\n").split("\n  ")[0].splitlines()[-1].startswith("beadwork: ")
    ):
        wrong = wrong or "no message"
    if wrong:
        raise Wrong(f"{arguments}: {wrong}\n--- standard error\n{told[-3000:]}")
    return done.returncode
