"""What Beadwork's solver is held against: PETSc on several ranks, and SciPy's direct solver.

A problem is written to a file once (`write_problem`), and each peer solves that file in processes of its own, so that
its peak memory is its own. `run_petsc` and `run_direct` give the peer's numbers as a dictionary, or None with a line
on stderr that says why there are none.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from importlib.util import find_spec
from pathlib import Path
from shutil import which
from typing import Any

import numpy as np

HERE = Path(__file__).parent
LIMIT = 3600.0
"""Seconds after which a peer is stopped."""


def write_problem(
    path: Path,
    mesh: Any,
    *,
    table: np.ndarray,
    material: np.ndarray,
    projector: np.ndarray,
    load: np.ndarray,
    scale: float = 1000.0,
) -> Path:
    """Write mesh, stiffness `table` (k, 6, 6) [MPa] with `material` (m,) or (m, 4), `projector` (n, 3, 3) onto what
    may move, and `load` (n, 3) [N] to an npz file; `scale` [N/mm] is the spring in held directions.
    """
    moved = np.einsum("nij,nj->ni", projector, load)
    np.savez(
        path,
        nodes=mesh.nodes,
        tets=mesh.tets,
        table=table,
        material=material,
        projector=projector,
        load=moved,
        scale=scale,
    )
    return path


def read_problem(path: Path) -> tuple[Any, dict[str, Any], np.ndarray]:
    """The mesh (its boundary has no names), what goes with it, and the load (3n, 1) [N] of a written problem."""
    from fem.part.tetmesh import TetMesh

    found = np.load(path)
    m, none = len(found["tets"]), np.zeros(0, dtype=np.int32)
    mesh = TetMesh(
        nodes=found["nodes"],
        tets=found["tets"],
        body=np.zeros(m, dtype=np.int32),
        bodies=("part",),
        triangles=none.reshape(0, 6),
        face=none,
        faces=(),
    )
    known = {name: found[name] for name in ("table", "material", "projector")}
    return mesh, {**known, "scale": float(found["scale"])}, found["load"].reshape(-1, 1)


def run_petsc(
    problem: Path, *, ranks: int = 2, tolerance: float = 1e-8, answer: Path | None = None, options: str = ""
) -> dict[str, Any] | None:
    """PETSc's numbers on so many ranks (see peer.py); `answer` keeps the displacement (n, 3) [mm] in an npy file."""
    lacking = [name for name in ("mpi4py", "petsc4py") if find_spec(name) is None]
    lacking += [] if which("mpirun") else ["mpirun"]
    if lacking:
        print(f"PETSc is left out: {', '.join(lacking)} not installed (sh setup.sh distributed).", file=sys.stderr)
        return None
    words = subprocess.run(["mpirun", "--version"], capture_output=True, text=True).stdout
    launcher = ["mpirun", "-n", str(ranks)]
    if "Open MPI" in words:
        cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
        # A rank a core where there are enough; more ranks than cores must not be tied to one each
        launcher += ["--bind-to", "core"] if ranks <= cores else ["--bind-to", "none", "--oversubscribe"]
        launcher += ["--allow-run-as-root"] if hasattr(os, "getuid") and os.getuid() == 0 else []
    # One thread a rank: PETSc shares its work among ranks, not among threads
    threads = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "NUMBA_NUM_THREADS"), "1")
    command = [*launcher, sys.executable, str(HERE / "peer.py"), str(problem), "--tolerance", str(tolerance)]
    command += ["--answer", str(answer)] if answer else []
    command += ["--options", options] if options else []
    return _numbers("PETSc", command, environment={**os.environ, **threads})


def run_direct(problem: Path, *, answer: Path | None = None) -> dict[str, Any] | None:
    """The numbers of SciPy's direct solver on the same problem, at the size that the problem has."""
    command = [sys.executable, __file__, str(problem), *([str(answer)] if answer else [])]
    return _numbers("SciPy's direct solver", command, environment=dict(os.environ))


def _numbers(peer: str, command: list[str], *, environment: dict[str, str]) -> dict[str, Any] | None:
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=LIMIT, env=environment)
    except subprocess.TimeoutExpired:
        print(f"{peer} is left out: no answer after {LIMIT:.0f} s.", file=sys.stderr)
        return None
    lines = [line for line in done.stdout.splitlines() if line.startswith("{")]
    if done.returncode or not lines:
        said = [line for line in done.stderr.splitlines() if line.strip() and not line.startswith("-")]
        why = next(
            (line for line in said if "Error" in line or line.startswith("beadwork:")), (said or ["no word"])[-1]
        )
        print(f"{peer} is left out: it ended with status {done.returncode} ({why.strip()}).", file=sys.stderr)
        return None
    numbers: dict[str, Any] = json.loads(lines[-1])
    return numbers


def direct(problem: Path, *, answer: Path | None) -> dict[str, Any]:
    """Assemble, factorise and substitute in this process; seconds by stage, peak memory [MB]."""
    import resource

    from fem.solving.blocks import BlockMatrix
    from fem.solving.direct import SuperLU
    from fem.solving.stiffness import assemble, block_pattern

    mesh, known, load = read_problem(problem)
    warm(known["table"])
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    begin = time.perf_counter()
    pattern = block_pattern(mesh)
    blocks = assemble(mesh, pattern, table=known["table"], material=known["material"])
    whole = BlockMatrix(pattern.start, pattern.column, blocks)
    whole.hold(known["projector"], scale=known["scale"])
    matrix = whole.as_scipy().tocsr()
    matrix.eliminate_zeros()
    assembled = time.perf_counter()
    factor = SuperLU(matrix)
    factorised = time.perf_counter()
    found = factor.solve(load)
    done = time.perf_counter()
    if answer:
        np.save(answer, found.reshape(-1, 3))
    return {
        "peer": "SciPy's SuperLU",
        "unknowns": mesh.unknowns,
        "assemble_s": assembled - begin,
        "set_up_s": factorised - assembled,
        "solve_s": done - factorised,
        "all_s": done - begin,
        "residual": float(np.linalg.norm(load - matrix @ found) / np.linalg.norm(load)),
        "peak_memory_MB": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3,
        "peak_memory_before_MB": before / 1e3,
    }


def warm(table: np.ndarray) -> None:
    """Load the compiled kernels on one tetrahedron, so that this does not count as assembly."""
    from fem.part.tetmesh import TET_EDGES, TetMesh
    from fem.solving.blocks import BlockMatrix
    from fem.solving.stiffness import assemble, block_pattern

    corners = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]])
    nodes = np.concatenate([corners, [corners[list(e)].mean(axis=0) for e in TET_EDGES]])
    none, zero = np.zeros(0, dtype=np.int32), np.zeros(1, dtype=np.int32)
    tets = np.arange(10, dtype=np.int32)[None]
    one = TetMesh(nodes, tets, zero, ("one",), none.reshape(0, 6), none, ())
    pattern = block_pattern(one)
    blocks = assemble(one, pattern, table=table[:1], material=zero)
    BlockMatrix(pattern.start, pattern.column, blocks).hold(np.zeros((10, 3, 3)), scale=1.0)


if __name__ == "__main__":
    print(json.dumps(direct(Path(sys.argv[1]), answer=Path(sys.argv[2]) if len(sys.argv) > 2 else None)))
