"""What each support does: the force and moment with which it answers, and where a foundation pulls.

A support's force at a node is what its foundation's springs, or its held directions, exert on the part there. Where
several supports hold one node along held directions, the force there is split into forces along all of these
directions whose squares add up to the least: across directions that are square to each other each support bears what
lies along its own, and two that hold the same direction bear half each. A foundation on a held node bears what its
springs bear, a rigid body what its points press. The sum over all supports is the whole answer of the supports,
whatever the split.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fem.loading.supports import Foundation, Held
from fem.part.faces import area_and_centre
from fem.part.tetmesh import Index, TetMesh
from fem.solving.equilibrium import Contact, Equilibrium, Solution
from fem.solving.joined import Joined
from fem.solving.ties import A_BOLT
from fem.tensors import Array


@dataclass(frozen=True)
class Reaction:
    """What a support exerts on the part: `force` (3,) [N], and `moment` (3,) [N mm] about `at` (3,) [mm], the
    centre of its area. `part` names a separate piece of the support ("hole 2"); it is empty for the whole support.
    """

    support: str
    part: str
    force: Array
    moment: Array
    at: Array

    @property
    def moment_about_origin(self) -> Array:
        """The moment (3,) [N mm] about the origin of the part axes."""
        return np.asarray(self.moment + np.cross(self.at, self.force))


def reactions(
    equilibrium: Equilibrium, solution: Solution, *, contact: Contact | None = None
) -> tuple[Reaction, ...]:
    """The reaction of each support, and of each of its separate pieces where it has several.

    Pieces are faces of the support that touch, or lie around one axis, as the two halves of a hole do.
    """
    mesh = equilibrium.mesh
    springs = (equilibrium.system if contact is None else contact.system).springs
    out: list[Reaction] = []
    left = solution.support.copy()
    for foundation, (nodes, local) in zip(equilibrium.foundations.values(), springs, strict=True):
        each = -np.einsum("jabik,jbk->jai", local, solution.displacement[nodes])
        forces = np.zeros_like(left)
        np.add.at(forces, nodes, each)
        left -= forces
        pieces = _pieces(mesh, foundation.triangles)
        split = []
        for _, triangles in pieces:
            own = np.isin(foundation.triangles, triangles)
            part = np.zeros_like(left)
            np.add.at(part, nodes[own], each[own])
            split.append(part)
        out += _told(mesh, foundation.name, _centre(mesh, foundation), forces, pieces, split)
    out += _of_bearings(equilibrium, solution, contact, left)
    out += _of_bolts(equilibrium, solution, contact, left)
    for held, forces in zip(equilibrium.supports, _held_forces(equilibrium.supports, left), strict=True):
        pieces = _pieces(mesh, held.triangles)
        # Pieces share no node: those that touch are one
        split = [np.where(_on(mesh, triangles)[:, None], forces, 0.0) for _, triangles in pieces]
        out += _told(mesh, held.name, _centre(mesh, held), forces, pieces, split)
    return tuple(out)


def _of_bearings(
    equilibrium: Equilibrium, solution: Solution, contact: Contact | None, left: Array
) -> list[Reaction]:
    """The reactions of rigid bodies on which faces bear, which are taken out of `left` (n, 3) [N]."""
    joined, mesh, out = equilibrium.joined, equilibrium.mesh, list[Reaction]()
    if joined is None:
        return out
    each = equilibrium.forces_at_joints(solution.displacement, contact)
    for number, joint in enumerate(joined.joints):
        if not joint.rigid:
            continue
        own = np.flatnonzero(joined.joint == number)
        area = joined.area[own]
        forces = _on_nodes(joined, each, own)
        left -= forces
        pieces, split = [], []
        if joint.triangles is not None:
            pieces = _pieces(mesh, joint.triangles)
            triangle = np.repeat(joint.triangles, len(own) // len(joint.triangles))
            split = [_on_nodes(joined, each, own[np.isin(triangle, t)]) for _, t in pieces]
        out += _told(mesh, joint.name, area @ joint.facing.places / area.sum(), forces, pieces, split)
    return out


def _of_bolts(equilibrium: Equilibrium, solution: Solution, contact: Contact | None, left: Array) -> list[Reaction]:
    """The reactions of what holds bolts and is not meshed, which are taken out of `left` (n, 3) [N]."""
    mesh, out = equilibrium.mesh, list[Reaction]()
    ties = None if equilibrium.joined is None else equilibrium.joined.ties
    if ties is None:
        return out
    each = equilibrium.forces_of_ties(solution.displacement, contact)
    for number, name in enumerate(ties.names):
        own = np.zeros(len(each))
        own[A_BOLT * number : A_BOLT * (number + 1)] = 1.0
        if not (own * ties.outside).any():
            continue
        forces = ties.forces(own * each)
        left -= forces
        size = np.linalg.norm(forces, axis=1)
        out.append(_reaction(mesh, f"bolt {name}", "", forces, size @ mesh.nodes / size.sum()))
    return out


def _on_nodes(joined: Joined, each: Array, points: Index) -> Array:
    """Nodal forces (n, 3) [N] of some of the forces (q, 3) [N] at the points of joints."""
    some = np.zeros_like(each)
    some[points] = each[points]
    return joined.links.forces(some)


def _told(
    mesh: TetMesh,
    name: str,
    centre: Array,
    forces: Array,
    pieces: Sequence[tuple[str, Index]],
    split: Sequence[Array],
) -> list[Reaction]:
    """The reaction of a support from its nodal forces (n, 3), then those of its pieces where there are several."""
    out = [_reaction(mesh, name, "", forces, centre)]
    if len(pieces) > 1:
        for (part, triangles), own in zip(pieces, split, strict=True):
            out.append(_reaction(mesh, name, part, own, area_and_centre(mesh, triangles)[1]))
    return out


def _centre(mesh: TetMesh, support: Held | Foundation) -> Array:
    """Centre (3,) [mm] of a support's area, or of its nodes where it is no face."""
    if isinstance(support, Held) and not len(support.triangles):
        return np.asarray(mesh.nodes[np.unique(support.nodes)].mean(axis=0))
    return area_and_centre(mesh, support.triangles)[1]


