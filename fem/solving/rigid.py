"""Where bodies come to rest before they deform: as rigid ones, pressed together at their joints by their loads."""

from __future__ import annotations

import numpy as np

from fem.errors import FreeBodyError
from fem.joining.law import PointLaw
from fem.part.tetmesh import Index, TetMesh
from fem.solving.equilibrium import Equilibrium, listed, pieces
from fem.solving.motions import rigid_motions
from fem.tensors import Array

MOST_TURNS = 40
SHARPER = 8.0
"""By how much faces push more sharply from one state of rest to the next."""
AGAIN = 20
"""How often what sticks is found anew at last."""
SHARP = 1e-6
"""The sharpest, over the widest gap."""
RESTS = 1e-3
"""What is left of the load where rigid bodies count as being at rest."""
ALMOST = 0.1
"""What is left of the slope along a move, or of the interval, where its end counts as found."""
HARD = 1e3
"""Stiffness of held directions over that of all joints together."""
FREE = 1e-7
"""A motion is free that joints and supports resist by less than this share of what they hold."""
TINY = 1e-9
"""Stiffness given to motions that nothing resists, over that of all joints together."""


def rigid_start(equilibrium: Equilibrium, forces: Array, *, start: Array) -> Array:
    """Displacement (n, 3) [mm] under nodal forces (n, 3) [N] of the connected pieces as rigid bodies on their
    supports and joints. Whatever rubs sticks; supports hardly yield, and move by `start` (n, 3) [mm] where that is
    prescribed.

    Faces push softly before they touch at first, then ever more sharply: rigid bodies on stiff springs that only push
    find no rest from afar. Errors: FreeBodyError where a piece is pushed away.
    """
    joined, mesh = equilibrium.joined, equilibrium.mesh
    assert joined is not None
    law, total = joined.law, float(joined.law.push.sum())
    motions, first = _motions_of_pieces(mesh)
    base, moved = _supports(equilibrium, motions, start, total)
    acting = np.einsum("ni,nik->k", forces, motions)
    bodies = _RigidBodies(law, joined.links.jump(motions), base, acting + moved, size=float(np.linalg.norm(acting)))
    wide = float(np.abs(law.gap).max(initial=0.0))
    evenly = max(bodies.size / total if total > 0 else 0.0, SHARP * wide, SHARP * SHARP * mesh.diagonal)
    for bodies.limited in (True, False):  # a press fit sticks by more than its loads press
        q = _pressed_together(bodies, wide, evenly)
        found = np.einsum("nik,k->ni", motions, q)
        if np.isfinite(found).all() and np.abs(found).max() <= mesh.diagonal:
            break
    else:
        body, moves = _told(mesh, first, np.nan_to_num(q)[:, None])
        raise FreeBodyError(
            f"body {body} is pushed away and nothing stops it: it can {moves}.",
            where="joints",
            advice="Add what holds it: a support, a bolt, or the load that presses it on.",
        )
    return found


def _pressed_together(bodies: _RigidBodies, wide: float, evenly: float) -> Array:
    """Motions (k,) at rest on springs that sharpen from the widest gap [mm] to far below an even approach [mm]."""
    q = np.zeros(len(bodies.load))
    sharp = evenly / SHARPER**2
    width = max(wide, evenly)
    while True:
        q = bodies.at_rest(q, width, bodies.sticking(q, width))
        if width == sharp:
            break
        width = max(width / SHARPER, sharp)
    before = np.zeros(len(bodies.law.gap))
    for _ in range(AGAIN):
        sticking = bodies.sticking(q, 0.0)
        if np.abs(sticking - before).max(initial=0.0) <= RESTS * sticking.max(initial=0.0):
            break
        q, before = bodies.at_rest(q, sharp, sticking), sticking
    return q


class _RigidBodies:
    """Rigid motions under a `load` (k,), without what moves supports of that `size`, on springs: those of supports
    as a matrix `base` (k, k), and those of points at joints, which the motions move by `jumps` (q, 3, k).
    """

    def __init__(self, law: PointLaw, jumps: Array, base: Array, load: Array, *, size: float) -> None:
        self.law, self.base, self.load, self.size = law, base, load, size
        self.into = np.einsum("qik,qi->qk", jumps, law.normal)
        self.along = jumps - law.normal[:, :, None] * self.into[:, None, :]
        self.limited = True
        self.hold = np.where(law.glued | (law.friction > 0), law.hold, 0.0)

    def nearness(self, q: Array, width: float) -> tuple[Array, Array]:
        """The approach (q,) [mm] that pushes, smooth over a `width` [mm] around touching, and its derivative."""
        near = self.into @ q - self.law.gap
        share = np.clip(near / width, -60, 60)
        smooth = np.where(near > 60 * width, near, width * np.log1p(np.exp(share)))
        rises = 1 / (1 + np.exp(-share))
        return np.where(self.law.glued, near, smooth), np.where(self.law.glued, 1.0, rises)

    def sticking(self, q: Array, width: float) -> Array:
        """Springs (q,) [N/mm] across the normal, by which what touches at `q` (k,) sticks: they bear as much as
        presses there, of the loads at the most; where that is not `limited`, all that rubs sticks. What lies closer
        than a `width` [mm] counts in part.
        """
        if not self.limited:
            return self.hold
        pressed = self.law.push * self.nearness(q, max(width, 1e-300))[0].clip(0)
        if 0 < self.size < pressed.sum():
            pressed *= self.size / pressed.sum()
        moved = np.linalg.norm(self.along @ q, axis=1) + width
        loose = pressed / np.where(moved > 0, moved, 1.0)
        return np.where(self.law.glued | (moved <= 0), self.hold, np.minimum(loose, self.hold))

    def at_rest(self, q: Array, width: float, sticking: Array) -> Array:
        """Motions (k,) at rest, from `q` (k,): points stick by springs `sticking` (q,) [N/mm]."""
        hold = np.repeat(sticking, 3)
        across = self.along.reshape(len(hold), -1)
        base = self.base + across.T @ (hold[:, None] * across)
        for _ in range(MOST_TURNS):
            deep, rises = self.nearness(q, width)
            pushed = self.into.T @ (self.law.push * deep)
            left = self.load - base @ q - pushed
            rounding = 1e-12 * float(np.linalg.norm(self.load))
            if np.linalg.norm(left) <= max(RESTS * max(self.size, float(np.linalg.norm(pushed))), rounding):
                break
            matrix = base + self.into.T @ ((self.law.push * rises)[:, None] * self.into)
            q = self._farther(q, np.linalg.solve(matrix, left), base, width)
        return q

    def _farther(self, q: Array, move: Array, base: Array, width: float) -> Array:
        """As far along a move (k,) as the work falls."""
        into = self.law.push * (self.into @ move)

        def rise(far: float) -> float:
            there = q + far * move
            return float(move @ (base @ there - self.load) + into @ self.nearness(there, width)[0])

        low, high, first = 0.0, 1.0, abs(rise(0.0))
        if rise(1.0) <= first * ALMOST:
            return q + move
        while high - low > ALMOST * high:
            far = (low + high) / 2
            low, high = (far, high) if rise(far) < 0 else (low, far)
        return q + high * move


