"""How long does it take to judge the cases of a solved study, and where does the time go?

    python studies/speed/measure_judging.py [STUDY] [--times 3]

prints two Markdown tables: the whole of the judging (stress, reserve, hot spots, reactions) of all cases of the study
(the wing saddle) and their chance, and large pieces apart: what recovery sets up once for a mesh and its material,
stress recovered from all loads at unit factor, reserve factors of one case, and the samples of all chances. Medians
of `--times`, beside the seconds that the cores worked, which other work on the machine changes less; the first run,
in which compiled loops come up, does not count.
"""

from __future__ import annotations

import argparse
import statistics
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from measure import DEMO, machine


def main() -> None:
    parser = argparse.ArgumentParser(description="Measure how long judging takes; prints Markdown.")
    parser.add_argument("study", nargs="?", type=Path, default=DEMO, help="study file (the wing saddle)")
    parser.add_argument("--times", type=int, default=3, help="so many runs, of which the median counts")
    options = parser.parse_args()
    print(f"{machine()}\n", flush=True)
    print(tables(options.study, options.times))


def tables(path: Path, times: int) -> str:
    """Seconds to judge all cases of a study, and its pieces."""
    from fem import prepare, read_study
    from fem.judging import recovery
    from fem.judging.recovered import RecoveredStress
    from fem.judging.reserve import judge_reserve
    from fem.solving.cases import SolvedCases
    from fem.solving.linear import SolveRecord
    from fem.study.chances import with_chances
    from fem.study.solved import solve_cases_of

    ready = prepare(read_study(path))
    mesh, printed = ready.mesh, ready.printed
    solved = solve_cases_of(ready)
    whole = []
    for _ in range(times):
        with_chances(ready, solved.places, solved.answers)
        recovery._last.clear()  # set up anew, as in a run of its own
        whole.append(solve_cases_of(ready).seconds)
    part = solved.parts[0]
    cases = SolvedCases(tuple(part.cases.values()), part.displacement, SolveRecord(solved.iterations, ()))
    recovered, case = RecoveredStress(mesh, printed, cases), cases.cases[0]
    stays = recovered.stay(case) if case.permanent else None
    grows = recovered.of(case, case.growing)
    pieces: dict[str, Callable[[], Any]] = {
        "set up recovery": lambda: recovery.Recovery(mesh, printed),
        f"stress of {len(recovered.loads)} loads": lambda: RecoveredStress(mesh, printed, cases).units,
        "reserve factors of a case": lambda: judge_reserve(mesh, printed, permanent=stays, growing=grows),
        "samples of all chances": lambda: with_chances(ready, solved.places, solved.answers),
    }
    rows = ["| piece | seconds | processor |\n| --- | ---: | ---: |"]
    for name, work in pieces.items():
        took = [timed(work) for _ in range(times)]
        rows.append(f"| {name} | {middle(t[0] for t in took):.2f} | {middle(t[1] for t in took):.2f} |")
    phases = sum(len(m.phases) for m in printed.materials)
    head = "| nodes | families of beads | cases | all cases judged [s] | slowest [s] | stored for chance [s] |\n|"
    judged, stored = ([each.get(k, 0.0) for each in whole] for k in ("judge", "chance"))
    line = f"| {len(mesh.nodes):,} | {phases} | {len(solved.cases)} "
    line += f"| {middle(judged):.2f} | {max(judged):.2f} | {middle(stored):.2f} |"
    return head + " ---: |" * 6 + f"\n{line}\n\n" + "\n".join(rows)


def middle(values: Any) -> float:
    """The median."""
    return float(statistics.median(values))


def timed(work: Callable[[], Any]) -> tuple[float, float]:
    """Seconds on the clock and of the cores that one call takes."""
    begin, used = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - begin, time.process_time() - used


if __name__ == "__main__":
    main()
