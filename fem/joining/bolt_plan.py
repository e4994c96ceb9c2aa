"""What a study says of a bolt, as plain numbers in mm, N, MPa; it checks itself."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fem.errors import InputError, nearest, shown
from fem.joining.bolt_sizes import HEAD_SHAPES, WASHERS, BoltSize, Grade, bolt_grade, bolt_size
from fem.joining.pull_out import pull_out_kinds

THREAD_FRICTION = HEAD_FRICTION = 0.14
"""Steel on steel, as delivered or lightly oiled: 0.08 to 0.16 (common practice; friction class B of VDI 2230, from
memory). Stainless on stainless without a lubricant has 0.2 to 0.5."""
TIGHTENING_SCATTER = 1.6
"""Torque wrench, friction estimated: 1.4 to 1.6 (VDI 2230 part 1, table of tightening factors, from memory)."""
METAL_HOLDERS = ("tapped", "nut")
FRICTION_RANGE = (0.02, 0.6)
SCATTER_RANGE = (1.0, 4.0)


@dataclass(frozen=True)
class BoltPlan:
    """One bolt: `size` ("M8") and `grade` ("A4-80") of the standards' tables, the faces that it touches: `head` under
    the head or washer, `thread` where it is screwed in; the `washer` (WASHERS) and the `head_shape` (HEAD_SHAPES);
    either the `torque` [N mm] or the `preload` [N]. What holds its thread is `held_by` (HOLDERS; "" by what the face
    is). Without a `thread` it ends in something that is not meshed, its free `length` [mm] below the head.

    The frictions are the low ones of what may occur: less friction means more pull. The preload that they give is the
    highest; the lowest is that over the `tightening_scatter`. Errors: InputError, under `bolts.<name>`.
    """

    name: str
    size: str
    grade: str
    head: str = ""
    thread: str = ""
    washer: str = "plain"
    torque: float | None = None
    preload: float | None = None
    thread_friction: float = THREAD_FRICTION
    head_friction: float = HEAD_FRICTION
    tightening_scatter: float = TIGHTENING_SCATTER
    head_shape: str = "socket"
    held_by: str = ""
    length: float | None = None

    def __post_init__(self) -> None:
        bolt_size(self.size, where=self.key("size"))
        bolt_grade(self.grade, where=self.key("grade"))
        for key, known in (("washer", WASHERS), ("head_shape", HEAD_SHAPES)):
            if getattr(self, key) not in known:
                text = f"{shown(getattr(self, key))} is no {key.replace('_', ' ')}."
                raise InputError(text, where=self.key(key), advice=nearest(str(getattr(self, key)), known))
        if self.held_by and self.held_by not in holders():
            text = f"a thread is not held by {shown(self.held_by)}."
            raise InputError(text, where=self.key("held_by"), advice=nearest(self.held_by, holders()))
        if (self.torque is None) == (self.preload is None):
            raise InputError(
                "a bolt is tightened by a torque or to a preload.",
                where=self.key(),
                advice='Give one of them: torque = "16 N*m" or preload = "12 kN".',
            )
        for key in ("torque", "preload", "length"):
            value = getattr(self, key)
            if value is not None and not (math.isfinite(value) and value > 0):
                raise InputError(f"a {key} must be positive.", where=self.key(key))
        for key, (low, high) in (
            ("thread_friction", FRICTION_RANGE),
            ("head_friction", FRICTION_RANGE),
            ("tightening_scatter", SCATTER_RANGE),
        ):
            if not low <= getattr(self, key) <= high:
                raise InputError(f"{getattr(self, key):g} lies outside {low:g} to {high:g}.", where=self.key(key))

    def key(self, name: str = "") -> str:
        """Where a key of this bolt stands in the study."""
        return ".".join(part for part in ("bolts", self.name, name) if part)

    @property
    def sizes(self) -> BoltSize:
        """What standards say of its size."""
        return bolt_size(self.size)

    @property
    def material(self) -> Grade:
        """What its grade bears."""
        return bolt_grade(self.grade)


def holders() -> tuple[str, ...]:
    """What may hold a bolt's thread: a hole tapped into metal, a nut, or what is screwed into a polymer."""
    return (*METAL_HOLDERS, *pull_out_kinds())


@dataclass(frozen=True)
class Seat:
    """The ring through which a head or washer presses: `outer` and `inner` diameter [mm].

    Errors: InputError when the hole leaves no ring.
    """

    outer: float
    inner: float

    def __post_init__(self) -> None:
        if not 0 < self.inner < self.outer:
            raise InputError(
                f"a head or washer of {self.outer:g} mm does not rest on the edge of a hole of {self.inner:g} mm.",
                advice="Take a washer, or a smaller hole.",
            )

    @property
    def area(self) -> float:
        """[mm^2]."""
        return math.pi / 4 * (self.outer**2 - self.inner**2)

    @property
    def mean_diameter(self) -> float:
        """Diameter [mm] at which friction acts under a turning head (VDI 2230: DKm)."""
        return (self.outer + self.inner) / 2


def turning_seat(plan: BoltPlan, hole: float | None = None) -> Seat:
    """Where the head turns: on the washer, which stands still, or on the part around its `hole` [mm] (None: medium
    clearance, ISO 273)."""
    washer = plan.sizes.washers.get(plan.washer)
    open_to = plan.sizes.clearance_hole if hole is None else hole
    return _seat(plan, plan.sizes.heads[plan.head_shape].bearing_diameter, washer.inner if washer else open_to)


def pressing_seat(plan: BoltPlan, hole: float | None = None) -> Seat:
    """The ring of the part under the head or washer, outside its `hole` [mm] (None: medium clearance, ISO 273)."""
    washer = plan.sizes.washers.get(plan.washer)
    open_to = plan.sizes.clearance_hole if hole is None else hole
    if washer is None:
        return _seat(plan, plan.sizes.heads[plan.head_shape].bearing_diameter, open_to)
    return _seat(plan, washer.outer, max(washer.inner, open_to))


def _seat(plan: BoltPlan, outer: float, inner: float) -> Seat:
    """The ring, or what is wrong with it under the bolt's name."""
    try:
        return Seat(outer, inner)
    except InputError as error:
        raise error.inside(plan.key("washer")) from None
