"""Bodies that push, rub and are glued: displacements that balance, with where their faces touch and slip.

Each step is Newton's for the force of all points together, with the limit of the shear taken from the step before, so
that the matrix stays symmetric and positive and conjugate gradients keep their multigrid. Along a step the work is a
convex function of how far one goes, and its least is found exactly from the points alone: this is what lets sets of
touching points settle that would otherwise go to and fro. The first step starts from the bodies as rigid ones pressed
together by their loads, so that a gap is closed before anything deforms, and bodies that nothing else holds are held
by what they touch.

Sources: primal-dual active sets as Newton's method: M. Hintermueller, K. Ito and K. Kunisch, SIAM Journal on
Optimization 13 (2003) 865; friction with a given limit as a convex problem, the limit then corrected: P. D.
Panagiotopoulos, Ingenieur-Archiv 44 (1975) 421.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fem.errors import NotConverged
from fem.joining.law import PointState, least_work
from fem.solving.equilibrium import Equilibrium
from fem.solving.joint_moves import Moves
from fem.solving.rigid import refuse_free_pieces, rigid_start
from fem.tensors import Array

MOST_STEPS = 80
SETTLED = 1e-9
"""Residual over the forces at which a state counts as balanced."""
LOOSE = 0.01
"""How far a step's own linear problem is solved while sets still change; the next step goes on from there."""
HOLD_IT = "Add what holds it: a support, friction, a bolt, or the load that presses it on."
CORRECTED = 0.9
"""The limits of the shear are corrected once what they leave is this part of what the corrected ones would leave."""
FIRM = 1e-2
"""The share of closed joints' springs that is added to a step whose own problem has no answer."""
MOST_FIRM = 5
"""After so many of these, a body that the joints leave free to move is told."""
NEARER = 0.9
"""What a whole step has to leave of the residual at the most."""


@dataclass(frozen=True)
class JointsAnswer:
    """`displacement` (n, 3) [mm], the `state` of all points, where tangential springs were at `rest` (q, 3) [mm];
    the `iterations` of each linear solve, and `history`, the residual over the forces before each of them and at
    last.
    """

    displacement: Array
    state: PointState
    rest: Array
    iterations: tuple[int, ...]
    history: tuple[float, ...]


@dataclass
class _Here:
    """Where the steps have come to: `inner` (n, 3) [N] is what bodies, supports and ties resist with, `pressure` (q,)
    [N] the normal forces that limit the shear.
    """

    displacement: Array
    inner: Array
    jump: Array
    pressure: Array


def solve_joints(
    equilibrium: Equilibrium,
    forces: Array,
    *,
    start: Array | None = None,
    rest: Array | None = None,
    begin: Array | None = None,
    settled: float = SETTLED,
    most: int = MOST_STEPS,
    progress: Callable[[float], None] | None = None,
) -> JointsAnswer:
    """Displacement under nodal forces (n, 3) [N] of bodies that meet at joints.

    `start` (n, 3) [mm] prescribes the held directions' displacement; `rest` (q, 3) [mm] is where tangential springs
    are at rest; `begin` (n, 3) [mm] is where to start, the rigid bodies' place of rest unless given.
    Errors: NotConverged; FreeBodyError when a body finds no rest.
    """
    joined = equilibrium.joined
    assert joined is not None
    law = joined.law
    rest = np.zeros_like(law.normal) if rest is None else rest
    start = np.zeros_like(forces) if start is None else start
    u = rigid_start(equilibrium, forces, start=start) if begin is None else begin
    steps = _Steps(equilibrium, forces, rest)
    here = _here(equilibrium, equilibrium.free(u) + start, rest)
    history: list[float] = []
    for step in range(most):
        state = law.answer(here.jump, rest=rest)
        left, error = _left(equilibrium, here, state, forces)
        history.append(error)
        if error <= settled:
            refuse_free_pieces(equilibrium, law.held(state), where="joints", advice=HOLD_IT)
            return JointsAnswer(here.displacement, state, rest, tuple(steps.iterations), tuple(history))
        here = steps.whole(here, state, left, error, settled) or steps.held(here, state, left, error, settled)
        if progress is not None:
            progress(1 - 0.5 ** (step + 1))
    refuse_free_pieces(equilibrium, law.springs(law.answer(here.jump, rest=rest)), where="joints", advice=HOLD_IT)
    raise NotConverged(
        f"where faces touch or slip has not settled after {most} steps (residual {history[-1]:.1e} of the forces).",
        best=here.displacement,
        history=history,
        advice="Look for a body that hardly rests on anything; give it friction or another support.",
    )


