"""Which hollow faces are holes: those that go nearly all round, alone or with their coaxial other half."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from fem.part.solid import Face
from fem.tensors import Array

ALL_ROUND = 270.0
"""A hollow cylinder or cone is a hole from this angle [degrees]; a fillet or the end of a slot spans 180 at most."""
_BINS = 720


def with_holes(faces: Sequence[Face], corners: Sequence[Array]) -> tuple[Face, ...]:
    """The faces with `hole` set; `corners` are the triangles (k, 3, 3) [mm] of each.

    Many programs write a bore as two halves: hollow faces on one axis and of one radius, beside each other along
    it, count together.
    """
    out = list(faces)
    for bundle in round_bundles(faces, corners, hollow=True):
        for i in bundle:
            out[i] = replace(faces[i], hole=True)
    return tuple(out)


def round_bundles(faces: Sequence[Face], corners: Sequence[Array], *, hollow: bool) -> tuple[tuple[int, ...], ...]:
    """Cylinders and cones that go (nearly) all round, hollow ones or solid ones (pins, bosses): the indices of the
    faces that make up each; `corners` are the triangles (k, 3, 3) [mm] of each face.
    """
    left = [i for i, f in enumerate(faces) if f.hollow == hollow and f.kind in ("cylinder", "cone")]
    left = [i for i in left if faces[i].axis is not None]
    spans = {i: _along(faces[i], corners[i]) for i in left}
    out = []
    while left:
        bundle = [left.pop(0)]
        for i in bundle:
            beside = [j for j in left if _one_bore(faces[i], faces[j]) and _overlap(faces[i], spans[i], corners[j])]
            bundle += beside
            left = [j for j in left if j not in beside]
        if angle_spanned(faces[bundle[0]], np.concatenate([corners[i] for i in bundle])) >= ALL_ROUND:
            out.append(tuple(bundle))
    return tuple(out)


def angle_spanned(face: Face, corners: Array) -> float:
    """The angle [degrees] around the face's axis that triangles (k, 3, 3) cover, to half a degree."""
    assert face.axis is not None and face.origin is not None
    across = np.linalg.svd(face.axis[None])[2][1:]
    flat = (corners - face.origin) @ across.T
    far = np.linalg.norm(flat, axis=2)
    angle = np.degrees(np.arctan2(flat[..., 1], flat[..., 0]))
    # A corner on the axis has no angle: it takes that of the triangle's farthest corner
    farthest = np.take_along_axis(angle, far.argmax(axis=1)[:, None], axis=1)
    angle = np.where(far > 1e-6 * far.max(), angle, farthest)
    turn = (angle - farthest + 180.0) % 360.0 - 180.0
    low, high = (farthest[:, 0] + turn.min(axis=1)), (farthest[:, 0] + turn.max(axis=1))
    wide = 360.0 / _BINS
    start, end = np.round(low / wide).astype(int), np.round(high / wide).astype(int)
    seen = np.zeros(_BINS, dtype=bool)
    for a, b in np.unique(np.column_stack([start, end]), axis=0):
        seen[np.arange(a, b) % _BINS] = True
    return float(seen.sum() * wide)


def _one_bore(one: Face, other: Face) -> bool:
    """Whether two round faces lie on one axis and, for cylinders, have one radius."""
    assert one.axis is not None and other.axis is not None and one.origin is not None and other.origin is not None
    if one.kind != other.kind or one.body != other.body or abs(one.axis @ other.axis) < 0.9999:
        return False
    scale = one.radius or float((one.high - one.low).max())
    if one.kind == "cylinder" and abs((one.radius or 0) - (other.radius or 0)) > 0.01 * scale:
        return False
    off = other.origin - one.origin
    return bool(np.linalg.norm(off - (off @ one.axis) * one.axis) < 0.01 * scale)


def _along(face: Face, corners: Array) -> tuple[float, float]:
    assert face.axis is not None
    height = corners @ face.axis
    return float(height.min()), float(height.max())


def _overlap(face: Face, span: tuple[float, float], corners: Array) -> bool:
    """Whether another face lies beside this one along the axis, by half of the shorter of the two."""
    low, high = _along(face, corners)
    shorter = min(high - low, span[1] - span[0])
    return min(high, span[1]) - max(low, span[0]) > 0.5 * shorter
