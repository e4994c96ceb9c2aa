"""Locks that the system lets go when their process ends, however it ends: they tell the living from the dead."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any


class Lock:
    """A lock on a file, which is made for it, or on a folder; held until `release` or the end of the process.

    A `shared` one may be held by several. Where the system knows no such lock (a folder on Windows, some network
    file systems), it is nothing, and others count as alive. Errors: OSError when the file cannot be made.
    """

    def __init__(self, path: Path, *, shared: bool = False) -> None:
        self._number: int | None = None
        if path.is_dir() and sys.platform == "win32":
            return
        if path.is_dir():
            self._number = os.open(path, os.O_RDONLY)
            _locked(self._number, shared=shared)
            return
        # Locked before it bears its name, so that nobody finds it unlocked (Windows renames no open file)
        first = path if sys.platform == "win32" else path.with_name(path.name + ".new")
        self._number = os.open(first, os.O_RDWR | os.O_CREAT, 0o644)
        _locked(self._number, shared=shared)
        if first != path:
            os.replace(first, path)

    @classmethod
    def taken(cls, path: Path) -> Lock | None:
        """The lock on a file that is there, when nobody holds it; None when somebody does, or there is no telling."""
        lock = cls.__new__(cls)
        try:
            lock._number = os.open(path, os.O_RDWR)
        except OSError:
            return None
        if not _locked(lock._number, shared=False):
            lock.release()
            return None
        return lock

    def release(self) -> None:
        """Let it go."""
        if self._number is not None:
            os.close(self._number)
            self._number = None


def is_held(folder: Path) -> bool:
    """Whether a process holds a lock on the folder, or there is no telling."""
    try:
        number = os.open(folder, os.O_RDONLY)
    except OSError:  # a folder on Windows
        return True
    try:
        return not _locked(number, shared=False)
    finally:
        os.close(number)


def _locked(number: int, *, shared: bool) -> bool:
    """Whether an open file could be locked, at once."""
    try:
        if sys.platform == "win32":
            import msvcrt

            windows: Any = msvcrt
            windows.locking(number, windows.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(number, (fcntl.LOCK_SH if shared else fcntl.LOCK_EX) | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
