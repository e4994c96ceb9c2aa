"""What kind of place a hot spot is: a sharp inner corner, where stress grows without limit, or one that has a value.

Around a sharp inner corner stress goes like r^(l - 1), so the energy in a ball of radius R around it goes like
R^(2 l + 1); l, the exponent, is found from that. Where surfaces go over into each other smoothly, as on a fillet,
there is no such corner, however steep the stress is.
Source: M. L. Williams, J. Appl. Mech. 19 (1952) 526 (a right angle cut out of a solid: 0.5445).
"""

from __future__ import annotations

import numpy as np

from fem.judging.stress import raw_stress
from fem.part.quadrature import STRESS_POINTS, tet_shapes, triangle_shapes
from fem.part.tetmesh import TetMesh
from fem.printing.field import PrintedField
from fem.tensors import Array

SHARP = np.deg2rad(20.0)
"""Surfaces that meet at a larger angle than this, into the part, make a sharp corner."""
BALLS = (3.0, 12.0, 10)
"""Radii of the balls, in edges at the place: from, to, how many."""
EXPONENTS = np.linspace(0.3, 1.0, 351)
_SIDES = (((0, 1), 2, 3), ((1, 2), 0, 4), ((0, 2), 1, 5))
"""Ends, opposite corner and middle node of a boundary triangle's sides."""
_CORNERS = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])


def inner_edges(mesh: TetMesh) -> Array:
    """Middles (e, 3) [mm] of the mesh's edges at which two surfaces meet sharply, into the part."""
    tri = mesh.triangles
    _, slope = triangle_shapes(_CORNERS)
    tangent = np.einsum("qad,kai->kqdi", slope, mesh.nodes[tri])
    normal = np.cross(tangent[:, :, 0], tangent[:, :, 1])
    normal /= np.maximum(np.linalg.norm(normal, axis=2, keepdims=True), 1e-300)
    ends = np.concatenate([tri[:, list(e)] for e, _, _ in _SIDES])
    own = np.concatenate([normal[:, list(e)].mean(axis=1) for e, _, _ in _SIDES])
    beyond = np.concatenate([mesh.nodes[tri[:, o]] for _, o, _ in _SIDES])
    middle = np.concatenate([mesh.nodes[tri[:, m]] for _, _, m in _SIDES])
    order = np.lexsort(np.sort(ends, axis=1).T)
    one, two = order[:-1], order[1:]
    pair = (np.sort(ends[one], axis=1) == np.sort(ends[two], axis=1)).all(axis=1)
    one, two = one[pair], two[pair]
    length = np.linalg.norm(own[one], axis=1) * np.linalg.norm(own[two], axis=1)
    turn = np.arccos(np.clip(np.einsum("ei,ei->e", own[one], own[two]) / np.maximum(length, 1e-300), -1, 1))
    # Seen from one side's plane, the other side rises outward where the corner points into the part
    rises = np.einsum("ei,ei->e", own[one], beyond[two] - middle[one]) > 0
    return np.asarray(middle[one[(turn > SHARP) & rises]])


def at_inner_edge(mesh: TetMesh, edges: Array, place: Array) -> bool:
    """Whether a place (3,) lies within an element of one of the sharp inner `edges` (e, 3)."""
    if not len(edges):
        return False
    return bool(np.linalg.norm(edges - place, axis=1).min() <= 1.2 * _edge_at(mesh, place))


def _edge_at(mesh: TetMesh, place: Array) -> float:
    middle = mesh.nodes[mesh.tets[:, :4]].mean(axis=1)
    return float(mesh.edge_length[int(np.linalg.norm(middle - place, axis=1).argmin())])


def singular_exponent(mesh: TetMesh, printed: PrintedField, displacement: Array, place: Array) -> float | None:
    """The exponent l of the stress around a place (3,), from the energy in balls around it; None where the balls do
    not show one (they reach beyond the part's own size, or the energy does not go like a power).

    To the singular part a regular one is added, whose energy goes like R^3.
    """
    edge = _edge_at(mesh, place)
    first, last, count = BALLS
    radii = edge * np.geomspace(first, last, count)
    near = np.linalg.norm(mesh.nodes[mesh.tets[:, :4]].mean(axis=1) - place, axis=1) < radii[-1] + 3 * edge
    last_radius = min(radii[-1], 0.25 * mesh.diagonal)
    radii = np.geomspace(radii[0], last_radius, count)
    if last_radius < 2 * radii[0]:
        return None
    raw, volume = raw_stress(mesh, printed, displacement)
    strain = np.einsum(
        "mab,mqb->mqa", np.linalg.inv(printed.stiffness_table)[printed.mixture[near]], raw[near], optimize=True
    )
    energy = (volume[near] * np.einsum("mqa,mqa->mq", raw[near], strain)).ravel()
    points = np.einsum("qa,mai->mqi", tet_shapes(STRESS_POINTS), mesh.nodes[mesh.tets[near]]).reshape(-1, 3)
    away = np.linalg.norm(points - place, axis=1)
    # A weight that falls to zero at the ball's edge keeps the power and does not count tetrahedra in jumps
    held = np.array([(energy * np.maximum(1 - (away / r) ** 2, 0.0) ** 2).sum() for r in radii])
    return _fitted(radii / radii[-1], held / held[-1]) if held[-1] > 0 else None


def _fitted(radius: Array, energy: Array) -> float | None:
    """The l for which a R^(2 l + 1) + b R^3, a and b at least 0, comes nearest to the energies, relative to them."""
    from scipy.optimize import nnls

    left = []
    for exponent in EXPONENTS:
        terms = np.stack([radius ** (2 * exponent + 1), radius**3], axis=1) / energy[:, None]
        left.append(nnls(terms, np.ones(len(radius)))[1])
    best = int(np.argmin(left))
    if left[best] > 0.05 * np.sqrt(len(radius)) or best == 0:
        return None
    return float(EXPONENTS[best])
