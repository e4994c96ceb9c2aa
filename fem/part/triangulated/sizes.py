"""The edge length wanted on each face, and how it grows away from the round ones."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import product

import numpy as np

from fem.part.solid import Face, Triangulation
from fem.part.triangulated.flats import triangle_normals, turning
from fem.part.triangulated.primitives import ConeFace
from fem.part.triangulated.soundness import paired_edges
from fem.tensors import Array

ROUND = 16
"""Elements around a full turn of a curved face."""
GROWTH = 0.4
"""Edge length gained per distance from where it must be small."""
MOST_CELLS = 150_000


@dataclass(frozen=True)
class Grading:
    """Edge lengths on a grid: `values` (a, b, c) [mm] at `low` + `step` * index."""

    values: Array
    low: Array
    step: float

    def at(self, x: float, y: float, z: float) -> float:
        """The edge length [mm] at a place, linear between the points of the grid."""
        cell, part = [], []
        for value, low, count in zip((x, y, z), self.low, self.values.shape, strict=True):
            place = min(max((value - low) / self.step, 0.0), count - 1.001)
            cell.append(int(place))
            part.append(place - int(place))
        block = self.values[cell[0] : cell[0] + 2, cell[1] : cell[1] + 2, cell[2] : cell[2] + 2]
        for share in part:
            block = block[0] * (1 - share) + block[1] * share
        return float(block)


def graded(surface: Triangulation, wanted: list[Callable[[Array], float]], *, size: float) -> Grading:
    """The largest field of edge lengths that no face's wish is exceeded by and that grows by GROWTH at most."""
    low, high = surface.points.min(axis=0), surface.points.max(axis=0)
    step = max(0.5 * size, float((np.prod(high - low) / MOST_CELLS) ** (1 / 3)), float((high - low).max()) / 200)
    shape = tuple(np.ceil((high - low) / step).astype(int) + 2)
    values = np.full(shape, float(size))
    corner = surface.points[surface.triangles]
    owner = surface.face
    while len(corner):  # halve triangles until their middles lie in every cell that they touch
        side = np.linalg.norm(np.roll(corner, -1, axis=1) - corner, axis=2)
        longest = side.argmax(axis=1)
        small = side.max(axis=1) <= step
        middles = corner[small].mean(axis=1)
        wish = np.array([wanted[f](spot) for f, spot in zip(owner[small], middles, strict=True)])
        cell = ((middles - low) / step).astype(int)
        for shift in product((0, 1), repeat=3):
            np.minimum.at(values, tuple((cell + shift).T), wish)
        corner, owner, longest = corner[~small], owner[~small], longest[~small]
        turned = np.take_along_axis(corner, ((longest[:, None] + np.arange(3)) % 3)[:, :, None], axis=1)
        a, b, c = np.moveaxis(turned, 1, 0)
        half = (a + b) / 2
        corner = np.concatenate([np.stack([a, half, c], axis=1), np.stack([half, b, c], axis=1)])
        owner = np.concatenate([owner, owner])
    for _ in range(sum(shape)):
        before = values.copy()
        for shift in product((-1, 0, 1), repeat=3):
            if any(shift):
                rise = GROWTH * step * float(np.linalg.norm(shift))
                to = tuple(slice(max(s, 0), n + min(s, 0)) for s, n in zip(shift, shape, strict=True))
                since = tuple(slice(max(-s, 0), n + min(-s, 0)) for s, n in zip(shift, shape, strict=True))
                np.minimum(values[to], values[since] + rise, out=values[to])
        if np.array_equal(before, values):
            break
    return Grading(values, low, step)


def wanted_sizes(
    surface: Triangulation, faces: tuple[Face, ...], *, size: float, finest: float
) -> list[Callable[[Array], float]]:
    """For each face a function from a place (3,) to the edge length [mm] that its curvature asks for."""
    normals, _ = triangle_normals(surface.points, surface.triangles)
    _, pair = paired_edges(surface.triangles)
    turn = turning(normals, pair)
    middles = surface.points[surface.triangles].mean(axis=1)
    apart = np.linalg.norm(middles[pair[:, 1]] - middles[pair[:, 0]], axis=1)
    within = (surface.face[pair[:, 0]] == surface.face[pair[:, 1]]) & (turn > np.deg2rad(1.0))
    out: list[Callable[[Array], float]] = []
    for number, face in enumerate(faces):
        radius = face.radius if face.kind in ("cylinder", "sphere") else None
        if face.kind == "free":
            bent = within & (surface.face[pair[:, 0]] == number)
            radius = float(np.percentile(apart[bent] / turn[bent], 25)) if bent.any() else None
        if isinstance(face, ConeFace) and face.origin is not None and face.axis is not None:
            out.append(_cone_size(face.origin, face.axis, face.half_angle, size, finest))
        elif radius is None:
            out.append(lambda place: size)
        else:
            length = float(np.clip(2 * np.pi * radius / ROUND, finest, size))
            out.append(lambda place, length=length: length)  # type: ignore[misc]
    return out


def _cone_size(apex: Array, axis: Array, half_angle: float, size: float, finest: float) -> Callable[[Array], float]:
    def length(place: Array) -> float:
        offset = place - apex
        height = float(offset @ axis)
        radius = float(np.sqrt(max(float(offset @ offset) - height * height, 0.0))) / np.cos(half_angle)
        return float(min(max(2 * np.pi * radius / ROUND, finest), size))

    return length
