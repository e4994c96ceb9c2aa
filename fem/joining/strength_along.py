"""What a material bears along one direction, by its own criteria: under a head, around an insert, in a tapped
hole."""

from __future__ import annotations

import math

import numpy as np

from fem.errors import InputError
from fem.joining.bolt_plan import BoltPlan
from fem.joining.pull_out import PullOut, estimated_pull_out
from fem.joining.thread_stripping import ThreadStrength, thread_strength
from fem.printing.card.nouns import CardState
from fem.tensors import Array, pack_stress, unit

LONG_TERM = 1 / 3
"""Share of its compression strength that a polymer bears under a head for long (common practice: 1/3 to 1/2)."""
WAYS = 36
"""Planes around a hole that are asked for their shear strength."""


def compression_along(state: CardState, axis: Array) -> float:
    """Compression strength [MPa] of a material along an `axis` (3,) in print axes: the least pressure that one of its
    criteria does not bear. What is around a head holds the polymer together: it bears somewhat more."""
    n = unit(np.asarray(axis, dtype=float))
    return _least(state, -np.outer(n, n)[None])


def shear_along(state: CardState, axis: Array) -> float:
    """Shear strength [MPa] of a material on the weakest plane that holds an `axis` (3,) in print axes: what a
    fastener pulled along it tears off around itself."""
    n = unit(np.asarray(axis, dtype=float))
    first = unit(np.cross(n, np.eye(3)[np.argmin(np.abs(n))]))
    angle = np.arange(WAYS)[:, None] * (math.pi / WAYS)
    across = np.cos(angle) * first + np.sin(angle) * np.cross(n, first)
    both = n[None, :, None] * across[:, None, :]
    return _least(state, both + both.transpose(0, 2, 1))


def _least(state: CardState, stresses: Array) -> float:
    """The factor at which the first of the stresses (k, 3, 3) fails."""
    from fem.criteria.reserve import phase_reserve

    grown = pack_stress(stresses)
    return float(phase_reserve(np.zeros_like(grown), grown, state.strength).reserve.min())


def bears_for_long(state: CardState) -> float:
    """Share of its compression strength that a material bears for long: all of a metal's, LONG_TERM of a
    polymer's."""
    return 1.0 if state.yield_stress is not None else LONG_TERM


def thread_in_metal(
    plan: BoltPlan, state: CardState, *, engagement: float, width: float | None = None
) -> ThreadStrength:
    """What holds a planned bolt in a hole tapped into a metal over an `engagement` [mm]; `width` [mm] twice the
    distance from its axis to the nearest edge (None: far from any).

    Errors: InputError for a material without an ultimate strength, an engagement too short, a wall too thin.
    """
    if state.ultimate is None:
        raise InputError(
            "the card knows no ultimate strength: threads are judged in metals alone.",
            where=plan.key("thread"),
            advice="For a polymer name the insert or screw that holds the bolt.",
        )
    bolt = plan.material
    return thread_strength(
        plan.sizes.thread,
        engagement=engagement,
        bolt_ultimate=bolt.ultimate,
        bolt_shear=bolt.thread_shear,
        nut_ultimate=state.ultimate,
        width=width,
    )


def insert_in_polymer(kind: str, state: CardState, *, axis: Array, diameter: float, length: float) -> PullOut:
    """What an insert or screw of outer `diameter` over `length` [mm] along an `axis` (3,) in print axes is thought
    to bear in a polymer: an estimate. Errors: InputError for an unknown kind, or sizes that are not positive."""
    return estimated_pull_out(kind, diameter=diameter, length=length, shear_strength=shear_along(state, axis))
