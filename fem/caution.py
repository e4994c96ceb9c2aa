"""The noun for what a reader of the numbers must know; any room may find one."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Caution:
    """What a reader must know: `kind` a word for scripts, `text` one sentence or two, `numbers` what stands in it.

    A `decisive` one can turn the verdict: it is told before the tables.
    """

    kind: str
    text: str
    numbers: dict[str, Any] = field(default_factory=dict)
    decisive: bool = False
