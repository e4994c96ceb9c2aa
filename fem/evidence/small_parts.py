"""The bench on which a check is set up: materials of known stiffness, nodes held by place, one solve, one stress.

Everything goes through the verbs that a study uses; only what a study reads from files is given by hand.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fem.criteria.strength import Strength
from fem.judging.stress import recover_stress
from fem.loading.supports import Held, held_face
from fem.part.faces import FaceGroup, face_group
from fem.part.tetmesh import Index, TetMesh
from fem.printing.field import Phase, PrintedField, PrintedMaterial, uniform_field
from fem.solving.equilibrium import Equilibrium, Solution
from fem.tensors import Array

Point = tuple[float, float, float]


def material(stiffness: Array, *, density: float = 1e-9, expansion: Sequence[float] | None = None) -> PrintedMaterial:
    """A material with this stiffness (6, 6) [MPa] in part axes."""
    phase = Phase("solid", "solid", np.eye(6), np.zeros(6), Strength(yield_stress=100.0))
    warm = None if expansion is None else np.asarray(expansion, dtype=float)
    return PrintedMaterial("check", "dry", stiffness, np.eye(3), density, (phase,), "solid", warm)


def field(mesh: TetMesh, *materials: PrintedMaterial, which: Array | None = None) -> PrintedField:
    """One material everywhere, or `which` (m,) of several."""
    number = np.zeros(len(mesh.tets), dtype=np.int32) if which is None else np.asarray(which, dtype=np.int32)
    return uniform_field(tuple(materials), number)


def prescribe(
    mesh: TetMesh, nodes: Index, displacement: Array, *, axes: Sequence[int] = (0, 1, 2), name: str = "given"
) -> Held:
    """Hold `nodes` (j,) at the displacement (n, 3) [mm] along the given axes."""
    nodes = np.asarray(nodes, dtype=np.int32)
    directions = np.repeat(np.eye(3)[list(axes)], len(nodes), axis=0)
    value = np.concatenate([np.broadcast_to(displacement, mesh.nodes.shape)[nodes, a] for a in axes])
    return Held(name, np.tile(nodes, len(axes)), directions, value, np.zeros(0, dtype=np.int32))


def still(mesh: TetMesh, nodes: Index, *, axes: Sequence[int], name: str) -> Held:
    """Hold `nodes` (j,) at zero along the given axes."""
    return prescribe(mesh, nodes, np.zeros(3), axes=axes, name=name)


def square_to(mesh: TetMesh, *faces: int, name: str) -> Held:
    """A plane of symmetry: faces held along their own normal."""
    return held_face(mesh, group(mesh, *faces), fixed="normal", name=name)


def boundary(mesh: TetMesh) -> Index:
    """All nodes on the boundary."""
    return np.unique(mesh.triangles)


def on(mesh: TetMesh, *faces: int) -> Index:
    """The nodes on some faces."""
    return mesh.nodes_of(faces)


def node_at(mesh: TetMesh, point: Sequence[float]) -> int:
    """The node at a point [mm]."""
    off = np.linalg.norm(mesh.nodes - np.asarray(point, dtype=float), axis=1)
    assert off.min() < 1e-6 * mesh.diagonal
    return int(off.argmin())


def pinned(mesh: TetMesh, first: Point, second: Point, third: Point) -> Held:
    """Six directions at three nodes, so that only rigid motions are held: x, y, z; y, z; z.

    `second` lies from `first` along x, `third` along y.
    """
    a, b, c = (node_at(mesh, p) for p in (first, second, third))
    nodes = np.array([a, a, a, b, b, c], dtype=np.int32)
    return Held("pin", nodes, np.eye(3)[[0, 1, 2, 1, 2, 2]], np.zeros(6), np.zeros(0, dtype=np.int32))


def group(mesh: TetMesh, *faces: int) -> FaceGroup:
    return face_group(mesh, faces, name="face")


def solve(
    mesh: TetMesh,
    printed: PrintedField,
    *,
    held: Sequence[Held],
    loads: Array | None = None,
    solver: str = "auto",
) -> tuple[Array, Equilibrium, Solution]:
    """Displacement (n, 3) [mm] and the equilibrium, for nodal forces (n, 3) and prescribed displacements."""
    equilibrium = Equilibrium(mesh, printed, held=list(held), solver=solver)
    forces = np.zeros(mesh.nodes.shape) if loads is None else loads
    start = equilibrium.held.start
    starts = start[None] if np.abs(start).max() > 0 else None
    found, record = equilibrium.solve(forces[None], starts=starts)
    solution = equilibrium.balance(found[0], forces, record)
    assert solution.force_error < 1e-8 and solution.moment_error < 1e-8
    return solution.displacement, equilibrium, solution


def node_stress(
    mesh: TetMesh, printed: PrintedField, displacement: Array, *, temperature_change: Array | None = None
) -> Array:
    """Smoothed stress (n, 6) [MPa] at the nodes."""
    return recover_stress(mesh, printed, displacement, temperature_change=temperature_change).node
