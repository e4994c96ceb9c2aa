"""A spring, spread over a face."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from fem.errors import InputError
from fem.loading.kind import SupportKind
from fem.loading.supports import Foundation, spring_support
from fem.loading.values import SpringStiffness, Vector
from fem.part.faces import FaceGroup
from fem.part.tetmesh import TetMesh


@dataclass(frozen=True)
class AxisSprings:
    """Stiffness [N/mm] of the whole face along each part axis; None: none. Errors: InputError where all are."""

    x: Annotated[SpringStiffness | None, "Stiffness of the whole face along x."] = None
    y: Annotated[SpringStiffness | None, "Stiffness of the whole face along y."] = None
    z: Annotated[SpringStiffness | None, "Stiffness of the whole face along z."] = None

    def __post_init__(self) -> None:
        if self.x is None and self.y is None and self.z is None:
            raise InputError("no direction is given.", advice='Write spring = { z = "200 N/mm" }.')


@dataclass(frozen=True)
class SpringKeys:
    """One stiffness [N/mm] that counts along every axis, or one for each."""

    spring: SpringStiffness | AxisSprings

    @property
    def stiffness(self) -> Vector:
        """Total stiffness (3,) [N/mm] along the part axes."""
        if isinstance(self.spring, AxisSprings):
            return self.spring.x or 0.0, self.spring.y or 0.0, self.spring.z or 0.0
        return self.spring, self.spring, self.spring


def spring_on(what: SpringKeys, mesh: TetMesh, group: FaceGroup, name: str) -> Foundation:
    """The springs on a face."""
    return spring_support(mesh, group, stiffness=what.stiffness, name=name)


def spring_facts(what: SpringKeys) -> dict[str, Any]:
    """Its stiffness along the part axes."""
    return {"spring_N_per_mm": list(what.stiffness)}


KIND = SupportKind(
    "spring",
    SpringKeys,
    spring_on,
    spring_facts,
    says="A spring, spread over the face; one stiffness counts along every axis.",
    examples=(
        '[supports.rubber]\nface = "pad"\nspring = "200 N/mm"',
        '[supports.stay]\nface = "pad"\nspring = { z = "20 N/mm" }',
    ),
)
