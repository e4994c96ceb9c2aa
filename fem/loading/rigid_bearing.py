"""A face that bears on a rigid body of its own shape, which is not meshed: it pushes, rubs and parts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from fem.loading.kind import SupportKind
from fem.loading.supports import RigidBearing
from fem.loading.values import Length, NotNegative
from fem.part.faces import FaceGroup
from fem.part.tetmesh import TetMesh


@dataclass(frozen=True)
class RigidBearingKeys:
    """The coefficient of friction, and the clearance [mm] to the rigid body (negative: a press fit)."""

    friction: Annotated[NotNegative, "Coefficient of friction; none if left out."] = 0.0
    clearance: Annotated[
        Length,
        "Gap along the face's normals before it bears: of a pin in a bore the radial one. Negative for a press fit.",
        '[supports.post]\nface = "back"\nbearing = { friction = 0.25, clearance = "0.15 mm" }',
    ] = 0.0


def bearing_under(what: RigidBearingKeys, mesh: TetMesh, group: FaceGroup, name: str) -> RigidBearing:
    """The rigid body under a face."""
    return RigidBearing(name, group.triangles, what.friction, what.clearance)


def bearing_facts(what: RigidBearingKeys) -> dict[str, Any]:
    """Its friction and clearance."""
    return {"bearing_friction": what.friction, "bearing_clearance_mm": what.clearance}


KIND = SupportKind(
    "bearing",
    RigidBearingKeys,
    bearing_under,
    bearing_facts,
    says="A rigid body of the face's own shape, not meshed, on which it bears: it pushes, rubs and parts.",
    examples=('[supports.post]\nface = "back"\nbearing = { friction = 0.25 }',),
)
