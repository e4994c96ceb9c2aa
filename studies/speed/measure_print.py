"""How long does it take to lay walls, covers and infill into a large mesh, and to solve an infill cell?

    python studies/speed/measure_print.py [--size 1.5] [--times 3]

prints two Markdown tables: the printed field of the wing saddle meshed at `--size` mm (1.5 mm: about 250,000
tetrahedra), with its cell found on disk, and each infill pattern's cell solved anew. Medians of `--times`.
"""

from __future__ import annotations

import argparse
import statistics
import time
from pathlib import Path
from typing import Any

from measure import machine

MESHES = Path(__file__).parents[2] / "meshes"
DENSITIES = (0.2, 0.4, 0.6)


def main() -> None:
    parser = argparse.ArgumentParser(description="Measure printed fields and infill cells; prints Markdown.")
    parser.add_argument("--size", type=float, default=1.5, help="mesh size of the wing saddle [mm]")
    parser.add_argument("--times", type=int, default=3, help="so many runs, of which the median counts")
    options = parser.parse_args()
    print(f"{machine()}\n\n{field_table(options.size, options.times)}\n", flush=True)
    print(cell_table(options.times))


def field_table(size: float, times: int) -> str:
    """Seconds for the printed field of the wing saddle, walls, covers and gyroid, beyond its mesh and its cell."""
    from fem import PrintPlan, load_card, mesh_solid, printed_body, printed_field, read_solid

    mesh = mesh_solid(read_solid(MESHES / "wing_saddle.step", name="saddle"), size=size, finest=size / 2)
    plan = PrintPlan((0, 0, 1), walls=4, covers=5, infill_pattern="gyroid", infill_density=0.4)
    card = load_card("pa12-cf")
    made = printed_body(plan, card=card, state="conditioned")
    printed_field(mesh, bodies={"saddle": made})  # the compiled loops come up once
    seconds = [timed(lambda: printed_field(mesh, bodies={"saddle": made})) for _ in range(times)]
    again = [timed(lambda: printed_body(plan, card=card, state="conditioned")) for _ in range(times)]
    heads = ("tets", "unknowns", "printed field [s]", "slowest [s]", "cell found on disk [s]")
    head = f"| {' | '.join(heads)} |\n|{' ---: |' * len(heads)}"
    middle = statistics.median
    return (
        f"{head}\n| {len(mesh.tets):,} | {mesh.unknowns:,} | {middle(seconds):.1f} | {max(seconds):.1f} "
        f"| {middle(again):.2f} |"
    )


def cell_table(times: int) -> str:
    """Seconds to solve each pattern's cell with nothing kept from before, and how far its moduli still moved."""
    from fem import infill_cell, load_card

    values = load_card("pa12-cf").state("conditioned")
    bead = {"E": values.E, "nu": values.nu, "G": values.G, "strength": values.strength, "expansion": values.expansion}
    infill_cell("grid", density=0.5, bead_width=0.45, bead_height=0.2, cache=None, **bead)
    rows = ["| pattern | " + " | ".join(f"{100 * d:.0f} %: s | moves" for d in DENSITIES) + " |"]
    rows += ["| --- |" + " ---: | ---: |" * len(DENSITIES)]
    for pattern in ("woodpile", "grid", "triangle", "honeycomb", "cubic", "gyroid"):
        line = f"| {pattern} |"
        for density in DENSITIES:
            found: list[Any] = []

            def solve(pattern: str = pattern, density: float = density, found: list[Any] = found) -> None:
                size = {"density": density, "bead_width": 0.45, "bead_height": 0.2}
                found.append(infill_cell(pattern, cache=None, **size, **bead))

            took = statistics.median(timed(solve) for _ in range(times))
            line += f" {took:.1f} | {100 * found[-1].moves:.2f} % |"
        rows.append(line)
    return "\n".join(rows)


def timed(work: Any) -> float:
    """Seconds that one call takes."""
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


if __name__ == "__main__":
    main()
