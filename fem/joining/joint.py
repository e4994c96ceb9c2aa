"""A joint: two faces, or a face and a rigid counterpart, and what they do to each other."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fem.errors import InputError
from fem.joining.facing import Facing, OppositeFaces

BEARING, BONDED = "bearing", "bonded"
KINDS = (BEARING, BONDED)


@dataclass(frozen=True)
class JointPlan:
    """What a study says of a joint: the two `faces` by name, its `kind`, the coefficient of `friction` and the
    `clearance` [mm] added to the gap as drawn.
    """

    name: str
    faces: tuple[str, str]
    kind: str = BEARING
    friction: float = 0.0
    clearance: float = 0.0


@dataclass(frozen=True)
class Joint:
    """Faces that lie opposite each other: `bearing` ones push, with `friction` (infinite: what touches sticks), and
    are free to part; `bonded` ones are glued. `opposite` (if known) makes closer points.

    Errors: InputError for a kind that there is none of, or friction that cannot be.
    """

    name: str
    facing: Facing
    kind: str = BEARING
    friction: float = 0.0
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
