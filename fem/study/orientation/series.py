"""Many directions, one after another or in several processes, each kept as soon as it is finished."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

from fem.errors import NoTrustworthyAnswer
from fem.judging.orientation import DirectionNumbers, Vector
from fem.part.meshing import BYTES_PER_UNKNOWN, available_memory
from fem.study.orientation.bench import Bench, try_direction
from fem.study.orientation.kept import Kept

Wanted = tuple[str, Vector]
"""A direction's kind and the direction."""
_THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")
_bench: list[Bench] = []  # what a process of its own works on


def sensible_jobs(unknowns: int) -> int:
    """As many processes as there are cores for this one, and memory for them."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    room = int(0.8 * available_memory() / (BYTES_PER_UNKNOWN * unknowns + 6e8))
    return max(1, min(cores, room))


def directions_answered(
    bench: Bench, wanted: Sequence[Wanted], *, kept: Kept, jobs: int, tally: Countdown
) -> list[DirectionNumbers]:
    """Numbers of each direction, those kept from before as they are; a direction without an answer carries its error.

    Errors: InputError (the disk does not take a finished one), NoTrustworthyAnswer (a process was lost).
    """
    known = {item: found for item in wanted if (found := kept.read(item[1], item[0])) is not None}
    tally.known(len(known))
    rest = [item for item in dict.fromkeys(wanted) if item not in known]
    for item, numbers in _computed(bench, rest, jobs=min(jobs, len(rest))):
        if not numbers.error:
            kept.write(item[1], numbers)
        known[item] = numbers
        tally(1)
    return [known[item] for item in wanted]


def _computed(bench: Bench, rest: Sequence[Wanted], *, jobs: int) -> Iterator[tuple[Wanted, DirectionNumbers]]:
    if jobs <= 1:
        for item in rest:
            yield item, try_direction(bench, item[1], kind=item[0])
        return
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor, as_completed
    from concurrent.futures.process import BrokenProcessPool

    context = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(jobs, mp_context=context, initializer=_begin, initargs=(bench,))
    try:
        with _one_thread_each():
            waiting = {pool.submit(_work, item): item for item in rest}
        for done in as_completed(waiting):
            yield waiting[done], done.result()
    except BrokenProcessPool:
        raise NoTrustworthyAnswer(
            "a process was ended from outside, perhaps for want of memory.",
            advice="Run again, with --jobs 1 if need be: finished directions are kept.",
        ) from None
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


@contextmanager
def _one_thread_each() -> Iterator[None]:
    """Processes that start here compute with one thread each: together they fill the cores."""
    before = {name: os.environ.get(name) for name in _THREADS}
    os.environ.update(dict.fromkeys(_THREADS, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


def _begin(bench: Bench) -> None:
    """A process takes the bench once; Ctrl-C is the first process's business."""
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _bench[:] = [bench]


def _work(item: Wanted) -> DirectionNumbers:
    return try_direction(_bench[0], item[1], kind=item[0])


class Countdown:
    """Says how many directions are done and how long the rest will take, at the pace so far."""

    def __init__(self, say: Callable[[str, float], None], *, total: int, share: tuple[float, float]) -> None:
        self._say, self._total, self._share = say, total, share
        self._done = self._found = 0
        self._since = time.perf_counter()

    def known(self, count: int) -> None:
        """So many were there already: they tell nothing of the pace."""
        self._found += count
        self(count)

    def __call__(self, count: int) -> None:
        self._done += count
        low, high = self._share
        part = min(1.0, self._done / max(self._total, 1))
        computed = self._done - self._found
        text = f"directions: {self._done} of {self._total}"
        if computed > 0:
            left = (time.perf_counter() - self._since) / computed * max(self._total - self._done, 0)
            text += f", about {left / 60:.0f} min left" if left > 90 else f", about {left:.0f} s left"
        self._say(text, low + (high - low) * part)
