"""What kind of place a hot spot is: a sharp inner corner, where stress grows without limit, or one that has a value.

Around a sharp inner corner stress goes like r^(l - 1), so the energy in a cylinder of radius R around its edge goes
like R^(2 l); l, the exponent, is found from that. Where surfaces go over into each other smoothly, as on a fillet,
there is no such corner, however steep the stress is.
Source: M. L. Williams, J. Appl. Mech. 19 (1952) 526 (a right angle cut out of a solid: 0.5445).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fem.judging.stress import raw_stress
from fem.part.quadrature import STRESS_POINTS, tet_shapes, triangle_shapes
from fem.part.tetmesh import Index, TetMesh
from fem.printing.field import PrintedField
from fem.tensors import Array

SHARP = np.deg2rad(20.0)
"""Surfaces that meet at a larger angle than this, into the part, make a sharp corner."""
CYLINDERS, RADII = (2.0, 8.0, 3.0), 10
"""Least and largest radius of the cylinders and half their length, in edges at the place; how many."""
MOST_OFF = 0.05
"""Energies that lie off the fitted power by more than this share show none."""
EXPONENTS = np.linspace(0.3, 1.0, 351)
_SIDES = (((0, 1), 1, 3), ((1, 2), 1, 4), ((0, 2), -1, 5))
"""Ends of a boundary triangle's sides, whether they stand in its order, and the middle node."""
_CORNERS = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])


@dataclass(frozen=True)
class InnerEdges:
    """Edges of the mesh at which two surfaces meet sharply, into the part: `middle` (e, 3) [mm], `along` (e, 3), the
    nodes of their two `ends` (e, 2), and by how much the surfaces' normals `turn` (e,) [rad] there.
    """

    middle: Array
    along: Array
    ends: Index
    turn: Array


def inner_edges(mesh: TetMesh) -> InnerEdges:
    """Where two surfaces meet sharply, into the part."""
    tri = mesh.triangles
    _, slope = triangle_shapes(_CORNERS)
    tangent = np.einsum("qad,kai->kqdi", slope, mesh.nodes[tri])
    normal = np.cross(tangent[:, :, 0], tangent[:, :, 1])
    normal /= np.maximum(np.linalg.norm(normal, axis=2, keepdims=True), 1e-300)
    ends = np.concatenate([tri[:, list(e)] for e, _, _ in _SIDES])
    own = np.concatenate([normal[:, list(e)].mean(axis=1) for e, _, _ in _SIDES])
    ahead = np.concatenate([way * (mesh.nodes[tri[:, j]] - mesh.nodes[tri[:, i]]) for (i, j), way, _ in _SIDES])
    middle = np.concatenate([mesh.nodes[tri[:, m]] for _, _, m in _SIDES])
    order = np.lexsort(np.sort(ends, axis=1).T)
    one, two = order[:-1], order[1:]
    pair = (np.sort(ends[one], axis=1) == np.sort(ends[two], axis=1)).all(axis=1)
    one, two = one[pair], two[pair]
    length = np.linalg.norm(own[one], axis=1) * np.linalg.norm(own[two], axis=1)
    turn = np.arccos(np.clip(np.einsum("ei,ei->e", own[one], own[two]) / np.maximum(length, 1e-300), -1, 1))
    # Seen from one side's plane, the other side rises outward where the corner points into the part; a triangle lies
    # to the left of its edges
    rises = np.einsum("ei,ei->e", own[one], np.cross(own[two], ahead[two])) > 0
    sharp = (turn > SHARP) & rises
    found = one[sharp]
    along = mesh.nodes[ends[found, 1]] - mesh.nodes[ends[found, 0]]
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    return InnerEdges(middle[found], along, ends[found], turn[sharp])


def nearest_inner_edge(mesh: TetMesh, edges: InnerEdges, place: Array) -> int | None:
    """Which of the sharp inner edges a place (3,) lies at, within an element; None: at none of them."""
    if not len(edges.middle):
        return None
    away = np.linalg.norm(edges.middle - place, axis=1)
    return int(away.argmin()) if away.min() <= 1.2 * _edge_at(mesh, place) else None


def _edge_at(mesh: TetMesh, place: Array) -> float:
    middle = mesh.nodes[mesh.tets[:, :4]].mean(axis=1)
    return float(mesh.edge_length[int(np.linalg.norm(middle - place, axis=1).argmin())])


def singular_exponent(
    mesh: TetMesh, printed: PrintedField, displacement: Array, place: Array, along: Array
) -> float | None:
    """The exponent l of the stress around a sharp edge that runs through a place (3,) `along` a unit vector (3,).

    It is found from the energy in cylinders around the edge; None where that does not go like a power, or the part is
    too small to show one.

    To the singular part a regular one is added, whose energy goes like R^2.
    """
    edge = _edge_at(mesh, place)
    first, last, half = (edge * each for each in CYLINDERS)
    last = min(last, 0.1 * mesh.diagonal)
    if last < 2 * first:
        return None
    radii = np.geomspace(first, last, RADII)
    middle = mesh.nodes[mesh.tets[:, :4]].mean(axis=1)
    near = np.linalg.norm(middle - place, axis=1) < last + half + 2 * mesh.edge_length
    raw, volume = raw_stress(mesh, printed, displacement)
    strain = np.einsum(
        "mqab,mqb->mqa", np.linalg.inv(printed.stiffness_table[printed.material[near]]), raw[near], optimize=True
    )
    energy = (volume[near] * np.einsum("mqa,mqa->mq", raw[near], strain)).ravel()
    offset = np.einsum("qa,mai->mqi", tet_shapes(STRESS_POINTS), mesh.nodes[mesh.tets[near]]).reshape(-1, 3) - place
    ahead = offset @ along
    away = np.linalg.norm(offset - ahead[:, None] * along, axis=1)
    # Weights that fall to zero at the cylinder's ends and side keep the power, and count no tetrahedra in jumps
    energy = energy * np.maximum(1 - (ahead / half) ** 2, 0.0) ** 2
    held = np.array([(energy * np.maximum(1 - (away / r) ** 2, 0.0) ** 2).sum() for r in radii])
    return _fitted(radii / last, held / held[-1]) if held[-1] > 0 else None


def _fitted(radius: Array, energy: Array) -> float | None:
    """The l for which a R^(2 l) + b R^2, a and b at least 0, comes nearest to the energies, relative to them."""
    from scipy.optimize import nnls

    left = []
    for exponent in EXPONENTS:
        terms = np.stack([radius ** (2 * exponent), radius**2], axis=1) / energy[:, None]
        left.append(nnls(terms, np.ones(len(radius)))[1])
    best = int(np.argmin(left))
    if left[best] > MOST_OFF * np.sqrt(len(radius)) or best == 0:
        return None
    return float(EXPONENTS[best])
