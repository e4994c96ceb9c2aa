"""Where bodies come to rest before they deform: as rigid ones, pressed together at their joints by their loads."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fem.errors import FreeBodyError
from fem.joining.law import least_work
from fem.part.tetmesh import Index, TetMesh
from fem.solving.equilibrium import Equilibrium, listed, pieces
from fem.solving.motions import rigid_motions
from fem.tensors import Array

MOST_TURNS = 200
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

    Errors: FreeBodyError where a piece is pushed away.
    """
    joined, mesh = equilibrium.joined, equilibrium.mesh
    assert joined is not None
    links, law = joined.links, joined.law
    law = replace(law, friction=np.where(law.friction > 0, np.inf, 0.0))
    motions, first = _motions_of_pieces(mesh)
    jumps, rest = links.jump(motions), np.zeros_like(law.normal)
    base, moved = _supports(equilibrium, motions, start, float(law.push.sum()))
    load = np.einsum("ni,nik->k", forces, motions) + moved
    q = np.zeros(len(load))
    for _ in range(MOST_TURNS):
        jump = jumps @ q
        state = law.answer(jump, rest=rest)
        left = load - base @ q - np.einsum("qi,qik->k", state.total(law.normal), jumps)
        if np.linalg.norm(left) <= 1e-9 * np.linalg.norm(load):
            break
        matrix = base + np.einsum("qik,qij,qjl->kl", jumps, law.springs(state), jumps, optimize=True)
        move = np.linalg.solve(matrix, left)
        slope, curve = float(move @ (base @ q - load)), float(move @ base @ move)
        q = q + move * least_work(
            law, jump=jump, move=jumps @ move, rest=rest, pressure=state.force, slope=slope, curve=curve
        )
    found = np.einsum("nik,k->ni", motions, q)
    if not np.isfinite(found).all() or np.abs(found).max() > mesh.diagonal:
        body, moves = _told(mesh, first, np.nan_to_num(q)[:, None])
        raise FreeBodyError(
            f"body {body} is pushed away and nothing stops it: it can {moves}.",
            where="joints",
            advice="Add what holds it: a support, a bolt, or the load that presses it on.",
        )
    return found


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
