"""Past one machine: variants as tasks of a Dask cluster, the mesh sent out once.

A worker that is lost costs its turn alone: the scheduler gives its tasks to others, and what the scheduler gives up,
or loses together with the last copy of the mesh, is sent out again.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from fem.cores import cores
from fem.errors import InputError
from fem.fault import fault_line
from fem.processes import Lost
from fem.study.plans import Study
from fem.study.shared_mesh import SharedMesh
from fem.study.variants.series import Worker, answer_variant

LOCAL = "local"
"""Stands for a cluster of processes on this machine, in place of a scheduler's address."""
MOST_LOSSES = 2
"""A variant that the scheduler gave up so often is given up."""
PATIENCE = 10
"""Seconds to wait for a scheduler to answer."""


@contextmanager
def open_cluster(address: str, *, jobs: int | None = None) -> Iterator[Worker]:
    """A worker that answers variants on the cluster at `address` ("local": one of `jobs` processes, made here).

    Errors: InputError when Dask is not installed, or nobody answers at the address.
    """
    try:
        from distributed import Client, LocalCluster
    except ImportError:
        raise InputError(
            "Dask is not installed.", where="--cluster", advice='Install it: pip install "beadwork[cluster]".'
        ) from None
    if address == LOCAL:
        made = LocalCluster(
            n_workers=min(jobs or cores(), cores()),
            threads_per_worker=1,
            processes=True,
            dashboard_address=None,
            silence_logs=50,
        )
        with made, Client(made) as client:
            yield worker_on(client)
        return
    try:
        client = Client(address, timeout=PATIENCE)
    except (OSError, ValueError, TimeoutError) as error:
        raise InputError(
            f"no Dask scheduler answers at {address} ({type(error).__name__}).",
            where="--cluster",
            advice='Give its address, such as tcp://10.0.0.5:8786, or "local".',
        ) from None
    with client:
        if not client.scheduler_info()["workers"]:
            raise InputError(f"the cluster at {address} has no workers.", where="--cluster", advice="Start some.")
        yield worker_on(client)


def worker_on(client: Any, *, work: Callable[[SharedMesh, Study], Any] = answer_variant) -> Worker:
    """Answers variants as tasks of an open Dask client."""

    def answers(shared_mesh: SharedMesh, studies: Sequence[Study]) -> Iterator[tuple[int, Any]]:
        from distributed import as_completed

        left, losses = list(range(len(studies))), Counter[int]()
        while left:
            spread = client.scatter(shared_mesh, broadcast=True, hash=False)
            tasks = {client.submit(work, spread, studies[i], pure=False): i for i in left}
            again = []
            for task in as_completed(tasks):
                i, error = tasks[task], None if task.status == "finished" else _error_of(task)
                if error is None:
                    yield i, task.result()
                elif _is_loss(error):
                    losses[i] += 1
                    again.append(i)
                else:
                    yield i, fault_line(error)
            yield from ((i, Lost()) for i in again if losses[i] >= MOST_LOSSES)
            left = [i for i in again if losses[i] < MOST_LOSSES]

    return answers


def _error_of(task: Any) -> BaseException:
    from concurrent.futures import CancelledError

    if task.status in ("cancelled", "lost"):
        return CancelledError()
    error = task.exception()
    return error if isinstance(error, BaseException) else CancelledError()


def _is_loss(error: BaseException) -> bool:
    """Whether a task went with its worker rather than by its own fault."""
    from concurrent.futures import CancelledError

    from distributed import KilledWorker
    from distributed.client import FutureCancelledError, FuturesCancelledError

    return isinstance(error, KilledWorker | CancelledError | FutureCancelledError | FuturesCancelledError)
