"""Solved cells on disk: a file for each set of inputs, found again by a digest of all that the result depends on.

A file is a line of digest and an archive of arrays; the digest covers the archive and what it was solved for, so
that a file damaged in a single bit, or put in another's place, is not taken. Nothing here may stop a study: an
unwritable folder or a broken file only costs the time to solve the cell again.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
from pathlib import Path
from typing import Any
from uuid import uuid4

import numpy as np

from fem.tensors import Array

ALGORITHM = 4
"""Raised with every change that changes a cell's numbers, so that older files are not found."""
FOLDER_VARIABLE = "BEADWORK_CACHE"
"""Environment variable that names another folder than the user's cache."""
LARGEST_FILE = 200_000_000
"""A file with more bytes than this is no cell (a gyroid's takes about three million)."""

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
    return folder / f"{_name(inputs)}.cell"


def load(folder: Path | None, inputs: dict[str, Any]) -> Packed | None:
    """Arrays and plain values kept for these inputs; None when there are none, or the file is damaged."""
    if folder is None:
        return None
    try:
        path = file_of(folder, inputs)
        if path.stat().st_size > LARGEST_FILE:
            return None
        digest, _, archive = path.read_bytes().partition(b"\n")
        if digest.decode("ascii", "replace") != _digest(inputs, archive):
            return None
        with np.load(io.BytesIO(archive), allow_pickle=False) as kept:
            arrays = {name: kept[name] for name in kept.files}
        return arrays, json.loads(str(arrays.pop("plain")))
    except Exception:  # whatever a file may hold: unzipping and reading arrays raise a dozen kinds of their own
        return None


def save(folder: Path | None, inputs: dict[str, Any], packed: Packed) -> None:
    """Keep a cell: written beside its place and renamed, so that no reader sees half a file."""
    if folder is None:
        return
    arrays: dict[str, Any] = dict(packed[0])
    buffer = io.BytesIO()
    np.savez_compressed(buffer, allow_pickle=False, **arrays, plain=np.array(json.dumps(packed[1])))
    archive = buffer.getvalue()
    path = file_of(folder, inputs)
    beside = path.with_name(f"{path.stem}.{uuid4().hex}.part")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        beside.write_bytes(_digest(inputs, archive).encode() + b"\n" + archive)
        beside.replace(path)
    except (OSError, ValueError):  # read-only, full, a name with NUL
        with contextlib.suppress(OSError, ValueError):
            beside.unlink(missing_ok=True)


def _name(inputs: dict[str, Any]) -> str:
    text = json.dumps({"algorithm": ALGORITHM, **inputs}, sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()


def _digest(inputs: dict[str, Any], archive: bytes) -> str:
    return hashlib.sha256(_name(inputs).encode() + archive).hexdigest()
