"""The exact solver: the matrix is factorised once, and each load takes a pair of substitutions.

pypardiso (the extra `beadwork[direct]`) where it is installed, SciPy's SuperLU elsewhere. It serves small matrices,
hard ones, and as the measure of the iterative solvers. A residual that is rounding alone counts as solved.

Sources: N. Higham, Accuracy and Stability of Numerical Algorithms, 2nd ed., SIAM 2002, section 7.1 (what residual
rounding leaves), chapter 12 (iterative refinement); A. George, SIAM J. Numer. Anal. 10 (1973) 345 (growth of fill).
"""

from __future__ import annotations

from collections.abc import Callable
from importlib.util import find_spec
from typing import Any

import numpy as np

from fem.errors import NotConverged, NoTrustworthyAnswer, TooLargeError
from fem.memory import available_memory
from fem.solving.linear import SolveRecord
from fem.tensors import Array

FACTOR_BYTES = 125.0
"""SuperLU's memory over unknowns to the power 1.5 [bytes], as measured on second-order cubes of up to 47,000
unknowns; slender bodies need less.
"""
FACTOR_ENTRIES = 13.0
"""Its entries over the same; it counts them in 32 bits."""
SHARE_OF_MEMORY = 0.9
_ADVICE = 'Ask for a larger mesh size, or take solver = "multigrid".'


class DirectSolver:
    """A symmetric positive definite block matrix (3n, 3n) [N/mm], factorised. `library` names what did it.

    Errors: TooLargeError before the memory is taken, NoTrustworthyAnswer where the matrix is not definite.
    """

    def __init__(self, matrix: Any, *, general: bool = False) -> None:
        """`general` takes SciPy's factorisation even where pypardiso is installed."""
        self._matrix = matrix.tocsr()
        self._matrix.eliminate_zeros()  # held directions are then coupled to nothing
        self._matrix.sort_indices()
        self._factor = SuperLU(self._matrix) if general or find_spec("pypardiso") is None else Pardiso(self._matrix)
        self.library: str = self._factor.library

    def solve(
        self,
        columns: Array,
        *,
        tolerance: float,
        progress: Callable[[float], None] | None = None,
        guess: Array | None = None,
    ) -> tuple[Array, SolveRecord]:
        """Displacements (3n, k) [mm] under nodal forces (3n, k) [N], improved once by what the first answer leaves;
        a `guess` is not needed.

        The record holds the largest relative residual before and after that one step.
        Errors: NotConverged when more than `tolerance`, and more than rounding, is left.
        """
        size = np.linalg.norm(columns, axis=0)
        live = np.flatnonzero(size > 0)
        x = np.zeros_like(columns, dtype=float)
        if len(live) == 0:
            return x, SolveRecord(0, ())
        right = columns[:, live]
        answer = self._factor.solve(right)
        if progress is not None:
            progress(0.5)
        rest = right - self._matrix @ answer
        first = float((np.linalg.norm(rest, axis=0) / size[live]).max())
        answer = answer + self._factor.solve(rest)
        left = np.linalg.norm(right - self._matrix @ answer, axis=0) / size[live]
        x[:, live] = answer
        history = (first, float(left.max()))
        bound = np.full(len(live), tolerance)
        if not (left <= bound).all():
            bound = np.maximum(bound, self._rounding(answer) / size[live])
        if not (left <= bound).all():
            raise NotConverged(
                f"a relative residual of {history[1]:.1e} is left after factorising, not {tolerance:.0e}.",
                best=x,
                history=list(history),
                advice="Look for a body that is hardly held, or a very soft foundation.",
            )
        if progress is not None:
            progress(1.0)
        return x, SolveRecord(1, history)

    def _rounding(self, answer: Array) -> Array:
        """Size (k,) [N] that the residual of the exact answer has when it is evaluated in double precision."""
        return np.asarray(4 * np.finfo(float).eps * np.linalg.norm(abs(self._matrix) @ np.abs(answer), axis=0))


class SuperLU:
    """SciPy's factorisation in its symmetric mode."""

    library = "SciPy"

    def __init__(self, matrix: Any) -> None:
        from scipy.sparse.linalg import splu

        refuse_large_factor(matrix.shape[0])
        try:
            self._factor = splu(
                matrix.tocsc(),
                permc_spec="MMD_AT_PLUS_A",
                diag_pivot_thresh=0.0,
                options={"SymmetricMode": True},
            )
        except RuntimeError as error:
            raise _indefinite(error) from error

    def solve(self, right: Array) -> Array:
        return np.asarray(self._factor.solve(np.ascontiguousarray(right)))


class Pardiso:
    """The factorisation of oneMKL through pypardiso; its analysis tells the memory before it is taken."""

    library = "pypardiso"

    def __init__(self, matrix: Any) -> None:
        from pypardiso import PyPardisoSolver
        from pypardiso.pardiso_wrapper import PyPardisoError
        from scipy.sparse import triu

        self._upper = triu(matrix, format="csr")
        self._upper.sort_indices()
        self._solver = PyPardisoSolver(mtype=2)  # symmetric positive definite, upper triangle
        self._failure = PyPardisoError
        nothing = np.zeros((matrix.shape[0], 1))
        self._run(11, nothing)
        # Entries 15 to 17: peak of the analysis, what stays of it, the factor with its work space [kB]
        need = 1024.0 * max(self._solver.get_iparm(15), self._solver.get_iparm(16) + self._solver.get_iparm(17))
        refuse_memory(need, unknowns=matrix.shape[0])
        self._run(22, nothing)

    def solve(self, right: Array) -> Array:
        return self._run(33, np.asfortranarray(right))

    def _run(self, phase: int, right: Array) -> Array:
        self._solver.set_phase(phase)
        try:
            return np.asarray(self._solver._call_pardiso(self._upper, right))
        except self._failure as error:
            if error.value == -2:
                raise MemoryError from error
            raise _indefinite(error) from error

    def __del__(self) -> None:
        # oneMKL keeps the factor until it is told otherwise
        if hasattr(self, "_solver"):
            self._solver.free_memory(everything=True)


def refuse_large_factor(unknowns: int) -> None:
    """Errors: TooLargeError when SciPy's factor of so many unknowns would not fit."""
    growth = float(unknowns) ** 1.5
    refuse_memory(FACTOR_BYTES * growth, unknowns=unknowns)
    if FACTOR_ENTRIES * growth > 2**32:
        raise TooLargeError(
            f"{unknowns:,} unknowns are more than SciPy's factorisation can count.", where="solver", advice=_ADVICE
        )


def refuse_memory(need: float, *, unknowns: int) -> None:
    """Errors: TooLargeError when `need` bytes are not free."""
    have = available_memory()
    if need > SHARE_OF_MEMORY * have:
        raise TooLargeError(
            f"factorising {unknowns:,} unknowns needs some {need / 1e9:.1f} GB; {have / 1e9:.1f} GB are free.",
            where="solver",
            advice=_ADVICE,
        )


def _indefinite(error: Exception) -> NoTrustworthyAnswer:
    return NoTrustworthyAnswer(
        f"the stiffness matrix cannot be factorised ({error}).",
        advice="Look for a body that is hardly held, or a stiffness of nearly zero.",
    )
