"""The processes that `mpirun` started together: which of them this one is, and how rank 0 calls on the others.

Rank 0 goes through the whole story; the others wait for its calls, look for one a few hundred times a second (so that
they leave the cores to rank 0 meanwhile), and leave when it does. Whoever fails while all work together ends all of
them with a status, since the others would wait for it for ever.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import cache
from importlib.util import find_spec
from typing import Any

from fem.errors import BeadworkError, InputError
from fem.fault import fault_line

LIBRARIES = ("mpi4py", "petsc4py")
ADVICE = (
    "Install them with `sh setup.sh distributed` or `pip install beadwork[distributed]` (the README tells what a "
    "Debian needs for it), or start Beadwork without mpirun and with another solver."
)
_STARTERS = (("OMPI_COMM_WORLD_RANK", "OMPI_COMM_WORLD_SIZE"), ("PMI_RANK", "PMI_SIZE"))
"""Where Open MPI and the process managers of MPICH and its kin write a process's rank and the number of ranks."""
_REST = 0.004
"""Seconds that a waiting rank sleeps before it looks for a call again."""


def place() -> tuple[int, int]:
    """This process's rank and the number of ranks, (0, 1) where no `mpirun` started it; loads no library.

    A process that a rank has started in its turn is no rank.
    """
    rank, ranks = _started()
    if ranks > 1:
        from multiprocessing import parent_process

        if parent_process() is not None:
            return 0, 1
    return rank, ranks


@cache
def _started() -> tuple[int, int]:
    return place_in(os.environ)


def place_in(known: Mapping[str, str]) -> tuple[int, int]:
    """Rank and number of ranks as an environment tells them."""
    for rank, size in _STARTERS:
        if known.get(rank, "").isdigit() and known.get(size, "").isdigit():
            return int(known[rank]), int(known[size])
    return 0, 1


def serving() -> bool:
    """Whether `mpirun` started this process as one of several."""
    return place()[1] > 1


@cache
def libraries() -> tuple[Any, Any]:
    """MPI and PETSc, ready to be used.

    Errors: InputError when one of them is not installed or finds no MPI on this machine.
    """
    lacking = [name for name in LIBRARIES if find_spec(name) is None]
    if lacking:
        raise InputError(
            f"{' and '.join(lacking)} {'is' if len(lacking) == 1 else 'are'} not installed.",
            where='solver "distributed"',
            advice=ADVICE,
        )
    try:
        import petsc4py
        from mpi4py import MPI

        petsc4py.init(["beadwork", "-no_signal_handler"])
        from petsc4py import PETSc
    except (ImportError, RuntimeError, OSError) as error:
        raise InputError(
            f"mpi4py and petsc4py do not load ({error}).", where='solver "distributed"', advice=ADVICE
        ) from error
    return MPI, PETSc


class Company:
    """Rank 0 with all others: `call` makes every rank do one job of `jobs` at once."""

    def __init__(self) -> None:
        from fem.solving.distributed.jobs import Desk

        self.size = place()[1]
        mpi, _ = libraries()
        self.comm = mpi.COMM_WORLD if self.size > 1 else mpi.COMM_SELF
        self._desk = Desk(self.comm)
        self._open = True
        # What rank 0 starts from here on must not take itself for a rank
        for name in [n for n in os.environ if n.startswith(("OMPI_", "PMIX_", "PMI_"))]:
            del os.environ[name]

    def call(self, job: str, *, shared: Any = None, each: Sequence[Any] | None = None, **own: Any) -> Any:
        """What rank 0's own part of the job gives; `shared` goes to every rank, `each` holds one thing a rank.

        `own` is for rank 0 alone.
        """
        with all_or_none(self.comm):
            for rank in range(1, self.comm.size):
                self.comm.send((job, shared, None if each is None else each[rank]), dest=rank)
            return self._desk.do(job, shared, None if each is None else each[0], **own)

    def dismiss(self) -> None:
        """Let the others go; nothing can be called afterwards."""
        if self._open:
            self._open = False
            self.call("leave")


@cache
def company() -> Company:
    """All ranks, as rank 0 sees them. The others are let go when this process ends, if not before.

    Errors: InputError when the libraries are not there.
    """
    import atexit

    made = Company()
    atexit.register(made.dismiss)
    return made


def serve() -> int:
    """Do what rank 0 calls for until it lets this rank go; returns the exit status.

    Where the libraries are not there, rank 0 says so, and this rank only leaves with the same status.
    """
    from fem.solving.distributed.jobs import Desk

    try:
        mpi, _ = libraries()
    except InputError as error:
        return error.exit_status
    comm = mpi.COMM_WORLD
    desk = Desk(comm)
    with all_or_none(comm):
        while desk.open:
            while not comm.iprobe(source=0):
                time.sleep(_REST)
            desk.do(*comm.recv(source=0))
    return 0


@contextmanager
def all_or_none(comm: Any) -> Iterator[None]:
    """What fails in here on one rank ends all ranks, for the others may be waiting for it.

    A rank alone passes its failure on as usual.
    """
    try:
        yield
    except BaseException as error:
        if comm.size == 1:
            raise
        status = 1
        if isinstance(error, BeadworkError):
            status = error.exit_status
            print(f"beadwork: rank {comm.rank}: {error}", file=sys.stderr)
        elif isinstance(error, MemoryError):
            status = 4
            print(f"beadwork: rank {comm.rank}: memory ran out. Ask for a larger mesh size.", file=sys.stderr)
        elif isinstance(error, KeyboardInterrupt):
            status = 130
            print("beadwork: stopped; earlier results are as they were.", file=sys.stderr)
        else:
            print(f"beadwork: rank {comm.rank}, and so all ranks: {fault_line(error)}", file=sys.stderr)
        sys.stderr.flush()
        sys.stdout.flush()
        comm.Abort(status)
        raise
