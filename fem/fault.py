"""When the program itself is at fault: one line for the user, and a file with the details to send."""

from __future__ import annotations

import logging
import os
import platform
import sys
import tempfile
import time
import traceback
import warnings
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from fem.errors import BeadworkError, clean

FILE = "beadwork-fault.txt"
NO_MEMORY = "memory ran out. Ask for a larger mesh size."
_LIBRARIES = ("beadwork", "numpy", "scipy", "numba", "gmsh", "trimesh", "pyvista", "pydantic", "pint", "rich")


def fault_line(error: BaseException) -> str:
    """One line that tells of a fault of the program, whose details it writes into a file."""
    path = write_fault(error)
    details = f"Please send the file {path} to its makers." if path else "No file with details could be written."
    return clean(" ".join(f"a fault of the program itself: {_short(error)}. {details}".split()))


def failure_line(error: Exception) -> str:
    """Why something could not be computed: the error's own words, or those of a fault of the program."""
    if isinstance(error, BeadworkError):
        return str(error)
    return NO_MEMORY if isinstance(error, MemoryError) else fault_line(error)


def write_fault(error: BaseException) -> Path | None:
    """Write what there is to know of the error, but nothing of what was in the user's files, into the working folder
    or, where that takes no file, the one for temporary files; None where neither does.
    """
    text = "\n".join(
        [
            "Beadwork failed by a fault of its own. This file tells where; it names files, but not what is in them.",
            "",
            f"when      {time.strftime('%Y-%m-%d %H:%M:%S')}",
            f"command   {' '.join(map(repr, sys.argv))}",
            f"python    {sys.version.split()[0]} on {platform.platform()}",
            f"versions  {', '.join(f'{name} {_version(name)}' for name in _LIBRARIES)}",
            "",
            *traceback.format_exception(error),
        ]
    )
    for place in (_in_working_folder, _in_temporary_folder):
        try:
            path = place()
            path.write_text(clean(text), encoding="utf-8")
        except OSError:
            continue
        return path
    return None


def _in_working_folder() -> Path:
    return Path(FILE).absolute()


def _in_temporary_folder() -> Path:
    stem, dot, suffix = FILE.partition(".")
    place, name = tempfile.mkstemp(prefix=f"{stem}-", suffix=dot + suffix)
    os.close(place)
    return Path(name)


def _short(error: BaseException) -> str:
    text = " ".join(str(error).split())
    return f"{type(error).__name__}: {text[:150]}" if text else type(error).__name__


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "absent"


def quiet_libraries() -> None:
    """Let no library warn beside what the program itself says, unless Python was asked to show warnings."""
    if not sys.warnoptions:
        warnings.simplefilter("ignore")
    logging.getLogger().addHandler(logging.NullHandler())
