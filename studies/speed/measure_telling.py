"""How long do the pictures and the page of a study take, drawn by how many processes?

    python studies/speed/measure_telling.py [STUDY] [--processes 1 2]

solves the study once without zooms (the wing saddle) and tells it with each count of processes, in a Python of its
own each. Prints a Markdown table: seconds by the clock, seconds of processor time of all processes together, and how
many pictures there are.
"""

from __future__ import annotations

import argparse
import json
import os
import pickle
import subprocess
import sys
import tempfile
import time
from pathlib import Path

DEMO = Path(__file__).parents[1] / "wing_saddle.toml"


def main() -> None:
    parser = argparse.ArgumentParser(description="Measure how long telling a study takes; prints Markdown.")
    parser.add_argument("study", nargs="?", type=Path, default=DEMO, help="study file (the wing saddle)")
    parser.add_argument(
        "--processes", nargs="*", type=int, default=[1, 2], help="how many processes draw, a row each"
    )
    parser.add_argument("--told", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.told:
        print(json.dumps(measured(options.told, processes=options.processes[0])))
        return
    with tempfile.TemporaryDirectory() as folder:
        kept = Path(folder) / "outcome"
        keep(options.study, kept)
        print("| processes | pictures | by the clock [s] | processor [s] |\n| ---: | ---: | ---: | ---: |")
        for count in options.processes:
            asked = [sys.executable, __file__, "--told", str(kept), "--processes", str(count)]
            row = json.loads(subprocess.run(asked, capture_output=True, text=True, check=True).stdout)
            print(f"| {count} | {row['pictures']} | {row['clock']:.1f} | {row['processor']:.1f} |", flush=True)


def keep(study: Path, place: Path) -> None:
    """Solve a study and keep what is told of it."""
    from fem import answer, read_study

    outcome = answer(read_study(study).with_({"judge.zoom": 0}))
    place.write_bytes(pickle.dumps((outcome.findings, outcome.scene)))


def measured(place: Path, *, processes: int) -> dict[str, float]:
    """Tell what was kept, and what that took in this process and those that it started."""
    findings, scene = pickle.loads(place.read_bytes())
    begin = time.perf_counter()
    from fem.telling import drawing, tell

    drawing.sensible_processes = lambda *_: processes
    with tempfile.TemporaryDirectory() as folder:
        tell(findings, scene, folder=Path(folder))
        pictures = len(list((Path(folder) / "pictures").iterdir()))
    used = os.times()
    processor = used.user + used.system + used.children_user + used.children_system
    return {"pictures": pictures, "clock": time.perf_counter() - begin, "processor": processor}


if __name__ == "__main__":
    main()