def refuse_free_pieces(equilibrium: Equilibrium, springs: Array, *, where: str, advice: str) -> None:
    """Refuse bodies that can move although supports, ties and the joints' `springs` (q, 3, 3) [N/mm] hold them.

    Errors: FreeBodyError naming the body and its motions.
    """
    joined, mesh = equilibrium.joined, equilibrium.mesh
    assert joined is not None
    motions, first = _motions_of_pieces(mesh)
    jumps = joined.links.jump(motions)
    by_joints = np.einsum("qik,qij,qjl->kl", jumps, springs, jumps, optimize=True) / float(joined.law.push.sum())
    # Each support counts by what it holds, not by how stiff it is: a soft spring holds as well as a wall
    soft = (each / np.trace(each) for each in _soft_supports(equilibrium, motions) if np.trace(each) > 0)
    none = np.zeros((len(mesh.nodes), 3))
    matrix = by_joints + _held(equilibrium, motions, none, 1.0)[0] + sum(soft, np.zeros_like(by_joints))
    values, vectors = np.linalg.eigh(matrix)
    free = vectors[:, values < FREE]
    if not free.shape[1]:
        return
    body, moves = _told(mesh, first, free)
    raise FreeBodyError(f"body {body} is free to {moves}.", where=where, advice=advice)


def _told(mesh: TetMesh, first: Index, free: Array) -> tuple[str, str]:
    """The body that moves most in motions (6 p, k) of pieces, each with its `first` node (p,), and how."""
    share = np.linalg.norm(free, axis=1).reshape(-1, 6)
    worst = int(np.linalg.norm(share, axis=1).argmax())
    names = [f"slide along {a}" for a in "xyz"] + [f"turn about {a}" for a in "xyz"]
    moves = [name for name, size in zip(names, share[worst], strict=True) if size > 0.3 * share[worst].max()]
    return mesh.bodies[mesh.node_body[first[worst]]], listed(moves)


def _motions_of_pieces(mesh: TetMesh) -> tuple[Array, Index]:
    """Six rigid motions (n, 3, 6 p) of each of p connected pieces, and a node (p,) of each."""
    piece = pieces(mesh)
    count = int(piece.max()) + 1
    out = np.zeros((len(mesh.nodes), 3, 6 * count))
    for number in range(count):
        own = np.flatnonzero(piece == number)
        out[own, :, 6 * number : 6 * number + 6] = rigid_motions(mesh.nodes[own], size=mesh.diagonal / 2)
    return out, np.unique(piece, return_index=True)[1]


def _supports(equilibrium: Equilibrium, motions: Array, start: Array, joints: float) -> tuple[Array, Array]:
    """The stiffness (k, k) of supports and ties on the motions (n, 3, k), and the forces (k,) that `start` makes of
    it; held directions are far stiffer than all `joints` [N/mm] together.
    """
    out, moved = _held(equilibrium, motions, start, joints)
    out = out + TINY * joints * np.eye(len(out))
    return sum(_soft_supports(equilibrium, motions), out), moved


def _held(equilibrium: Equilibrium, motions: Array, start: Array, joints: float) -> tuple[Array, Array]:
    """The same of held directions alone."""
    held = np.eye(3) - equilibrium.held.projector
    on = np.flatnonzero(held.any(axis=(1, 2)))
    out, moved = np.zeros((motions.shape[2],) * 2), np.zeros(motions.shape[2])
    if len(on):
        hard = HARD * joints / len(on) * np.einsum("nij,njl->nil", held[on], motions[on])
        out += np.einsum("nik,nil->kl", motions[on], hard, optimize=True)
        moved += np.einsum("nik,ni->k", hard, start[on])
    return out, moved


def _soft_supports(equilibrium: Equilibrium, motions: Array) -> list[Array]:
    """The stiffness (k, k) of each foundation, and of the ties, on the motions (n, 3, k)."""
    out = [
        np.einsum("jaik,jabil,jblm->km", motions[nodes], local, motions[nodes], optimize=True)
        for nodes, local in equilibrium.system.springs
    ]
    ties = equilibrium.system.ties
    if ties is not None:
        own = ties.columns.T @ motions.reshape(-1, motions.shape[2])
        out += [np.outer(each, each) * k for each, k in zip(own, ties.stiffness, strict=True)]
    return out
