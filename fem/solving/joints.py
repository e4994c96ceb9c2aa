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
from typing import Any

import numpy as np

from fem.errors import NotConverged
from fem.joining.law import PointState, least_work
from fem.solving.equilibrium import Equilibrium
from fem.solving.linear import SolveRecord
from fem.solving.rigid import refuse_free_pieces, rigid_start
from fem.solving.solvers import MultigridSolver, WaryMultigrid
from fem.solving.system import HeldSystem
from fem.solving.ties import TiedPreconditioner
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
GROUNDED = 1e-3
"""The share of closed joints' springs by which a preconditioner holds what only bolts hold."""
SLOW = 5.0
"""Iterations for each decade of the residual from which on the preconditioner is made anew for the springs as they
are then: twice what one takes that fits.
"""


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
    here = _here(equilibrium, equilibrium.free(u) + start, rest)
    moves = _Moves(getattr(equilibrium.solver, "precondition", None), law.closed())
    iterations: list[int] = []
    history: list[float] = []
    firm_steps = 0
    for step in range(most):
        left, error = _left(equilibrium, here, law.answer(here.jump, rest=rest), forces)
        history.append(error)
        if error <= settled:
            state = law.answer(here.jump, rest=rest)
            refuse_free_pieces(equilibrium, law.held(state), where="joints", advice=HOLD_IT)
            return JointsAnswer(here.displacement, state, rest, tuple(iterations), tuple(history))
        given, rest_of_it = _left(equilibrium, here, law.answer(here.jump, rest=rest, pressure=here.pressure), forces)
        if rest_of_it > CORRECTED * error:
            left, error = given, rest_of_it
        else:
            here.pressure = law.answer(here.jump, rest=rest).force
        springs = law.springs(law.answer(here.jump, rest=rest, pressure=here.pressure))
        enough = max(0.1 * settled / error, min(LOOSE, error))
        try:
            move, record = moves.solve(equilibrium.system.with_link_springs(springs), left, enough)
        except NotConverged:  # few points touch, and slip: a firmer step goes less far, and down all the same
            firm_steps += 1
            if firm_steps > MOST_FIRM:
                refuse_free_pieces(equilibrium, springs, where="joints", advice=HOLD_IT)
            firm = springs + FIRM * law.closed()
            move, record = moves.solve(equilibrium.system.with_link_springs(firm), left, LOOSE)
        iterations.append(record.iterations)
        here = _moved(equilibrium, here, move, rest, forces)
        if progress is not None:
            progress(1 - 0.5 ** (step + 1))
    refuse_free_pieces(equilibrium, law.springs(law.answer(here.jump, rest=rest)), where="joints", advice=HOLD_IT)
    raise NotConverged(
        f"where faces touch or slip has not settled after {most} steps (residual {history[-1]:.1e} of the forces).",
        best=here.displacement,
        history=history,
        advice="Look for a body that hardly rests on anything; give it friction or another support.",
    )


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


class _Moves:
    """Solves the linear problem of each step, with the preconditioner `made` as long as it serves; `closed` (q, 3, 3)
    [N/mm] are the springs of joints that touch all over.
    """

    def __init__(self, made: Any, closed: Array) -> None:
        self.made, self.closed, self.slow = made, closed, False

    def solve(self, system: HeldSystem, left: Array, tolerance: float) -> tuple[Array, SolveRecord]:
        """The move (n, 3) [mm] under forces (n, 3) [N]. Errors: NotConverged."""
        try:
            if self.slow:
                self.made = None
            return self._solve(system, left, tolerance)
        except NotConverged:
            if self.made is None:
                raise
        self.made = None
        return self._solve(system, left, tolerance)

    def _grounded(self, system: HeldSystem) -> HeldSystem:
        """Bodies that bolts alone hold are free to a preconditioner that knows no bolts: a little of all joints'
        springs holds them.
        """
        if system.ties is None or system.link_springs is None:
            return system
        return system.with_link_springs(system.link_springs + GROUNDED * self.closed)

    def _solve(self, system: HeldSystem, left: Array, tolerance: float) -> tuple[Array, SolveRecord]:
        fresh = self.made is None
        made = MultigridSolver(self._grounded(system)).precondition if fresh else self.made
        if system.ties is not None:  # the preconditioner knows no ties: they are put on top
            solver: Any = MultigridSolver(system, precondition=TiedPreconditioner(made, system.ties, system.free))
        else:
            solver = (WaryMultigrid if fresh else MultigridSolver)(system, precondition=made)
        move, record = solver.solve(left.reshape(-1, 1), tolerance=tolerance)
        self.made = made
        self.slow = record.iterations > 2 - SLOW * np.log10(max(record.history[-1], 1e-16))
        return move.reshape(-1, 3), record
