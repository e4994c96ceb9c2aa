"""The plain twin of the compiled kernel: scikit-fem's own weak form of linear elasticity.

It is slow and general, and it is what the compiled kernel is measured against in the tests. This is the one
door to scikit-fem.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from fem.part.quadrature import STRESS_POINTS, STRESS_WEIGHTS
from fem.part.tetmesh import Index, TetMesh
from fem.tensors import PAIRS, Array


def vector_basis(mesh: TetMesh) -> Any:
    """scikit-fem's space of second-order displacements on the mesh, with the kernel's integration points."""
    import skfem

    grid = skfem.MeshTet2(mesh.nodes.T.copy(), mesh.tets.T.astype(np.int64).copy(), sort_t=False)
    rule = (STRESS_POINTS.T.copy(), STRESS_WEIGHTS.copy())
    return skfem.Basis(grid, skfem.ElementVector(skfem.ElementTetP2()), quadrature=rule)


def plain_stiffness(mesh: TetMesh, *, table: Array, material: Array) -> tuple[Any, Index]:
    """The stiffness matrix by scikit-fem's weak form, and the order of its unknowns.

    `table` (k, 6, 6) [MPa], `material` (m,). Returns the sparse matrix (3n, 3n) [N/mm] in the kernel's order:
    three displacements a node, node after node; and the permutation (3n,) that was applied.
    """
    import skfem

    basis = vector_basis(mesh)
    stiffness = table[material]

    @skfem.BilinearForm
    def form(u: Any, v: Any, w: Any) -> Any:
        def strain(f: Any) -> Any:
            g = f.grad
            return np.stack([g[i, j] if i == j else g[i, j] + g[j, i] for i, j in PAIRS])

        return np.einsum("aeq,eab,beq->eq", strain(v), stiffness, strain(u))

    matrix = form.assemble(basis)
    # scikit-fem numbers unknowns by vertex and by edge; find each one's node by its place in an element
    order = np.empty(mesh.unknowns, dtype=np.int64)
    dofs = basis.element_dofs  # (30, m): three components of each of the ten local nodes
    for local in range(10):
        for component in range(3):
            order[3 * mesh.tets[:, local] + component] = dofs[3 * local + component]
    return matrix[order][:, order].tocsr(), order
