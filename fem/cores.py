"""Work shared among the machine's cores: compiled loops let go of the interpreter, so plain threads serve."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from functools import cache
from typing import Any

MOST_WORKERS = 8
WORTH_A_THREAD = 50_000
"""Numbers that a plain loop goes through in the time that it takes to wake a thread."""


def cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@cache
def workers() -> int:
    """How many threads work at once: one a core, or fewer where OMP_NUM_THREADS asks for fewer (processes that share
    the machine among themselves set it).
    """
    asked = os.environ.get("OMP_NUM_THREADS", "")
    return max(1, min(cores(), MOST_WORKERS, int(asked) if asked.isdecimal() and int(asked) > 0 else MOST_WORKERS))


@cache
def _pool(_process: int) -> Any:
    from concurrent.futures import ThreadPoolExecutor

    return ThreadPoolExecutor(workers())


def shared(work: Callable[..., Any], ranges: Iterable[tuple[int, int]], *given: Any) -> list[Any]:
    """What work(*given, first, last) returns for each range, done on all cores. Errors: what the work raises."""
    todo = [(a, b) for a, b in ranges if b > a]
    if not todo:
        return []
    pool = _pool(os.getpid())  # threads do not survive a fork
    jobs = [pool.submit(work, *given, a, b) for a, b in todo[:-1]]
    try:  # the thread that asks takes a share: one less to wake
        last = work(*given, *todo[-1])
    finally:
        done = [job.result() for job in jobs]
    return [*done, last]


def even_ranges(count: int, *, pieces: int | None = None, least: int = 1) -> list[tuple[int, int]]:
    """0..count cut into as many ranges of one length as there are workers (or `pieces`), or so few that each has at
    the `least` so many.
    """
    n = max(1, min(pieces or workers(), count // least))
    return [(count * k // n, count * (k + 1) // n) for k in range(n)]
