"""Ways to build a joint so that more of its clamp stays: as planned, with large washers, with a metal sleeve."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fem.errors import InputError
from fem.joining.bolt_plan import BoltPlan, pressing_seat
from fem.joining.bolt_stiffness import bolt_resilience
from fem.joining.clamped_joint import Grip, Member
from fem.joining.washer_spread import spread_seat

ALUMINIUM, ALUMINIUM_EXPANSION = 70e3, 23.4e-6
"""Modulus [MPa] and expansion [1/K] of a sleeve (handbook values)."""
SLEEVE_WALL = 1.5
"""[mm]."""
PART, SLEEVE = "the part", "the sleeve"
"""What a head or washer presses on."""


@dataclass(frozen=True)
class Built:
    """What all ways have in common: the `hole` and the members' width `outer` [mm], the bolt's length without thread
    `shank` [mm], what its thread sits in (`anchor`, of `bolt_stiffness.ANCHOR_LENGTH`, and `anchor_modulus` [MPa]),
    and the bolt's `stiffness` [N/mm] where it is known better than by the standard's formulae."""

    hole: float
    outer: float = np.inf
    shank: float = 0.0
    anchor: str = "nut"
    anchor_modulus: float | None = None
    stiffness: float | None = None


@dataclass(frozen=True)
class Way:
    """One way to build a joint: `name`; the mean pressure acts `on` an `area` [mm^2]; the resilience of the `bolt`
    [mm/N] and the `grip`."""

    name: str
    on: str
    area: float
    bolt: float
    grip: Grip


def washer_way(name: str, plan: BoltPlan, members: Sequence[Member], built: Built) -> Way:
    """The bolt through its members as they are, with the plan's washer under the head, and under the nut if there is
    one. Errors: InputError where the washer is wider than the member."""
    whole = pressing_seat(plan, built.hole).outer
    stiffness = Grip(tuple(members), whole, whole, built.hole, built.outer).stiffness
    seat = spread_seat(plan, stiffness=stiffness, hole=built.hole)
    grip = Grip(tuple(members), seat.outer, seat.outer, built.hole, built.outer)
    return Way(name, PART, seat.area, bolt_gives(plan, grip.length, built), grip)


def large_washer_way(plan: BoltPlan, members: Sequence[Member], built: Built) -> Way:
    """The same with large washers. Errors: as `washer_way`."""
    return washer_way("large washers", replace(plan, washer="large"), members, built)


def sleeve_way(
    plan: BoltPlan,
    members: Sequence[Member],
    built: Built,
    *,
    wall: float = SLEEVE_WALL,
    modulus: float = ALUMINIUM,
) -> Way:
    """The same with a metal sleeve of a `wall` [mm] around the hole, in place of the members that creep: the clamp
    goes through metal alone. Errors: InputError where the sleeve is wider than what presses on it."""
    tube, seat = built.hole + 2 * wall, pressing_seat(plan, built.hole)
    if tube > seat.outer:
        raise InputError(
            f"a sleeve of {tube:g} mm is wider than what presses on it, {seat.outer:g} mm.",
            where=plan.key("washer"),
            advice="Take a wider washer, or a thinner sleeve.",
        )
    metal = tuple(Member(x.thickness, modulus if x.creep is not None else x.modulus) for x in members)
    grip = Grip(metal, tube, tube, built.hole, tube)
    area = np.pi / 4 * (tube**2 - built.hole**2)
    return Way("metal sleeve", SLEEVE, float(area), bolt_gives(plan, grip.length, built), grip)


def bolt_gives(plan: BoltPlan, length: float, built: Built) -> float:
    """The resilience [mm/N] of a bolt that clamps a `length` [mm] and its washers."""
    if built.stiffness is not None:
        return 1 / built.stiffness
    ends = 2 if built.anchor == "nut" else 1
    washers = 0.0 if plan.washer == "none" else ends * plan.sizes.washers[plan.washer].thickness
    return bolt_resilience(
        plan.sizes.thread,
        modulus=plan.material.modulus,
        length=length + washers,
        shank=built.shank,
        head_shape=plan.head_shape,
        anchor=built.anchor,
        anchor_modulus=built.anchor_modulus,
    ).total
