"""The clamping of tightened bolts: equal and opposite pressures whose resultant is zero.

Each bolt presses with its washer on a ring around the hole, on the side away from the face it clamps to; the
counter-pressure spreads over the part of that face which the pressure cone reaches.
Source of the cone (half angle 30 degrees): R. G. Budynas and J. K. Nisbett, Shigley's Mechanical Engineering
Design (9th ed.), section 8-5.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fem.errors import FaceError, InputError
from fem.loading.sampling import FINE, linear_on, nodal_forces, sample
from fem.loading.traction import Traction
from fem.part.faces import FaceGroup, describe
from fem.part.tetmesh import Index, TetMesh
from fem.tensors import Array, unit


@dataclass(frozen=True)
class Hole:
    """One bolt hole: `axis` (3,) points from the clamped face to the head, `origin` (3,) [mm] on the axis,
    `radius` [mm], `head` and `seat` positions along the axis [mm], `head_triangles` (j,) that carry the washer.
    """

    axis: Array
    origin: Array
    radius: float
    head: float
    seat: float
    head_triangles: Index

    @property
    def grip(self) -> float:
        """Preloaded length [mm]."""
        return self.head - self.seat


def find_holes(
    mesh: TetMesh, holes: FaceGroup, against: FaceGroup, *, head: FaceGroup | None, name: str
) -> list[Hole]:
    """The separate bolt holes in a group of cylinder faces, with the face that the head or washer sits on.

    Errors: FaceError when a face is no hole, or no plane square to the hole carries the head.
    """
    bundles: list[list[int]] = []
    for i in holes.faces:
        face = mesh.faces[i]
        known = face.axis is not None and face.origin is not None and face.radius is not None
        if face.kind != "cylinder" or not known or not face.hole:
            raise FaceError(f"{describe(face)} is not a round hole.", where=f"loads.{name}.preload.holes")
        for bundle in bundles:
            if _coaxial(mesh, bundle[0], i):
                bundle.append(i)
                break
        else:
            bundles.append([i])
    return [_hole(mesh, bundle, against, head, name) for bundle in bundles]


def _coaxial(mesh: TetMesh, first: int, second: int) -> bool:
    a, b = mesh.faces[first], mesh.faces[second]
    assert a.axis is not None and b.axis is not None and a.origin is not None and b.origin is not None
    off = b.origin - a.origin
    apart = off - (off @ a.axis) * a.axis
    scale = a.radius or 1.0
    return bool(abs(a.axis @ b.axis) > 0.999 and np.linalg.norm(apart) < 0.05 * scale and a.body == b.body)


def _hole(mesh: TetMesh, bundle: list[int], against: FaceGroup, head: FaceGroup | None, name: str) -> Hole:
    face = mesh.faces[bundle[0]]
    assert face.axis is not None and face.origin is not None and face.radius is not None
    own = mesh.nodes[mesh.nodes_of(tuple(bundle))]
    axis = unit(face.axis)
    along = (own - face.origin) @ axis
    seat = float((against.centre - face.origin) @ axis)
    # The head sits at the end of the hole that lies farther from the clamped face
    if abs(along.max() - seat) < abs(along.min() - seat):
        axis, along, seat = -axis, -along, -seat
    top = float(along.max())
    if head is not None:
        carrying = head.triangles
        top = float((head.centre - face.origin) @ axis)
    else:
        carrying = mesh.triangles_of(_square_planes(mesh, bundle, axis, face.origin, top, against))
    if not len(carrying):
        raise FaceError(
            f"no plane square to the hole at {describe(face)} carries the bolt's head.",
            where=f"loads.{name}.preload",
            advice='Name the face that the washer sits on: head = "...".',
        )
    return Hole(axis, face.origin, float(face.radius), top, seat, carrying)


def _square_planes(
    mesh: TetMesh, bundle: list[int], axis: Array, origin: Array, top: float, against: FaceGroup
) -> tuple[int, ...]:
    """Planes that look along the axis and share an edge with the hole."""
    own = set(mesh.nodes_of(tuple(bundle)).tolist())
    body = mesh.faces[bundle[0]].body
    found = []
    for i, face in enumerate(mesh.faces):
        if face.body != body or face.normal is None or i in against.faces or face.normal @ axis < 0.999:
            continue
        if abs(float((face.centre - origin) @ axis) - top) > 0.05 * (1 + abs(top)):
            continue
        if own & set(mesh.nodes_of((i,)).tolist()):
            found.append(i)
    return tuple(found)


@dataclass(frozen=True)
class Preloaded:
    """One bolt's clamping: `forces` (n, 3) [N]; `pressure` [MPa] the mean and `peak` the largest under the washer;
    `cover` the share of the washer that rests on the part; `tractions` are what presses under the washer and on the
    clamped face.
    """

    forces: Array
    pressure: float
    peak: float
    cover: float
    tractions: tuple[Traction, Traction]


def preload_forces(
    mesh: TetMesh, hole: Hole, *, against: FaceGroup, force: float, washer: float, name: str
) -> Preloaded:
    """The pull `force` [N] of one bolt under a washer of outer diameter `washer` [mm].

    Errors: InputError when the washer is no larger than the hole, misses the face, or hangs so far over an edge
    that it would have to pull.
    """
    if not washer / 2 > hole.radius * 1.02:
        raise InputError(
            f"a washer of {washer:g} mm is no larger than the hole of {2 * hole.radius:.4g} mm.",
            where=f"loads.{name}.preload.washer",
        )
    under = _pressed(mesh, hole, hole.head_triangles, outer=washer / 2, height=hole.head, push=-force, name=name)
    # Near an edge the cone is cut; its reach is drawn in until the linear pressure pushes everywhere
    full = washer / 2 + max(hole.grip, 0.0) * np.tan(np.radians(30))
    for reach in np.linspace(full, washer / 2, 6):
        over = _pressed(mesh, hole, against.triangles, outer=float(reach), height=hole.seat, push=force, name=name)
        if over.least >= 0:
            break
    if under.least < 0 or over.least < 0:
        at = ", ".join(f"{v:.4g}" for v in hole.origin + hole.axis * hole.head)
        raise InputError(
            f"the washer at ({at}) mm hangs so far over an edge that it would have to pull.",
            where=f"loads.{name}.preload.washer",
            advice="Take a smaller washer, or move the hole.",
        )
    whole = np.pi * ((washer / 2) ** 2 - hole.radius**2)
    cover, both = min(1.0, under.area / whole), (under.traction, over.traction)
    return Preloaded(under.forces + over.forces, force / under.area, under.most, cover, both)


@dataclass(frozen=True)
class _Pressed:
    """Nodal forces of one side, its `area` [mm^2], the `least` and `most` pressure [MPa] on it, and its traction."""

    forces: Array
    area: float
    least: float
    most: float
    traction: Traction


def _pressed(
    mesh: TetMesh, hole: Hole, triangles: Index, *, outer: float, height: float, push: float, name: str
) -> _Pressed:
    def ring(points: Array) -> Array:
        off = points - hole.origin
        return outer - np.linalg.norm(off - (off @ hole.axis)[..., None] * hole.axis, axis=-1)

    samples = sample(mesh, triangles, side=ring, fine=outer / FINE)
    if not samples.whole_area > 0:
        at = ", ".join(f"{v:.4g}" for v in hole.origin + hole.axis * height)
        raise InputError(f"no face lies under the washer at ({at}) mm.", where=f"loads.{name}.preload")
    field = linear_on(samples, force=push * hole.axis, moment=np.zeros(3), at=hole.origin, name=name)
    traction = field(samples.point, samples.normal)
    pressure = traction @ hole.axis * np.sign(push)
    forces = nodal_forces(mesh, samples, traction)
    pressed = Traction(triangles, field, ring, outer / FINE)
    return _Pressed(forces, samples.whole_area, float(pressure.min()), float(pressure.max()), pressed)
