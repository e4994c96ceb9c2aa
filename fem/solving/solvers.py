"""Which solver answers: the study's key `solver`."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from fem.errors import InputError, NotConverged, NoTrustworthyAnswer, TooLargeError
from fem.printing.field import PrintedField
from fem.solving.earlier import Earlier
from fem.solving.linear import ROUNDING, TOLERANCE, SolveRecord, conjugate_gradients
from fem.solving.system import MOST_COLUMNS, HeldSystem
from fem.tensors import Array

if TYPE_CHECKING:
    from fem.solving.multigrid import Preconditioner
    from fem.solving.ties import TiedPreconditioner

SOLVERS = ("auto", "multigrid", "direct", "distributed")
"""auto: distributed under `mpirun`, otherwise multigrid, then direct where that does not converge."""


class Solver(Protocol):
    """Answers nodal forces (3n, k) [N] with displacements (3n, k) [mm]. Errors: NotConverged."""

    def solve(
        self,
        columns: Array,
        *,
        tolerance: float,
        progress: Callable[[float], None] | None = None,
        guess: Array | None = None,
    ) -> tuple[Array, SolveRecord]:
        """`guess` (3n, k) [mm] is where an iteration may begin."""
        ...


class MultigridSolver:
    """Conjugate gradients with the preconditioner of multigrid.py, made for this system unless one is given."""

    def __init__(
        self, system: HeldSystem, *, precondition: Preconditioner | TiedPreconditioner | None = None
    ) -> None:
        from fem.solving.multigrid import Preconditioner

        system.refuse_beyond_memory(1)
        self.system = system
        self.precondition = precondition or Preconditioner(
            system.matrix(single=True), system.mesh, system.projector, corners=system.pattern.corners
        )

    def solve(
        self,
        columns: Array,
        *,
        tolerance: float = TOLERANCE,
        progress: Callable[[float], None] | None = None,
        guess: Array | None = None,
    ) -> tuple[Array, SolveRecord]:
        """See Solver."""
        self.system.refuse_beyond_memory(columns.shape[1])
        answers, records = [], []

        def precondition(residual: Array) -> Array:
            # Single precision leaves something of the held directions, which the matrix would answer
            return self.system.free(self.precondition(residual))

        count = columns.shape[1]
        for first in range(0, count, MOST_COLUMNS):
            some = slice(first, min(first + MOST_COLUMNS, count))

            def hear(share: float, some: slice = some) -> None:
                if progress is not None:
                    progress((some.start + share * (some.stop - some.start)) / count)

            answer, record = conjugate_gradients(
                self.system,
                columns[:, some],
                precondition=precondition,
                tolerance=tolerance,
                guess=None if guess is None else guess[:, some],
                progress=hear,
            )
            answers.append(answer)
            records.append(record)
        return np.concatenate(answers, axis=1), max(records, key=lambda r: r.iterations)


class WaryMultigrid:
    """Multigrid, and the exact factorisation where its iteration does not arrive and the memory allows.

    First-order tetrahedra lock in bending: on thin plates of flat elements what multigrid does below the second order
    is of little use (tests/solving/test_ladder.py measures where).
    """

    def __init__(
        self, system: HeldSystem, *, precondition: Preconditioner | TiedPreconditioner | None = None
    ) -> None:
        self.system = system
        self._multigrid = MultigridSolver(system, precondition=precondition)
        self._direct: Solver | None = None

    @property
    def precondition(self) -> Preconditioner | TiedPreconditioner:
        """The preconditioner of the iteration."""
        return self._multigrid.precondition

    def solve(
        self,
        columns: Array,
        *,
        tolerance: float = TOLERANCE,
        progress: Callable[[float], None] | None = None,
        guess: Array | None = None,
    ) -> tuple[Array, SolveRecord]:
        """See Solver. Errors: NotConverged, of the iteration, also where factorising leaves more than rounding."""
        from fem.solving.direct import DirectSolver

        if self._direct is not None:
            return self._direct.solve(columns, tolerance=tolerance, progress=progress)
        try:
            return self._multigrid.solve(columns, tolerance=tolerance, progress=progress, guess=guess)
        except NotConverged as failure:
            stopped = failure
        try:
            direct = DirectSolver(self.system.matrix(single=False).as_scipy())
        except (TooLargeError, NoTrustworthyAnswer):
            raise stopped from None
        answer, record = direct.solve(columns, tolerance=tolerance, progress=progress)
        if record.history and record.history[-1] > ROUNDING:
            raise stopped
        self._direct = direct
        return answer, record


def solver_for(
    name: str,
    system: HeldSystem,
    printed: PrintedField,
    *,
    earlier: Earlier | None = None,
    precondition: Preconditioner | TiedPreconditioner | None = None,
) -> Any:
    """The solver of that name, set up; multigrid's preconditioner is `precondition` where that is given, or the
    `earlier` one where that serves again.

    Errors: InputError (no such solver here), TooLargeError.
    """
    if name == "auto":
        from fem.solving.distributed.ranks import serving

        name = "distributed" if serving() else "wary"
    if name in ("wary", "multigrid"):
        kind = WaryMultigrid if name == "wary" else MultigridSolver
        return kind(system, precondition=precondition or _again(earlier, system, printed))
    if name == "direct":
        from fem.solving.direct import DirectSolver

        return DirectSolver(system.matrix(single=False).as_scipy())
    if name == "distributed" and system.links is not None:
        raise InputError("ranks do not solve joints yet.", where="solver", advice="Run it without mpirun.")
    if name == "distributed":
        from fem.solving.distributed.solver import DistributedSolver

        return DistributedSolver(
            system.mesh,
            table=printed.stiffness_table,
            material=printed.material,
            foundations=system.springs,
            projector=system.projector,
            scale=system.scale,
        )
    raise ValueError(f"no solver {name}; there are {', '.join(SOLVERS)}")


def _again(earlier: Earlier | None, system: HeldSystem, printed: PrintedField) -> Preconditioner | None:
    if earlier is None or not earlier.serves(printed.stiffness_table, printed.material, system):
        return None
    made: Preconditioner = earlier.precondition
    return made
