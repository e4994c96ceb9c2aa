"""One rank's rows of the stiffness matrix in PETSc, and the solve in which all ranks take part.

Conjugate gradients with smoothed-aggregation multigrid (PETSc's GAMG) that knows the rigid motions.
Sources: PETSc/TAO users manual, chapters KSP and GAMG; M. Adams, H. Bayraktar, T. Keaveny, P. Papadopoulos,
"Ultrascalable implicit finite element analyses in solid mechanics", SC 2004.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.part.tetmesh import Index
from fem.solving.distributed.ranks import libraries
from fem.solving.distributed.shares import Share
from fem.solving.motions import rigid_motions
from fem.solving.stiffness import BlockPattern, assemble, block_pattern
from fem.tensors import Array

PREFIX = "beadwork_"
"""Before each of PETSc's options here; one set from outside (PETSC_OPTIONS) wins."""
OPTIONS = {
    "pc_type": "gamg",
    "pc_gamg_type": "agg",
    "pc_gamg_agg_nsmooths": "1",
    "pc_gamg_threshold": "0.01",
    "mg_levels_ksp_type": "chebyshev",
    "mg_levels_ksp_max_it": "2",
    "mg_levels_pc_type": "pbjacobi",
}
"""As good as any that was tried; studies/speed/peer.py tells which were."""


@dataclass(frozen=True)
class Built:
    """What building took on the slowest rank [s]: the rows, and the multigrid levels."""

    assemble: float
    set_up: float


@dataclass(frozen=True)
class Swept:
    """A solve's answer as rank 0 sees it: `answer` (3n,) in the ranks' common order, `residuals` relative to the
    load's size after each iteration, `reason` PETSc's, above zero where it converged, `peak_memory` [MB] the largest
    that each rank has held, all ranks together.
    """

    answer: Array
    residuals: tuple[float, ...]
    reason: int
    peak_memory: float


class Rows:
    """The rows of a share's owned nodes, preconditioned together with those of the other ranks.

    To be made, used and destroyed by all ranks at once.
    """

    def __init__(self, comm: Any, share: Share, *, options: Mapping[str, str] | None = None) -> None:
        _, petsc = libraries()
        self._comm, self._petsc, self._share = comm, petsc, share
        comm.Barrier()
        begin = time.perf_counter()
        start, column, data = block_rows(share)
        own, all_rows = 3 * share.owned, 3 * share.total
        self.matrix = petsc.Mat().createAIJ(
            ((own, all_rows), (own, all_rows)), bsize=3, csr=_scalar_rows(start, column, data, share), comm=comm
        )
        del start, column, data
        self.matrix.setOption(petsc.Mat.Option.SPD, True)
        self._motions = [self._vector(v) for v in self._rigid_motions().T]
        near = petsc.NullSpace().create(vectors=self._motions, comm=comm)
        self.matrix.setNearNullSpace(near)
        near.destroy()
        comm.Barrier()
        assembled = time.perf_counter()
        known = petsc.Options()
        given = {PREFIX + name: value for name, value in {**OPTIONS, **(options or {})}.items()}
        given = {name: value for name, value in given.items() if not known.hasName(name)}
        for name, value in given.items():
            known.setValue(name, value)
        self.solver = petsc.KSP().create(comm=comm)
        self.solver.setOptionsPrefix(PREFIX)
        self.solver.setType("cg")
        self.solver.setOperators(self.matrix)
        self.solver.setNormType(petsc.KSP.NormType.UNPRECONDITIONED)
        self.solver.setFromOptions()
        self.solver.setUp()
        for name in given:
            known.delValue(name)  # the next matrix may ask for others
        comm.Barrier()
        done = time.perf_counter()
        self.built = Built(assembled - begin, done - assembled)

    def solve(
        self,
        *,
        tolerance: float,
        most: int,
        load: Array | None = None,
        progress: Callable[[float], None] | None = None,
    ) -> Swept:
        """Solve for one load (3n,) until |residual| <= tolerance |load|.

        Rank 0 alone holds the load, in the ranks' common order, and gets the answer.
        """
        comm, own = self._comm, 3 * self._share.owned
        counts = comm.gather(own)
        right, answer = self.matrix.createVecs()
        comm.Scatterv([load, counts] if comm.rank == 0 else None, right.array_w)
        size = right.norm()
        residuals: list[float] = []

        def hear(_solver: Any, step: int, residual: float) -> None:
            if step:
                residuals.append(residual / size)
                if progress is not None:
                    progress(min(1.0, max(0.0, float(np.log(residuals[-1] or tolerance) / np.log(tolerance)))))

        self.solver.setTolerances(rtol=tolerance, atol=0.0, divtol=1e8, max_it=most)
        self.solver.monitorCancel()
        self.solver.setMonitor(hear)
        self.solver.solve(right, answer)
        reason = int(self.solver.getConvergedReason())
        whole = np.empty(3 * self._share.total) if comm.rank == 0 else np.empty(0)
        comm.Gatherv(answer.array_r, [whole, counts] if comm.rank == 0 else None)
        right.destroy()
        answer.destroy()
        return Swept(whole, tuple(residuals), reason, comm.allreduce(peak_memory_here()))

    def destroy(self) -> None:
        """Give the memory back."""
        self.solver.destroy()
        self.matrix.destroy()
        for vector in self._motions:
            vector.destroy()

    def _vector(self, values: Array) -> Any:
        return self._petsc.Vec().createWithArray(
            np.ascontiguousarray(values), size=(len(values), 3 * self._share.total), bsize=3, comm=self._comm
        )

    def _rigid_motions(self) -> Array:
        """Slides and turns (3 owned, j) with held directions taken out, orthonormal over all ranks."""
        share = self._share
        here = slice(0, share.owned)
        free = rigid_motions(share.nodes[here], centre=share.centre, size=share.size)
        motions = (share.projector[here] @ free).reshape(-1, 6)
        gram = self._comm.allreduce(motions.T @ motions)
        values, vectors = np.linalg.eigh(gram)
        keep = values > 1e-10 * values.max()
        return np.asarray(motions @ (vectors[:, keep] / np.sqrt(values[keep])))


