"""The solver that shares a mesh out among the ranks of `mpirun`."""

from __future__ import annotations

import itertools
import weakref
from collections.abc import Callable, Mapping, Sequence

import numpy as np

from fem.errors import NotConverged
from fem.part.tetmesh import Index, TetMesh
from fem.solving.distributed.ranks import company
from fem.solving.distributed.rows import Built, Swept
from fem.solving.distributed.shares import Springs, shared_out
from fem.solving.linear import SolveRecord
from fem.tensors import Array

MOST_ITERATIONS = 400
_number = itertools.count()
_done_with: list[int] = []
"""Matrices that rank 0 has no more use for; the ranks forget them together when the next one is built."""


class DistributedSolver:
    """P K P + scale (I - P) of a mesh, in rows on all ranks, ready to be solved with.

    `table` (k, 6, 6) [MPa] and `material` (m, 4) or (m,) as for `assemble`; `foundations` spring matrices with their
    nodes; `projector` (n, 3, 3) onto what may move; `scale` [N/mm] the spring in held directions. Made on rank 0,
    while all other ranks are in `serve`. `built` tells what building it took, `peak_memory` [MB] what all ranks have
    held together once it has solved.
    Errors: InputError when PETSc or MPI are not there.
    """

    def __init__(
        self,
        mesh: TetMesh,
        *,
        table: Array,
        material: Index,
        projector: Array,
        scale: float,
        foundations: Sequence[Springs] = (),
        options: Mapping[str, str] | None = None,
    ) -> None:
        self._company = company()
        shares, self._order = shared_out(
            mesh,
            parts=self._company.size,
            table=table,
            material=material,
            springs=foundations,
            projector=projector,
            scale=scale,
        )
        if _done_with:
            self._company.call("forget", shared=tuple(_done_with))
            _done_with.clear()
        self._matrix = next(_number)
        self.built: Built = self._company.call(
            "build", shared={"matrix": self._matrix, "options": options}, each=shares
        )
        self.peak_memory = 0.0
        weakref.finalize(self, _done_with.append, self._matrix)

    def solve(
        self,
        columns: Array,
        *,
        tolerance: float,
        progress: Callable[[float], None] | None = None,
        guess: Array | None = None,
    ) -> tuple[Array, SolveRecord]:
        """Displacements (3n, k) [mm] under the nodal forces (3n, k) [N] until |residual| <= tolerance |load|.

        The columns are solved one after another; the record is that of the one that took most iterations.
        A `guess` is not made use of: ranks begin at zero.
        Errors: NotConverged with the best answer and the history.
        """
        n, k = len(self._order), columns.shape[1]
        out = np.zeros((3 * n, k))
        record = SolveRecord(0, ())
        for at in range(k):
            load = np.ascontiguousarray(columns[:, at].reshape(n, 3)[self._order]).ravel()
            if not load.any():
                continue

            def hear(share: float, at: int = at) -> None:
                if progress is not None:
                    progress((at + share) / k)

            swept = self._company.call(
                "solve",
                shared={"matrix": self._matrix, "tolerance": tolerance, "most": MOST_ITERATIONS},
                load=load,
                progress=hear,
            )
            self.peak_memory = swept.peak_memory
            out.reshape(n, 3, k)[self._order, :, at] = swept.answer.reshape(n, 3)
            if swept.reason <= 0 or not np.isfinite(swept.answer).all():
                raise _not_converged(swept, best=out, tolerance=tolerance)
            if len(swept.residuals) > record.iterations:
                record = SolveRecord(len(swept.residuals), swept.residuals)
        return out, record


def _not_converged(swept: Swept, *, best: Array, tolerance: float) -> NotConverged:
    left = swept.residuals[-1] if swept.residuals else 1.0
    return NotConverged(
        f"the iteration stopped after {len(swept.residuals)} steps at a relative residual of {left:.1e}, not "
        f"{tolerance:.0e}.",
        best=best,
        history=list(swept.residuals),
        advice="Look for a body that is hardly held, a very soft foundation, or very flat tetrahedra.",
    )
