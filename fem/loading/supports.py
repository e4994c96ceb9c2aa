"""What holds the part: faces held in given directions, elastic foundations, springs, and rigid bodies to bear on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fem.errors import InputError
from fem.part.faces import FaceGroup, true_normals
from fem.part.quadrature import TRIANGLE_POINTS, surface_points, triangle_shapes
from fem.part.tetmesh import Index, TetMesh
from fem.tensors import Array

AXES = {"x": 0, "y": 1, "z": 2}


@dataclass(frozen=True)
class Held:
    """Nodes (j,) whose displacement along `directions` (j, 3) is `value` (j,) [mm] (zero for a support).

    Those of a face lie on the boundary `triangles` (j,) and are `fixed` along these part axes, or ("normal",); `move`
    (3,) [mm] is the face's displacement.
    """

    name: str
    nodes: Index
    directions: Array
    value: Array
    triangles: Index
    fixed: tuple[str, ...] = ()
    move: tuple[float, float, float] = (0.0, 0.0, 0.0)

    @property
    def still(self) -> Held:
        """The same face, held where it is."""
        return replace(self, value=np.zeros_like(self.value))


@dataclass(frozen=True)
class Foundation:
    """A face on springs, on boundary `triangles` (j,): stiffness per area [N/mm^3] `normal` and `tangential` to the
    face, and `axes` (3,) along the part axes wherever the face looks. One that is `push_only` lets go where the face
    moves away from it, its tangential part too; one that is `bonded` is glued and meant to pull.
    """

    name: str
    triangles: Index
    normal: float
    tangential: float
    axes: tuple[float, float, float] = (0.0, 0.0, 0.0)
    push_only: bool = False
    bonded: bool = False

    def __post_init__(self) -> None:
        each = (self.normal, self.tangential, *self.axes)
        if min(each) < 0 or max(each) <= 0:
            raise InputError(
                "a foundation needs stiffness that is not negative, and at least one that is not zero.",
                where=f"supports.{self.name}",
            )
        if self.push_only and not (self.normal > 0 and max(self.axes) == 0):
            raise InputError(
                "a foundation that only pushes needs a normal stiffness.",
                where=f"supports.{self.name}",
                advice='Write foundation = { normal = "400 N/mm^3", push_only = true }.',
            )


@dataclass(frozen=True)
class RigidBearing:
    """A face, boundary `triangles` (j,), opposite a rigid body of its own shape, `clearance` [mm] away (negative: a
    press fit): it pushes, rubs with `friction`, and is free to part.
    """

    name: str
    triangles: Index
    friction: float = 0.0
    clearance: float = 0.0


Support = Held | Foundation | RigidBearing


def spring_support(mesh: TetMesh, group: FaceGroup, *, stiffness: Sequence[float] | Array, name: str) -> Foundation:
    """Springs of the total `stiffness` (3,) [N/mm] along the part axes, spread evenly over a face.

    The mean displacement of the face is the force over the stiffness, exactly; a turn of the face is resisted as far
    as the face is wide.
    """
    x, y, z = (float(k) / group.area for k in stiffness)
    return Foundation(name, group.triangles, 0.0, 0.0, axes=(x, y, z))


def held_face(
    mesh: TetMesh, group: FaceGroup, *, fixed: tuple[str, ...] | str, name: str, value: Array | None = None
) -> Held:
    """Hold the nodes of a face along part axes ("x", "y", "z") or along the face's own "normal".

    `value` (3,) [mm] displacements the held axes by its components instead of leaving them at zero.
    """
    nodes = np.unique(mesh.triangles[group.triangles])
    triangles = group.triangles
    if fixed == "normal" or tuple(fixed) == ("normal",):
        directions, own = _face_normals(mesh, group)
        return Held(name, own, directions, np.zeros(len(own)), triangles, ("normal",))
    axes = [AXES[a] for a in fixed]
    directions = np.repeat(np.eye(3)[axes], len(nodes), axis=0)
    amount = np.zeros(3) if value is None else np.asarray(value, dtype=float)
    each, (x, y, z) = np.repeat(amount[axes], len(nodes)), map(float, amount)
    return Held(name, np.tile(nodes, len(axes)), directions, each, triangles, tuple(fixed), (x, y, z))


def _face_normals(mesh: TetMesh, group: FaceGroup) -> tuple[Array, Index]:
    """One normal a node and face: a node where two held faces meet at an edge is held along both."""
    normals, nodes = [], []
    for face in group.faces:
        own_triangles = group.triangles[mesh.face[group.triangles] == face]
        triangles = mesh.triangles[own_triangles]
        # The slopes at the six nodes give the curved normal at each node of each triangle
        corner = np.array([[0, 0], [1, 0], [0, 1], [0.5, 0], [0.5, 0.5], [0, 0.5]])
        _, slope = triangle_shapes(corner)
        tangent = np.einsum("qad,jai->jqdi", slope, mesh.nodes[triangles])
        meshed = np.cross(tangent[:, :, 0], tangent[:, :, 1])
        normal = true_normals(mesh, own_triangles, mesh.nodes[triangles], meshed)
        total = np.zeros((len(mesh.nodes), 3))
        np.add.at(total, triangles, normal)
        own = np.unique(triangles)
        normals.append(total[own] / np.linalg.norm(total[own], axis=1)[:, None])
        nodes.append(own)
    return np.concatenate(normals), np.concatenate(nodes).astype(np.int32)


@dataclass(frozen=True)
class FoundationPoints:
    """The points at which a foundation is integrated over its curved triangles: `nodes` (j, 6) of the triangles,
    `shape` (q, 6), `place` (j, q, 3) [mm], `weight` (j, q) [mm^2], outward `normal` (j, q, 3) and `spring`
    (j, q, 3, 3) [N/mm^3].
    """

    nodes: Index
    shape: Array
    place: Array
    weight: Array
    normal: Array
    spring: Array

    def matrices(self, pressing: NDArray[np.bool_] | None = None) -> tuple[Index, Array]:
        """Nodes (j, 6) and spring matrices (j, 6, 6, 3, 3) [N/mm], of the points that are `pressing` (j, q) alone."""
        weight = self.weight if pressing is None else self.weight * pressing
        return self.nodes, np.einsum("jq,qa,qb,jqik->jabik", weight, self.shape, self.shape, self.spring)

    def approach(self, displacement: Array) -> Array:
        """How far (j, q) [mm] a displacement (n, 3) [mm] moves the face into its foundation; negative: away."""
        return np.einsum("qa,jai,jqi->jq", self.shape, displacement[self.nodes], self.normal)


def foundation_points(mesh: TetMesh, foundation: Foundation) -> FoundationPoints:
    """The integration points of a foundation."""
    place, weight, normal = surface_points(mesh, foundation.triangles)
    normal = true_normals(mesh, foundation.triangles, place, normal)
    shape, _ = triangle_shapes(TRIANGLE_POINTS)
    spring = spring_matrices(foundation, normal)
    return FoundationPoints(mesh.triangles[foundation.triangles], shape, place, weight, normal, spring)


def spring_matrices(foundation: Foundation, normal: Array) -> Array:
    """Springs (..., 3, 3) [N/mm^3] of a foundation where the outward normals are (..., 3)."""
    outer = normal[..., :, None] * normal[..., None, :]
    return foundation.normal * outer + foundation.tangential * (np.eye(3) - outer) + np.diag(foundation.axes)


def foundation_matrices(mesh: TetMesh, foundation: Foundation) -> tuple[Index, Array]:
    """Nodes (j, 6) and spring matrices (j, 6, 6, 3, 3) [N/mm] of a foundation, over its curved triangles."""
    return foundation_points(mesh, foundation).matrices()


@dataclass(frozen=True)
class HeldNodes:
    """All that is held, gathered by node: `projector` (n, 3, 3) onto what may move, `start` (n, 3) [mm] the
    displacement that the held directions prescribe.
    """

    projector: Array
    start: Array

    @property
    def nodes(self) -> Index:
        """Numbers of the nodes that are held in any direction."""
        free = np.trace(self.projector, axis1=1, axis2=2)
        return np.flatnonzero(free < 3 - 1e-9).astype(np.int32)


def gather(mesh: TetMesh, held: tuple[Held, ...]) -> HeldNodes:
    """Combine all held directions at each node; directions that nearly coincide count once.

    Errors: InputError when two supports ask one node for different displacements along one direction.
    """
    n = len(mesh.nodes)
    projector = np.tile(np.eye(3), (n, 1, 1))
    start = np.zeros((n, 3))
    if not held:
        return HeldNodes(projector, start)
    node = np.concatenate([h.nodes for h in held])
    direction = np.concatenate([h.directions for h in held])
    value = np.concatenate([h.value for h in held])
    order = np.argsort(node, kind="stable")
    node, direction, value = node[order], direction[order], value[order]
    first = np.flatnonzero(np.diff(node, prepend=-1))
    for at, end in zip(first, [*first[1:], len(node)], strict=True):
        d, v = direction[at:end], value[at:end]
        u, s, vt = np.linalg.svd(d, full_matrices=False)
        keep = s > 0.02 * s[0]
        basis = vt[keep]
        move = basis.T @ ((u[:, keep].T @ v) / s[keep])
        if np.abs(d @ move - v).max() > 1e-6 + 1e-3 * np.abs(v).max():
            where = ", ".join(f"{c:.4g}" for c in mesh.nodes[node[at]])
            raise InputError(
                f"two supports ask the point ({where}) mm for different displacements.", where="supports"
            )
        projector[node[at]] -= basis.T @ basis
        start[node[at]] = move
    return HeldNodes(projector, start)
