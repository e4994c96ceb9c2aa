"""The bench for bodies that meet: small parts whose faces touch, one solve, and what is read off where they do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fem.evidence.bricks import box
from fem.evidence.small_parts import field, material
from fem.joining.facing import Facing, faces_opposite, first_of, rigid_counterpart
from fem.joining.joint import Joint
from fem.loading.supports import Held
from fem.part.tetmesh import Index, TetMesh, joined
from fem.printing.field import PrintedField
from fem.solving.equilibrium import Equilibrium
from fem.solving.joined import joined_of
from fem.solving.joints import JointsAnswer, solve_joints
from fem.tensors import Array

BLOCK = (20.0, 20.0, 10.0)


@dataclass(frozen=True)
class Met:
    """Bodies that were solved with what touches: `found`, and the `equilibrium` that holds mesh and joints."""

    equilibrium: Equilibrium
    found: JointsAnswer

    @property
    def mesh(self) -> TetMesh:
        return self.equilibrium.mesh

    @property
    def pressure(self) -> Array:
        """[MPa] (q,) at the points of all joints."""
        assert self.equilibrium.joined is not None
        return np.asarray(self.found.state.force / self.equilibrium.joined.area)

    @property
    def mean_pressure(self) -> float:
        """[MPa] over all points of the joints."""
        assert self.equilibrium.joined is not None
        return float(self.found.state.force.sum() / self.equilibrium.joined.area.sum())

    @property
    def places(self) -> Array:
        """Where these points lie [mm] (q, 3)."""
        assert self.equilibrium.joined is not None
        return np.concatenate([joint.facing.places for joint in self.equilibrium.joined.joints])

    def support_on(self, nodes: Index) -> Array:
        """The force (3,) [N] with which supports hold some nodes (j,)."""
        inner = self.equilibrium.elastic_forces(self.found.displacement)
        return np.asarray(inner[nodes].sum(axis=0))


def two_blocks(
    lower: tuple[int, int, int],
    upper: tuple[int, int, int],
    *,
    turn: Array | None = None,
    size: tuple[float, float, float] = BLOCK,
    gap: float = 0.0,
) -> tuple[TetMesh, int]:
    """A block on another one, `gap` [mm] apart, whose meshes share no nodes, and the number from which the second's
    faces count; `turn` (3, 3) turns both."""
    one, two = box(size, lower), box(size, upper)
    mesh, off = stacked(one, replace(two, nodes=two.nodes + np.array([0, 0, size[2] + gap])))
    if turn is not None:
        mesh = replace(mesh, nodes=mesh.nodes @ turn.T + [3.0, -7.0, 11.0])
    return mesh, off


def stacked(one: TetMesh, two: TetMesh) -> tuple[TetMesh, int]:
    """Two bodies as one mesh, and the number from which the second's faces count."""
    return joined([one, replace(two, bodies=("upper",))]), len(one.faces)


def touching(
    mesh: TetMesh,
    first: int,
    second: int,
    *,
    clearance: float = 0.0,
    reach: float | None = None,
    finer: bool = True,
    **how: Any,
) -> Joint:
    """The joint of two faces by their numbers, the finer one first unless told otherwise; the rest as for `Joint`."""
    one, two = mesh.triangles_of((first,)), mesh.triangles_of((second,))
    if finer:
        one, two = first_of(mesh, one, two)
    return _joint("seam", faces_opposite(mesh, one, two, clearance=clearance, reach=reach), **how)


def stop(mesh: TetMesh, face: int, *, clearance: float = 0.0, **how: Any) -> Joint:
    """The joint of a face with a rigid body of its shape."""
    return _joint("stop", rigid_counterpart(mesh, mesh.triangles_of((face,)), clearance=clearance), **how)


def _joint(name: str, facing: Facing, **how: Any) -> Joint:
    return Joint(name, facing, **how)


def met(
    mesh: TetMesh, printed: PrintedField, held: Sequence[Held], *joints: Joint, solver: str = "auto", **how: Any
) -> Equilibrium:
    """What is ready to be loaded, with its joints."""
    both = joined_of(mesh, printed, joints, **how)
    return Equilibrium(mesh, printed, held=list(held), joined=both, solver=solver)


def meet(equilibrium: Equilibrium, forces: Array) -> Met:
    """Bodies under nodal forces (n, 3) [N] and the displacements that their supports prescribe."""
    start = equilibrium.held.start
    return Met(equilibrium, solve_joints(equilibrium, forces, start=start if np.abs(start).max() > 0 else None))


def each_of(mesh: TetMesh, *stiffness: Array) -> PrintedField:
    """A material of its own (6, 6) [MPa] in each body."""
    return field(mesh, *(material(one) for one in stiffness), which=np.asarray(mesh.body, dtype=float))
