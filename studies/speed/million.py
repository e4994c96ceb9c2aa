"""How fast a part of a million unknowns is assembled and solved, beside PETSc and SciPy on the same mesh.

    python studies/speed/million.py                 # sizes 100k, 466k and 1M; PETSc where it is installed
    python studies/speed/million.py --only 1M --repeats 5 --no-peers
    python studies/speed/million.py --only 3M --repeats 1 --no-peers

The part is the demonstration's saddle in isotropic material, held at its socket's rim and loaded on its seat. Each
measurement runs in a process of its own, so that its peak memory is its own; Beadwork and its peers take turns in one
run of this script. Compiled loops are loaded before the clock starts, as PETSc's are. Medians are printed and written
to million.json in the folder of the problems.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
from peers import read_problem, run_direct, run_petsc, warm, write_problem

HERE = Path(__file__).parent
SIZES = {"100k": (8.0, 2.6), "466k": (2.4, 1.2), "1M": (1.58, 0.79), "3M": (1.03, 0.515)}
"""Mesh size and finest size [mm]."""
COLUMNS = 12
VARIANTS = (("wet", 1400.0, 0.40), ("other", 6000.0, 0.30))
"""Another state of the same nylon, for which the preconditioner serves again, and another material, for which not:
Young's modulus [MPa] and Poisson's ratio; the first solve has 2000 MPa and 0.38.
"""
KEPT = HERE.parents[1].joinpath("results", "speed")
SMALLEST = "saddle_100k.npz"


def make_problem(name: str, folder: Path) -> Path:
    """Mesh the saddle at one of the sizes and write the problem, unless it is there."""
    from fem.part import meshing
    from fem.part.solid import read_solid
    from fem.tensors import isotropic_stiffness

    path = folder / f"saddle_{name}.npz"
    if not path.exists():
        size, finest = SIZES[name]
        # The memory that meshing asks for is a whole run's, by a generous estimate; here only the solver runs
        meshing.BYTES_PER_UNKNOWN = 2000
        solid = read_solid(HERE.parents[1] / "meshes" / "wing_saddle.step", name="saddle")
        mesh = meshing.mesh_solid(solid, size=size, finest=finest)
        projector = np.tile(np.eye(3), (len(mesh.nodes), 1, 1))
        projector[mesh.nodes[:, 2] > mesh.box[1, 2] - 0.01] = 0.0
        load = np.zeros_like(mesh.nodes)
        load[mesh.nodes[:, 2] < mesh.box[0, 2] + 1e-6] = (0.3, -0.2, 1.0)
        material = np.zeros(len(mesh.tets), dtype=np.int32)
        write_problem(
            path,
            mesh,
            table=isotropic_stiffness(2000.0, 0.38)[None],
            material=material,
            projector=projector,
            load=load,
        )
    return path


def own(problem: Path, *, columns: int, answer: Path | None) -> dict[str, Any]:
    """Assemble, set up and solve in this process: seconds by stage, iterations, peak memory [MB]."""
    import resource

    from fem.loading.supports import HeldNodes
    from fem.solving.solvers import MultigridSolver
    from fem.solving.stiffness import assemble, block_pattern
    from fem.solving.system import HeldSystem

    def peak() -> float:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3

    mesh, known, load = read_problem(problem)
    warm(known["table"])
    held = HeldNodes(known["projector"], np.zeros_like(mesh.nodes))
    before = peak()
    if problem.name != SMALLEST:
        own(problem.with_name(SMALLEST), columns=columns, answer=None)  # loads all compiled loops
    marks = [time.perf_counter()]

    def mark() -> float:
        marks.append(time.perf_counter())
        return marks[-1] - marks[-2]

    out: dict[str, Any] = {"peer": "Beadwork", "unknowns": mesh.unknowns, "columns": columns}
    pattern = block_pattern(mesh)
    out["pattern_s"] = mark()
    blocks = assemble(mesh, pattern, table=known["table"], material=known["material"])
    out["assemble_s"] = mark()
    solver = MultigridSolver(HeldSystem(mesh, pattern, blocks, held=held, foundations=()))
    out["set_up_s"] = mark()
    right = load if columns == 1 else _many(load, mesh.nodes, columns)
    mark()
    found, record = solver.solve(right, tolerance=1e-8)
    out["solve_s"] = mark()
    out["iterations"] = record.iterations
    out["all_s"] = out["pattern_s"] + out["assemble_s"] + out["set_up_s"] + out["solve_s"]
    out["peak_memory_MB"], out["peak_memory_before_MB"] = peak(), before
    if answer:
        np.save(answer, found[:, 0].reshape(-1, 3))
    if columns == 1:
        out |= _again(mesh, pattern, known, held, load, solver, blocks)
    return out


def _again(
    mesh: Any, pattern: Any, known: dict[str, Any], held: Any, load: np.ndarray, solver: Any, blocks: np.ndarray
) -> dict[str, Any]:
    """Variants: other materials on the known mesh, from assembly to answer; and what single products take."""
    from fem.solving.earlier import Earlier
    from fem.solving.solvers import MultigridSolver
    from fem.solving.stiffness import assemble
    from fem.solving.system import HeldSystem
    from fem.tensors import isotropic_stiffness

    products: dict[str, Any] = {}
    for name, matrix in (("double", solver.system.elastic), ("single", solver.precondition.matrix)):
        x = np.ones((mesh.unknowns, 1), dtype=matrix.dtype)
        y = np.empty_like(x)
        taken = []
        for _ in range(7):
            begin = time.perf_counter()
            matrix.multiply(x, y)
            taken.append(time.perf_counter() - begin)
        size = matrix.blocks.nbytes + matrix.column.nbytes
        products[f"product_{name}_s"] = statistics.median(taken)
        products[f"product_{name}_GB_per_s"] = size / statistics.median(taken) / 1e9
    copy = np.empty_like(blocks)
    np.copyto(copy, blocks)
    begin = time.perf_counter()
    np.copyto(copy, blocks)
    products["copy_GB_per_s"] = 2 * blocks.nbytes / (time.perf_counter() - begin) / 1e9
    residual = np.ones((mesh.unknowns, 1))
    solver.precondition(residual)
    begin = time.perf_counter()
    solver.precondition(residual)
    products["preconditioner_s"] = time.perf_counter() - begin
    del copy, blocks
    earlier = Earlier.of(solver.precondition, known["table"], known["material"], solver.system)
    del solver
    for name, modulus, ratio in VARIANTS:
        table = isotropic_stiffness(modulus, ratio)[None]
        begin = time.perf_counter()
        blocks = assemble(mesh, pattern, table=table, material=known["material"])
        products[f"{name}_assemble_s"] = time.perf_counter() - begin
        system = HeldSystem(mesh, pattern, blocks, held=held, foundations=())
        serves = earlier.serves(table, known["material"], system)
        solver = MultigridSolver(system, precondition=earlier.precondition if serves else None)
        _, record = solver.solve(load, tolerance=1e-8)
        products[f"{name}_all_s"] = time.perf_counter() - begin
        products[f"{name}_iterations"] = record.iterations
    return products


def _many(load: np.ndarray, nodes: np.ndarray, columns: int) -> np.ndarray:
    """Loads that are no sums of each other: the given one times powers of the place."""
    at = nodes / np.abs(nodes).max()
    shapes = [at[:, 0] ** i * at[:, 1] ** j for i in range(4) for j in range(3)]
    return np.stack([(load.reshape(-1, 3) * shape[:, None]).ravel() for shape in shapes[:columns]], axis=1)


def run_own(problem: Path, *, columns: int = 1, answer: Path | None = None) -> dict[str, Any]:
    """`own` in a process of its own."""
    command = [sys.executable, str(HERE / "million.py"), "--own", str(problem), "--columns", str(columns)]
    command += ["--answer", str(answer)] if answer else []
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise RuntimeError(done.stderr[-2000:])
    return dict(json.loads(done.stdout.strip().splitlines()[-1]))


def medians(runs: list[dict[str, Any]]) -> dict[str, Any]:
    """The median of every number."""
    return {
        key: statistics.median(run[key] for run in runs) if isinstance(value, (int, float)) else value
        for key, value in runs[0].items()
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--only", choices=SIZES, action="append", help="this size (may be repeated)")
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--no-peers", action="store_true", help="leave PETSc and SciPy out")
    parser.add_argument("--direct", choices=SIZES, default="100k", help="the size at which SciPy factorises")
    parser.add_argument("--folder", type=Path, default=KEPT, help="where problems are kept")
    parser.add_argument("--own", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--columns", type=int, default=1, help=argparse.SUPPRESS)
    parser.add_argument("--answer", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.own:
        print(json.dumps(own(options.own, columns=options.columns, answer=options.answer)))
        return
    options.folder.mkdir(parents=True, exist_ok=True)
    make_problem("100k", options.folder)
    report: dict[str, Any] = {"cores": len(os.sched_getaffinity(0)), "sizes": {}}
    for name in options.only or ("100k", "466k", "1M"):
        problem = make_problem(name, options.folder)
        runs: dict[str, list[dict[str, Any]]] = {"Beadwork": [], "twelve columns": [], "PETSc": [], "SciPy": []}
        for _ in range(options.repeats):
            runs["Beadwork"].append(run_own(problem, answer=options.folder / f"own_{name}.npy"))
            runs["twelve columns"].append(run_own(problem, columns=COLUMNS))
            if not options.no_peers:
                found = run_petsc(problem, ranks=2, answer=options.folder / f"petsc_{name}.npy")
                runs["PETSc"] += [found] if found else []
        if name == options.direct and not options.no_peers:
            found = run_direct(problem, answer=options.folder / f"direct_{name}.npy")
            runs["SciPy"] += [found] if found else []
        report["sizes"][name] = {who: medians(each) for who, each in runs.items() if each}
        for peer in ("petsc", "direct"):
            file = options.folder / f"{peer}_{name}.npy"
            if file.exists():
                theirs, ours = np.load(file), np.load(options.folder / f"own_{name}.npy")
                report["sizes"][name][f"apart from {peer}"] = float(
                    np.abs(theirs - ours).max() / np.abs(theirs).max()
                )
        print(json.dumps({name: report["sizes"][name]}, indent=1), flush=True)
        (options.folder / "million.json").write_text(json.dumps(report, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
