"""Stress from displacement, smoothed inside a body and never across one.

Stress is taken at the four integration points of each tetrahedron, where it is most accurate, carried to the
nodes by the linear field through these points, and averaged over the tetrahedra of the same material around a
node, weighted by their volume.
Source: J. Barlow, IJNME 10 (1976) 243 (best points); O. C. Zienkiewicz and J. Z. Zhu, IJNME 24 (1987) 337.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fem.part.quadrature import STRESS_POINTS, STRESS_WEIGHTS, tet_slopes
from fem.part.tetmesh import TET_EDGES, TetMesh
from fem.printing.field import PrintedField
from fem.tensors import Array

_SLOPE = tet_slopes(STRESS_POINTS)
_TO_POINTS = np.column_stack([1 - STRESS_POINTS.sum(axis=1), STRESS_POINTS])
_CORNERS = np.linalg.inv(_TO_POINTS)
_TO_NODES = np.vstack([_CORNERS, [(_CORNERS[i] + _CORNERS[j]) / 2 for i, j in TET_EDGES]])


@dataclass(frozen=True)
class StressField:
    """`node` (n, 6) [MPa] smoothed stress in part axes, `energy_error` the share of the energy norm by which the
    raw and the smoothed stress differ in the whole mesh (an estimate of the discretisation error).
    """

    node: Array
    energy_error: float


def raw_stress(
    mesh: TetMesh, printed: PrintedField, displacement: Array, *, warming: Array | None = None
) -> tuple[Array, Array]:
    """Stress (m, 4, 6) [MPa] in part axes at the integration points, and their volumes (m, 4) [mm^3]."""
    stress = np.empty((len(mesh.tets), 4, 6))
    volume = np.empty((len(mesh.tets), 4))
    table = printed.stiffness_table
    expansion = np.array([np.zeros(6) if m.expansion is None else m.expansion for m in printed.materials])
    for part in np.array_split(np.arange(len(mesh.tets)), max(1, len(mesh.tets) // 20000)):
        tets = mesh.tets[part]
        jac = np.einsum("qad,mai->mqdi", _SLOPE, mesh.nodes[tets], optimize=True)
        slope = np.einsum("qad,mai->mqdi", _SLOPE, displacement[tets], optimize=True)
        grad = np.linalg.solve(jac, slope)  # [direction, component]
        strain = np.stack(
            [
                grad[..., 0, 0],
                grad[..., 1, 1],
                grad[..., 2, 2],
                grad[..., 1, 2] + grad[..., 2, 1],
                grad[..., 0, 2] + grad[..., 2, 0],
                grad[..., 0, 1] + grad[..., 1, 0],
            ],
            axis=-1,
        )
        which = printed.material[part]
        if warming is not None:
            strain = strain - (warming[part, None] * expansion[which])[:, None, :]
        stress[part] = np.einsum("mab,mqb->mqa", table[which], strain, optimize=True)
        volume[part] = np.linalg.det(jac) * STRESS_WEIGHTS
    return stress, volume


def recover_stress(
    mesh: TetMesh, printed: PrintedField, displacement: Array, *, warming: Array | None = None
) -> StressField:
    """Smoothed stress at the nodes for displacements (n, 3) [mm] and `warming` (m,) [K] of the tetrahedra."""
    raw, volume = raw_stress(mesh, printed, displacement, warming=warming)
    total = volume.sum(axis=1)
    at_nodes = np.einsum("aq,mqc->mac", _TO_NODES, raw, optimize=True) * total[:, None, None]
    n = len(mesh.nodes)
    flat = mesh.tets.ravel()
    weight = np.bincount(flat, weights=np.repeat(total, 10), minlength=n)
    node = (
        np.stack([np.bincount(flat, weights=at_nodes[:, :, c].ravel(), minlength=n) for c in range(6)], axis=1)
        / np.maximum(weight, 1e-300)[:, None]
    )
    return StressField(node, _energy_error(mesh, printed, raw, volume, node))


def _energy_error(mesh: TetMesh, printed: PrintedField, raw: Array, volume: Array, node: Array) -> float:
    """Zienkiewicz and Zhu's estimate: energy norm of (smoothed - raw) over that of the whole."""
    compliance = np.linalg.inv(printed.stiffness_table)[printed.material]
    # The smoothed field at the integration points, from the corner values (it is linear in each tetrahedron)
    smooth = np.einsum("qa,mac->mqc", _TO_POINTS, node[mesh.tets[:, :4]], optimize=True)
    off = smooth - raw

    def energy(stress: Array) -> float:
        return float(np.einsum("mq,mqa,mab,mqb->", volume, stress, compliance, stress, optimize=True))

    error, whole = energy(off), energy(raw)
    return float(np.sqrt(error / (whole + error))) if whole > 0 else 0.0
