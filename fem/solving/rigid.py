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
"""A motion is free that is resisted by less than this, over the stiffness of all joints together."""
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
    motions, _ = _motions_of_pieces(mesh)
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
        raise FreeBodyError(
            "a body is pushed away and nothing stops it.",
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
    total = float(joined.law.push.sum())
    none = np.zeros((len(mesh.nodes), 3))
    jumps = joined.links.jump(motions)
    matrix = _supports(equilibrium, motions, none, total)[0]
    matrix = matrix + np.einsum("qik,qij,qjl->kl", jumps, springs, jumps, optimize=True)
    values, vectors = np.linalg.eigh(matrix)
    free = vectors[:, values < FREE * total]
    if not free.shape[1]:
        return
    share = np.linalg.norm(free, axis=1).reshape(-1, 6)
    worst = int(np.linalg.norm(share, axis=1).argmax())
    names = [f"slide along {a}" for a in "xyz"] + [f"turn about {a}" for a in "xyz"]
    moves = [name for name, size in zip(names, share[worst], strict=True) if size > 0.3 * share[worst].max()]
    body = mesh.bodies[mesh.node_body[first[worst]]]
    raise FreeBodyError(f"body {body} is free to {listed(moves)}.", where=where, advice=advice)


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
    held = np.eye(3) - equilibrium.held.projector
    on = np.flatnonzero(held.any(axis=(1, 2)))
    out, moved = TINY * joints * np.eye(motions.shape[2]), np.zeros(motions.shape[2])
    if len(on):
        hard = HARD * joints / len(on) * np.einsum("nij,njl->nil", held[on], motions[on])
        out += np.einsum("nik,nil->kl", motions[on], hard, optimize=True)
        moved += np.einsum("nik,ni->k", hard, start[on])
    for nodes, local in equilibrium.system.springs:
        out += np.einsum("jaik,jabil,jblm->km", motions[nodes], local, motions[nodes], optimize=True)
    ties = equilibrium.system.ties
    if ties is not None:
        own = ties.columns.T @ motions.reshape(-1, motions.shape[2])
        out += own.T @ (ties.stiffness[:, None] * own)
    return out, moved
