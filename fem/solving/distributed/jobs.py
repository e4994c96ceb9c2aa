"""What a rank does when rank 0 calls: build its rows of a matrix, solve with them, forget them, leave."""

from __future__ import annotations

from typing import Any

from fem.solving.distributed.rows import Rows


class Desk:
    """One rank's work: the matrices it has rows of, by number, and whether more work may come (`open`)."""

    def __init__(self, comm: Any) -> None:
        self.comm, self.open = comm, True
        self._kept: dict[int, Rows] = {}

    def do(self, job: str, shared: Any = None, own: Any = None, **more: Any) -> Any:
        """Do one job together with all other ranks; what it gives counts on rank 0 alone."""
        if job == "build":
            self._kept[shared["matrix"]] = made = Rows(self.comm, own, options=shared["options"])
            return made.built
        if job == "solve":
            return self._kept[shared["matrix"]].solve(tolerance=shared["tolerance"], most=shared["most"], **more)
        if job == "forget":
            for matrix in shared:
                self._kept.pop(matrix).destroy()
            return None
        if job == "leave":
            for matrix in sorted(self._kept):
                self._kept.pop(matrix).destroy()
            self.open = False
            return None
        raise ValueError(f"unknown job {job}")
