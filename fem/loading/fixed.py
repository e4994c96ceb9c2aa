"""A face that does not move in some directions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from fem.loading.kind import SupportKind
from fem.loading.supports import Held, held_face
from fem.loading.values import HeldDirections
from fem.part.faces import FaceGroup
from fem.part.tetmesh import TetMesh


@dataclass(frozen=True)
class FixedKeys:
    """The part axes ("x", "y", "z") that are held, or ("normal",) for the face's own normal."""

    fixed: HeldDirections


def fixed_face(what: FixedKeys, mesh: TetMesh, group: FaceGroup, name: str) -> Held:
    """The held face."""
    return held_face(mesh, group, fixed=what.fixed, name=name)


def fixed_facts(what: FixedKeys) -> dict[str, Any]:
    """Which directions are held."""
    return {"fixed": "normal" if what.fixed == ("normal",) else list(what.fixed)}


KIND = SupportKind(
    "fixed",
    FixedKeys,
    fixed_face,
    fixed_facts,
    says="Directions in which the face does not move; `normal` is its own normal.",
    examples=(
        '[supports.bolts]\nface = "bolt_holes"\nfixed = ["x", "y", "z"]',
        '[supports.guide]\nface = "back"\nfixed = "normal"',
    ),
)
