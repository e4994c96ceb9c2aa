"""What a study says of a load or a support. What each kind of them holds, and does, stands in its own module."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class LoadPlan:
    """One load: `kind` is the study's word for it, `what` the kind's noun, `face` where it acts (None: by its kind).

    A `permanent` load stays as it is while a reserve factor is sought; `scatter` is its coefficient of variation.
    """

    name: str
    kind: str
    what: Any
    face: str | None
    permanent: bool
    scatter: float = 0.0


@dataclass(frozen=True)
class SupportPlan:
    """What holds a `face`: `kind` is the study's word for it, `what` the kind's noun."""

    name: str
    kind: str
    what: Any
    face: str
