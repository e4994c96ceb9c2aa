"""What the sections of a review are made from."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

from fem.judging.choice import Comparison
from fem.judging.findings import Findings
from fem.telling.hand import Hand
from fem.telling.review.shape import Shape, shape_of
from fem.telling.words import CAUTION as CAUTION
from fem.telling.words import plain_name

APART = 0.04
"""Hot spots nearer to each other than this share of the diagonal are one: as the pictures of a run are chosen."""


@dataclass(frozen=True)
class Reference:
    """The part that this one is measured against: the name of its variant and what was found of it."""

    name: str
    findings: Findings


@dataclass(frozen=True)
class Material:
    """Findings of a run with what lies beside them.

    `pictures` are by file name, and so are `captions` where they are known; `hand` is the part in hand, whose surface
    drawings show, None where none was kept; `reference` and `comparison` are there when a comparison of the study was
    found; `remark` says why they are not; `subject` which of the study's variants this is, "" where it has none;
    `free_bodies` whether they are drawn.
    """

    findings: Findings
    pictures: Mapping[str, Path] = field(default_factory=dict)
    captions: Mapping[str, str] = field(default_factory=dict)
    hand: Hand | None = None
    reference: Reference | None = None
    comparison: Comparison | None = None
    remark: str = ""
    subject: str = ""
    free_bodies: bool = True

    @cached_property
    def shape(self) -> Shape | None:
        """The part's surface for drawings; None where it is not known."""
        return shape_of(self.hand) if self.hand else None

    @property
    def box(self) -> tuple[tuple[float, ...], tuple[float, ...]]:
        """Corners [mm] of the box around all bodies."""
        boxes = [b.box_mm for b in self.findings.bodies.values()]
        low = tuple(min(box[0][i] for box in boxes) for i in range(3))
        return low, tuple(max(box[1][i] for box in boxes) for i in range(3))

    @property
    def diagonal(self) -> float:
        """Diagonal [mm] of the box around all bodies."""
        return math.dist(*self.box)

    @property
    def study(self) -> dict[str, Any]:
        """The study file's own table, empty where the findings do not hold its text."""
        text = self.findings.inputs.get("text")
        try:
            return tomllib.loads(text) if isinstance(text, str) else {}
        except tomllib.TOMLDecodeError:
            return {}

    def picture(self, name: str) -> Path | None:
        """The picture of that name, if it was drawn."""
        return self.pictures.get(name)

    def deflection_picture(self, case: str) -> tuple[Path | None, bool]:
        """The picture of a case's deflection, and whether it is exaggerated."""
        name = f"deflection_{plain_name(case)}"
        large = self.picture(f"{name}_exaggerated.png")
        return (large, True) if large else (self.picture(f"{name}.png"), False)


def read_pictures(folder: Path) -> dict[str, Path]:
    """The pictures that a run left in `folder`, by file name."""
    return {p.name: p for p in sorted(folder.glob("*.png"))}
