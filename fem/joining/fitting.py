"""Bolts put into a mesh: which holes they pass through, where head and thread press, how stiff the shank is."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fem.errors import InputError
from fem.joining.bolt_plan import BoltPlan, Seat, pressing_seat
from fem.joining.bolt_stiffness import bolt_resilience
from fem.joining.openings import Opening, openings
from fem.joining.shank import Patch, ShankStiffness, patch_on, shank_columns, shank_springs, washer_patch
from fem.joining.tightening import Tightened, tighten
from fem.part.faces import FaceGroup
from fem.part.tetmesh import TetMesh
from fem.tensors import Array

POISSON = 0.3
"""Of steel, for the twist of a shank."""
BEARS = 1.0
"""Depth over the diameter in which a thread bears: its first turns take most (common practice: a nut is 0.8 d
high).
"""
TAPPED = (0.95, 1.03)
"""Limits of a tapped hole as drawn: over the thread's inner, and over its nominal diameter."""
MOST_ENGAGED = 2.5
"""Diameters beyond which more thread counts for nothing."""


@dataclass(frozen=True)
class FittedBolt:
    """A bolt in a mesh by `name`: what was planned, how it was `tightened`; `columns` (3n, 6), sparse, and `springs`
    (6,) of its shank (`shank.py`), `length` [mm] between the points on which both ends act. `axis` (3,) points from
    the thread to the head at `at` (3,) [mm]; the thread is at `end` (3,) [mm]; its `ends` are where these two press.
    `hole` [mm] is the diameter under the head, `grip` [mm] what is clamped, `engagement` [mm] the thread's depth
    (None in a nut, or in what is not meshed).
    """

    name: str
    plan: BoltPlan
    tightened: Tightened
    columns: Any
    springs: Array
    length: float
    axis: Array
    at: Array
    end: Array
    hole: float
    grip: float
    seat: Seat
    ends: tuple[Patch, Patch | None]
    under: str
    into: str
    held_by: str
    engagement: float | None


def fitted_bolts(mesh: TetMesh, groups: Mapping[str, FaceGroup], plan: BoltPlan) -> list[FittedBolt]:
    """The bolts of a plan: one through each hole of its head's face that has a thread opposite; where there are
    several, they are numbered.

    Errors: FaceError, InputError for holes that do not line up, too narrow ones, and what `tighten` refuses.
    """
    heads = openings(mesh, groups[plan.head], where=plan.key("head"))
    if any(not head.in_plane for head in heads):
        raise InputError(
            "a head presses on a plane.", where=plan.key("head"), advice="Name the plane around the hole."
        )
    if not plan.thread:
        pairs: list[tuple[Opening, Opening | None]] = [(head, None) for head in heads]
    else:
        threads = openings(mesh, groups[plan.thread], where=plan.key("thread"))
        pairs = [(_opposite(plan, thread, heads), thread) for thread in threads]
    pairs.sort(key=lambda pair: tuple(np.round(pair[0].at, 3)))
    names = [plan.name] if len(pairs) == 1 else [f"{plan.name} {k + 1}" for k in range(len(pairs))]
    return [
        replace(_fitted(mesh, groups, plan, head, thread), name=name)
        for name, (head, thread) in zip(names, pairs, strict=True)
    ]


def _opposite(plan: BoltPlan, thread: Opening, heads: list[Opening]) -> Opening:
    """The hole under the head that a thread's axis goes through. Errors: InputError, by how much they miss."""
    apart = [_apart(head, thread) for head in heads]
    head = heads[int(np.argmin(apart))]
    tilt = math.degrees(math.acos(min(1.0, abs(float(head.axis @ thread.axis)))))
    if tilt > 1.0:
        raise InputError(
            f"its holes do not line up: the thread's axis leans {tilt:.2g} degrees from that of the hole under the "
            "head.",
            where=plan.key(),
        )
    room = max(0.0, head.radius - plan.sizes.thread.diameter / 2)
    if min(apart) > room + 0.02 * plan.sizes.thread.diameter:
        raise InputError(
            f"its holes do not line up: their axes lie {min(apart):.3g} mm apart, and the hole under the head leaves "
            f"{room:.3g} mm around the bolt.",
            where=plan.key(),
            advice="Name faces of the same hole, or move one of them.",
        )
    return head


def _apart(head: Opening, thread: Opening) -> float:
    """Distance [mm] of the thread's axis from the hole's, in the plane of the head."""
    off = thread.at - head.at
    return float(np.linalg.norm(off - (off @ head.axis) * head.axis))


