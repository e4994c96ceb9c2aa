"""The results folder: written beside, put in place at the end, nobody else's files touched."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from fem.errors import InputError

MARKS = ("findings.json", "variants", "comparison.csv", "directions", "orientation.csv")
"""A folder that holds one of these is a results folder."""
OWN = ("findings.json", "fields.vtu", "report.html", "pictures", "review.pdf", "review.html")
"""What belongs to a run: a new one replaces it, and a review of the older one goes with that.

Anything else in a results folder is the user's and is carried over.
"""


@contextmanager
def fresh_folder(wanted: Path) -> Iterator[Path]:
    """A new folder beside `wanted` to write into; it takes its place when the block ends well, else it goes.

    Errors: InputError, before any work, when results cannot be put there.
    """
    folder = wanted.resolve()
    _refuse_foreign(folder, wanted)
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        beside = Path(tempfile.mkdtemp(prefix=f".{folder.name}.", dir=folder.parent))
    except OSError as error:
        raise InputError(
            f"results cannot be written there ({error.strerror}).", where=str(wanted), advice="Name another --out."
        ) from None
    try:
        yield beside
        _put_in_place(beside, folder)
    finally:
        shutil.rmtree(beside, ignore_errors=True)


def open_folder(wanted: Path) -> Path:
    """A results folder to add to, made and tried before any work. Errors: InputError."""
    folder = wanted.resolve()
    _refuse_foreign(folder, wanted)
    probe = folder / f".beadwork.{os.getpid()}.part"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe.write_text("x", encoding="utf-8")
        probe.unlink()
    except OSError as error:
        raise InputError(
            f"results cannot be written there ({error.strerror}).", where=str(wanted), advice="Name another --out."
        ) from None
    return folder


def _refuse_foreign(folder: Path, wanted: Path) -> None:
    advice = "Name another --out."
    if folder == Path.cwd() or folder in Path.cwd().parents:
        raise InputError("results would replace the folder you work in.", where=str(wanted), advice=advice)
    if folder.exists() and not folder.is_dir():
        raise InputError("that is a file, not a folder.", where=str(wanted), advice=advice)
    if folder.is_dir() and any(folder.iterdir()) and not any((folder / mark).exists() for mark in MARKS):
        raise InputError("the folder holds files that are not results of Beadwork.", where=str(wanted), advice=advice)


def _put_in_place(beside: Path, folder: Path) -> None:
    os.chmod(beside, 0o755)
    if not folder.exists():
        os.replace(beside, folder)
        return
    old = Path(tempfile.mkdtemp(prefix=f".{folder.name}.old.", dir=folder.parent))
    os.replace(folder, old / folder.name)
    try:
        os.replace(beside, folder)
    except OSError:
        os.replace(old / folder.name, folder)
        raise
    for kept in (old / folder.name).iterdir():
        if kept.name not in OWN:
            shutil.move(str(kept), str(folder / kept.name))
    shutil.rmtree(old, ignore_errors=True)
