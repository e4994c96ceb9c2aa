"""Work for worker processes, with no library of weight; the first to come to 3 may be killed there."""

import os
import signal
from pathlib import Path


def squared(shared, item):
    return shared + item**2


def dies_once_at_three(mark, item):
    if item == 3 and not Path(mark).exists():
        Path(mark).touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return item**2


def dies_always_at_three(_, item):
    if item == 3:
        os.kill(os.getpid(), signal.SIGKILL)
    return item**2


def fails_at_three(_, item):
    if item == 3:
        raise ValueError("three")
    return item**2


def says_threads(_, item):
    from fem.cores import workers

    return os.environ["NUMBA_NUM_THREADS"], os.environ["OMP_NUM_THREADS"], workers()


def says_who_and_waits(folder, item):
    import time

    (Path(folder) / str(os.getpid())).touch()
    time.sleep(60)
