"""A study from tables that a script holds, without a file; and a study as a table to be shown."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from pathlib import Path, PurePath
from typing import Any

import numpy as np

from fem.errors import InputError
from fem.judging.tables import html_table
from fem.study.file import study_of
from fem.study.plans import BodyPlan, Study


def study_from_tables(tables: Mapping[str, Any], *, folder: Any = ".", name: str = "study") -> Study:
    """The study that tables of a script hold, checked as strictly as a file; see `Study.of`. Errors: InputError."""
    if not isinstance(tables, Mapping):
        raise InputError("a study is made of tables by name.", advice='Give {"title": ..., "bodies": {...}, ...}.')
    if not name.strip() or PurePath(name).name != name:
        raise InputError(f"{name!r} cannot name a study.", advice="Give one word or several, without slashes.")
    tree = _plain(tables)
    return study_of(tree, file=Path(folder) / name, text="\n".join(_toml(tree)) + "\n")


def _plain(value: Any) -> Any:
    """A value as reading a file would give it; what is None is left out."""
    if isinstance(value, Mapping):
        return {str(key): _plain(inner) for key, inner in value.items() if inner is not None}
    if isinstance(value, np.ndarray | np.generic):
        return value.tolist()
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    return value.as_posix() if isinstance(value, PurePath) else value


# ---- as text


def _toml(tree: Mapping[str, Any], above: str = "") -> Iterator[str]:
    """The lines of a file that says the same: the values of a table, then the tables in it."""
    inner = {key: value for key, value in tree.items() if isinstance(value, Mapping) and _holds_tables(above)}
    values = {key: value for key, value in tree.items() if key not in inner}
    if above and (values or not inner):
        yield f"\n[{above}]"
    for key, value in values.items():
        yield f"{_key(key)} = {_value(value)}"
    for key, value in inner.items():
        yield from _toml(value, f"{above}.{_key(key)}" if above else _key(key))


def _holds_tables(above: str) -> bool:
    """Whether a table's own tables get a head of their own: deeper ones stand in braces."""
    return len(re.findall(r'"(?:[^"\\]|\\.)*"|[^."]+', above)) < 3


def _key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else _text(key)


def _text(value: str) -> str:
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Mapping):
        inside = ", ".join(f"{_key(key)} = {_value(inner)}" for key, inner in value.items())
        return f"{{ {inside} }}" if inside else "{}"
    if isinstance(value, list):
        return f"[{', '.join(map(_value, value))}]"
    return repr(value) if isinstance(value, int | float) else _text(str(value))


# ---- to be shown


def study_html(study: Study) -> str:
    """Bodies, supports, loads, cases and requirements of a study, a row each, in the words of its tables."""
    rows = [("body", name, _body(body)) for name, body in study.bodies.items()]
    for what, key in (("support", "supports"), ("load", "loads")):
        rows += [(what, name, _words(table)) for name, table in study.tree.get(key, {}).items()]
    rows += [
        ("case", name, ", ".join(f"{f:g} × {load}" for load, f in factors.items()))
        for name, factors in study.cases.items()
    ]
    rows += [("required", key, _words(value)) for key, value in study.tree.get("requirements", {}).items()]
    return html_table(("", "name", ""), rows, title=study.title, under=study.question)


def _words(value: Any) -> str:
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {_words(inner)}" for key, inner in value.items())
    if isinstance(value, list):
        return f"({', '.join(map(_words, value))})"
    return str(value)


def _body(body: BodyPlan) -> str:
    solid = body.solid.name
    if body.print is None:
        return f"{solid}, {Path(body.card_name).stem}"
    keys, core = body.print, body.print.infill_pattern
    core = core if core == "solid" else f"{100 * keys.infill_density:g} % {core}"
    return f"{solid}, {Path(keys.polymer).stem}, {keys.walls} walls, {keys.covers} covers, {core}"
