"""What can be picked on a solid, each choice with the query that matches just it."""

from __future__ import annotations

from dataclasses import dataclass

from fem.part.solid import Solid

FAMILIES = ("hole", "radius", "way", "grown")
"""A hole or boss with all its faces; all of one radius; all that face one way; all over smooth edges."""


@dataclass(frozen=True)
class FaceChoice:
    """One face: its `query` as a study writes it, `what` it is in words, a `name` for it ("" for none), the `way`
    that a flat faces in round numbers, and by FAMILIES the number of the group that it belongs to.
    """

    query: str
    what: str
    name: str
    way: tuple[float, float, float] | None
    families: dict[str, int]


@dataclass(frozen=True)
class GroupChoice:
    """Several faces, by their indices, that are picked together: their `query` and a `name` ("" for none)."""

    faces: tuple[int, ...]
    query: str
    name: str = ""


@dataclass(frozen=True)
class Choices:
    """All that can be picked on `solid`: a choice for each of its faces, and groups. `body` names it in a study,
    `title` in the page; `mark` tells it from all other solids.
    """

    solid: Solid
    faces: tuple[FaceChoice, ...]
    groups: tuple[GroupChoice, ...]
    body: str
    title: str
    mark: str = ""
