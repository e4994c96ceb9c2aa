"""Where the faces of a bearing joint press, slip and part, point by point and at the nodes: what pictures show."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fem.joining.facing import Facing
from fem.joining.joint import BONDED, Joint
from fem.joining.law import PointState
from fem.part.tetmesh import Index
from fem.solving.equilibrium import Contact, Equilibrium
from fem.tensors import Array


@dataclass(frozen=True)
class PressedJoint:
    """The points (q,) of a bearing `joint` in a case: `pressure` [MPa] (none where open), `opening` [mm] (none where
    they touch), `slip` [mm] along the faces, which are `touching` and which `slipping`.
    """

    joint: Joint
    pressure: Array
    opening: Array
    slip: Array
    touching: NDArray[np.bool_]
    slipping: NDArray[np.bool_]

    @property
    def name(self) -> str:
        return self.joint.name

    @property
    def facing(self) -> Facing:
        """The points, their places and areas."""
        return self.joint.facing

    @property
    def sides(self) -> tuple[tuple[Index, Array], ...]:
        """For each meshed side the corner nodes (q, 3) of each point's triangle and their linear shares (q, 3)."""
        nodes, shares = self.facing.nodes, self.facing.shares
        if self.joint.rigid:
            return ((nodes[:, :3], corner_shares(shares)),)
        half = nodes.shape[1] // 2
        return (
            (nodes[:, :3], corner_shares(shares[:, :half])),
            (nodes[:, half : half + 3], corner_shares(-shares[:, half:])),
        )


def pressed_joints(
    equilibrium: Equilibrium, displacement: Array, *, contact: Contact | None
) -> tuple[PressedJoint, ...]:
    """The bearing joints of a case with a displacement (n, 3) [mm]."""
    joined = equilibrium.joined
    if joined is None:
        return ()
    state = state_of(equilibrium, displacement, contact=contact)
    jump, normal = joined.links.jump(displacement), joined.law.normal
    slid = np.linalg.norm(jump - np.einsum("qi,qi->q", jump, normal)[:, None] * normal, axis=1)
    out = []
    for number, joint in enumerate(joined.joints):
        if joint.kind == BONDED:
            continue
        own = joined.joint == number
        out.append(
            PressedJoint(
                joint,
                np.maximum(state.force[own], 0.0) / joined.area[own],
                np.maximum(-state.approach[own], 0.0),
                slid[own],
                state.touching[own],
                state.slipping[own],
            )
        )
    return tuple(out)


def state_of(equilibrium: Equilibrium, displacement: Array, *, contact: Contact | None) -> PointState:
    """What happens at the points of all joints: as the `contact` found it, or where nothing but glue acts, as the
    displacement (n, 3) [mm] tells.
    """
    assert equilibrium.joined is not None
    if contact is not None and contact.state is not None:
        return contact.state
    law = equilibrium.joined.law
    return law.answer(equilibrium.joined.links.jump(displacement), rest=np.zeros_like(law.normal))


def corner_shares(shares: Array) -> Array:
    """The linear shares (q, 3) of a triangle's corners from those of its six nodes (q, 6), or of three as they are.

    A middle node is halfway between its corners, so that each takes half of its share; unlike the corners' own ones
    of second order these are never negative.
    """
    if shares.shape[1] == 3:
        return shares
    return shares[:, :3] + 0.5 * (shares[:, [3, 3, 4]] + shares[:, [5, 4, 5]])


def corner_means(nodes: Index, shares: Array, *, areas: Array, values: Array) -> tuple[Index, Array, Array]:
    """The means (k,) of values (q,) around each of the nodes (k,) among corners (q, 3), weighted by shares (q, 3) of
    areas (q,) [mm^2], and the sum (k,) of these weights: means times weights add up to values times areas.
    """
    used, flat = np.unique(nodes, return_inverse=True)
    weights = (shares * areas[:, None]).ravel()
    total = np.asarray(np.bincount(flat.ravel(), weights=weights), dtype=float)
    summed = np.asarray(np.bincount(flat.ravel(), weights=weights * np.repeat(values, 3)), dtype=float)
    mean: Array = np.divide(summed, total, out=np.zeros_like(total), where=total > 0)
    return used, mean, total


def on_nodes(joints: tuple[PressedJoint, ...], what: str, triangles: Index, *, count: int) -> Array:
    """`what` ("pressure" or "opening") at the nodes (n,) of a mesh with boundary `triangles` (k, 6), both sides of
    all joints: corners take the mean of the points around them, middle nodes that of their corners; 0 elsewhere.
    """
    total, weight = np.zeros(count), np.zeros(count)
    for pressed in joints:
        for nodes, shares in pressed.sides:
            used, mean, weights = corner_means(
                nodes, shares, areas=pressed.facing.areas, values=getattr(pressed, what)
            )
            total[used] += mean * weights
            weight[used] += weights
    out = np.divide(total, weight, out=np.zeros(count), where=weight > 0)
    own = triangles[(weight[triangles[:, :3]] > 0).all(axis=1)]
    for middle, (one, other) in zip((3, 4, 5), ((0, 1), (1, 2), (0, 2)), strict=True):
        out[own[:, middle]] = (out[own[:, one]] + out[own[:, other]]) / 2
    return out
