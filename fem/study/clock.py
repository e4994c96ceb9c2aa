"""Seconds by stage, and the voice of the progress bar."""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

Progress = Callable[[str, float], None]
"""Hears the stage's name and the share of the whole that is done."""


class Clock:
    """Called at the start of each stage with its name and the share that is done; "" ends the last one."""

    def __init__(self, progress: Progress | None) -> None:
        self.seconds: dict[str, float] = {}
        self._say = progress or (lambda _text, _share: None)
        self._stage, self._since = "", time.perf_counter()

    def __call__(self, stage: str, share: float) -> None:
        now = time.perf_counter()
        if self._stage:
            self.seconds[self._stage] = round(self.seconds.get(self._stage, 0.0) + now - self._since, 3)
        self._stage, self._since = stage, now
        self._say(stage, share)


def clock_say(progress: Progress | None, text: str, share: float) -> None:
    """Pass on how far a stage is, where anyone listens."""
    if progress is not None:
        progress(text, share)


SHARE = (0.0, 0.04, 0.16, 0.165, 0.18, 0.5, 0.6, 1.0)
"""Where reading, meshing, matching, the material, solving, judging or beads, and telling end in a run."""
BY_CLOCK = (0.0, 0.05, 0.17, 0.18, 0.31, 0.53, 0.75, 1.0)
BY_CLOCK_WITH_BEADS = (0.0, 0.01, 0.04, 0.045, 0.07, 0.12, 0.85, 1.0)
"""And where they end by the clock (the demonstration, on two cores), without beads and with."""


def added_seconds(*each: dict[str, float]) -> dict[str, float]:
    """Seconds by stage, of several clocks together."""
    stages = dict.fromkeys(stage for seconds in each for stage in seconds)
    return {stage: round(sum(seconds.get(stage, 0.0) for seconds in each), 3) for stage in stages}


def by_the_clock(progress: Progress | None, *, beads: bool) -> Progress | None:
    """The voice of a run whose shares follow its time, so that time left can be told; solving `beads` takes most."""
    if progress is None:
        return None

    def say(text: str, share: float) -> None:
        progress(text, float(np.interp(share, SHARE, BY_CLOCK_WITH_BEADS if beads else BY_CLOCK)))

    return say


FIRST_SHARE, FIRST_SECONDS = 0.05, 3.0
"""Before so much is done, time left would be a guess."""
BACK = 0.1
"""A share that falls by more begins anew, as on a finer mesh: what is left then is not known for a while."""


class TimeLeft:
    """How long a run still takes, by the share that is done and the clock since it began, or began anew."""

    def __init__(self, *, clock: Callable[[], float] = time.perf_counter) -> None:
        self._clock, self._since = clock, clock()
        self._start = self._share = 0.0

    def seconds(self, share: float) -> float | None:
        """Seconds left, None where they cannot be told."""
        now = self._clock()
        if share < self._share - BACK:
            self._since, self._start = now, share
        self._share = share
        done, taken = share - self._start, now - self._since
        if done < FIRST_SHARE or taken < FIRST_SECONDS:
            return None
        return taken * (1.0 - share) / done

    def words(self, share: float) -> str:
        """Seconds left in words, rounded to what can be known; "" where they cannot be told."""
        left = self.seconds(share)
        if left is None or left < 0.5:
            return ""
        if left < 90:
            step = 1 if left < 10 else 5
            return f"about {max(1, round(left / step) * step)} s left"
        return f"about {round(left / 60)} min left" if left < 5400 else f"about {left / 3600:.1f} h left"
