"""Displacements that balance the loads, with the balance itself in every result.

One `Equilibrium` holds the matrix and its preconditioner; all load cases that share the supports are solved
with it, and linear cases are sums of the answers to unit loads.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fem.errors import FreeBodyError
from fem.joining.law import PointState
from fem.loading.supports import Foundation, FoundationPoints, Held, foundation_points, gather
from fem.part.tetmesh import Index, TetMesh
from fem.printing.field import PrintedField
from fem.solving.earlier import Earlier
from fem.solving.joined import Joined
from fem.solving.joint_moves import KeptPreconditioner
from fem.solving.linear import TOLERANCE, SolveRecord
from fem.solving.links import pattern_with
from fem.solving.motions import rigid_motions
from fem.solving.solvers import solver_for
from fem.solving.stiffness import BlockPattern, assemble, block_pattern
from fem.solving.system import HeldSystem
from fem.solving.ties import Locked, Ties
from fem.tensors import Array


@dataclass(frozen=True)
class Solution:
    """What a case came to: `displacement` (n, 3) [mm], `support` (n, 3) [N] the forces with which supports and
    foundations answer, `force_error` and `moment_error` the balance that is left, relative to the sum of all nodal
    loads (and to that times the box's diagonal), `record` how it converged. `resisted` is False where all that was
    asked of the part is a displacement which it follows as one: then no force is left that could balance.
    """

    displacement: Array
    support: Array
    force_error: float
    moment_error: float
    record: SolveRecord
    resisted: bool = True


@dataclass(frozen=True)
class Contact:
    """Which points (j, q) of each push-only foundation press, by its name, and the system with these alone.

    `steps` is how often the part was solved until they no longer changed; `state` what the points of joints do,
    `locked` how bolts were tightened.
    """

    pressing: Mapping[str, NDArray[np.bool_]]
    system: HeldSystem
    solver: Any
    steps: int = 0
    state: PointState | None = None
    locked: Locked | None = None


class Equilibrium:
    """A mesh with its printed material and its supports, ready to be loaded.

    `earlier` is that of an equilibrium of the same mesh: its preconditioner is used again where it serves.
    Errors: FreeBodyError when a piece can move without resistance, with the free motions named.
    """

    def __init__(
        self,
        mesh: TetMesh,
        printed: PrintedField,
        *,
        held: Sequence[Held] = (),
        foundations: Sequence[Foundation] = (),
        pattern: BlockPattern | None = None,
        blocks: Array | None = None,
        solver: str = "auto",
        earlier: Earlier | None = None,
        joined: Joined | None = None,
    ) -> None:
        if joined is None:
            refuse_free_motion(mesh, held=held, foundations=foundations)
        self.joined = joined
        self.mesh, self.printed = mesh, printed
        self.supports = tuple(held)
        self.foundations = {foundation.name: foundation for foundation in foundations}
        self.held = gather(mesh, tuple(held))
        if pattern is None:
            pattern = block_pattern(mesh) if joined is None else pattern_with(block_pattern(mesh), joined.links)
        self.pattern = pattern
        self.elastic = (
            assemble(mesh, self.pattern, table=printed.stiffness_table, material=printed.material)
            if blocks is None
            else blocks
        )
        self.system = HeldSystem(
            mesh,
            self.pattern,
            self.elastic,
            held=self.held,
            foundations=foundations,
            joined=joined,
        )
        self.kind = solver
        self.solver = solver_for(solver, self.system, printed, earlier=earlier)
        made = getattr(self.solver, "precondition", None)
        if earlier is None or made is not earlier.precondition:
            described = printed.stiffness_table, printed.material
            earlier = None if made is None else Earlier.of(made, *described, self.system)
        self.earlier = earlier
        closed = np.zeros((0, 3, 3)) if joined is None else joined.law.closed()
        self.kept = KeptPreconditioner(made, closed)

    def solve(
        self,
        loads: Array,
        *,
        starts: Array | None = None,
        tolerance: float = TOLERANCE,
        contact: Contact | None = None,
        guess: Array | None = None,
        progress: Callable[[float], None] | None = None,
    ) -> tuple[Array, SolveRecord]:
        """Displacements (k, n, 3) [mm] under each of the nodal forces (k, n, 3) [N].

        `starts` (k, n, 3) [mm] prescribes the held directions' displacement (zero unless given); `tolerance` is the
        residual over the load at which an iteration stops, `guess` (k, n, 3) [mm] where it begins. Every foundation
        pulls as well as it pushes, unless a `contact` says where it presses (`contact.py` finds it).
        Errors: NotConverged.
        """
        k, n = len(loads), len(self.mesh.nodes)
        system, solver = (self.system, self.solver) if contact is None else (contact.system, contact.solver)
        if k == 0:
            return np.zeros((0, n, 3)), SolveRecord(0, ())
        if starts is None:
            basis, mix = _independent(loads)
            if len(basis) < k:
                begin = None if guess is None else guess[basis]
                some, record = self.solve(
                    loads[basis], tolerance=tolerance, contact=contact, guess=begin, progress=progress
                )
                return np.einsum("jk,jni->kni", mix, some), record
        right = loads.transpose(1, 2, 0).reshape(3 * n, k)
        given = None if starts is None else starts.transpose(1, 2, 0).reshape(3 * n, k)
        if given is not None:
            right = right - system.whole_forces(given)
        right = self.system.free(np.array(right))
        begin = None if guess is None else np.array(guess.transpose(1, 2, 0).reshape(3 * n, k), dtype=float)
        if begin is not None:
            begin = self.system.free(begin if given is None else begin - given)
        answer, record = solver.solve(right, tolerance=tolerance, progress=progress, guess=begin)
        answer = self.system.free(answer)
        if given is not None:
            answer += given
        return answer.reshape(n, 3, k).transpose(2, 0, 1).copy(), record

    @property
    def linear(self) -> bool:
        """Whether nothing but the loads decides what moves: there is no bolt, and no joint that may part or slip."""
        return self.joined is None or (self.joined.glued and self.joined.ties is None)

    def with_ties(self, ties: Ties | None) -> Equilibrium:
        """The same with other springs in its bolts; the preconditioner knows none."""
        other = copy(self)
        other.system = self.system.with_ties(ties)
        return other

    def free(self, forces: Array) -> Array:
        """Nodal forces (n, 3) without what held directions take."""
        return np.einsum("nij,nj->ni", self.held.projector, forces)

    def starts(self, move: Held) -> Array:
        """Displacement (n, 3) [mm] that holds everything still but the nodes of one prescribed face."""
        still = [replace(h, value=np.zeros_like(h.value)) for h in self.supports if h.name != move.name]
        return gather(self.mesh, (*still, move)).start

    def elastic_forces(self, displacement: Array) -> Array:
        """Nodal forces (n, 3) [N] with which the part alone, without foundations, resists a displacement (n, 3)
        [mm]."""
        return np.asarray(self.system.elastic @ displacement.reshape(-1)).reshape(-1, 3)

    def pressing_only(self, pressing: Mapping[str, NDArray[np.bool_]], *, steps: int = 0) -> Contact:
        """The contact in which foundations push at the points `pressing` (j, q) alone; the preconditioner is kept.

        Errors: FreeBodyError when a piece can move without resistance then.
        """
        refuse_free_motion(
            self.mesh, held=self.supports, foundations=tuple(self.foundations.values()), pressing=pressing
        )
        each = zip(self.foundations, self.system.springs, strict=True)
        system = self.system.with_springs(
            [self.points(name).matrices(pressing[name]) if name in pressing else full for name, full in each]
        )
        made = getattr(self.solver, "precondition", None)
        return Contact(pressing, system, solver_for(self.kind, system, self.printed, precondition=made), steps)

    def joint_forces(self, displacement: Array, contact: Contact | None = None) -> tuple[Array, Array]:
        """Nodal forces (n, 3) [N] of joints and bolts on the bodies at a displacement (n, 3) [mm]: of those between
        bodies, zero in sum, and of rigid bodies and what is not meshed, which are supports.
        """
        if self.joined is None:
            return np.zeros_like(displacement), np.zeros_like(displacement)
        each, links = self.forces_at_joints(displacement, contact), self.joined.links
        rigid = self.joined.rigid[:, None]
        between = links.forces(np.where(rigid, 0.0, each))
        outside = links.forces(np.where(rigid, each, 0.0))
        ties = self.joined.ties
        if ties is not None:
            bolts = self.forces_of_ties(displacement, contact)
            between += ties.forces(np.where(ties.outside, 0.0, bolts))
            outside += ties.forces(np.where(ties.outside, bolts, 0.0))
        return between, outside

    def forces_of_ties(self, displacement: Array, contact: Contact | None = None) -> Array:
        """The forces (m,) of all ties on the bodies, along their motions."""
        assert self.joined is not None and self.joined.ties is not None
        ties = self.joined.ties
        locked = None if contact is None else contact.locked
        return -(ties.stiffness * ties.motion(displacement) if locked is None else locked.each(ties, displacement))

    def forces_at_joints(self, displacement: Array, contact: Contact | None = None) -> Array:
        """The force (q, 3) [N] on the first side at each point of the joints."""
        assert self.joined is not None
        law, state = self.joined.law, None if contact is None else contact.state
        if state is None:
            state = law.answer(self.joined.links.jump(displacement), rest=np.zeros_like(law.normal))
        return -state.total(law.normal)

    def points(self, name: str) -> FoundationPoints:
        """The integration points of a foundation."""
        return foundation_points(self.mesh, self.foundations[name])

    def balance(
        self, displacement: Array, forces: Array, record: SolveRecord, *, contact: Contact | None = None
    ) -> Solution:
        """The solution with the answer of the supports and what is left of the balance of force and moment."""
        elastic = self.elastic_forces(displacement)
        system = (self.system if contact is None else contact.system).with_link_springs(None).with_ties(None)
        between, outside = self.joint_forces(displacement, contact)
        forces = forces + between
        whole = system.whole_forces(displacement.reshape(-1, 1)).reshape(-1, 3)
        foundation = elastic - whole
        left = whole - forces - outside
        support = foundation + outside + left - np.einsum("nij,nj->ni", self.held.projector, left)
        total = forces + support
        moment = np.cross(self.mesh.nodes - self.mesh.box.mean(axis=0), total).sum(axis=0)
        scale = float(np.linalg.norm(forces, axis=1).sum() + np.linalg.norm(support, axis=1).sum()) / 2
        if not forces.any() and scale <= self._noise(displacement):
            return Solution(displacement, np.zeros_like(support), 0.0, 0.0, record, resisted=scale == 0)
        return Solution(
            displacement,
            support,
            float(np.linalg.norm(total.sum(axis=0))) / scale,
            float(np.linalg.norm(moment)) / (scale * self.mesh.diagonal),
            record,
        )

    def _noise(self, displacement: Array) -> float:
        """Forces [N] that a solve cannot tell from none: prescribed displacements drive it with the forces that would
        tear the moved nodes out of a part at rest, and it stops at a residual of TOLERANCE of those.
        """
        start = displacement - np.einsum("nij,nj->ni", self.held.projector, displacement)
        torn = self.system.whole_forces(start.reshape(-1, 1)).reshape(-1, 3)
        return 10 * TOLERANCE * float(np.linalg.norm(torn, axis=1).sum())


def _independent(loads: Array) -> tuple[list[int], Array]:
    """Which of the loads (k, n, 3) are no sums of the others, and how all are mixed (j, k) from these.

    A wing's lift is a sum of the six unit wrenches on its face: it need not be solved again.
    """
    flat = loads.reshape(len(loads), -1)
    flat = flat[:, flat.any(axis=0)]
    size = np.linalg.norm(flat, axis=1)
    chosen: list[int] = []
    frame: list[Array] = []
    for i in np.flatnonzero(size > 0):
        rest = flat[i] / size[i]
        for _ in range(2):  # twice is enough to keep the frame orthogonal
            for q in frame:
                rest = rest - (q @ rest) * q
        left = float(np.linalg.norm(rest))
        if left > 1e-10:
            frame.append(rest / left)
            chosen.append(int(i))
    if not chosen:
        return [0], np.zeros((1, len(loads)))
    q = np.array(frame)
    return chosen, np.asarray(np.linalg.solve(q @ flat[chosen].T, q @ flat.T), dtype=float)


def pieces(mesh: TetMesh) -> Index:
    """The connected piece (n,) that each node belongs to."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    n = len(mesh.nodes)
    rows = np.repeat(mesh.tets[:, 0], 9)
    graph = coo_matrix((np.ones(len(rows), dtype=np.int8), (rows, mesh.tets[:, 1:].ravel())), shape=(n, n))
    return connected_components(graph, directed=False)[1].astype(np.int32)


def refuse_free_motion(
    mesh: TetMesh,
    *,
    held: Sequence[Held],
    foundations: Sequence[Foundation],
    pressing: Mapping[str, NDArray[np.bool_]] | None = None,
) -> None:
    """Refuse a piece that could move freely; foundations resist at the points `pressing` (j, q) alone where given.

    Errors: FreeBodyError naming the free slides and turns of the first piece that is not held.
    """
    piece = pieces(mesh)
    names = list("xyz")
    for number in range(int(piece.max()) + 1):
        own = np.flatnonzero(piece == number)
        points = mesh.nodes[own]
        centre = points.mean(axis=0)
        size = float(np.ptp(points, axis=0).max()) / 2
        gram = np.zeros((6, 6))
        for h in held:
            mine = piece[h.nodes] == number
            if mine.any():
                gram += _gram(mesh.nodes[h.nodes[mine]], h.directions[mine], centre, size)
        for foundation in foundations:
            gram += _foundation_gram(
                mesh, foundation, piece == number, (pressing or {}).get(foundation.name), centre, size
            )
        values, vectors = np.linalg.eigh(gram)
        free = vectors[:, values < 1e-6]
        if free.shape[1] == 0:
            continue
        body = mesh.bodies[mesh.node_body[own[0]]]
        share = np.linalg.norm(free, axis=1)
        motions = [f"slide along {names[i]}" for i in range(3) if share[i] > 0.3]
        motions += [f"turn about {names[i]}" for i in range(3) if share[3 + i] > 0.3]
        place = ", ".join(f"{v:.4g}" for v in centre)
        raise FreeBodyError(
            f"body {body} (piece around ({place}) mm) is free to {listed(motions)}.",
            where="supports",
            advice="Hold a face of it in these directions, or give it an elastic foundation.",
        )


def _foundation_gram(
    mesh: TetMesh,
    foundation: Foundation,
    nodes: NDArray[np.bool_],
    pressing: NDArray[np.bool_] | None,
    centre: Array,
    size: float,
) -> Array:
    """Resistance (6, 6) of a foundation, where it is `pressing` (j, q), against motions of the piece `nodes`."""
    points = foundation_points(mesh, foundation)
    mine = np.broadcast_to(nodes[points.nodes[:, :1]], points.weight.shape)
    mine = mine if pressing is None else mine & pressing
    at, normal = points.place[mine], points.normal[mine]
    gram = np.zeros((6, 6))
    if not len(at):
        return gram
    if foundation.normal > 0:
        gram += _gram(at, normal, centre, size)
    for axis, along in zip(np.eye(3), foundation.axes, strict=True):
        if foundation.tangential > 0:
            gram += _gram(at, axis - (normal @ axis)[:, None] * normal, centre, size)
        if along > 0:
            gram += _gram(at, np.tile(axis, (len(at), 1)), centre, size)
    return gram


def _gram(points: Array, directions: Array, centre: Array, size: float) -> Array:
    """Mean square resistance (6, 6) of held directions (j, 3) against the six rigid motions, turns scaled by size."""
    rows = np.einsum("ji,jik->jk", directions, rigid_motions(points, centre=centre))
    rows[:, 3:] /= size
    return rows.T @ rows / len(rows)


def listed(words: list[str]) -> str:
    """Words as one says them: "a, b and c"."""
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]
