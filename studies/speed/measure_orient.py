"""What does a scan of build directions cost beside one run of the study, meshing and pictures included?

    python studies/speed/measure_orient.py [STUDY] [--directions 100] [--jobs N]

runs `beadwork run STUDY` and then `beadwork orient STUDY` in processes of their own, each into an empty folder, and
prints a Markdown table: seconds by the clock, seconds that the cores worked, what the scan costs in runs. The scan
counts as a whole: the spread directions, the part axes, the finer rings, the best ones on the study's own mesh, the
page. The compiled loops come up in a first run that is not counted. Infill cells that the user's cache does not hold
are solved on the way.
"""

from __future__ import annotations

import argparse
import csv
import tempfile
from pathlib import Path

from measure import machine
from measure_compare import took

STUDY = Path(__file__).parents[1] / "wing_saddle.toml"


def main() -> None:
    parser = argparse.ArgumentParser(description="Measure a scan of directions beside one run; prints Markdown.")
    parser.add_argument("study", nargs="?", type=Path, default=STUDY, help="study file with a printed body")
    parser.add_argument("--directions", type=int, default=100, help="directions spread over the half sphere")
    parser.add_argument("--jobs", type=int, help="processes of the scan (default: as the command chooses)")
    options = parser.parse_args()
    more = ["--directions", str(options.directions)]
    more += [] if options.jobs is None else ["--jobs", str(options.jobs)]
    with tempfile.TemporaryDirectory() as folder:
        took(["run", str(options.study), "--out", f"{folder}/first"])
        one = took(["run", str(options.study), "--out", f"{folder}/one"])
        scan = took(["orient", str(options.study), "--out", f"{folder}/scan", *more])
        rows = list(csv.DictReader(Path(folder, "scan", "orientation.csv").read_text(encoding="utf-8").splitlines()))
    coarse = sum(row["mesh"] == "scan" for row in rows)
    print(f"{machine()}\n\n{table(options.study.stem, one, scan, coarse=coarse, own=len(rows) - coarse)}")


def table(name: str, one: tuple[float, float], scan: tuple[float, float], *, coarse: int, own: int) -> str:
    """One row: what a run takes, what the scan takes, and the scan in runs."""
    heads = (
        "one run [s]",
        "processor [s]",
        "directions",
        "on the own mesh",
        "the scan [s]",
        "processor [s]",
        "in runs",
    )
    return (
        f"| study | {' | '.join(heads)} |\n| --- |{' ---: |' * len(heads)}\n"
        f"| {name} | {one[0]:.1f} | {one[1]:.1f} | {coarse} | {own} | {scan[0]:.1f} | {scan[1]:.1f} "
        f"| {scan[0] / one[0]:.1f} |"
    )


if __name__ == "__main__":
    main()
