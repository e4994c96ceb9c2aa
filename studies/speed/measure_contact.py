"""What bodies that meet cost to solve: steps, iterations and seconds beside the same bodies glued.

    python studies/speed/measure_contact.py                  # some 10,000, 150,000 and a million unknowns
    python studies/speed/measure_contact.py --only 150k

A block lies on a larger one, 0.05 mm apart, and is pressed down and pushed sideways: part of the seam sticks, part
slips. The upper block is held by the seam alone. The linear problem beside it is the same two blocks glued. Each size
runs in a process of its own; seconds are of the clock and of the processors.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import time
from dataclasses import replace
from typing import Any

import numpy as np

SIZES = {"10k": ((8, 8, 5), (7, 7, 4)), "150k": ((18, 18, 12), (15, 15, 8)), "1M": ((34, 34, 24), (28, 28, 15))}
"""Cells of the lower and the upper block."""
SIZE = {"lower": (60.0, 60.0, 30.0), "upper": (40.0, 40.0, 20.0)}
GAP = 0.05


def two_blocks(cells: tuple[tuple[int, int, int], tuple[int, int, int]]) -> Any:
    """The mesh of both, and the number at which the faces of the upper block begin."""
    from fem.evidence.bricks import block
    from fem.part.tetmesh import joined

    low, high = (np.array(SIZE[name]) for name in ("lower", "upper"))
    lower = block(cells[0], bend=lambda p: p * low - [low[0] / 2, low[1] / 2, low[2]])
    upper = block(cells[1], bend=lambda p: p * high - [high[0] / 2, high[1] / 2, -GAP])
    return joined([lower, replace(upper, bodies=("upper",))]), len(lower.faces)


def problem(name: str, *, kind: str) -> tuple[Any, np.ndarray]:
    """The two blocks of a size ready to be solved, and the forces (n, 3) [N]."""
    from fem.evidence.bricks import HIGH_Z, LOW_Z
    from fem.evidence.small_parts import field, group, material
    from fem.joining.facing import faces_opposite, first_of
    from fem.joining.joint import Joint
    from fem.loading.loads import force_load
    from fem.loading.supports import held_face
    from fem.solving.equilibrium import Equilibrium
    from fem.solving.joined import joined_of
    from fem.tensors import isotropic_stiffness

    mesh, off = two_blocks(SIZES[name])
    printed = field(
        mesh, material(isotropic_stiffness(70e3, 0.33)), material(isotropic_stiffness(2e3, 0.38)), which=mesh.body
    )
    first, second = first_of(mesh, mesh.triangles_of((HIGH_Z,)), mesh.triangles_of((off + LOW_Z,)))
    joint = Joint("seam", faces_opposite(mesh, first, second), kind, 0.3 if kind == "bearing" else 0.0)
    held = [held_face(mesh, group(mesh, LOW_Z), fixed=("x", "y", "z"), name="base")]
    forces = force_load(mesh, group(mesh, off + HIGH_Z), force=np.array([150.0, 0.0, -1000.0]))
    return Equilibrium(mesh, printed, held=held, joined=joined_of(mesh, printed, [joint])), forces


def measured(name: str) -> dict[str, Any]:
    """Both problems of a size, in this process."""
    from fem.solving.joints import solve_joints

    out: dict[str, Any] = {}
    if name != "10k":
        measured("10k")  # loads all compiled loops
    glued, forces = problem(name, kind="bonded")
    begin = time.perf_counter(), time.process_time()

    def mark(what: str) -> None:
        nonlocal begin
        now = time.perf_counter(), time.process_time()
        out[f"{what}_s"], out[f"{what}_processor_s"] = (round(b - a, 2) for a, b in zip(begin, now, strict=True))
        begin = time.perf_counter(), time.process_time()

    out["linear_iterations"] = glued.solve(forces[None])[1].iterations
    mark("linear")
    del glued
    bearing, forces = problem(name, kind="bearing")
    out["unknowns"], out["points"] = bearing.mesh.unknowns, len(bearing.joined.area)
    mark("equilibrium")
    found = solve_joints(bearing, forces)
    mark("contact")
    out["steps"], out["iterations"] = len(found.iterations), list(found.iterations)
    out["touching"], out["slipping"] = int(found.state.touching.sum()), int(found.state.slipping.sum())
    again = solve_joints(bearing, 1.1 * forces, begin=found.displacement)
    mark("again")
    out["again_steps"], out["again_iterations"] = len(again.iterations), list(again.iterations)
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--only", choices=SIZES, action="append", help="this size (may be repeated)")
    parser.add_argument("--own", choices=SIZES, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.own:
        print(json.dumps(measured(options.own)))
        return
    for name in options.only or SIZES:
        done = subprocess.run([sys.executable, __file__, "--own", name], capture_output=True, text=True, check=False)
        print(name, done.stdout.strip().splitlines()[-1] if done.returncode == 0 else done.stderr[-2000:], flush=True)


if __name__ == "__main__":
    main()
