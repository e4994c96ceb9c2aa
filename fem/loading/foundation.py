"""An elastic foundation under a face."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from fem.errors import InputError
from fem.loading.kind import SupportKind
from fem.loading.supports import Foundation
from fem.loading.values import FoundationStiffness
from fem.part.faces import FaceGroup
from fem.part.tetmesh import TetMesh


@dataclass(frozen=True)
class FoundationKeys:
    """Stiffness for each area [N/mm^3] square to the face and along it; whether it only pushes, or is glued.

    Errors: InputError for one that holds nothing, and for one that is both.
    """

    normal: Annotated[FoundationStiffness, "Stiffness square to the face, for each area of it."]
    tangential: Annotated[FoundationStiffness, "Stiffness along the face, for each area of it."] = 0.0
    push_only: Annotated[
        bool,
        "The face may lift off; no gap at first, no slip. Otherwise the foundation also pulls.",
        '[supports.base]\nface = "back"\nfoundation = { normal = "400 N/mm^3", push_only = true }',
    ] = False
    bonded: Annotated[
        bool, "Glued: it may pull as well as push, and no caution says so. The glue itself is not judged."
    ] = False

    def __post_init__(self) -> None:
        if self.normal == 0 and self.tangential == 0:
            raise InputError("a foundation without any stiffness holds nothing.")
        if self.push_only and self.normal == 0:
            raise InputError("a foundation that only pushes needs a normal stiffness.")
        if self.push_only and self.bonded:
            raise InputError(
                "both push_only and bonded are true.", advice="A glued face pulls too: keep one of them."
            )


def foundation_under(what: FoundationKeys, mesh: TetMesh, group: FaceGroup, name: str) -> Foundation:
    """The foundation under a face."""
    return Foundation(name, group.triangles, **vars(what))


def foundation_facts(what: FoundationKeys) -> dict[str, Any]:
    """Its stiffness, and whether it only pushes or is glued."""
    return {
        **({"push_only": True} if what.push_only else {"bonded": True} if what.bonded else {}),
        "foundation_normal_N_per_mm3": what.normal,
        "foundation_tangential_N_per_mm3": what.tangential,
    }


KIND = SupportKind(
    "foundation",
    FoundationKeys,
    foundation_under,
    foundation_facts,
    says="An elastic foundation under the face.",
    examples=('[supports.glue]\nface = "back"\nfoundation = { normal = "4000 N/mm^3", tangential = "1500 N/mm^3" }',),
)
