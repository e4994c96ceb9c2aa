"""Face queries as the text of a study file, and text in its quotes."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable

import numpy as np

from fem.part.faces import FaceQuery


def query_text(query: FaceQuery) -> str:
    """The query as a study's `[faces]` takes it: `{ plane = { normal = [0, 0, 1], at = "max" } }`."""
    parts = [] if query.body is None else [f"body = {quoted(query.body)}"]
    shape = []
    if query.normal is not None:
        shape.append(f"normal = {direction_text(query.normal)}")
    if query.at is not None:
        shape.append(f'at = "{query.at}"' if isinstance(query.at, str) else f"at = {length_text(query.at)}")
    if query.radius is not None:
        shape.append(f"radius = {length_text(query.radius)}")
    if query.axis is not None:
        shape.append(f"axis = {direction_text(query.axis)}")
    if query.kind is not None:
        parts.append(f"{query.kind} = {table_text(shape)}")
    if query.near is not None:
        parts.append(f"near = {point_text(query.near)}")
    if query.ids is not None:
        parts.append(f"id = [{', '.join(map(str, query.ids))}]")
    if query.low is not None and query.high is not None:
        parts.append(f"within = {_box_text(query.low, query.high)}")
    if query.cut is not None:
        parts.append(f"cut = {_box_text(*query.cut)}")
    return table_text(parts)


def table_text(parts: Iterable[str]) -> str:
    """Keys with their values as a table in one line."""
    inside = ", ".join(parts)
    return f"{{ {inside} }}" if inside else "{}"


def number_text(value: float) -> str:
    """A number with all its digits and no more, never in powers of ten."""
    return np.format_float_positional(value + 0.0, trim="-")


def length_text(value: float) -> str:
    """A length [mm] in quotes."""
    return f'"{number_text(value)} mm"'


def point_text(at: Iterable[float]) -> str:
    """A point [mm]."""
    return f"[{', '.join(map(length_text, at))}]"


def direction_text(v: Iterable[float]) -> str:
    """A direction, whose numbers have no unit."""
    return f"[{', '.join(map(number_text, v))}]"


def quoted(text: str) -> str:
    """Any text in quotes as TOML has it; letters of all languages stay, what steers a terminal is written out."""
    plain = json.dumps(text, ensure_ascii=False)
    return "".join(c if c.isprintable() else f"\\U{ord(c):08x}" for c in plain)


def key_text(name: str) -> str:
    """A name as a key: bare where it may be."""
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else quoted(name)


def _box_text(low: Iterable[float], high: Iterable[float]) -> str:
    return f"{{ low = {point_text(low)}, high = {point_text(high)} }}"
