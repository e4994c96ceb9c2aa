"""Damages and varies what the program reads, and looks at what comes of it.

    python tests/fuzz.py --minutes 30 [--seed N] [--kind studies ...] [--keep FOLDER]

Each case follows from its kind, the seed and its number alone; `--first K --count 1` does one again. Cases run in a
process of their own, so that one that crashes or hangs is told like any other failure, whose files are kept. A case
fails by any exception that the program does not name, an improper end of the real command, a hang, and an answer that
is not what the damaged text means (see the modules in `fuzzing/`).
"""

from __future__ import annotations

import argparse
import contextlib
import importlib
import json
import os
import queue
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
import traceback
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
KINDS = {
    "quantities": "fuzzing.quantities",
    "studies": "fuzzing.studies",
    "cards": "fuzzing.cards",
    "cad": "fuzzing.solids:CAD",
    "triangles": "fuzzing.solids:TRIANGLES",
    "kept": "fuzzing.kept",
    "commands": "fuzzing.commands",
    "broken": "fuzzing.broken",
}
ROUND = {"quantities": 5000, "studies": 150, "cards": 400, "cad": 80, "triangles": 200, "kept": 80, "commands": 15}
"""Cases of a kind before the next kind has its turn, in the long form."""
HANGING, LONGEST = 20, 200
"""Seconds after which a case hangs, and those that one may take in which the real command runs."""
PATIENCE = "0.2"
"""Time limits of the process in which files are read: 12 s instead of a minute."""


def cases(kind: str, *, seed: int, first: int, count: int, keep: Path) -> Iterator[tuple[int, str, str]]:
    """Number, outcome ("read", "refused" or "failed") and details of each case; crashes and hangs are failures."""
    end = first + count
    while first < end:
        with (
            tempfile.TemporaryDirectory(prefix="beadwork-fuzz-") as folder,
            _worker(kind, seed, first, end, folder, keep) as worker,
        ):
            lines = _lines(worker)
            for message in lines:
                if message is None:
                    break
                number, outcome, details = message
                if number < first:  # before the first case
                    raise RuntimeError(details)
                yield number, outcome, details
                first = number + 1
            else:
                return
            status = worker.poll()
            worker.kill()
            details = "no end" if status is None else f"the process ended with status {status}"
            _kept(Path(folder) / "case", keep / f"{kind}-{seed}-{first}", details)
            yield first, "failed", details
            first += 1


@contextlib.contextmanager
def _worker(kind: str, seed: int, first: int, end: int, folder: str, keep: Path) -> Iterator[Any]:
    one = {
        "OMP_NUM_THREADS": "1",
        "NUMBA_NUM_THREADS": "1",
        "BEADWORK_PATIENCE": os.environ.get("BEADWORK_PATIENCE", PATIENCE),
    }
    path = os.pathsep.join([str(HERE.parent), str(HERE)])
    worker = subprocess.Popen(
        [sys.executable, __file__, "--worker", kind, str(seed), str(first), str(end), folder, str(keep.absolute())],
        stdout=subprocess.PIPE, stdin=subprocess.DEVNULL, text=True, env={**os.environ, **one, "PYTHONPATH": path},
    )  # fmt: skip
    try:
        yield worker
    finally:
        worker.kill()
        worker.wait()
        worker.stdout.close()


def _lines(worker: Any) -> Iterator[tuple[int, str, str] | None]:
    """The worker's messages; None when it ended too early or says nothing for too long."""
    waiting: queue.Queue[str] = queue.Queue()

    def listen() -> None:
        for line in worker.stdout:
            waiting.put(line)
        waiting.put("")

    threading.Thread(target=listen, daemon=True).start()
    while True:
        try:
            line = waiting.get(timeout=LONGEST)
        except queue.Empty:
            yield None
            return
        if line == "done\n":
            return
        if not line:
            worker.wait()
            yield None
            return
        number, outcome, details = json.loads(line)
        yield number, outcome, details


