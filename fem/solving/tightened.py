"""Bolts tightened, then locked and loaded.

While a bolt is tightened its pull is given and its shank follows: along the axis it has no stiffness, across and in
bending it has. Then its length is locked: from there on its pull changes by the spring of the shank times what head
and thread move apart. A bolt pulls and never pushes: where its preload is used up its head lifts off, and it bears
nothing, neither along nor across, until it pulls again; across it then bears no more, since its head has come free.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fem.errors import NotConverged
from fem.joining.fitting import FittedBolt
from fem.joining.law import rest_after
from fem.solving.equilibrium import Equilibrium
from fem.solving.joined import Joined
from fem.solving.joints import JointsAnswer, solve_joints
from fem.solving.ties import A_BOLT, Locked, Ties, along_axes
from fem.tensors import Array

MOST_LOOSENED = 20
"""After so many changes of which bolts are loose, that they do not settle is told."""


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
    """Tightened bolts under load: the `answer`, the pull (b,) [N] of each bolt, and how they are `locked`, with those
    that have gone loose.
    """

    answer: JointsAnswer
    pull: Array
    locked: Locked


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

    Errors: those of `solve_joints`; FreeBodyError, too, where bolts that have gone loose leave a body free.
    """
    joined, ties = _tied(equilibrium)
    rest, came = tightened.rest, tightened.answer.displacement
    if before is not None:
        came = before.displacement
        rest = rest_after(joined.law, before.state, joined.links.jump(came))
    at = came if begin is None else begin
    slack = _Slack(tightened.locked.pull(ties, at) < 0)
    iterations: tuple[int, ...] = ()
    history: tuple[float, ...] = ()
    for _ in range(MOST_LOOSENED):
        locked = replace(tightened.locked, slack=slack.ties())
        tied = equilibrium.with_ties(locked.bearing(ties))
        found = solve_joints(tied, forces + locked.forces(ties), start=start, rest=rest, begin=at, progress=progress)
        iterations, history = iterations + found.iterations, history + found.history
        if slack.stands(tightened.locked.pull(ties, found.displacement)):
            answer = replace(found, iterations=iterations, history=history)
            return Loaded(answer, locked.pull(ties, found.displacement), locked)
        at = found.displacement
    raise NotConverged(
        "which bolts have gone loose does not settle.", best=at, history=list(history), advice="Tighten them more."
    )


class _Slack:
    """Which bolts (b,) pull `no` more, and which have been found so: only these stay free across when they pull
    again.
    """

    def __init__(self, no: NDArray[np.bool_]) -> None:
        self.no, self.found = no, np.zeros_like(no)

    def ties(self) -> NDArray[np.bool_] | None:
        """Which ties (6b,) bear nothing; None where all do."""
        if not (self.no | self.found).any():
            return None
        out = np.repeat(self.no | self.found, A_BOLT)
        out[::A_BOLT] = self.no
        return out

    def stands(self, pull: NDArray[np.float64]) -> bool:
        """Whether the same bolts are loose by the `pull` (b,) [N] that all of them would have as springs; else those
        that are."""
        loose = pull < 0
        self.found |= loose
        settled = np.array_equal(loose, self.no)
        self.no = loose
        return settled


def _tied(equilibrium: Equilibrium) -> tuple[Joined, Ties]:
    joined = equilibrium.joined
    if joined is None or joined.ties is None:
        raise ValueError("there is no bolt to tighten")
    return joined, joined.ties
