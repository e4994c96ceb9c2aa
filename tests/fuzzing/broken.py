"""A program that is wrong in many ways, to show that each of them is told."""

from __future__ import annotations

import os
import random
from pathlib import Path

from fem.errors import InputError
from fuzzing.doors import READ, REFUSED, Wrong, refused, tried


def prepare(folder: Path) -> None:
    """Nothing is needed."""


def case(chance: random.Random, base: None, folder: Path) -> str:
    """Ends as chance has it; the file `way` says how it must."""
    way = chance.choice(("abort", "defect", "wrong", "read", "refused"))
    (folder / "way").write_text(way)
    if way == "abort":
        os.abort()
    if way == "defect":
        tried(lambda: 1 // 0)
    if way == "wrong":
        raise Wrong("another answer")
    return READ if way == "read" or not refused(tried(_refusal)) else REFUSED


def _refusal() -> None:
    raise InputError("no.")
