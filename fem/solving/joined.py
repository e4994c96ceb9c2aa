"""All joints of a study as the solvers see them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fem.joining.fitting import FittedBolt
from fem.joining.joint import BONDED, Joint
from fem.joining.law import PointLaw
from fem.part.tetmesh import Index, TetMesh
from fem.printing.field import PrintedField
from fem.solving.links import Links, joined_links, material_stiffness
from fem.solving.ties import A_BOLT, Ties
from fem.tensors import Array

PUSH = 100.0
"""Stiffness of the springs along the normal, over that of the elements on both sides one behind the other: the
approach that they allow is a hundredth of what the outermost elements give anyway. Iterations grow with its root."""
HOLD = 0.05
"""Stiffness across the normal over that along it where faces rub. The edge of what slips moves by the way over which
shear builds up each step, so that stiffer springs take more steps."""


def ties_of(bolts: Sequence[FittedBolt]) -> Ties | None:
    """The springs of all bolts' shanks, six a bolt; None where there is no bolt."""
    from scipy.sparse import hstack

    if not bolts:
        return None
    columns = hstack([bolt.columns for bolt in bolts], format="csr")
    outside = np.repeat([not bolt.into for bolt in bolts], A_BOLT)
    return Ties(columns, np.concatenate([bolt.springs for bolt in bolts]), outside, tuple(b.name for b in bolts))


@dataclass(frozen=True)
class Joined:
    """The `links` at which faces meet, the `law` by which they do, the number (q,) of each point's `joint`, the area
    (q,) [mm^2] it stands for, and the `ties` of bolts.
    """

    joints: tuple[Joint, ...]
    links: Links
    law: PointLaw
    joint: Index
    area: Array
    ties: Ties | None = None

    @cached_property
    def rigid(self) -> NDArray[np.bool_]:
        """At which points (q,) the counterpart is rigid: what it does to the body comes from outside."""
        return np.array([joint.rigid for joint in self.joints])[self.joint]

    @property
    def where(self) -> str:
        """The table of a study in which they stand: a rigid body is a support."""
        return "supports" if self.rigid.all() else "joints"

    @property
    def glued(self) -> bool:
        """Whether all faces are glued: then nothing changes with the load, and cases are sums."""
        return bool(self.law.glued.all())


def joined_of(
    mesh: TetMesh, printed: PrintedField, joints: Sequence[Joint], *, ties: Ties | None = None, push: float = PUSH
) -> Joined:
    """What the solvers need of the joints of a mesh; `push` as for PUSH."""
    count = len(mesh.nodes)
    each = material_stiffness(mesh, printed)
    if not joints:  # bolts alone
        none = np.zeros(0)
        law = PointLaw(np.zeros((0, 3)), none, none, none, none, none.astype(bool))
        return Joined(
            (),
            Links(np.zeros((0, 1), dtype=np.int32), np.zeros((0, 1)), count),
            law,
            none.astype(np.int32),
            none,
            ties,
        )
    links = [Links(j.facing.nodes, j.facing.shares, count) for j in joints]
    laws = [_law(joint, each, push) for joint in joints]
    law = PointLaw(*(np.concatenate([getattr(one, name) for one in laws]) for name in PointLaw.__dataclass_fields__))
    number = np.repeat(np.arange(len(joints)), [len(one.gap) for one in laws])
    area = np.concatenate([joint.facing.areas for joint in joints])
    return Joined(tuple(joints), joined_links(links), law, number, area, ties)


def _law(joint: Joint, material: Array, push: float) -> PointLaw:
    facing, glued = joint.facing, joint.kind == BONDED
    size = np.abs(facing.shares) * material[facing.nodes]
    total = np.abs(facing.shares)
    half = facing.nodes.shape[1] if joint.rigid else facing.nodes.shape[1] // 2
    soft = total[:, :half].sum(axis=1) / size[:, :half].sum(axis=1)
    if not joint.rigid:
        soft = soft + total[:, half:].sum(axis=1) / size[:, half:].sum(axis=1)
    # One stiffness all over a joint: an even pressure shall approach evenly, whatever the elements
    along = push * float((facing.areas / soft).sum() / facing.areas.sum()) * facing.areas
    hold = (1.0 if glued else HOLD) * along
    if joint.stiffness is not None:
        along, hold = (each * facing.areas for each in joint.stiffness)
    q = len(along)
    return PointLaw(
        normal=facing.normals,
        gap=np.zeros(q) if glued else facing.gaps,  # glue fills what is drawn open
        push=along,
        hold=hold,
        friction=np.full(q, np.inf if glued else joint.friction),
        glued=np.full(q, glued),
    )