def _reaction(mesh: TetMesh, name: str, part: str, forces: Array, at: Array) -> Reaction:
    return Reaction(name, part, forces.sum(axis=0), np.cross(mesh.nodes - at, forces).sum(axis=0), at)


def _held_forces(supports: Sequence[Held], left: Array) -> list[Array]:
    """The nodal forces (n, 3) of each support, whose sum over supports is `left` (n, 3)."""
    out = [np.zeros_like(left) for _ in supports]
    if not supports:
        return out
    node = np.concatenate([h.nodes for h in supports])
    owner = np.repeat(np.arange(len(supports)), [len(h.nodes) for h in supports])
    direction = np.concatenate([h.directions for h in supports])
    # Least forces along the directions D of a node that add up to f: D c with D^T D c = f
    gram = np.zeros((len(left), 3, 3))
    np.add.at(gram, node, direction[:, :, None] * direction[:, None, :])
    held = np.unique(node)
    answer = np.zeros_like(left)
    inverse = np.linalg.pinv(gram[held], rcond=1e-4, hermitian=True)
    answer[held] = np.einsum("nik,nk->ni", inverse, left[held])
    along = np.einsum("ji,ji->j", direction, answer[node])[:, None] * direction
    for k, forces in enumerate(out):
        np.add.at(forces, node[owner == k], along[owner == k])
    return out


def _on(mesh: TetMesh, triangles: Index) -> np.ndarray:
    """Which nodes (n,) lie on these boundary triangles."""
    on = np.zeros(len(mesh.nodes), dtype=bool)
    on[mesh.triangles[triangles]] = True
    return on


def _pieces(mesh: TetMesh, triangles: Index) -> list[tuple[str, Index]]:
    """The separate pieces of a support with their triangles: "hole 1", "piece 2", in the order of their centres."""
    groups: list[set[int]] = []
    face = mesh.face[triangles]
    nodes = {int(f): set(mesh.triangles[triangles[face == f]].ravel()) for f in np.unique(face)}
    for one in nodes:
        touching = [g for g in groups if any(nodes[one] & nodes[f] or _around_one_axis(mesh, one, f) for f in g)]
        groups = [g for g in groups if g not in touching] + [{one}.union(*touching)]
    found = []
    for group in groups:
        own = triangles[np.isin(face, list(group))]
        centre = area_and_centre(mesh, own)[1]
        hole = all(mesh.faces[f].kind == "cylinder" and mesh.faces[f].hole for f in group)
        found.append((tuple(np.round(centre, 3)), "hole" if hole else "piece", own))
    found.sort(key=lambda each: each[0])
    return [(f"{kind} {k + 1}", own) for k, (_, kind, own) in enumerate(found)]


def _around_one_axis(mesh: TetMesh, first: int, second: int) -> bool:
    """Whether two faces are cylinders about the same axis."""
    a, b = mesh.faces[first], mesh.faces[second]
    if not (a.kind == b.kind == "cylinder" and a.body == b.body):
        return False
    if a.axis is None or b.axis is None or a.origin is None or b.origin is None:
        return False
    off = b.origin - a.origin
    apart = np.linalg.norm(off - (off @ a.axis) * a.axis)
    return bool(abs(a.axis @ b.axis) > 0.999 and apart < 0.05 * (a.radius or 1.0))


@dataclass(frozen=True)
class Tension:
    """Where a foundation pulls on the part: the share `area` of its area that moves away from it, `pull` and `push`
    [N] the sums of its normal forces there and elsewhere. One that is `push_only` has let go there and pulls nowhere.
    """

    area: float
    pull: float
    push: float
    push_only: bool

    @property
    def share(self) -> float:
        """The pull over pull and push together."""
        return self.pull / (self.pull + self.push) if self.pull > 0 else 0.0


def foundation_tension(
    equilibrium: Equilibrium, displacement: Array, *, contact: Contact | None = None
) -> dict[str, Tension]:
    """Where each foundation with a normal stiffness is in tension under a displacement (n, 3) [mm], by its name.

    Springs along axes pull by intention and are left out.
    """
    out = {}
    for name, foundation in equilibrium.foundations.items():
        if not foundation.normal > 0:
            continue
        points = equilibrium.points(name)
        approach = points.approach(displacement)
        # What is nothing but rounding is not taken for tension
        away = approach < -1e-9 * float(np.abs(approach).max())
        force = foundation.normal * points.weight * np.abs(approach)
        if foundation.push_only and contact is not None:
            away = ~contact.pressing[name]
            force = np.where(away, 0.0, force)
        area = float(points.weight[away].sum() / points.weight.sum())
        out[name] = Tension(area, float(force[away].sum()), float(force[~away].sum()), foundation.push_only)
    return out
