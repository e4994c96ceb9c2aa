"""What the bolts of a study clamp, layer by layer, and what is left of each one's clamp with time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fem.caution import Caution
from fem.errors import InputError
from fem.joining.fitting import FittedBolt
from fem.joining.joint import Joint
from fem.joining.remedies import Built, bolt_gives
from fem.judging.bolts import axis_in_print
from fem.judging.clamp_time import ClampWithTime, Layer, clamp_with_time
from fem.part.tetmesh import TetMesh
from fem.printing.body import PrintedBody
from fem.tensors import Array, pack_stress

FACING = 0.7
"""Least cosine between a joint's normal and a bolt's axis where the bolt clamps the joint."""
THIN = 1e-3
"""A layer of a smaller share of the grip is none: the joint lies where the thread or the head begins."""


@dataclass(frozen=True)
class _Border:
    """Where a bolt passes from one body into the next (None: a rigid one), at a `depth` [mm] below its head."""

    depth: float
    next: str | None


def layers_of(
    bolt: FittedBolt, joints: Sequence[Joint], mesh: TetMesh, made: Mapping[str, PrintedBody]
) -> tuple[Layer, ...]:
    """What a bolt clamps, from head to thread: a body ends at the joint that lies around the bolt, where the next one
    begins. Layers of infill give as the infill does: walls and covers around the hole, which help, are left out.
    What is not meshed, or rigid, is no layer.

    Errors: InputError for a body of which no card is known.
    """
    found = (_border(bolt, joint, mesh) for joint in joints)
    borders = sorted((b for b in found if b is not None), key=lambda border: border.depth)
    out, body, start = [], bolt.under, 0.0
    for border in borders:
        out.append(_layer(bolt, made[body], border.depth - start, name=body))
        if border.next is None:
            return tuple(out)
        body, start = border.next, border.depth
    rest = min(bolt.grip, _reaches(bolt, mesh, body)) - start
    if rest > THIN * bolt.grip:
        out.append(_layer(bolt, made[body], rest, name=body))
    return tuple(out)


def clamps_of(
    bolts: Sequence[FittedBolt], joints: Sequence[Joint], mesh: TetMesh, made: Mapping[str, PrintedBody]
) -> tuple[dict[str, ClampWithTime], tuple[Caution, ...]]:
    """What is left of the clamp of each bolt with time, by name, in the state in which the study has its materials;
    and what must be said of it."""
    out: dict[str, ClampWithTime] = {}
    cautions: list[Caution] = []
    for bolt in bolts:
        told = _thread_creeps(bolt, made)
        try:
            layers = layers_of(bolt, joints, mesh, made)
            found = clamp_with_time(bolt.plan, bolt.tightened, layers, built=_built(bolt, layers, made))
        except InputError as error:
            text = f"What stays of the clamp of bolt {bolt.name} with time is not told: {error.message}"
            told = (Caution("clamp_not_told", text, {"bolt": bolt.name}),)
        else:
            out[bolt.name] = replace(found, cautions=())
            told = (*found.cautions, *told)
        cautions += [caution for caution in told if caution not in cautions]
    return out, tuple(cautions)


def _border(bolt: FittedBolt, joint: Joint, mesh: TetMesh) -> _Border | None:
    """Where a bolt passes through a joint; None where the joint does not lie around it, within its grip."""
    facing = joint.facing
    off = (facing.places + facing.opposite) / 2 - bolt.at
    depth, along = -off @ bolt.axis, facing.normals @ bolt.axis
    aside = off + depth[:, None] * bolt.axis
    clamped = np.abs(along) > FACING
    clamped &= (np.linalg.norm(aside, axis=1) <= bolt.seat.outer) & (depth < (1 - THIN) * bolt.grip)
    clamped &= depth > THIN * bolt.grip
    if not clamped.any() or not _lies_around(aside[clamped], bolt.axis):
        return None
    nodes = facing.nodes[np.flatnonzero(clamped)[0]]
    sides = nodes[[0, len(nodes) // 2]]
    first, second = (mesh.bodies[mesh.node_body[node]] for node in sides)
    middle = float(np.average(depth[clamped], weights=facing.areas[clamped]))
    if joint.rigid:
        return _Border(middle, None)
    # Normals point out of the first body: towards the thread where that is the one nearer to the head
    return _Border(middle, second if along[clamped].sum() < 0 else first)


def _lies_around(aside: Array, axis: Array) -> bool:
    """Whether points (q, 3), seen from an axis, leave no half of the way around it open."""
    first = np.cross(axis, np.eye(3)[np.argmin(np.abs(axis))])
    angle = np.sort(np.arctan2(aside @ np.cross(axis, first), aside @ first))
    return bool(np.diff(angle, append=angle[0] + 2 * np.pi).max() < np.pi)


def _reaches(bolt: FittedBolt, mesh: TetMesh, body: str) -> float:
    """How far below the head [mm] a body reaches around the bolt."""
    off = mesh.nodes[mesh.node_body == mesh.bodies.index(body)] - bolt.at
    depth = -off @ bolt.axis
    near = np.linalg.norm(off + depth[:, None] * bolt.axis, axis=1) <= bolt.seat.outer
    return float(depth[near].max(initial=0.0))


def _layer(bolt: FittedBolt, body: PrintedBody, thickness: float, *, name: str) -> Layer:
    if body.values is None:
        raise InputError(f"no card tells what body {name} is made of.")
    return Layer(body.values, thickness, axis_in_print(bolt, body), modulus=_modulus_along(body, bolt.axis))


def _modulus_along(body: PrintedBody, axis: Array) -> float:
    """Modulus [MPa] of a body's core, infill as it is, along an `axis` (3,) in part axes."""
    pulled = pack_stress(np.outer(axis, axis))
    return float(1 / (pulled @ np.linalg.solve(body.core.stiffness, pulled)))


def _built(bolt: FittedBolt, layers: Sequence[Layer], made: Mapping[str, PrintedBody]) -> Built:
    """How the joint of a bolt is built. A polymer around a thread is taken as stiff as the bolt: as a spring it would
    seem to keep the clamp, while it creeps."""
    if bolt.into and bolt.engagement is None:
        built = Built(bolt.hole)
    else:
        own = made[bolt.into].values if bolt.into else None
        metal = own is not None and own.yield_stress is not None
        modulus = _modulus_along(made[bolt.into], bolt.axis) if metal else bolt.plan.material.modulus
        built = Built(bolt.hole, anchor="tapped", anchor_modulus=modulus)
    if sum(layer.thickness for layer in layers) > (1 - THIN) * bolt.grip:
        return built
    # The bolt is longer than what is meshed of its grip
    return replace(built, stiffness=1 / bolt_gives(bolt.plan, bolt.grip, built))


def _thread_creeps(bolt: FittedBolt, made: Mapping[str, PrintedBody]) -> tuple[Caution, ...]:
    """That a thread in a polymer lets go of some clamp, too."""
    if not bolt.into or bolt.engagement is None:
        return ()
    values = made[bolt.into].values
    if values is None or values.yield_stress is not None:
        return ()
    text = (
        f"Bolt {bolt.plan.name} is screwed into body {bolt.into}, which creeps around the thread: less of its clamp "
        "stays than is told, for that is left out. Retighten it, or use a nut."
    )
    return (Caution("thread_creeps", text, {"bolt": bolt.plan.name}),)
