"""Work shared among processes of this machine; one that is ended from outside loses nothing but its own turn."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from fem.fault import quiet_libraries

PROCESS_BYTES = 6e8
"""What a process with its libraries takes before it computes, measured."""
_THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS", "LP_NUM_THREADS")
_shared: list[Any] = []  # what a worker process works on


class Lost:
    """Stands for the result of an item whose process was ended twice: it may be what ends it, by want of memory."""


def work_through(
    items: Sequence[Any], *, work: Callable[[Any, Any], Any], shared: Any, jobs: int
) -> Iterator[tuple[int, Any]]:
    """The number of each item and `work(shared, item)`, in the order in which they are finished.

    With several jobs each process takes `shared` once and computes with one thread. What was in hand when a process
    was lost is done again, each item in a process of its own, so that it shows which of them ends it (`Lost`).
    Closing the iterator ends the processes at once.
    """
    if jobs <= 1 or len(items) <= 1:
        yield from ((i, work(shared, item)) for i, item in enumerate(items))
        return
    waiting = deque(range(len(items)))
    while waiting:
        lost: list[int] = []
        yield from _one_set(items, waiting, lost, work=work, shared=shared, jobs=min(jobs, len(waiting)))
        for i in lost:
            again: list[int] = []
            yield from _one_set(items, deque([i]), again, work=work, shared=shared, jobs=1)
            yield from ((i, Lost()) for i in again)


def _one_set(
    items: Sequence[Any],
    waiting: deque[int],
    lost: list[int],
    *,
    work: Callable[[Any, Any], Any],
    shared: Any,
    jobs: int,
) -> Iterator[tuple[int, Any]]:
    """Work with one set of processes until all is done or one of them is lost; what was in hand then is `lost`."""
    import multiprocessing
    from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
    from concurrent.futures.process import BrokenProcessPool

    context = multiprocessing.get_context("spawn")  # a forked process would inherit threads that do not run in it
    pool = ProcessPoolExecutor(jobs, mp_context=context, initializer=_begin, initargs=(shared,))
    in_hand: dict[Any, int] = {}
    whole = False
    try:
        while (waiting and not lost) or in_hand:
            # One each and no more, so that it is known what a lost process had in hand
            while waiting and not lost and len(in_hand) < jobs:
                with _one_thread_each(), _no_main_module():
                    try:
                        in_hand[pool.submit(_do, work, items[waiting[0]])] = waiting[0]
                    except BrokenProcessPool:
                        lost.append(waiting[0])
                waiting.popleft()
            for done in wait(in_hand, return_when=FIRST_COMPLETED).done if in_hand else ():
                i, error = in_hand.pop(done), done.exception()
                if isinstance(error, BrokenProcessPool):
                    lost.append(i)
                elif error is not None:
                    raise error
                else:
                    yield i, done.result()
        whole = not lost
    finally:
        if not whole:
            for process in list((getattr(pool, "_processes", None) or {}).values()):
                process.terminate()
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


@contextmanager
def _no_main_module() -> Iterator[None]:
    """Processes that start here do not import the user's main module, so that a script needs no guard."""
    import sys
    from types import ModuleType

    main = sys.modules["__main__"]
    sys.modules["__main__"] = ModuleType("__main__")
    try:
        yield
    finally:
        sys.modules["__main__"] = main


def _begin(shared: Any) -> None:
    """A process takes what is shared once; Ctrl-C is the first process's business, and its end is this one's too."""
    import signal
    import threading

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    quiet_libraries()
    _shared[:] = [shared]


def _end_with_parent() -> None:
    from multiprocessing import parent_process
    from multiprocessing.connection import wait

    parent = parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)


def _do(work: Callable[[Any, Any], Any], item: Any) -> Any:
    return work(_shared[0], item)
