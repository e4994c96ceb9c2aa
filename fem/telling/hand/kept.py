"""The part in hand as a file beside the results, from which pages are made that come later."""

from __future__ import annotations

import json
import zlib
from dataclasses import asdict
from pathlib import Path

import numpy as np

from fem.telling.files import write_text
from fem.telling.hand.nouns import Hand
from fem.telling.hand.packing import unpacked
from fem.telling.surface import Ints
from fem.tensors import Array

PART = "part.json"
"""The name of the file in a folder of results."""


def write_hand(hand: Hand, path: Path) -> Path:
    """Write a viewer's data beside its place and rename it there. Errors: OSError."""
    return write_text(json.dumps(asdict(hand), separators=(",", ":")), path)


def read_hand(path: Path) -> Hand | None:
    """The viewer that was kept in a file; None where there is none that can be read."""
    try:
        hand = Hand(**json.loads(path.read_text(encoding="utf-8")))
        surface_of(hand)
    except (OSError, ValueError, TypeError, KeyError, zlib.error):
        return None
    return hand


def surface_of(hand: Hand) -> tuple[Array, Ints]:
    """Points (n, 3) [mm] and triangles (t, 3) of the surface that a viewer shows."""
    told = hand.data["points"]
    points = np.asarray(told["origin"]) + unpacked(told["packed"], columns=3, size=told["bytes"]) * told["step"]
    rows = unpacked(hand.data["triangles"], columns=3, size=4)
    rows[:, 1:] += rows[:, :1]
    return points, rows.astype(np.int64)
