"""What a variant of a sweep is called: its settings in words, such as "2 walls, 80 % grid"."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import Any

SEPARATOR = ", "


def sweep_name(steps: Mapping[str, tuple[str, ...]], chosen: Mapping[str, Any]) -> str:
    """The name of a combination: `steps` are the keys of each path, `chosen` the value at each.

    What belongs to different bodies says which: "lid: 2 walls, box: 3 walls".
    """
    inside = {path: s for path, s in steps.items() if s[0] == "bodies" and len(s) > 2}
    several = len({s[1] for s in inside.values()}) > 1
    groups: dict[str, dict[str, Any]] = {}
    for path, value in chosen.items():
        own = steps[path]
        of = own[1] if path in inside and several else ""
        key = ".".join(own[2:] if path in inside else own[-2:])
        groups.setdefault(of, {})[key] = value
    named = [(f"{of}: " if of else "") + SEPARATOR.join(_phrases(settings)) for of, settings in groups.items()]
    return SEPARATOR.join(named)


def _phrases(settings: Mapping[str, Any]) -> list[str]:
    rest = dict(settings)
    density, pattern = rest.get("print.infill.density"), rest.get("print.infill.pattern")
    if isinstance(density, float) and isinstance(pattern, str):
        # both together are one thing, told where the first of them stands
        first = next(k for k in rest if k in ("print.infill.density", "print.infill.pattern"))
        rest[first] = f"{_percent(density)} {pattern}"
        other = {"print.infill.density", "print.infill.pattern"} - {first}
        return [value if key == first else _phrase(key, value) for key, value in rest.items() if key not in other]
    return [_phrase(key, value) for key, value in rest.items()]


_WORDS: dict[str, Callable[[Any], str]] = {
    "print.walls": lambda n: f"{n} wall" + ("" if n == 1 else "s"),
    "print.covers": lambda n: f"{n} cover" + ("" if n == 1 else "s"),
    "print.infill.density": lambda d: f"{_percent(d)} infill",
    "print.infill.pattern": str,
    "print.infill": lambda v: _infill(v),
    "print.quality.infill": lambda q: f"infill quality {_percent(q)}",
    "print.polymer": str,
    "print.state": str,
    "metal": str,
}
"""How a key of a body is told; any other by its last word and its value."""


def _phrase(key: str, value: Any) -> str:
    told = _WORDS.get(key)
    plain = isinstance(value, str | int | float) and not isinstance(value, bool)
    if told and (plain or key == "print.infill"):
        return told(value)
    words = key.removeprefix("print.").replace(".", " ").replace("_", " ")
    return f"{words} {named_by(value)}"


def _percent(share: Any) -> str:
    return f"{100 * share:.6g} %" if isinstance(share, int | float) else as_written(share)


def _infill(value: Any) -> str:
    if isinstance(value, Mapping) and isinstance(value.get("density"), float):
        return f"{_percent(value['density'])} {value.get('pattern', 'infill')}"
    return named_by(value)


def as_written(value: Any) -> str:
    """A value in the file's own words; text without its quotes."""
    return value if isinstance(value, str) else _toml(value)


def named_by(value: Any) -> str:
    """A value as part of a name: a table by its values alone."""
    return " ".join(map(as_written, value.values())) if isinstance(value, Mapping) else as_written(value)


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{k} = {_toml(v)}" for k, v in value.items()) + " }"
    return str(value)
