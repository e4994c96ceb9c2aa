"""Solved cells on disk: a file for each set of inputs, found again by a digest of all that the result depends on.

Nothing here may stop a study: an unwritable folder or a broken file only costs the time to solve the cell again.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import zipfile
from pathlib import Path
from typing import Any
from uuid import uuid4

import numpy as np

from fem.tensors import Array

ALGORITHM = 2
"""Raised with every change that changes a cell's numbers, so that older files are not found."""
FOLDER_VARIABLE = "BEADWORK_CACHE"
"""Environment variable that names another folder than the user's cache."""

Packed = tuple[dict[str, Array], dict[str, Any]]


def default_folder() -> Path | None:
    """Where cells are kept: the folder named by BEADWORK_CACHE, or the user's cache; None when there is no home."""
    named = os.environ.get(FOLDER_VARIABLE)
    if named:
        return Path(named) / "cells"
    import platformdirs

    try:
        return Path(platformdirs.user_cache_dir("beadwork", appauthor=False)) / "cells"
    except (OSError, RuntimeError):
        return None


def file_of(folder: Path, inputs: dict[str, Any]) -> Path:
    """The file that holds the cell of these inputs, named by a digest of them and of the method's version."""
    text = json.dumps({"algorithm": ALGORITHM, **inputs}, sort_keys=True)
    return folder / f"{hashlib.sha256(text.encode()).hexdigest()}.npz"


def load(folder: Path | None, inputs: dict[str, Any]) -> Packed | None:
    """Arrays and plain values kept for these inputs; None when there are none, or the file is broken."""
    if folder is None:
        return None
    try:
        with np.load(file_of(folder, inputs), allow_pickle=False) as kept:
            arrays = {name: kept[name] for name in kept.files}
        return arrays, json.loads(str(arrays.pop("plain")))
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
        return None


def save(folder: Path | None, inputs: dict[str, Any], packed: Packed) -> None:
    """Keep a cell: written beside its place and renamed, so that no reader sees half a file."""
    if folder is None:
        return
    arrays: dict[str, Any] = dict(packed[0])
    plain = packed[1]
    path = file_of(folder, inputs)
    beside = path.with_name(f"{path.stem}.{uuid4().hex}.part")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with beside.open("wb") as file:
            np.savez_compressed(file, allow_pickle=False, **arrays, plain=np.array(json.dumps(plain)))
        beside.replace(path)
    except OSError:
        with contextlib.suppress(OSError):
            beside.unlink(missing_ok=True)
