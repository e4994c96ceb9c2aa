"""Names of solids in the text of a STEP file (ISO 10303-21), for those that the kernel's reader leaves unnamed.

A part drawn as several bodies is one product with several solid entities, each with a name of its own; the reader
passes on names of products alone. A name is taken only where the corners of its entity are those of one solid, and of
one alone, so that no solid is taken for another.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np

from fem.tensors import Array

LARGEST_TEXT = 200_000_000
"""Bytes of text that are searched for names."""
FACTORS = (1.0, 10.0, 1000.0, 25.4, 304.8, 1e-3)
"""Millimetres in the units that a file may be drawn in; the entities stand in the file's own."""
_ENTITY = re.compile(rb"#(\d+)\s*=\s*((?:'(?:[^']|'')*'|[^;'])*);")
_SOLID = re.compile(rb"(?:MANIFOLD_SOLID_BREP|BREP_WITH_VOIDS|FACETED_BREP)\s*\(\s*'((?:[^']|'')*)'")
_POINT = re.compile(rb"CARTESIAN_POINT\s*\(.*\(([^()]*)\)\s*\)", re.DOTALL)
_REFERENCE = re.compile(rb"#(\d+)")


def named_corners(file: Path) -> list[tuple[str, Array]]:
    """Name and corners (j, 3), in the file's unit, of each solid entity that has a name."""
    if file.suffix.lower() not in (".step", ".stp") or file.stat().st_size > LARGEST_TEXT:
        return []
    entities = dict(_ENTITY.findall(file.read_bytes()))
    out = []
    for text in entities.values():
        found = _SOLID.match(text.strip())
        name = decoded(found.group(1)) if found else ""
        points = _corners(entities, text) if name else []
        if points:
            out.append((name, np.array(points)))
    return out


def names_by_corners(solids: list[Array], named: list[tuple[str, Array]]) -> list[str]:
    """The name of each solid given by its corners (j, 3) [mm]; "" where none fits, or not one to one."""
    if not named:
        return [""] * len(solids)
    fits = np.array([[_same(corners, own) for _, own in named] for corners in solids])
    alone = fits & (fits.sum(axis=0) == 1) & (fits.sum(axis=1) == 1)[:, None]
    return [named[int(row.argmax())][0] if row.any() else "" for row in alone]


def _same(corners: Array, own: Array) -> bool:
    """Whether two sets of corners have one box and one mean, whatever the unit of the second."""
    if not len(corners):
        return False
    one, other = _summary(corners), _summary(own)
    near = 1e-4 * float(np.ptp(one)) + 1e-6
    return any(bool(np.abs(factor * other - one).max() < near) for factor in FACTORS)


def _summary(points: Array) -> Array:
    points = np.unique(np.round(points, 6), axis=0)
    return np.array([points.min(axis=0), points.max(axis=0), points.mean(axis=0)])


def decoded(text: bytes) -> str:
    """A string of a STEP file: doubled quotes, and the 16-bit characters of ISO 10303-21 section 6.4.3."""
    plain = text.decode("utf-8", errors="replace").replace("''", "'")

    def character(found: re.Match[str]) -> str:
        return bytes.fromhex(found.group(1)).decode("utf-16-be", errors="replace")

    return re.sub(r"\\X2\\((?:[0-9A-Fa-f]{4})+)\\X0\\", character, plain).strip()


def _corners(entities: dict[bytes, bytes], solid: bytes) -> list[list[float]]:
    """Places of all vertices that a solid entity leads to."""
    waiting, seen = set(_REFERENCE.findall(solid)), set[bytes]()
    points = []
    while waiting:
        number = waiting.pop()
        seen.add(number)
        text = entities.get(number, b"").strip()
        if text.startswith(b"VERTEX_POINT"):
            for at in _REFERENCE.findall(text):
                found = _POINT.match(entities.get(at, b"").strip())
                if found:
                    points.append([float(v) for v in found.group(1).split(b",")])
        else:
            waiting |= set(_REFERENCE.findall(text)) - seen
    return [p for p in points if len(p) == 3]
