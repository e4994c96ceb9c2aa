"""A joint: two faces, or a face and a rigid counterpart, and what they do to each other."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fem.errors import InputError
from fem.joining.facing import Facing, OppositeFaces, rigid_counterpart
from fem.loading.supports import Foundation, RigidBearing
from fem.part.tetmesh import Index, TetMesh

BEARING, BONDED = "bearing", "bonded"
KINDS = (BEARING, BONDED)


@dataclass(frozen=True)
class JointPlan:
    """What a study says of a joint: the two `faces` by name, its `kind`, the coefficient of `friction` and the
    `clearance` [mm] added to the gap as drawn; `fits` [mm] are others that are tried as well.
    """

    name: str
    faces: tuple[str, str]
    kind: str = BEARING
    friction: float = 0.0
    clearance: float = 0.0
    fits: tuple[float, ...] = ()


@dataclass(frozen=True)
class Joint:
    """Faces that lie opposite each other: `bearing` ones push, with `friction` (infinite: what touches sticks), and
    are free to part; `bonded` ones are glued. `triangles` (j,) are those of a face that bears on a rigid body, which
    may yield by a `stiffness` (2,) [N/mm^3] of its own along and across the normal. `opposite` makes closer points
    than those of `facing`, where it is known.

    Errors: InputError for a kind that there is none of, or friction that cannot be.
    """

    name: str
    facing: Facing
    kind: str = BEARING
    friction: float = 0.0
    triangles: Index | None = None
    stiffness: tuple[float, float] | None = None
    opposite: OppositeFaces | None = None

    def __post_init__(self) -> None:
        where = f"joints.{self.name}"
        if self.kind not in KINDS:
            raise InputError(f"there is no kind {self.kind!r}: {', '.join(KINDS)}.", where=where)
        if not self.friction >= 0 or math.isnan(self.friction):
            raise InputError(f"friction of {self.friction:g} cannot be.", where=f"{where}.friction")
        if self.kind == BONDED and self.friction:
            raise InputError("bonded faces do not rub: leave friction out.", where=f"{where}.friction")

    @property
    def rigid(self) -> bool:
        """Whether the counterpart is rigid: then all shares are of the first face, and add up to one."""
        return bool((self.facing.shares.sum(axis=1) > 0.5).all())


def rigid_joint(mesh: TetMesh, bearing: RigidBearing) -> Joint:
    """A face that bears on a rigid body, as the joint of the two. Errors: InputError for a clearance that is wide."""
    facing = rigid_counterpart(mesh, bearing.triangles, clearance=bearing.clearance)
    return Joint(bearing.name, facing, BEARING, bearing.friction, bearing.triangles)


def foundation_joint(mesh: TetMesh, foundation: Foundation) -> Joint:
    """A foundation that only pushes, as the joint of its face and the ground: what is pressed on it sticks."""
    facing = rigid_counterpart(mesh, foundation.triangles)
    friction = math.inf if foundation.tangential > 0 else 0.0
    stiffness = foundation.normal, foundation.tangential
    return Joint(foundation.name, facing, BEARING, friction, foundation.triangles, stiffness)
