"""A small part that has all that a solver meets: two orthotropic materials, a skew-held face, an elastic foundation.

Run under `mpirun` as a program, with what to do and where to write as arguments, it is one rank of a shared solve.
"""

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from helpers_fe import HIGH_X, LOW_X, LOW_Z, box, group

from fem.errors import BeadworkError, NotConverged, TooLargeError
from fem.loading.supports import Foundation, Held, foundation_matrices, gather, held_face
from fem.solving.blocks import BlockMatrix
from fem.solving.stiffness import add_blocks, assemble, block_pattern
from fem.tensors import orthotropic_stiffness

SCALE = 900.0
ORTHOTROPIC = orthotropic_stiffness((6000.0, 3000.0, 2000.0), (0.35, 0.40, 0.45), (1200.0, 800.0, 700.0))


@dataclass(frozen=True)
class Problem:
    mesh: object
    table: np.ndarray
    material: np.ndarray
    foundations: list
    projector: np.ndarray
    loads: np.ndarray

    @property
    def shared(self):
        """What the distributed solver takes."""
        names = ("table", "material", "foundations", "projector")
        return {name: getattr(self, name) for name in names} | {"scale": SCALE}

    def matrix(self):
        """P K P + scale (I - P) in one piece."""
        pattern = block_pattern(self.mesh)
        blocks = assemble(self.mesh, pattern, table=self.table, material=self.material)
        for nodes, local in self.foundations:
            add_blocks(pattern, blocks, nodes=nodes, local=local)
        matrix = BlockMatrix(pattern.start, pattern.column, blocks)
        matrix.hold(self.projector, scale=SCALE)
        return matrix.as_scipy()


def problem(*, stiffer=1.0) -> Problem:
    """The part; `stiffer` multiplies both materials."""
    mesh = box((40.0, 12.0, 20.0), (5, 2, 3))
    table = stiffer * np.array([ORTHOTROPIC, ORTHOTROPIC / 10])
    corners = np.arange(4) % 2  # both materials within one tetrahedron, too
    material = np.where((np.arange(len(mesh.tets)) % 3 == 0)[:, None], corners, 1).astype(np.int32)
    nodes = mesh.nodes_of((HIGH_X,))
    skew = np.tile(np.array([1.0, 1.0, 0.5]) / 1.5, (len(nodes), 1))
    slide = Held("slide", nodes, skew, np.zeros(len(nodes)), np.zeros(0, dtype=np.int32))
    held = [held_face(mesh, group(mesh, LOW_X), fixed=("x", "y"), name="root"), slide]
    projector = gather(mesh, tuple(held)).projector
    foundations = [foundation_matrices(mesh, Foundation("foundation", mesh.triangles_of((LOW_Z,)), 20.0, 5.0))]
    loads = np.random.default_rng(4).normal(size=(len(mesh.nodes), 3, 2))
    return Problem(mesh, table, material, foundations, projector, np.matmul(projector, loads).reshape(-1, 2))


def _fail_on(rank, error):
    """Make the assembly of one rank raise."""
    from fem.solving.distributed import place, rows

    def broken(*_args, **_more):
        raise error

    if place()[0] == rank:
        rows.assemble = broken


def _children():
    """Whether processes that rank 0 starts take themselves for ranks."""
    import subprocess
    from concurrent.futures import ProcessPoolExecutor

    from fem.solving.distributed import place
    from fem.solving.distributed.ranks import company

    others = company()
    asked = "from fem.solving.distributed import place; print(place())"
    started = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True).stdout
    with ProcessPoolExecutor(1) as pool:
        forked = pool.submit(place).result()
    print(place(), started.strip(), forked)
    others.dismiss()
    return 0


def main(what, out):
    from fem.solving.distributed import place, serve
    from fem.solving.distributed import solver as distributed_solver
    from fem.solving.distributed.solver import DistributedSolver

    if what == "rank 1 fails":
        _fail_on(1, ValueError("made to fail"))
    if what == "rank 0 fails":
        _fail_on(0, ValueError("made to fail"))
    if what == "rank 1 has no memory":
        _fail_on(1, MemoryError())
    if what == "rank 1 refuses":
        _fail_on(1, TooLargeError("made to refuse."))
    if place()[0]:
        return serve()
    if what == "children":
        return _children()
    made = problem()
    solver = DistributedSolver(made.mesh, **made.shared)
    if what == "rank 0 leaves":
        raise SystemExit(7)
    if what == "few steps":
        distributed_solver.MOST_ITERATIONS = 5
        try:
            solver.solve(made.loads, tolerance=1e-10)
        except NotConverged as failure:
            np.savez(out, best=failure.best, history=failure.history)
            raise
    heard = []
    answer, record = solver.solve(made.loads, tolerance=1e-10, progress=heard.append)
    one = made.loads[:, :1]
    loose, _ = solver.solve(one, tolerance=1e-2)
    softer = DistributedSolver(made.mesh, **problem(stiffer=0.5).shared)
    del solver  # its rows are forgotten when the next one is made
    half, _ = softer.solve(one, tolerance=1e-10)
    again = DistributedSolver(made.mesh, **made.shared)
    once_more, _ = again.solve(one, tolerance=1e-10)
    np.savez(
        out,
        ranks=place()[1],
        answer=answer,
        loose=loose,
        half=half,
        once_more=once_more,
        heard=heard,
        history=record.history,
    )
    return 0


if __name__ == "__main__":
    try:
        sys.exit(main(*sys.argv[1:]))
    except BeadworkError as failure:
        print(f"named: {type(failure).__name__}: {failure}", file=sys.stderr)
        sys.exit(failure.exit_status)
