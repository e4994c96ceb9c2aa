"""Which variants differ in their mesh: a mesh size is nothing to choose, so it is kept apart from what is."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

_MESH = re.compile(r'bodies\.("[^"]*"|[^.]+)\.mesh(\.|$)')

Settings = Mapping[str, str]


def of_mesh(path: str) -> bool:
    """Whether a path of the study file belongs to the mesh of a body."""
    return _MESH.match(path) is not None


def mesh_differs(settings: Sequence[Settings], base: Settings) -> bool:
    """Whether any two variants differ in a mesh; `base` is what the study itself has at the paths."""
    return len(set(_values(settings, base, mesh=True))) > 1


def same_but_for_mesh(settings: Sequence[Settings], base: Settings) -> list[list[int]]:
    """The variants by number, those that differ in nothing but the mesh together; alone where none differs."""
    if not mesh_differs(settings, base):
        return [[i] for i in range(len(settings))]
    groups: dict[tuple[str | None, ...], list[int]] = {}
    for i, key in enumerate(_values(settings, base, mesh=False)):
        groups.setdefault(key, []).append(i)
    return list(groups.values())


def _values(settings: Sequence[Settings], base: Settings, *, mesh: bool) -> list[tuple[str | None, ...]]:
    paths = [p for p in dict.fromkeys(p for own in settings for p in own) if of_mesh(p) == mesh]
    return [tuple(own.get(p, base.get(p)) for p in paths) for own in settings]
