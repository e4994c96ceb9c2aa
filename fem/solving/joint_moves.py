"""The linear problem of each step of a joint, and the preconditioner that is kept as long as it serves."""

from __future__ import annotations

from typing import Any

import numpy as np

from fem.errors import NotConverged
from fem.solving.linear import SolveRecord, minimal_residuals
from fem.solving.solvers import MultigridSolver, WaryMultigrid
from fem.solving.system import HeldSystem
from fem.solving.ties import TiedPreconditioner
from fem.tensors import Array

GROUNDED = 1e-3
"""The share of closed joints' springs by which a preconditioner holds what only bolts hold."""
APART = 0.3
"""A preconditioner is made anew where springs differ from its own by this share of all."""
SLOW = 2.0
"""It is made anew as well where iterations for a decade grow by this, over those that one took which fits."""
FITTING = 3.0
"""Iterations for a decade that one may take which fits, as long as no such solve has told."""


class KeptPreconditioner:
    """What was `made` last for the joints of an equilibrium, for the `springs` (q, 3, 3) [N/mm] that they had then;
    the `pace` of a solve that it fitted, in iterations for a decade of the residual, and of the `last` one.
    """

    def __init__(self, made: Any, springs: Array) -> None:
        self.made, self.springs = made, springs
        self.pace, self.last = FITTING, 0.0
        self._tied: tuple[Any, Any, Any] | None = None

    def fits(self, springs: Array) -> bool:
        """Whether it serves for these springs."""
        if self.made is None or self.last > SLOW * self.pace:
            return False
        size = max(float(np.abs(springs).sum()), float(np.abs(self.springs).sum()))
        return float(np.abs(springs - self.springs).sum()) <= APART * size

    def make(self, system: HeldSystem, closed: Array) -> None:
        """Make it for a system; `closed` (q, 3, 3) [N/mm] are the springs of joints that touch all over."""
        springs = system.link_springs
        assert springs is not None
        # Bodies that bolts alone hold are free to what knows no bolts: a little of all springs holds them
        held = system if system.ties is None else system.with_link_springs(springs + GROUNDED * closed)
        self.made, self.springs, self.last = MultigridSolver(held).precondition, springs, 0.0

    def of(self, system: HeldSystem) -> Any:
        """The preconditioner for a system with its ties: they are put on top."""
        if system.ties is None:
            return self.made
        if self._tied is None or self._tied[0] is not self.made or self._tied[1] is not system.ties:
            self._tied = self.made, system.ties, TiedPreconditioner(self.made, system.ties, system.free)
        return self._tied[2]

    def serving(self, system: HeldSystem, closed: Array) -> Any:
        """The preconditioner for a system with its ties, made anew where the kept one does not fit."""
        assert system.link_springs is not None
        if not self.fits(system.link_springs):
            self.make(system, closed)
        return self.of(system)

    def told(self, record: SolveRecord, *, fresh: bool) -> None:
        """Learn from a solve how well it fits."""
        self.last = record.iterations / max(-np.log10(max(record.history[-1], 1e-16)), 0.5)
        if fresh:
            self.pace = max(self.last, 1.0)


class Moves:
    """Solves the linear problem of each step with a `kept` preconditioner; `closed` as above."""

    def __init__(self, kept: KeptPreconditioner, closed: Array) -> None:
        self.kept, self.closed = kept, closed

    def solve(
        self, system: HeldSystem, left: Array, tolerance: float, *, turning: Array | None = None
    ) -> tuple[Array, SolveRecord]:
        """The move (n, 3) [mm] under forces (n, 3) [N]; `turning` (q, 3, 3) [N/mm] is what springs have beside the
        system's own that is not symmetric. Errors: NotConverged.
        """
        springs = system.link_springs
        assert springs is not None
        fresh = not self.kept.fits(springs)
        if fresh:
            self.kept.make(system, self.closed)
        try:
            move, record = self._solve(system, left, tolerance, turning, fresh=fresh)
        except NotConverged:
            if fresh:
                raise
            fresh = True
            self.kept.make(system, self.closed)
            move, record = self._solve(system, left, tolerance, turning, fresh=True)
        self.kept.told(record, fresh=fresh)
        return move, record

    def _solve(
        self, system: HeldSystem, left: Array, tolerance: float, turning: Array | None, *, fresh: bool
    ) -> tuple[Array, SolveRecord]:
        made, column = self.kept.of(system), left.reshape(-1, 1)
        if turning is not None:
            assert system.link_springs is not None
            turned = system.with_link_springs(system.link_springs + turning)
            move, record = minimal_residuals(
                turned, column, precondition=lambda r: system.free(made(r)), tolerance=tolerance
            )
        else:
            kind: Any = WaryMultigrid if fresh and system.ties is None else MultigridSolver
            move, record = kind(system, precondition=made).solve(column, tolerance=tolerance)
        return move.reshape(-1, 3), record
