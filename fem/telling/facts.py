"""Plain values of the findings as rows of a name and a text, units behind the values."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from fem.digits import number
from fem.telling.words import vector

UNITS = {
    "_N": "N", "_Nmm": "N·mm", "_mm": "mm", "_mm2": "mm²", "_mm3": "mm³", "_MPa": "MPa", "_g": "g", "_deg": "deg",
    "_kN": "kN", "_mJ": "mJ", "_MB": "MB", "_s": "s", "_K": "K", "_rad": "rad",
    "_N_per_mm3": "N/mm³", "_N_per_mm": "N/mm", "_m_per_s2": "m/s²",
}  # fmt: skip


def flat(values: Mapping[str, Any], *, before: str = "") -> list[tuple[str, str]]:
    """A nested table of plain values as rows of name and text; a unit at the end of a key moves to the value."""
    rows: list[tuple[str, str]] = []
    for key, value in values.items():
        name = f"{before}{key}"
        if isinstance(value, Mapping):
            rows += flat(value, before=f"{name} · ") if value else [(plain_key(name), "none")]
            continue
        end = max((end for end in UNITS if name.endswith(end)), key=len, default="")
        unit = UNITS.get(end, "")
        if unit and _numeric(value):
            name = name.removesuffix(end)
        else:
            unit = ""
        rows.append((plain_key(name), f"{_told(value)} {unit}".strip()))
    return rows


def _numeric(value: Any) -> bool:
    if isinstance(value, bool):
        return False
    return isinstance(value, (int, float)) or (
        isinstance(value, (list, tuple)) and bool(value) and all(_numeric(v) for v in value)
    )


def _told(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if value is None:
        return "not known"
    if isinstance(value, int):
        return f"{value:,}"
    if isinstance(value, float):
        return number(value)
    if isinstance(value, (list, tuple)):
        if value and all(isinstance(v, (int, float)) and not isinstance(v, bool) for v in value):
            return vector(value, digits=4)
        return ", ".join(_told(v) for v in value)
    if isinstance(value, Mapping):
        return json.dumps(value, ensure_ascii=False, default=str)
    return str(value)


def plain_key(name: str) -> str:
    """A key as words."""
    return name.replace("_", " ")
