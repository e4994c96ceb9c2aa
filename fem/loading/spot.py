"""A force or pressure that works only within a radius of a point on a face.

The point is first projected on the face, and the distance is measured from there in a straight line.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np

from fem.errors import FaceError, InputError
from fem.loading.sampling import FINE, Linear, Side, linear_on, nodal_forces
from fem.loading.traction import Traction
from fem.loading.values import Extent, Point
from fem.part.quadrature import triangle_shapes
from fem.part.tetmesh import Index, TetMesh
from fem.tensors import Array

EVEN = 0.1
"""Share by which the traction may depart from even to carry the force exactly through the point."""
PARTS = 4
"""Flat pieces along a side by which a curved triangle is told when the point is projected."""


@dataclass(frozen=True)
class Spot:
    """The part of a face within a `radius` [mm] of the point `at` (3,) [mm]. Errors: InputError without a radius."""

    at: Annotated[Point, "Middle of the spot. It is first projected on the face."]
    radius: Annotated[Extent, "Only what lies within this distance of the middle is loaded."]

    def __post_init__(self) -> None:
        if not self.radius > 0:
            raise InputError("a spot needs a radius above zero.", where="spot.radius")


OnASpot = Annotated[
    Spot | None,
    "Beside `force` or `pressure`: only a round spot of the face is loaded.",
    '[loads.thumb]\nface = "pad"\nforce = ["0 N", "0 N", "-30 N"]\n'
    'spot = { at = ["72 mm", "0 mm", "13 mm"], radius = "6 mm" }',
]
"""The key of those loads that may work on a spot of their face alone."""


@dataclass(frozen=True)
class SpotLoad:
    """Nodal `forces` (n, 3) [N] within a spot: its `centre` (3,) [mm] on the face, the `point` (3,) [mm] where the
    force acts, the loaded `area` [mm^2], the `share` of the whole disc that lies on the face, and the boundary
    `triangles` (j,) it touches; `traction` is what presses there.
    """

    forces: Array
    centre: Array
    point: Array
    area: float
    share: float
    triangles: Index
    traction: Traction


def spot_centre(mesh: TetMesh, triangles: Index, *, spot: Spot, name: str) -> Array:
    """The point (3,) [mm] of a face nearest to the spot's. Errors: InputError when it is farther than the radius."""
    at = np.asarray(spot.at, dtype=float)
    found = _nearest(mesh, triangles, at)
    distance = float(np.linalg.norm(found - at))
    if distance > spot.radius:
        place = ", ".join(f"{v:.4g}" for v in found)
        raise InputError(
            f"the point is {distance:.4g} mm away from the face; the spot's radius is {spot.radius:.4g} mm.",
            where=f"loads.{name}.spot.at",
            advice=f"The nearest point of the face is ({place}) mm.",
        )
    return found


def within(centre: Array, radius: float) -> Side:
    """The border of a spot, for `sample`."""
    return lambda x: radius - np.linalg.norm(x - centre, axis=-1)


def spot_force(mesh: TetMesh, triangles: Index, *, force: Array, spot: Spot, name: str) -> SpotLoad:
    """A force (3,) [N] spread evenly over a spot; its line passes through the spot's point.

    The mesh's rounding is made good by a traction that varies linearly by at most EVEN. A spot that an edge of
    the face cuts stays even, and the force acts at the centroid of what is left: `point` says where.
    Errors: InputError, FaceError when no part of the face lies within the spot.
    """
    centre = spot_centre(mesh, triangles, spot=spot, name=name)
    force, point = np.asarray(force, dtype=float), centre
    pushed = Traction(triangles, Linear(force, np.zeros(3), centre), within(centre, spot.radius), spot.radius / FINE)
    samples = pushed.samples(mesh)
    if not samples.whole_area > 0:
        raise FaceError("the face has no area within the spot.", where=f"loads.{name}.spot")
    field = linear_on(samples, force=force, moment=np.zeros(3), at=centre, name=name)
    off = field(samples.point, samples.normal) - field.even
    if np.linalg.norm(off, axis=1).max() > EVEN * np.linalg.norm(field.even):
        field, point = replace(field, turn=np.zeros(3)), samples.centre
    area = samples.whole_area
    share = area / (np.pi * spot.radius**2)
    forces = nodal_forces(mesh, samples, field(samples.point, samples.normal))
    return SpotLoad(forces, centre, point, area, share, samples.triangles, replace(pushed, at=field))


def _nearest(mesh: TetMesh, triangles: Index, at: Array) -> Array:
    """The nearest point of curved boundary triangles, each taken as flat pieces."""
    grid = [(i / PARTS, j / PARTS) for i in range(PARTS + 1) for j in range(PARTS + 1 - i)]
    number = {place: k for k, place in enumerate(grid)}
    pieces = []
    for i in range(PARTS):
        for j in range(PARTS - i):
            a, b, c = (i, j), (i + 1, j), (i, j + 1)
            pieces.append([a, b, c])
            if i + j < PARTS - 1:
                pieces.append([b, (i + 1, j + 1), c])
    index = np.array([[number[x / PARTS, y / PARTS] for x, y in piece] for piece in pieces])
    shape, _ = triangle_shapes(np.array(grid))
    place = np.einsum("qa,jai->jqi", shape, mesh.nodes[mesh.triangles[triangles]])
    return nearest_on(place[:, index].reshape(-1, 3, 3), at)


def nearest_on(flat: Array, at: Array) -> Array:
    """The point (3,) nearest to `at` on flat triangles (k, 3, 3): inside, on a side or at a corner of one."""
    a, u, v = flat[:, 0], flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
    normal = np.cross(u, v)
    square = np.maximum(np.einsum("ki,ki->k", normal, normal), 1e-300)
    off = at - a
    x = np.einsum("ki,ki->k", np.cross(off, v), normal) / square
    y = np.einsum("ki,ki->k", np.cross(u, off), normal) / square
    inside = (x >= 0) & (y >= 0) & (x + y <= 1)
    found = [(a + x[:, None] * u + y[:, None] * v)[inside]]
    for i in range(3):
        start, along = flat[:, i], flat[:, (i + 1) % 3] - flat[:, i]
        t = np.einsum("ki,ki->k", at - start, along) / np.maximum(np.einsum("ki,ki->k", along, along), 1e-300)
        found.append(start + np.clip(t, 0, 1)[:, None] * along)
    every = np.concatenate(found)
    return every[np.argmin(np.linalg.norm(every - at, axis=1))]
