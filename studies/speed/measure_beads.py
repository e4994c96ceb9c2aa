"""How long beads take: cubes of the demonstration's landing, and its whole saddle, each in a process of its own.

    python studies/speed/measure_beads.py             # cubes
    python studies/speed/measure_beads.py --whole "0.3 mm" "0.225 mm"

Seconds are those of filling, hanging, solving two right sides (what stays, what grows) and judging; the part was
solved before, and the loops compiled. Memory is the most that the process held.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

STUDY = Path(__file__).parent.parent / "wing_saddle.toml"
AT = (36.45, -5.44, 15.41)
CUBES = ((12.0, 0.15, 1), (12.0, 0.1125, 2), (16.8, 0.15, 1))


def cube(size: float, step: float, per_layer: int) -> None:
    """Solve and judge one cube in the landing, twice; print the second."""
    import numpy as np

    from fem.study.file import read_study
    from fem.study.machine import peak_memory
    from fem.study.run import prepare
    from fem.study.solved import solve_cases_of
    from fem.zooming.cube import BodyOfBeads
    from fem.zooming.judge import judge_cases, weakest
    from fem.zooming.place import Voxels, _cube, _inner

    study = read_study(STUDY)
    ready = prepare(study.with_({"cases": {"landing": dict(study.tree["cases"]["landing"])}}))
    part = solve_cases_of(ready).parts[0]
    body = BodyOfBeads(ready.mesh, "saddle", ready.made["saddle"])
    _cube(body, np.array(AT), 6.0, Voxels(step, per_layer), part)
    before = time.perf_counter()
    solved = _cube(body, np.array(AT), size, Voxels(step, per_layer), part)
    inner = _inner(body, solved.beads.grid, np.array(AT), size / 2)
    judged = judge_cases(solved, part.cases, inner=inner)["landing"]
    seconds, first = time.perf_counter() - before, weakest(judged, width=body.plan.bead_width)
    assert first is not None
    unknowns, iterations = f"{solved.system.unknowns:,}", solved.iterations
    row = (size, step, solved.beads.grid.step[2], unknowns, iterations, f"{seconds:.1f}", f"{peak_memory():,.0f}")
    print("| " + " | ".join(f"{v:.4g}" if isinstance(v, float) else str(v) for v in (*row, first.reserve)) + " |")


def whole(step: str) -> None:
    """The whole saddle in all cases, from the study to its findings, by the program's own stages."""
    from fem.study.file import read_study
    from fem.study.run import answer, prepare

    study = read_study(STUDY).with_({"judge.whole": True, "judge.zoom": 0, "judge.voxel": step})
    before = time.perf_counter()
    found = answer(prepare(study)).findings
    seconds = time.perf_counter() - before
    for name, case in found.cases.items():
        w: Any = case.whole
        zones = ", ".join(f"{zone} {value:.3f}" for zone, value in w.by_zone.items() if value is not None)
        print(
            f"| {step} | {name} | {w.unknowns:,} | {w.iterations} | {seconds:.0f} | {found.peak_memory_MB:,.0f} | "
            f"{w.maximum_displacement_mm:.4f} ({case.maximum_displacement_mm:.4f}) | {w.strain_energy_mJ:.1f} "
            f"({case.strain_energy_mJ:.1f}) | {zones} |"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--whole", nargs="*", default=None, help="edges of the boxes of whole parts")
    parser.add_argument("--one", nargs=3, help=argparse.SUPPRESS)
    parser.add_argument("--part", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.one:
        size, step, per_layer = options.one
        cube(float(size), float(step), int(per_layer))
    elif options.part:
        whole(options.part)
    elif options.whole is not None:
        print(
            "| boxes | case | unknowns | iterations | all cases [s] | memory [MB] | displacement | energy | minima |"
        )
        for step in options.whole or ["0.225 mm"]:
            subprocess.run([sys.executable, __file__, "--part", step], check=True)
    else:
        print("| cube [mm] | box [mm] | height [mm] | unknowns | iterations | [s] | memory [MB] | least |")
        for given in CUBES:
            subprocess.run([sys.executable, __file__, "--one", *map(str, given)], check=True)


if __name__ == "__main__":
    main()
