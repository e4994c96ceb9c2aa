"""Many directions, one after another or in several processes, each kept as soon as it is finished."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import replace

from fem.errors import NoTrustworthyAnswer
from fem.judging.direction import missed_of
from fem.judging.orientation import DirectionNumbers, Vector
from fem.processes import Lost, work_through
from fem.study.jobs import allowed_jobs
from fem.study.orientation.prepared_scan import PreparedScan, try_direction
from fem.study.orientation.store import DirectionStore

Wanted = tuple[str, Vector]
"""A direction's kind and the direction."""
FEW_UNKNOWNS = 400_000
"""Less than this, over all directions, is solved sooner than a process with its libraries has come up."""
LOST = "its process was ended from outside each time, perhaps for want of memory; try --jobs 1 or a larger mesh size."


def directions_answered(
    prepared: PreparedScan, wanted: Sequence[Wanted], *, store: DirectionStore, jobs: int | None, tally: Countdown
) -> list[DirectionNumbers]:
    """Numbers of each direction, those kept from before as they are; a direction without an answer carries its error.

    `jobs` None: as many processes as there are cores and memory for. Errors: InputError (the disk does not take a
    finished one).
    """
    known = {
        item: _in_present_words(prepared, found)
        for item in wanted
        if (found := store.read(item[1], item[0])) is not None
    }
    tally.known(len(known))
    rest = [item for item in dict.fromkeys(wanted) if item not in known]
    few = prepared.mesh.unknowns * len(rest) < FEW_UNKNOWNS
    count = 1 if few and jobs is None else allowed_jobs(jobs, unknowns=prepared.mesh.unknowns)[0]
    for i, result in work_through(rest, work=_answer, shared=prepared, jobs=count):
        kind, direction = rest[i]
        numbers = DirectionNumbers(direction, kind, error=LOST) if isinstance(result, Lost) else result
        try:
            if not numbers.error:
                store.write(direction, numbers)
        except NoTrustworthyAnswer as error:
            numbers = DirectionNumbers(direction, kind, error=str(error))
        known[rest[i]] = numbers
        tally(1)
    return [known[item] for item in wanted]


def _in_present_words(prepared: PreparedScan, found: DirectionNumbers) -> DirectionNumbers:
    """The same numbers under the study's present requirements."""
    return replace(found, missed=missed_of(found, prepared.study.requirements))


def _answer(prepared: PreparedScan, item: Wanted) -> DirectionNumbers:
    return try_direction(prepared, item[1], kind=item[0])


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
        """So many more are finished."""
        self._done += count
        low, high = self._share
        part = min(1.0, self._done / max(self._total, 1))
        computed = self._done - self._found
        text = f"directions: {self._done} of {self._total}"
        if computed > 0:
            left = (time.perf_counter() - self._since) / computed * max(self._total - self._done, 0)
            text += f", {left / 60:.0f} min left" if left > 90 else f", {left:.0f} s left"
        self._say(text, low + (high - low) * part)
