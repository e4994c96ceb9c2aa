"""A viewer of a surface alone: of a solid that is not meshed, whose faces can be asked and lit."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import numpy as np

from fem.telling.face_picture import rims
from fem.telling.hand.nouns import Hand
from fem.telling.hand.packing import packed, packed_indices, places
from fem.telling.surface import Ints
from fem.tensors import Array


def surface_in_hand(points: Array, triangles: Ints, face: Ints, labels: Sequence[str], *, title: str) -> Hand:
    """A viewer of triangles (t, 3) between points (n, 3) [mm], each on `face` (t,) of those with these `labels`.

    Points and triangles keep their order, and points are as sharp as the browser's numbers.
    """
    none = np.zeros((0, 10), dtype=np.int64)
    data: dict[str, Any] = {
        "diagonal": float(np.linalg.norm(points.max(axis=0) - points.min(axis=0))),
        "quantities": [],
        "first": "",
        "axes": [{"name": name, "along": axis.tolist()} for name, axis in zip("xyz", np.eye(3), strict=True)],
        "arrows": [],
        "marks": {},
        "sections": [],
        "faces": list(labels),
        "nodes": len(points),
        "points": places(points, fine=True),
        "triangles": packed_indices(triangles),
        "face": packed(np.asarray(face).astype(np.uint16)),
        "edges": packed_indices(rims(triangles, face)),
        "straight": packed_indices(none[:, :4]),
        "curved": packed_indices(none),
        "supports": [],
        "cases": {},
        "note": "",
    }
    return Hand(title, data, size=len(json.dumps(data)))