def _fitted(
    mesh: TetMesh, groups: Mapping[str, FaceGroup], plan: BoltPlan, head: Opening, thread: Opening | None
) -> FittedBolt:
    d, hole = plan.sizes.thread.diameter, 2 * head.radius
    if hole < d * 0.99:
        raise InputError(
            f"its hole under the head is {hole:.3g} mm wide, narrower than the bolt's {d:g} mm.",
            where=plan.key("head"),
            advice=f"A clearance hole of medium fit has {plan.sizes.clearance_hole:g} mm.",
        )
    seat = pressing_seat(plan, hole)
    washer = plan.sizes.washers.get(plan.washer)
    thick = washer.thickness if washer else 0.0
    top = washer_patch(
        mesh, groups[plan.head].triangles, axis=head.axis, at=head.at, outer=seat.outer, name=plan.key("head")
    )
    if thread is None:
        assert plan.length is not None
        end, patch, grip, engagement, held_by, into = (
            head.at - plan.length * head.axis,
            None,
            plan.length,
            None,
            "",
            "",
        )
    else:
        end, patch, grip, engagement = _thread(mesh, groups, plan, head, thread)
        held_by, into = plan.held_by or ("tapped" if engagement else "nut"), thread.body
    columns, length = shank_columns(top, patch, where=None if patch else end)
    stiffness = _stiffness(plan, grip + thick, nut=patch is not None and engagement is None)
    return FittedBolt(
        name=plan.name,
        plan=plan,
        tightened=tighten(plan, hole=hole),
        columns=columns,
        springs=shank_springs(stiffness, length),
        length=length,
        axis=head.axis,
        at=head.at,
        end=end,
        hole=hole,
        grip=grip,
        seat=seat,
        ends=(top, patch),
        under=head.body,
        into=into,
        held_by=held_by,
        engagement=engagement,
    )


def _thread(
    mesh: TetMesh, groups: Mapping[str, FaceGroup], plan: BoltPlan, head: Opening, thread: Opening
) -> tuple[Array, Patch, float, float | None]:
    """Where a thread bears (3,) [mm], its patch, the grip [mm] before it, and its depth [mm], None of a nut.

    Errors: InputError for a thread on the wrong side of the head, a hole that fits no such thread.
    """
    axis, d = head.axis, plan.sizes.thread.diameter
    if thread.in_plane:
        below = float((head.at - thread.at) @ axis)
        if thread.axis @ axis > 0 or not below > 0:
            raise InputError("its nut does not lie opposite its head.", where=plan.key("thread"))
        end, outer = head.at - below * axis, plan.sizes.nut.bearing_diameter
        patch = washer_patch(
            mesh, groups[plan.thread].triangles, axis=axis, at=end, outer=outer, name=plan.key("thread")
        )
        return end, patch, below, None
    _refuse_misfit(plan, thread)
    mouth = float(((thread.ends() - head.at) @ axis).max())
    if not mouth < 1e-3 * d:
        raise InputError(
            "its thread does not lie below its head.",
            where=plan.key("thread"),
            advice="The plane under the head must look away from the thread.",
        )
    engagement = min(thread.depth, MOST_ENGAGED * d)
    depth = min(engagement, BEARS * d)
    end = head.at + (mouth - depth / 2) * axis

    def bearing(points: Array) -> Array:
        return (points - head.at) @ axis - (mouth - depth)

    own = mesh.triangles_of(thread.faces)
    patch = patch_on(mesh, own, at=end, side=bearing, fine=d / 6, name=plan.key("thread"))
    return end, patch, -mouth, engagement


def _refuse_misfit(plan: BoltPlan, thread: Opening) -> None:
    """Errors: InputError for a bore that no such thread is cut into; an insert's is of its own size."""
    if plan.held_by not in ("", "tapped"):
        return
    low, high = plan.sizes.thread.inner_diameter, plan.sizes.thread.diameter
    if not TAPPED[0] * low <= 2 * thread.radius <= TAPPED[1] * high:
        raise InputError(
            f"a hole tapped {plan.size} is drawn {low:.3g} to {high:g} mm wide; this one has {2 * thread.radius:.3g} "
            "mm.",
            where=plan.key("thread"),
            advice='Correct the size, or say what holds the bolt: held_by = "heat-set insert".',
        )


def _stiffness(plan: BoltPlan, length: float, *, nut: bool) -> ShankStiffness:
    """A shank threaded all along; what it is screwed into is meshed, a nut is not."""
    modulus, thread = plan.material.modulus, plan.sizes.thread
    parts = bolt_resilience(thread, modulus=modulus, length=max(length, 1e-3), head_shape=plan.head_shape)
    gives = parts.total if nut else parts.total - parts.anchor
    bending = modulus * math.pi / 64 * thread.core_diameter**4
    return ShankStiffness(1 / gives, bending, bending / (1 + POISSON))
