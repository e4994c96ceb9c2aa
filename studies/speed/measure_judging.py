"""How long does it take to judge the cases of a solved study, and where does the time go?

    python studies/speed/measure_judging.py [STUDY] [--times 3]

prints two Markdown tables: the whole of the judging (stress, reserve, hot spots, reactions) of all cases of the study
(the wing saddle), and its two large pieces apart: stress recovered from one displacement, and reserve factors of one
case. Medians of `--times`, beside the seconds that the cores worked, which other work on the machine hardly changes;
the first run, in which compiled loops come up, does not count.
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
    from fem.judging.recovered import RecoveredStress
    from fem.judging.reserve import judge_reserve
    from fem.solving.cases import SolvedCases
    from fem.solving.linear import SolveRecord
    from fem.study.solved import solve_cases_of

    ready = prepare(read_study(path))
    solved = solve_cases_of(ready)
    whole = [solve_cases_of(ready).seconds["judge"] for _ in range(times)]
    part = solved.parts[0]
    case = next(iter(part.cases.values()))
    units = SolvedCases((case,), part.displacement, SolveRecord(solved.iterations, ()))
    recovered = RecoveredStress(ready.mesh, ready.printed, units)
    every, grows = (recovered.of(case, names) for names in (tuple(case.factors), case.growing))
    stays = every.minus(grows) if case.permanent else None
    pieces: dict[str, Callable[[], Any]] = {
        "stress of one displacement": lambda: recovered.of(case, tuple(case.factors)),
        "reserve factors of a case": lambda: judge_reserve(ready.mesh, ready.printed, permanent=stays, growing=grows),
    }
    rows = ["| piece | seconds | processor |\n| --- | ---: | ---: |"]
    for name, work in pieces.items():
        took = [timed(work) for _ in range(times)]
        rows.append(f"| {name} | {middle(t[0] for t in took):.2f} | {middle(t[1] for t in took):.2f} |")
    phases = sum(len(m.phases) for m in ready.printed.materials)
    head = "| nodes | families of beads | cases | all cases judged [s] | slowest [s] |\n|" + " ---: |" * 5
    line = f"| {len(ready.mesh.nodes):,} | {phases} | {len(solved.cases)} | {middle(whole):.2f} | {max(whole):.2f} |"
    return f"{head}\n{line}\n\n" + "\n".join(rows)


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
