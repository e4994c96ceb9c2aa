"""How long does PETSc take for a written problem, with conjugate gradients and its own algebraic multigrid?

    mpirun -n 2 python studies/speed/peer.py PROBLEM.npz [--tolerance 1e-8] [--options "pc_gamg_threshold=0.01 ..."]

PROBLEM comes from `peers.write_problem`. Prints JSON: seconds by stage on the slowest rank, iterations, the sum of
the ranks' peak memories. "share_out" (cutting the mesh and sending each rank its part) is told but counts in no other
stage; the compiled kernels are loaded before the clock starts. Each rank assembles with Beadwork's own kernel into
PETSc's rows, which is kind to PETSc. `--options` replaces the settings of GAMG that were found best here.

Tried on the isotropic wing saddle, two ranks on two cores, to 1e-8, with rigid motions, smoothed aggregation and two
steps of Chebyshev over 3 x 3 block Jacobi. Set-up and solve [s] and iterations, two runs where there are two numbers;
other work took a share of the machine, so that differences of a tenth mean nothing:

    threshold    466,281 unknowns                     950,937 unknowns
    none         6.8 and 8.5, 12.5 and 16.0 (59)      17.3 and 19.2, 35.2 and 39.9 (64)
    0.005        10.5, 10.7 (43)
    0.01         10.2 and 10.6, 11.8 and 10.4 (42)    25.9 and 25.1, 26.3 and 24.8 (43)    <- taken
    0.02         12.6 and 12.2, 10.9 and 9.2 (39)     28.5, 22.5 (41), 350 MB more

All are level at half a million; at a million a threshold is ahead. Without one, three steps of the smoother took 53
iterations at a million, in 18.8 and 47.2 s. On 95,745 unknowns by processor time on one rank, symmetric Gauss-Seidel,
plain Jacobi, three or four steps, and unsmoothed aggregates took a tenth to a half more than two steps at 0.02.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path

import numpy as np
from peers import read_problem, warm

from fem.solving.distributed import place, serve


def main() -> int:
    parser = argparse.ArgumentParser(description="Measure PETSc on a written problem; prints JSON.")
    parser.add_argument("problem", type=Path, metavar="PROBLEM", help="npz file of peers.write_problem")
    parser.add_argument("--tolerance", type=float, default=1e-8, help="relative residual (default: 1e-8)")
    parser.add_argument("--answer", type=Path, help="where the displacement goes (npy)")
    parser.add_argument("--options", default="", help="settings of PETSc as name=value, without leading -")
    options = parser.parse_args()
    warm(np.load(options.problem)["table"])
    if place()[0]:
        return serve()
    from fem.solving.distributed.solver import DistributedSolver

    mesh, known, load = read_problem(options.problem)
    settings = dict(pair.split("=", 1) for pair in options.options.split())
    begin = time.perf_counter()
    solver = DistributedSolver(mesh, **known, options=settings or None)
    built = time.perf_counter()
    found, record = solver.solve(load, tolerance=options.tolerance)
    done = time.perf_counter()
    if options.answer:
        np.save(options.answer, found.reshape(-1, 3))
    assemble, set_up = solver.built.assemble, solver.built.set_up
    numbers = {
        "peer": "PETSc CG with GAMG",
        "ranks": place()[1],
        "unknowns": mesh.unknowns,
        "share_out_s": built - begin - assemble - set_up,
        "assemble_s": assemble,
        "set_up_s": set_up,
        "solve_s": done - built,
        "all_s": assemble + set_up + done - built,
        "iterations": record.iterations,
        "residual": record.history[-1],
        "peak_memory_MB": solver.peak_memory,
    }
    print(json.dumps(numbers))
    return 0


if __name__ == "__main__":
    sys.exit(main())