def block_rows(share: Share) -> tuple[Index, Index, Array]:
    """The owned rows of P K P + scale (I - P): `start` (owned + 1,), `column` (b,) in the share's numbers, `data`
    (b, 3, 3) [N/mm]. Blocks that a held node leaves at nothing are left out.
    """
    mesh = share.mesh
    pattern = block_pattern(mesh)
    blocks = assemble(mesh, pattern, table=share.table, material=share.material)
    end = int(pattern.start[share.owned])
    start, column, data = pattern.start[: share.owned + 1], pattern.column[:end], blocks[:end]
    row = np.repeat(np.arange(share.owned), np.diff(start))
    for nodes, local in share.springs:
        _add_springs(pattern, data, nodes=nodes, local=local, owned=share.owned)
    rest = np.eye(3) - share.projector
    held = np.abs(rest).max(axis=(1, 2)) > 1e-12
    touched = np.flatnonzero(held[row] | held[column])
    data[touched] = share.projector[row[touched]] @ data[touched] @ share.projector[column[touched]]
    on_diagonal = touched[row[touched] == column[touched]]
    data[on_diagonal] += share.scale * rest[row[on_diagonal]]
    keep = np.ones(end, dtype=bool)
    # A product with a projection that holds all leaves zero to the last bit or to rounding
    keep[touched] = np.abs(data[touched]).max(axis=(1, 2)) > 1e-14 * share.scale
    if keep.all():
        return start, column, data
    count = np.bincount(row[keep], minlength=share.owned)
    return np.concatenate([[0], np.cumsum(count)]), column[keep], data[keep]


def _add_springs(pattern: BlockPattern, data: Array, *, nodes: Index, local: Array, owned: int) -> None:
    """Add spring matrices `local` (j, a, a, 3, 3) between `nodes` (j, a) to the owned rows, in place."""
    a = nodes.shape[1]
    row, column = np.repeat(nodes, a, axis=1).ravel(), np.tile(nodes, (1, a)).ravel()
    own = row < owned
    row, column, springs = row[own], column[own], local.reshape(-1, 3, 3)[own]
    width = len(pattern.start)
    key = np.repeat(np.arange(owned, dtype=np.int64), np.diff(pattern.start[: owned + 1])) * width
    key += pattern.column[: len(key)]
    np.add.at(data, np.searchsorted(key, row.astype(np.int64) * width + column), springs)


def _scalar_rows(start: Index, column: Index, data: Array, share: Share) -> tuple[Index, Index, Array]:
    """The blocks as single rows for PETSc, columns in the ranks' common numbering."""
    from scipy.sparse import bsr_matrix

    _, petsc = libraries()
    width = 3 * share.total
    rows = bsr_matrix((data, share.number[column], start), shape=(3 * share.owned, width)).tocsr()
    rows.sort_indices()
    return rows.indptr.astype(petsc.IntType), rows.indices.astype(petsc.IntType), rows.data


def peak_memory_here() -> float:
    """Largest memory that this process has held [MB]."""
    import resource  # not on every system

    used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return used / (1e6 if sys.platform == "darwin" else 1e3)