def _kept(case: Path, place: Path, details: str) -> None:
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir(parents=True)
    with contextlib.suppress(OSError):
        shutil.copytree(case, place, dirs_exist_ok=True)
    (place / "failure.txt").write_text(details, encoding="utf-8", errors="backslashreplace")


# ---- the worker's side


class Hang(BaseException):
    """A case took too long."""


def work(kind: str, seed: int, first: int, end: int, folder: Path, keep: Path) -> None:
    """Do the cases of a kind and say what came of each, a line of JSON on standard output."""
    from fem.fault import quiet_libraries

    quiet_libraries()
    say = os.fdopen(os.dup(1), "w")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    module, _, name = KINDS[kind].partition(":")
    own: Any = importlib.import_module(module)
    own = getattr(own, name) if name else own
    (folder / "base").mkdir()
    patience = os.environ.pop("BEADWORK_PATIENCE")  # sound files have all the time that they need
    try:
        base = own.prepare(folder / "base")
    except Exception:
        say.write(json.dumps([first - 1, "failed", traceback.format_exc()]) + "\n")
        say.flush()
        return
    os.environ["BEADWORK_PATIENCE"] = patience

    def too_long(*_: Any) -> None:
        raise Hang

    signal.signal(signal.SIGALRM, too_long)
    place = folder / "case"
    for number in range(first, end):
        shutil.rmtree(place, ignore_errors=True)
        place.mkdir()
        os.chdir(place)
        chance = random.Random(f"{kind} {seed} {number}")
        start = time.process_time()
        details = ""
        signal.alarm(LONGEST - 10)
        began = time.monotonic()
        try:
            outcome = own.case(chance, base, place)
            if time.process_time() - start > HANGING:
                outcome, details = "failed", f"it took {time.process_time() - start:.0f} s of this process alone"
        except Hang:
            outcome, details = "failed", f"no end after {time.monotonic() - began:.0f} s\n{traceback.format_exc()}"
        except Exception as error:
            outcome, details = "failed", f"{type(error).__name__}: {error}\n\n{traceback.format_exc()}"
        signal.alarm(0)
        if outcome == "failed":
            _kept(place, keep / f"{kind}-{seed}-{number}", details)
        say.write(json.dumps([number, outcome, details]) + "\n")
        say.flush()
    say.write("done\n")
    say.flush()


# ---- the command


def main() -> int:
    """Run rounds of all kinds until the time is over; print the counts."""
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ask.add_argument("--minutes", type=float, default=30.0)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--kind", nargs="+", choices=KINDS, default=list(ROUND))
    ask.add_argument("--first", type=int, default=0, help="number of the first case")
    ask.add_argument("--count", type=int, help="cases of each kind, in place of a time")
    ask.add_argument("--keep", type=Path, default=Path("fuzz-failures"), help="folder for the files of failures")
    options = ask.parse_args()
    counts = {kind: Counter[str]() for kind in options.kind}
    end = time.monotonic() + 60 * options.minutes
    at = dict.fromkeys(options.kind, options.first)
    while True:
        for kind in options.kind:
            count = options.count or ROUND.get(kind, 9)
            for number, outcome, details in cases(
                kind, seed=options.seed, first=at[kind], count=count, keep=options.keep
            ):
                counts[kind][outcome] += 1
                if outcome == "failed":
                    print(f"{kind} {number}: {details.splitlines()[0][:300]}", flush=True)
            at[kind] += count
            if not options.count and time.monotonic() > end:
                break
        if options.count or time.monotonic() > end:
            break
        print(_table(counts), flush=True)
    print(_table(counts))
    return any(each["failed"] for each in counts.values())


def _table(counts: dict[str, Counter[str]]) -> str:
    rows = [
        f"{kind:12}" + "".join(f"{n[k]:10,} {k}" for k in ("read", "refused", "failed")) for kind, n in counts.items()
    ]
    return "\n".join(rows)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--worker"]:
        which, seed_, first_, end_, folder_, keep_ = sys.argv[2:]
        work(which, int(seed_), int(first_), int(end_), Path(folder_), Path(keep_))
    else:
        sys.exit(main())
