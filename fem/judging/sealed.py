"""Files of results that are read again: JSON that carries a digest of its own content, under the key "digest".

The digest guards against damage: a flipped bit, a file cut short, a number edited by hand. It does not guard against
forgery, since anyone can compute it. A file whose content does not fit its digest is as good as absent.
"""

from __future__ import annotations

import contextlib
import dataclasses
import hashlib
import json
import math
import os
import re
import types
import typing
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from fem.errors import NoTrustworthyAnswer

UNLIMITED = "unlimited"
"""JSON knows no infinity: an unlimited number is written as this word, or as null."""
_HEAD = re.compile(rb'\{\n "digest": "([0-9a-f]{64})",')


class SealBroken(ValueError):
    """The file is not as Beadwork wrote it; the text says how, to follow "this file"."""


def write_sealed(data: Mapping[str, Any], path: Path) -> Path:
    """Write plain data (not empty) beside its place and rename it there, so that a half-written file is never read.

    Errors: OSError; what was begun is taken away.
    """
    rest = json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False).encode("utf-8", "backslashreplace")[1:]
    beside = path.with_name(f"{path.name}.{os.getpid()}.part")
    try:
        beside.write_bytes(b'{\n "digest": "%s",' % _digest(rest) + rest)
        os.replace(beside, path)
    except BaseException:
        with contextlib.suppress(OSError):
            beside.unlink(missing_ok=True)
        raise
    return path


def read_sealed(path: Path) -> dict[str, Any]:
    """The data that `write_sealed` wrote. Errors: OSError; SealBroken for a file that is not as it was written."""
    text = path.read_bytes()
    head = _HEAD.match(text)
    if head is None:
        raise SealBroken("bears no digest: an earlier version of Beadwork wrote it, or it is damaged")
    rest = text[head.end() :]
    if _digest(rest) != head[1]:
        raise SealBroken("does not fit its digest: it was changed or damaged")
    data: dict[str, Any] = json.loads(b"{" + rest)
    return data


def _digest(content: bytes) -> bytes:
    return hashlib.sha256(content).hexdigest().encode()


def plain(value: Any, *, unlimited: str | None = UNLIMITED) -> Any:
    """A value in JSON's terms, dataclasses as tables; an infinite number becomes `unlimited`.

    Errors: NoTrustworthyAnswer for a number that is none, since it would be read as something else.
    """
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name), unlimited=unlimited) for f in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(k): plain(v, unlimited=unlimited) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(v, unlimited=unlimited) for v in value]
    if isinstance(value, np.ndarray | np.generic):
        return plain(value.tolist(), unlimited=unlimited)
    if isinstance(value, float) and not math.isfinite(value):
        if value != math.inf:
            raise NoTrustworthyAnswer(f"a result came out as {value}, which is no number.")
        return unlimited
    return value


def typed(kind: Any, value: Any) -> Any:
    """A value of JSON as the type `kind` asks for, through dataclasses; null and "unlimited" are infinite floats.

    Errors: KeyError for a field that is missing or unknown, TypeError for a value of another kind.
    """
    if dataclasses.is_dataclass(kind) and isinstance(kind, type):
        hints = typing.get_type_hints(kind)
        lacking = [
            f.name
            for f in dataclasses.fields(kind)
            if f.default is f.default_factory is dataclasses.MISSING and f.name not in value
        ]
        if lacking or set(value) - set(hints):
            raise KeyError(kind.__name__)
        return kind(**{name: typed(hints[name], each) for name, each in value.items()})
    origin, inner = typing.get_origin(kind), typing.get_args(kind)
    if origin in (types.UnionType, typing.Union):
        return None if value is None else typed(next(t for t in inner if t is not types.NoneType), value)
    if origin is tuple:
        return tuple(typed(inner[0], each) for each in _of(list, value))
    if origin is dict:
        return {key: typed(inner[1], each) for key, each in _of(dict, value).items()}
    if kind is float:
        return math.inf if value is None or value == UNLIMITED else float(_of(int | float, value))
    return value if kind is Any else _of(kind, value)


def _of(kind: Any, value: Any) -> Any:
    if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
        raise TypeError(str(kind))
    return value
