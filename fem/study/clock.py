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


def added_seconds(*each: dict[str, float]) -> dict[str, float]:
    """Seconds by stage, of several clocks together."""
    stages = dict.fromkeys(stage for seconds in each for stage in seconds)
    return {stage: round(sum(seconds.get(stage, 0.0) for seconds in each), 3) for stage in stages}


SHARE, SHARE_WITH_BEADS = (0.0, 0.5, 0.6, 1.0), (0.0, 0.12, 0.85, 1.0)
"""Where solving, beads and report end in a run, and where they end by the clock when beads are solved."""


def beads_take_long(progress: Progress | None) -> Progress | None:
    """The voice of a run that solves beads: its shares follow its time, which their stage takes most of."""
    if progress is None:
        return None

    def say(text: str, share: float) -> None:
        progress(text, float(np.interp(share, SHARE, SHARE_WITH_BEADS)))

    return say
