"""Bolts tightened, then locked and loaded.

While a bolt is tightened its pull is given and its shank follows: along the axis it has no stiffness, across and in
bending it has. Then its length is locked: from there on its pull changes by the spring of the shank times what head
and thread move apart.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from fem.joining.fitting import FittedBolt
from fem.joining.law import rest_after
from fem.solving.equilibrium import Equilibrium
from fem.solving.joined import Joined
from fem.solving.joints import JointsAnswer, solve_joints
from fem.solving.ties import A_BOLT, Locked, Ties, along_axes
from fem.tensors import Array


@dataclass(frozen=True)
class Tightened:
    """Bolts `locked` as they were pulled: the `answer`, and where tangential springs are at `rest` (q, 3) [mm] from
    then on.
    """

    locked: Locked
    answer: JointsAnswer
    rest: Array


@dataclass(frozen=True)
class Loaded:
    """Tightened bolts under load: the `answer`, and the pull (b,) [N] of each bolt."""

    answer: JointsAnswer
    pull: Array


def tighten(
    equilibrium: Equilibrium,
    preload: Array,
    *,
    begin: Array | None = None,
    progress: Callable[[float], None] | None = None,
) -> Tightened:
    """Pull each bolt to its preload (b,) [N], with nothing else acting; steps `begin` at a displacement (n, 3) [mm].

    Errors: those of `solve_joints`.
    """
    joined, ties = _tied(equilibrium)
    loose = ties.stiffness.copy()
    loose[::A_BOLT] = 0.0
    pulled = equilibrium.with_ties(ties.with_stiffness(loose))
    forces = ties.forces(along_axes(ties, -np.asarray(preload, dtype=float)))
    found = solve_joints(pulled, forces, begin=begin, progress=progress)
    rest = rest_after(joined.law, found.state, joined.links.jump(found.displacement))
    extension = ties.motion(found.displacement)[::A_BOLT]
    return Tightened(Locked(np.asarray(preload, dtype=float), extension), found, rest)


def both_ends(equilibrium: Equilibrium, bolts: Sequence[FittedBolt]) -> list[Tightened | None]:
    """Bolts pulled to the least and to the most that tightening may leave: one state where both are alike, [None]
    without bolts.
    """
    if not bolts:
        return [None]
    low, high = (np.array([getattr(bolt.tightened, end) for bolt in bolts]) for end in ("low", "high"))
    least = tighten(equilibrium, low)
    if np.allclose(low, high, rtol=1e-6):
        return [least]
    begin = least.answer.displacement * float((high / low).mean())
    return [least, tighten(equilibrium, high, begin=begin)]


def load_tightened(
    equilibrium: Equilibrium,
    tightened: Tightened,
    forces: Array,
    *,
    start: Array | None = None,
    begin: Array | None = None,
    before: JointsAnswer | None = None,
    progress: Callable[[float], None] | None = None,
) -> Loaded:
    """Load (n, 3) [N] what was tightened. What slips goes on from the state `before`, that of tightening unless
    given; steps `begin` at its displacement, or at another (n, 3) [mm].

    Errors: those of `solve_joints`.
    """
    joined, ties = _tied(equilibrium)
    rest, came = tightened.rest, tightened.answer.displacement
    if before is not None:
        came = before.displacement
        rest = rest_after(joined.law, before.state, joined.links.jump(came))
    found = solve_joints(
        equilibrium,
        forces + tightened.locked.forces(ties),
        start=start,
        rest=rest,
        begin=came if begin is None else begin,
        progress=progress,
    )
    return Loaded(found, tightened.locked.pull(ties, found.displacement))


def _tied(equilibrium: Equilibrium) -> tuple[Joined, Ties]:
    joined = equilibrium.joined
    if joined is None or joined.ties is None:
        raise ValueError("there is no bolt to tighten")
    return joined, joined.ties
