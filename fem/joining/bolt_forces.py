"""What a shank bears at a displacement, and what presses the parts together around it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fem.joining.fitting import FittedBolt
from fem.joining.shank import deformations
from fem.loading.traction import Traction
from fem.part.tetmesh import Index, TetMesh
from fem.tensors import Array

ALONG = 0.7
"""Cosine of the angle to a bolt's axis below which a joint's pressure clamps nothing."""


@dataclass(frozen=True)
class BoltForces:
    """A bolt's `pull`, its `shear` across [N], its largest `bending` moment [N mm], and the `clamp` [N] around it;
    what it does to the part under its head, `force` (3,) [N] and `moment` (3,) [N mm] about the head's middle.
    """

    pull: float
    shear: float
    bending: float
    clamp: float
    force: Array
    moment: Array


@dataclass(frozen=True)
class PressedPoints:
    """Points (q,) at which faces meet: `place` (q, 3) [mm], `normal` (q, 3), the `force` (q,) [N] that presses there,
    and the number (q,) of the joint.
    """

    place: Array
    normal: Array
    force: Array
    joint: Index


def bolt_forces(bolts: Sequence[FittedBolt], *, forces: Array, pressed: PressedPoints) -> list[BoltForces]:
    """What bolts bear, from the `forces` (6b,) [N, N mm] of their shanks' natural deformations, the pull first.

    Of a shank bent in a plane, one deformation turns its ends against each other and one with each other: their
    moments add up at one end, and the second makes the shear.
    """
    clamps = _clamps(bolts, pressed)
    out = []
    for bolt, moments, clamp in zip(bolts, forces.reshape(-1, 6), clamps, strict=True):
        force = float(moments[0])
        on_head = -deformations(bolt.axis, bolt.length)[0].T @ moments
        even, alike = moments[[2, 4]], moments[[3, 5]]
        bending = max(float(np.linalg.norm(even + alike)), float(np.linalg.norm(even - alike)))
        shear = 2 * float(np.linalg.norm(alike)) / bolt.length
        pressed_on = force if clamp is None else clamp
        out.append(BoltForces(force, shear, bending, pressed_on, on_head[:3], on_head[3:]))
    return out


def bolt_tractions(mesh: TetMesh, bolt: FittedBolt, forces: Array) -> list[Traction]:
    """What a shank presses on the parts with at its ends, under the forces (6,) of its natural deformations."""
    out = []
    for patch, weights in zip(bolt.ends, deformations(bolt.axis, bolt.length), strict=True):
        if patch is not None:
            wrench = -weights.T @ forces
            out.append(patch.traction(mesh, wrench[:3], wrench[3:], name=bolt.name))
    return out


def _clamps(bolts: Sequence[FittedBolt], pressed: PressedPoints) -> list[float | None]:
    """What presses the parts together [N] around each bolt: of every joint that its grip crosses, the pressure that
    is nearer to it than to another bolt; the least of these. None where it crosses no joint.
    """
    away = np.array([_from_axis(bolt, pressed.place) for bolt in bolts])
    nearest = away.argmin(axis=0) if len(bolts) else np.zeros(0)
    out: list[float | None] = []
    for number, bolt in enumerate(bolts):
        along = (pressed.place - bolt.at) @ bolt.axis
        square = np.abs(pressed.normal @ bolt.axis)
        crossed = (nearest == number) & (square > ALONG) & (along < 0) & (along > -bolt.length)
        each = [
            float((pressed.force * square)[crossed & (pressed.joint == joint)].sum())
            for joint in np.unique(pressed.joint[crossed])
        ]
        out.append(min(each) if each else None)
    return out


def _from_axis(bolt: FittedBolt, places: Array) -> Array:
    """Distance (q,) [mm] of places (q, 3) from a bolt's axis."""
    off = places - bolt.at
    return np.asarray(np.linalg.norm(off - (off @ bolt.axis)[:, None] * bolt.axis, axis=1))
