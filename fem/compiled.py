"""Where the machine code of compiled loops is kept: beside their source, or where the user may write."""

from __future__ import annotations

import os
import stat
import sys
import tempfile
from pathlib import Path

VARIABLE = "NUMBA_CACHE_DIR"


def find_place_for_loops() -> None:
    """Name a folder for compiled loops when the program's own takes no files; before numba is first imported.

    numba keeps them beside their source or in the user's home, and refuses to compile where it may write to neither
    (an installation for all users, run by a service). It takes another folder from this variable.
    """
    if os.environ.get(VARIABLE) or _takes_files(Path(__file__).parent):
        return
    try:
        chosen = next((folder for folder in _places() if _made(folder) and _takes_files(folder)), None)
        os.environ[VARIABLE] = str(chosen or tempfile.mkdtemp(prefix="beadwork-loops-"))
    except OSError:  # not even a temporary file can be made: numba says so when it is needed
        return
    numba = sys.modules.get("numba")
    if numba is not None:
        numba.config.CACHE_DIR = os.environ[VARIABLE]


def _places() -> list[Path]:
    import platformdirs

    own = Path(platformdirs.user_cache_dir("beadwork", appauthor=False)) / "loops"
    user = os.getuid() if hasattr(os, "getuid") else "user"
    return [own, Path(tempfile.gettempdir()) / f"beadwork-loops-{user}"]


def _made(folder: Path) -> bool:
    """Whether the folder is there and nobody else's: code is loaded from it, which none else may have put there."""
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        found = folder.lstat()
    except OSError:
        return False
    if not hasattr(os, "getuid"):
        return folder.is_dir()
    return stat.S_ISDIR(found.st_mode) and found.st_uid == os.getuid() and not found.st_mode & 0o022


def _takes_files(folder: Path) -> bool:
    try:
        with tempfile.TemporaryFile(dir=folder):
            return True
    except OSError:
        return False
