"""Arrays made small for a page: whole numbers, differences between neighbours, bytes of one rank together, deflate.

The browser undoes it in `unpack.js`. Nodes are brought into an order in which neighbours in the list lie near each
other in space (a Morton curve), so that differences are small. The page holds base64, which every browser reads.
Source of the curve: G. M. Morton, A computer oriented geodetic data base (IBM, 1966); of deflate: RFC 1951.
"""

from __future__ import annotations

import base64
import zlib
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fem.tensors import Array

TOP = 32767
"""Signed values take -TOP to TOP steps about zero, so that zero stays exactly zero."""
FINE = 2**24
"""Steps of a fine place: what a number of four bytes can tell apart."""


def packed(columns: NDArray[Any]) -> str:
    """Whole numbers (n,) or (n, c) of two or four bytes as text; each column on its own, one after another."""
    text = [_shuffled(column) for column in np.atleast_2d(np.asarray(columns).T)]
    return base64.b64encode(zlib.compress(b"".join(text), 5)).decode()


def _shuffled(column: NDArray[Any]) -> bytes:
    """Differences to the number before, all lowest bytes first, all highest last."""
    size = column.dtype.itemsize
    whole = np.ascontiguousarray(column).astype(f"<u{size}")
    steps = np.diff(whole, prepend=whole.dtype.type(0))  # wraps around, as the sum in the browser does
    return np.ascontiguousarray(steps.view(np.uint8).reshape(-1, size).T).tobytes()


def unpacked(text: str, *, columns: int = 1, size: int = 2) -> NDArray[Any]:
    """The whole numbers (n, columns) of `size` bytes that `packed` made a text of."""
    raw = np.frombuffer(zlib.decompress(base64.b64decode(text)), dtype=np.uint8).reshape(columns, size, -1)
    steps = np.ascontiguousarray(raw.transpose(0, 2, 1)).view(f"<u{size}")[..., 0]
    return np.cumsum(steps, axis=1, dtype=steps.dtype).T


def packed_indices(rows: NDArray[Any]) -> str:
    """Node numbers (n, c): the first of each row, then how far the others lie from it."""
    rows = np.asarray(rows, dtype=np.uint32).copy()
    rows[:, 1:] -= rows[:, :1]
    return packed(rows)


def signed(values: Array, *, steps: int = TOP) -> dict[str, Any]:
    """Values (n,) in so many equal steps to either side of zero: packed, with the size of a `step`; each value is off
    by half a step at most.
    """
    largest = float(np.abs(values).max(initial=0.0))
    step = largest / steps if largest > 0 else 1.0
    return {"packed": packed((np.rint(values / step) + steps).astype(np.uint16)), "step": step, "zero": steps}


def unsigned(values: Array, *, top: float) -> dict[str, Any]:
    """Values (n,) from 0 to `top` in equal steps; larger ones stay at `top`."""
    step = top / (2 * TOP)
    steps = np.rint(np.clip(values, 0.0, top) / step)
    return {"packed": packed(steps.astype(np.uint16)), "step": step, "zero": 0}


def places(points: Array, *, fine: bool = False) -> dict[str, Any]:
    """Points (n, 3) [mm] in the equal steps of their box: packed steps of `bytes` each, `origin` and `step` (3,).

    `fine` ones are as sharp as the browser's own numbers, so that areas can be added up from them.
    """
    low, high = points.min(axis=0), points.max(axis=0)
    step = np.maximum((high - low) / (FINE if fine else 2 * TOP), 1e-12)
    steps = np.rint((points - low) / step).astype(np.uint32 if fine else np.uint16)
    return {"packed": packed(steps), "bytes": 4 if fine else 2, "origin": low.tolist(), "step": step.tolist()}


def along_curve(points: Array) -> NDArray[np.intp]:
    """The order (n,) of points (n, 3) along a curve through space on which neighbours stay near."""
    low, high = points.min(axis=0), points.max(axis=0)
    cell = ((points - low) / np.maximum(high - low, 1e-12) * 1023).astype(np.uint64)
    key = np.zeros(len(points), dtype=np.uint64)
    for bit in range(10):
        for axis in range(3):
            key |= ((cell[:, axis] >> np.uint64(bit)) & np.uint64(1)) << np.uint64(3 * bit + axis)
    return np.argsort(key, kind="stable")
