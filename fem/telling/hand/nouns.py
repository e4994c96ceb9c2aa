"""What one viewer shows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Mark:
    """A numbered place `at` (3,) [mm] of a case, to which the viewer flies: its `value`, and `text` beside it."""

    at: tuple[float, float, float]
    value: str
    text: str


@dataclass(frozen=True)
class Hand:
    """All that one viewer shows, ready for a page.

    `title` names it for those who do not see it; `data` is what its script reads (plain values, and arrays as
    `packing.py` makes them small); `note` says what had to be left out for the page's size ("" when nothing was);
    `still` is the data address of a picture for readers without scripts ("" for none); `size` [bytes] of all this.
    """

    title: str
    data: dict[str, Any]
    note: str = ""
    still: str = ""
    size: int = 0
