"""Bolts tightened, then locked and loaded.

While a bolt is tightened its pull is given and its shank follows: along the axis it has no stiffness, across and in
bending it has. Then its length is locked: from there on its pull changes by the spring of the shank times what head
and thread move apart.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fem.joining.law import rest_after
from fem.solving.equilibrium import Equilibrium
from fem.solving.joints import JointsAnswer, solve_joints
from fem.solving.ties import Ties
from fem.tensors import Array

AXIAL = 6
"""Ties come six a bolt (`joining.shank`): the first is along the axis."""


@dataclass(frozen=True)
class Tightened:
    """Bolts pulled to `preload` (b,) [N]: the `answer`, where tangential springs are at `rest` (q, 3) [mm] from then
    on, and the extension (b,) [mm] of each shank at which its length was locked.
    """

    preload: Array
    answer: JointsAnswer
    rest: Array
    extension: Array


@dataclass(frozen=True)
class Loaded:
    """Tightened bolts under load: the `answer`, and the pull (b,) [N] of each bolt."""

    answer: JointsAnswer
    pull: Array


def tighten(
    equilibrium: Equilibrium, preload: Array, *, progress: Callable[[float], None] | None = None
) -> Tightened:
    """Pull each bolt to its preload (b,) [N], with nothing else acting. Errors: those of `solve_joints`."""
    ties = _ties(equilibrium)
    loose = ties.stiffness.copy()
    loose[::AXIAL] = 0.0
    pulled = equilibrium.with_ties(ties.with_stiffness(loose))
    found = solve_joints(pulled, ties.forces(_axial(ties, -np.asarray(preload, dtype=float))), progress=progress)
    assert equilibrium.joined is not None
    jump = equilibrium.joined.links.jump(found.displacement)
    rest = rest_after(equilibrium.joined.law, found.state, jump)
    extension = ties.motion(found.displacement)[::AXIAL]
    return Tightened(np.asarray(preload, dtype=float), found, rest, extension)


def load_tightened(
    equilibrium: Equilibrium,
    tightened: Tightened,
    forces: Array,
    *,
    start: Array | None = None,
    before: JointsAnswer | None = None,
    progress: Callable[[float], None] | None = None,
) -> Loaded:
    """Load (n, 3) [N] what was tightened. What slips goes on from the state `before`, that of tightening unless
    given.

    Errors: those of `solve_joints`.
    """
    ties, joined = _ties(equilibrium), equilibrium.joined
    assert joined is not None
    axial = ties.stiffness[::AXIAL]
    locked = ties.forces(_axial(ties, axial * tightened.extension - tightened.preload))
    rest, begin = tightened.rest, tightened.answer.displacement
    if before is not None:
        begin = before.displacement
        rest = rest_after(joined.law, before.state, joined.links.jump(begin))
    found = solve_joints(equilibrium, forces + locked, start=start, rest=rest, begin=begin, progress=progress)
    grown = ties.motion(found.displacement)[::AXIAL] - tightened.extension
    return Loaded(found, tightened.preload + axial * grown)


def _ties(equilibrium: Equilibrium) -> Ties:
    joined = equilibrium.joined
    if joined is None or joined.ties is None:
        raise ValueError("there is no bolt to tighten")
    return joined.ties


def _axial(ties: Ties, each: Array) -> Array:
    """Forces (m,) on all ties, from those (b,) along the bolts' axes."""
    out = np.zeros(len(ties.stiffness))
    out[::AXIAL] = each
    return out