class _Steps:
    """Steps to the balance of `forces` (n, 3) [N], with tangential springs at `rest` (q, 3) [mm]."""

    def __init__(self, equilibrium: Equilibrium, forces: Array, rest: Array) -> None:
        assert equilibrium.joined is not None
        self.equilibrium, self.forces, self.rest = equilibrium, forces, rest
        self.law = equilibrium.joined.law
        self.moves = Moves(equilibrium.kept, self.law.closed())
        self.iterations: list[int] = []
        self.firm = 0
        self.trust = 1.0

    def whole(self, here: _Here, state: PointState, left: Array, error: float, settled: float) -> _Here | None:
        """A step with the limit of the shear growing with the pressure; None where it does not lead nearer."""
        if error > self.trust:
            return None
        system = self.equilibrium.system.with_link_springs(self.law.springs(state))
        turning = self.law.turning(state) if (state.slipping & (self.law.friction > 0)).any() else None
        try:
            move, record = self.moves.solve(
                system, left, max(0.1 * settled / error, min(LOOSE, error)), turning=turning
            )
        except NotConverged:
            self.trust = error / 4
            return None
        self.iterations.append(record.iterations)
        there = _along(self.equilibrium, here, move, 1.0, self.rest)
        after = _left(self.equilibrium, there, self.law.answer(there.jump, rest=self.rest), self.forces)[1]
        if after > NEARER * error:
            self.trust = error / 4
            return None
        return there

    def held(self, here: _Here, state: PointState, left: Array, error: float, settled: float) -> _Here:
        """A step with the limit of the shear held, as far as the work falls."""
        law, equilibrium = self.law, self.equilibrium
        bound = law.answer(here.jump, rest=self.rest, pressure=here.pressure)
        given, rest_of_it = _left(equilibrium, here, bound, self.forces)
        if rest_of_it > CORRECTED * error:
            left, error = given, rest_of_it
        else:
            here.pressure, bound = state.force, state
        springs = law.springs(bound)
        enough = max(0.1 * settled / error, min(LOOSE, error))
        try:
            move, record = self.moves.solve(equilibrium.system.with_link_springs(springs), left, enough)
        except NotConverged:  # few points touch, and slip: a firmer step goes less far, and down all the same
            self.firm += 1
            if self.firm > MOST_FIRM:
                refuse_free_pieces(equilibrium, springs, where="joints", advice=HOLD_IT)
            firm = springs + FIRM * law.closed()
            move, record = self.moves.solve(equilibrium.system.with_link_springs(firm), left, LOOSE)
        self.iterations.append(record.iterations)
        there = _moved(equilibrium, here, move, self.rest, self.forces)
        return there


def _here(equilibrium: Equilibrium, u: Array, rest: Array) -> _Here:
    assert equilibrium.joined is not None
    jump = equilibrium.joined.links.jump(u)
    return _Here(u, _inner(equilibrium, u), jump, equilibrium.joined.law.answer(jump, rest=rest).force)


def _inner(equilibrium: Equilibrium, u: Array) -> Array:
    """Nodal forces (n, 3) [N] with which bodies, supports and ties resist, without links."""
    return equilibrium.system.with_link_springs(None).whole_forces(u.reshape(-1, 1)).reshape(-1, 3)


def _left(equilibrium: Equilibrium, here: _Here, state: PointState, forces: Array) -> tuple[Array, float]:
    """The forces (n, 3) [N] that a state of the points leaves without balance, and their size over all forces."""
    assert equilibrium.joined is not None
    pressed = equilibrium.joined.links.forces(state.total(equilibrium.joined.law.normal))
    left = equilibrium.free(forces - here.inner - pressed)
    scale = max(float(np.linalg.norm(f)) for f in (forces, pressed, here.inner))
    return left, float(np.linalg.norm(left)) / scale if scale > 0 else 0.0


def _moved(equilibrium: Equilibrium, here: _Here, move: Array, rest: Array, forces: Array) -> _Here:
    """As far along a move (n, 3) [mm] as the work falls."""
    assert equilibrium.joined is not None
    links, law = equilibrium.joined.links, equilibrium.joined.law
    inner, jump = _inner(equilibrium, move), links.jump(move)
    slope, curve = float((move * (here.inner - forces)).sum()), float((move * inner).sum())
    given = {"rest": rest, "pressure": here.pressure}
    far = least_work(law, jump=here.jump, move=jump, **given, slope=slope, curve=curve)
    return _Here(here.displacement + far * move, here.inner + far * inner, here.jump + far * jump, here.pressure)


def _along(equilibrium: Equilibrium, here: _Here, move: Array, far: float, rest: Array) -> _Here:
    """That far along a move (n, 3) [mm], with the limit of the shear as it is there."""
    assert equilibrium.joined is not None
    jump = here.jump + far * equilibrium.joined.links.jump(move)
    inner = here.inner + far * _inner(equilibrium, move)
    pressure = equilibrium.joined.law.answer(jump, rest=rest).force
    return _Here(here.displacement + far * move, inner, jump, pressure)
