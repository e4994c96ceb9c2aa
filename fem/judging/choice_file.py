"""A comparison as a file: comparison.json, which a report made later reads back."""

from __future__ import annotations

import dataclasses
import json
import math
import os
from pathlib import Path
from typing import Any

from fem.errors import InputError
from fem.judging.choice import Comparison, Step, VariantNumbers

UNLIMITED = "unlimited"
"""JSON knows no infinity: an unlimited number is written as this word."""


def write_choice(comparison: Comparison, path: Path) -> Path:
    """Write comparison.json beside its place and rename it there."""
    text = json.dumps(_plain(dataclasses.asdict(comparison)), indent=1, ensure_ascii=False)
    beside = path.with_name(path.name + ".part")
    beside.write_text(text, encoding="utf-8")
    os.replace(beside, path)
    return path


def read_choice(path: Path) -> Comparison:
    """The comparison that `write_choice` wrote. Errors: InputError when the file holds none."""
    try:
        data = _back(json.loads(path.read_text(encoding="utf-8")))
        variants = tuple(VariantNumbers(**_tuples(v, "at_mm", "missed", "cautions")) for v in data.pop("variants"))
        steps = tuple(Step(**s) for s in data.pop("steps"))
        for key in ("sweep", "fronts"):
            data[key] = {k: tuple(v) for k, v in data[key].items()}
        return Comparison(**_tuples(data, "cautions"), variants=variants, steps=steps)
    except (OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError):
        advice = "Run beadwork compare again."
        raise InputError("this is no comparison that Beadwork wrote.", where=str(path), advice=advice) from None


def _tuples(table: dict[str, Any], *keys: str) -> dict[str, Any]:
    return {k: tuple(v) if k in keys else v for k, v in table.items()}


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(v) for v in value]
    if isinstance(value, float) and not math.isfinite(value):
        return UNLIMITED if value > 0 else None
    return value


def _back(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _back(v) for k, v in value.items()}
    if isinstance(value, list):
        return [_back(v) for v in value]
    return math.inf if value == UNLIMITED else value
