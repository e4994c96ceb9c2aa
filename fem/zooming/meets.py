"""What joints do to the beads of a body: their force as the solved part has it, and springs against what differs.

On the body's own surface a joint presses, under each load at unit factor, as its springs do in the solved part; the
load `JOINTS` brings what gaps and friction make these differ by. Where the beads give way otherwise than the part,
the springs of what touches answer, against a counterpart that moves as the solved part says. What touches and slips
stays as it is in the solved case, so that loads still add up.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from fem.joining.facing import Facing
from fem.joining.law import PointLaw
from fem.loading.case import JOINTS
from fem.loading.dense import Box
from fem.loading.point_springs import PointSprings
from fem.loading.traction import PointForces
from fem.part.tetmesh import TetMesh
from fem.solving.joined import Joined
from fem.tensors import Array


@dataclass(frozen=True)
class Meeting:
    """The joints of a solved part as cases have them that were solved together: the displacement (n, 3) [mm] of each
    load at unit factor, `units`, and the `whole` (n, 3) [mm] at which joints touch and slip as they do.
    """

    joined: Joined
    units: Mapping[str, Array]
    whole: Array


@dataclass(frozen=True)
class Pressed:
    """What joints do to a body's surface at points: their springs, and the forces (q, 3) [N] of each load at unit
    factor, by name.
    """

    springs: PointSprings
    forces: Mapping[str, Array]

    def of(self, load: str) -> PointForces:
        """The forces of a load, where they work."""
        return PointForces(self.springs.point, self.forces[load])


def pressed(mesh: TetMesh, body: str, meeting: Meeting, *, spacing: float, box: Box) -> Pressed:
    """What joints do to a body in a box, at points no farther apart than about `spacing` [mm]."""
    none = np.zeros((0, 3))
    nothing = Pressed(
        PointSprings(none, np.zeros(0), none, np.zeros((0, 3, 3)), none), dict.fromkeys(meeting.units, none)
    )
    return reduce(_both, _each(mesh, body, meeting, spacing, box), nothing)


def _each(mesh: TetMesh, body: str, meeting: Meeting, spacing: float, box: Box) -> Iterator[Pressed]:
    """The sides of joints that are the body's."""
    number = mesh.bodies.index(body)
    for joint, law in zip(meeting.joined.joints, _laws(meeting.joined), strict=True):
        half = joint.facing.nodes.shape[1] if joint.rigid else joint.facing.nodes.shape[1] // 2
        for side, node in ((1.0, 0), (-1.0, half)):
            if node < joint.facing.nodes.shape[1] and mesh.node_body[joint.facing.nodes[0, node]] == number:
                close = joint.facing if joint.opposite is None else joint.opposite.closer(spacing, box)
                inside = box.holds(close.places if side > 0 else close.opposite)
                yield _side(close.only(inside), law, meeting, side)


@dataclass(frozen=True)
class _Even:
    """The law of a joint's points for each mm^2 of its area: springs `push` and `hold` [N/mm^3]."""

    push: float
    hold: float
    friction: float
    glued: bool

    def at(self, close: Facing) -> PointLaw:
        many = np.ones(len(close.areas))
        return PointLaw(
            normal=close.normals,
            gap=0 * many if self.glued else close.gaps,
            push=self.push * close.areas,
            hold=self.hold * close.areas,
            friction=self.friction * many,
            glued=np.full(len(many), self.glued),
        )


def _laws(joined: Joined) -> Iterator[_Even]:
    law = joined.law
    for number in range(len(joined.joints)):
        own = np.flatnonzero(joined.joint == number)
        push, hold = (float(each[own].sum() / joined.area[own].sum()) for each in (law.push, law.hold))
        yield _Even(push, hold, float(law.friction[own[0]]), bool(law.glued[own[0]]))


def _side(close: Facing, even: _Even, meeting: Meeting, side: float) -> Pressed:
    """One side of a joint, the first (`side` 1) or the second (-1)."""
    law = even.at(close)

    def jump(displacement: Array) -> Array:
        return np.asarray(np.einsum("qa,qai->qi", close.shares, displacement[close.nodes]))

    whole = jump(meeting.whole)
    state = law.answer(whole, rest=np.zeros_like(whole))
    springs = law.held(state)
    forces = {k: -side * np.einsum("qij,qj->qi", springs, jump(unit)) for k, unit in meeting.units.items()}
    if JOINTS in forces:
        forces[JOINTS] += side * (np.einsum("qij,qj->qi", springs, whole) - state.total(law.normal))
    place = close.places if side > 0 else close.opposite
    found = PointSprings(place, close.areas, side * close.normals, springs, np.zeros_like(place))
    kept: NDArray[np.bool_] = state.touching
    return Pressed(
        PointSprings(*(getattr(found, name)[kept] for name in PointSprings.__dataclass_fields__)),
        {k: f[kept] for k, f in forces.items()},
    )


def _both(one: Pressed, other: Pressed) -> Pressed:
    springs = PointSprings(
        *(
            np.concatenate([getattr(one.springs, name), getattr(other.springs, name)])
            for name in PointSprings.__dataclass_fields__
        )
    )
    return Pressed(springs, {k: np.concatenate([f, other.forces[k]]) for k, f in one.forces.items()})
