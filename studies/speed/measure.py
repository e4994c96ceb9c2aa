"""How long does a study take at which mesh, and how much memory does it hold?

    python studies/speed/measure.py [STUDY ...] [--sizes 10 7 6 4.5]

prints a Markdown table with one row for each study and mesh size [mm]: from the solid file to the finished report
with its pictures. Each row runs in a Python of its own, so that its peak memory is its own. The finest size
keeps its ratio to the size. Without a study the wing saddle is measured; `--sizes` may be left out to take each
study as it is written.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

DEMO = Path(__file__).parents[1] / "wing_saddle.toml"
SIZES = (10.0, 7.0, 6.0, 4.5)
STARTS = 5


def main() -> None:
    parser = argparse.ArgumentParser(description="Measure seconds by stage and peak memory; prints Markdown.")
    parser.add_argument("studies", nargs="*", type=Path, metavar="STUDY", help="study files (the wing saddle)")
    parser.add_argument("--sizes", nargs="*", type=float, metavar="MM", help="mesh sizes [mm], one row each")
    parser.add_argument("--one", type=float, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.one is not None:
        print(json.dumps(measure(options.studies[0], size=options.one)))
        return
    sizes = options.sizes or ([0.0] if options.studies else list(SIZES))
    print(f"{machine()}\n\n{starts()}\n", flush=True)
    rows = [row_of(study, size) for study in options.studies or [DEMO] for size in sizes]
    print(table(rows))


def measure(path: Path, *, size: float) -> dict[str, Any]:
    """Answer a study at one mesh size [mm] (0: as written) in this process, and tell what it took."""
    begin = time.perf_counter()
    from fem import answer, prepare, read_study, tell
    from fem.study.run import peak_memory

    study = read_study(path)
    if size:
        study = study.with_(resized(study.bodies, size=size))
    loaded = time.perf_counter()
    outcome = answer(prepare(study))
    answered = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        tell(outcome.findings, outcome.scene, folder=Path(folder))
    done = time.perf_counter()
    found = outcome.findings
    used = os.times()
    return {
        "study": path.stem,
        "size": largest(study.bodies),
        "tets": found.mesh.tets,
        "unknowns": found.mesh.unknowns,
        "stages": {"start": loaded - begin, **found.seconds, "tell": done - answered},
        "cpu": used.user + used.system,
        "iterations": found.trust["solver_iterations"],
        "memory": peak_memory(),
    }


def largest(bodies: dict[str, Any]) -> float:
    """The largest mesh size that the study names [mm]; 0 where it leaves all to the program."""
    return max((body.size or 0.0 for body in bodies.values()), default=0.0)


def resized(bodies: dict[str, Any], *, size: float) -> dict[str, str]:
    """What changes a study so that its largest mesh size is `size` [mm] and all others keep their proportion."""
    ratio = size / (largest(bodies) or size)
    return {
        f"bodies.{name}.mesh.{key}": f"{(own or size / ratio) * ratio:.9g} mm"
        for name, body in bodies.items()
        for key, own in (("size", body.size), ("finest", body.finest))
        if own or key == "size"
    }


def row_of(study: Path, size: float) -> dict[str, Any]:
    """The measures of one row, taken in a fresh process."""
    command = [sys.executable, __file__, str(study), "--one", str(size)]
    begin = time.perf_counter()
    done = subprocess.run(command, capture_output=True, text=True)
    wall = time.perf_counter() - begin
    if done.returncode:
        sys.exit(f"{study} at {size:g} mm: {(done.stderr.strip().splitlines() or ['no answer'])[-1]}")
    return {**json.loads(done.stdout.splitlines()[-1]), "wall": wall}


def table(rows: list[dict[str, Any]]) -> str:
    """The rows as a Markdown table, one column for each stage that any of them went through.

    "between" is what no stage claims (the process coming up and going down, supports, findings), so that a row adds
    up to "all"; "processor" is the time that the cores worked for it, which other work on the machine hardly changes.
    """
    stages = list(dict.fromkeys(stage for row in rows for stage in row["stages"]))
    head = ["study", "mesh size [mm]", "tets", "unknowns", *(f"{s} [s]" for s in stages)]
    head += ["between [s]", "all [s]", "processor [s]", "iterations", "peak memory [MB]"]
    lines = [head, ["---", *["---:"] * (len(head) - 1)]]
    for row in rows:
        seconds = [f"{row['stages'].get(stage, 0.0):.1f}" for stage in stages]
        size = f"{row['size']:g}" if row["size"] else "own choice"
        seconds.append(f"{row['wall'] - sum(row['stages'].values()):.1f}")
        line = [row["study"], size, f"{row['tets']:,}", f"{row['unknowns']:,}", *seconds]
        lines.append(
            [*line, f"{row['wall']:.1f}", f"{row['cpu']:.1f}", str(row["iterations"]), f"{row['memory']:,.0f}"]
        )
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def starts() -> str:
    """How long the package and the command take to come up: the median of some fresh starts, as a Markdown table."""
    script = Path(sys.executable).with_name("beadwork")
    beadwork = [str(script)] if script.exists() else [sys.executable, "-c", "from fem.cli import main; main()"]
    kinds = {
        "Python alone": [sys.executable, "-c", "pass"],
        "`import fem`": [sys.executable, "-c", "import fem"],
        "`from fem import read_study`": [sys.executable, "-c", "from fem import read_study"],
        "`beadwork --help`": [*beadwork, "--help"],
    }
    lines = ["| start-up | median [s] | slowest [s] |", "| --- | ---: | ---: |"]
    for name, command in kinds.items():
        times = []
        for _ in range(STARTS):
            begin = time.perf_counter()
            subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
            times.append(time.perf_counter() - begin)
        lines.append(f"| {name} | {statistics.median(times):.2f} | {max(times):.2f} |")
    return "\n".join(lines)


def machine() -> str:
    """The machine in words, and how busy it is with other work."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    words = f"{cores} core{'s' if cores > 1 else ''}"
    if hasattr(os, "sysconf") and "SC_PHYS_PAGES" in os.sysconf_names:
        words += f", {os.sysconf('SC_PHYS_PAGES') * os.sysconf('SC_PAGE_SIZE') / 1024**3:.0f} GB of memory"
    words += f", Python {platform.python_version()} on {platform.system()} ({platform.machine()})."
    if hasattr(os, "getloadavg"):
        busy = os.getloadavg()[0]
        words += f" Before the first row, other work kept {busy:.1f} cores busy (mean of the last minute)."
    return words


if __name__ == "__main__":
    main()
