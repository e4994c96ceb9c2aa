"""What do the variants of a study cost beside one run of it, meshing and pictures included?

    python studies/speed/measure_compare.py [STUDY] [--jobs N] [--counted 24]

runs `beadwork run STUDY` and then `beadwork compare STUDY` in processes of their own, into an empty folder, and
prints a Markdown table: seconds by the clock, seconds that the cores worked, and what `--counted` variants cost in
runs. The study is the thirty ways to make the wing saddle. The compiled loops come up in a first run that is not
counted; with `--cold` there is none. Infill cells that the user's cache does not hold are solved on the way.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from measure import machine

STUDY = Path(__file__).parents[1] / "choose_saddle.toml"


def main() -> None:
    parser = argparse.ArgumentParser(description="Measure a comparison beside one run; prints Markdown.")
    parser.add_argument("study", nargs="?", type=Path, default=STUDY, help="study file with variants")
    parser.add_argument("--jobs", type=int, help="processes of the comparison (default: as the command chooses)")
    parser.add_argument("--counted", type=int, default=24, help="so many variants are set against one run")
    parser.add_argument("--cold", action="store_true", help="leave out the first run that is not counted")
    options = parser.parse_args()
    jobs = [] if options.jobs is None else ["--jobs", str(options.jobs)]
    with tempfile.TemporaryDirectory() as folder:
        if not options.cold:
            took(["run", str(options.study), "--out", f"{folder}/first"])
        one = took(["run", str(options.study), "--out", f"{folder}/one"])
        many = took(["compare", str(options.study), "--out", f"{folder}/many", *jobs])
        count = len(list(Path(folder, "many", "variants").glob("*.json")))
    print(f"{machine()}\n\n{table(options.study.stem, one, many, count=count, counted=options.counted)}")


def took(arguments: list[str]) -> tuple[float, float]:
    """Seconds by the clock and seconds of all cores that one command takes."""
    before, begin = os.times(), time.perf_counter()
    subprocess.run([sys.executable, "-m", "fem.cli", *arguments], check=True, stdout=subprocess.DEVNULL)
    after = os.times()
    worked = after.children_user + after.children_system - before.children_user - before.children_system
    return time.perf_counter() - begin, worked


def table(name: str, one: tuple[float, float], many: tuple[float, float], *, count: int, counted: int) -> str:
    """One row: what a run takes, what the variants take, and `counted` of them in runs."""
    heads = ("one run [s]", "processor [s]", "variants", "all of them [s]", "processor [s]", "a variant [s]")
    share = many[0] / count * counted / one[0]
    return (
        f"| study | {' | '.join(heads)} | {counted} variants in runs |\n| --- |{' ---: |' * (len(heads) + 1)}\n"
        f"| {name} | {one[0]:.1f} | {one[1]:.1f} | {count} | {many[0]:.1f} | {many[1]:.1f} | {many[0] / count:.1f} "
        f"| {share:.1f} |"
    )


if __name__ == "__main__":
    main()
