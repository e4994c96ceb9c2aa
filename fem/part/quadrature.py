"""Integration over curved second-order tetrahedra and their boundary triangles.

Sources: D. A. Dunavant, IJNME 21 (1985) 1129 (triangle); A. H. Stroud, Approximate Calculation of Multiple
Integrals (1971), conical products and the four-point rule of degree 2 (tetrahedron).
"""

from __future__ import annotations

from functools import cache

import numpy as np

from fem.part.tetmesh import TET_EDGES, Index, TetMesh
from fem.tensors import Array

_P, _Q = 0.5854101966249685, 0.1381966011250105
STRESS_POINTS = np.array([[_Q, _Q, _Q], [_P, _Q, _Q], [_Q, _P, _Q], [_Q, _Q, _P]])
"""The four points of degree 2 at which stiffness is integrated and stress is most accurate."""
STRESS_WEIGHTS = np.full(4, 1 / 24)

# Dunavant's six-point rule of degree 4 on the triangle (IJNME 21 (1985) 1129), weights summing to 1/2
_A, _B = 0.445948490915965, 0.091576213509771
TRIANGLE_POINTS = np.array([p for s in (_A, _B) for p in ([s, s], [1 - 2 * s, s], [s, 1 - 2 * s])])
TRIANGLE_WEIGHTS = np.array([0.223381589678011] * 3 + [0.109951743655322] * 3) / 2


def triangle_shapes(points: Array) -> tuple[Array, Array]:
    """Second-order shape functions (q, 6) and their slopes (q, 6, 2) at reference points (q, 2)."""
    x, y = np.asarray(points, dtype=float).T
    z = 1 - x - y
    shape = np.stack([z * (2 * z - 1), x * (2 * x - 1), y * (2 * y - 1), 4 * x * z, 4 * x * y, 4 * y * z], axis=1)
    zero = np.zeros_like(x)
    slope_x = np.stack([1 - 4 * z, 4 * x - 1, zero, 4 * (z - x), 4 * y, -4 * y], axis=1)
    slope_y = np.stack([1 - 4 * z, zero, 4 * y - 1, -4 * x, 4 * x, 4 * (z - y)], axis=1)
    return shape, np.stack([slope_x, slope_y], axis=2)


def surface_points(
    mesh: TetMesh, triangles: Index, *, rule: tuple[Array, Array] | None = None
) -> tuple[Array, Array, Array]:
    """Quadrature on curved boundary triangles (j,): points (j, q, 3) [mm], weights (j, q) [mm^2], outward unit
    normals (j, q, 3). `rule` is reference points (q, 2) with weights (q,) that sum to 1/2.
    """
    return curved_points(mesh.nodes[mesh.triangles[triangles]], rule=rule)


def curved_points(corner: Array, *, rule: tuple[Array, Array] | None = None) -> tuple[Array, Array, Array]:
    """The same for second-order triangles given by their nodes (j, 6, 3) [mm]."""
    reference, weight = rule or (TRIANGLE_POINTS, TRIANGLE_WEIGHTS)
    shape, slope = triangle_shapes(reference)
    points = np.einsum("qa,jai->jqi", shape, corner)
    tangent = np.einsum("qad,jai->jqdi", slope, corner)
    normal = np.cross(tangent[:, :, 0], tangent[:, :, 1])
    length = np.linalg.norm(normal, axis=2)
    return points, length * weight, normal / np.maximum(length, 1e-300)[:, :, None]


def tet_shapes(points: Array) -> Array:
    """Second-order shape functions (q, 10) at reference points (q, 3)."""
    x, y, z = np.asarray(points, dtype=float).T
    bary = np.stack([1 - x - y - z, x, y, z], axis=1)
    edge = [4 * bary[:, i] * bary[:, j] for i, j in TET_EDGES]
    return np.concatenate([bary * (2 * bary - 1), np.stack(edge, axis=1)], axis=1)


def tet_slopes(points: Array) -> Array:
    """Slopes (q, 10, 3) of the second-order shape functions at reference points (q, 3)."""
    x, y, z = np.asarray(points, dtype=float).T
    bary = np.stack([1 - x - y - z, x, y, z], axis=1)
    grad = np.array([[-1, -1, -1], [1, 0, 0], [0, 1, 0], [0, 0, 1]], dtype=float)
    corner = (4 * bary - 1)[:, :, None] * grad
    edge = [4 * (bary[:, i, None] * grad[j] + bary[:, j, None] * grad[i]) for i, j in TET_EDGES]
    return np.concatenate([corner, np.stack(edge, axis=1)], axis=1)


@cache
def exact_rule() -> tuple[Array, Array]:
    """Conical product of three Gauss-Jacobi rules: 27 points, degree 5, so that curved volumes come out right."""
    from scipy.special import roots_jacobi

    (a, wa), (b, wb), (c, wc) = (roots_jacobi(3, k, 0) for k in (2, 1, 0))
    a, b, c = (1 + a) / 2, (1 + b) / 2, (1 + c) / 2
    points, weights = [], []
    for x, wx in zip(a, wa / 8, strict=True):
        for y, wy in zip(b, wb / 4, strict=True):
            for z, wz in zip(c, wc / 2, strict=True):
                points.append([x, (1 - x) * y, (1 - x) * (1 - y) * z])
                weights.append(wx * wy * wz)
    return np.array(points), np.array(weights)


def node_volumes(mesh: TetMesh, tets: Index, *, each: Array | None = None) -> Array:
    """Integrals (n,) of each node's shape function over the given tets [mm^3], times `each` (j,) where given."""
    points, weights = exact_rule()
    shape, slope = tet_shapes(points), tet_slopes(points)
    out = np.zeros(len(mesh.nodes))
    for part in np.array_split(np.arange(len(tets)), max(1, len(tets) // 20000)):
        x = mesh.nodes[mesh.tets[tets[part]]]
        density = np.linalg.det(np.einsum("qad,mai->mqdi", slope, x)) * weights
        if each is not None:
            density = density * each[part, None]
        np.add.at(out, mesh.tets[tets[part]], density @ shape)
    return out


def tet_volumes(mesh: TetMesh) -> Array:
    """Volume (m,) [mm^3] of each tetrahedron, curved sides included."""
    points, weights = exact_rule()
    slope = tet_slopes(points)
    parts = np.array_split(np.arange(len(mesh.tets)), max(1, len(mesh.tets) // 20000))
    jacobian = (np.einsum("qad,mai->mqdi", slope, mesh.nodes[mesh.tets[part]], optimize=True) for part in parts)
    return np.concatenate([np.linalg.det(jac) @ weights for jac in jacobian])


def volume(mesh: TetMesh, tets: Index) -> float:
    """Volume [mm^3] of the given tetrahedra, curved sides included."""
    return float(node_volumes(mesh, tets).sum())
