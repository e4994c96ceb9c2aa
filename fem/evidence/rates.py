"""How fast answers approach a smooth exact one when the mesh is refined."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fem.evidence.nouns import Row
from fem.evidence.patches import shaken
from fem.evidence.small_parts import boundary, field, material, prescribe, solve
from fem.judging.convergence import grid_convergence
from fem.judging.stress import raw_stress
from fem.part.quadrature import STRESS_POINTS, tet_shapes
from fem.tensors import Array, isotropic_stiffness

STRANG = "Strang and Fix, An Analysis of the Finite Element Method (1973): orders of second-order elements"
ROACHE = "P. J. Roache, J. Fluids Eng. 116 (1994) 405; three grids worked in NASA's tutorial on spatial convergence"
SHEAR = 1000.0


def errors(n: int) -> tuple[float, float]:
    """Errors of displacement [mm] and stress [MPa] in the mean square, of n^3 shaken bricks under antiplane shear.

    The displacement w = exp(x) sin(y) along z balances without body forces.
    """
    mesh = shaken((n, n, n), (1.0, 1.0, 1.0), amount=0.2)
    printed = field(mesh, material(isotropic_stiffness(2 * SHEAR * 1.3, 0.3)))
    x, y, _ = mesh.nodes.T
    exact = np.zeros(mesh.nodes.shape)
    exact[:, 2] = np.exp(x) * np.sin(y)
    found, _, _ = solve(mesh, printed, held=[prescribe(mesh, boundary(mesh), exact)])
    stress, volume = raw_stress(mesh, printed, found)
    shape = tet_shapes(STRESS_POINTS)
    place = np.einsum("qa,mai->mqi", shape, mesh.nodes[mesh.tets])
    moved = np.einsum("qa,ma->mq", shape, found[mesh.tets, 2])
    x, y = place[..., 0], place[..., 1]
    off = moved - np.exp(x) * np.sin(y)
    known = np.zeros(stress.shape)
    known[..., 3], known[..., 4] = SHEAR * np.exp(x) * np.cos(y), SHEAR * np.exp(x) * np.sin(y)
    return _mean(off**2, volume), _mean(((stress - known) ** 2).sum(axis=-1), volume)


def _mean(square: Array, volume: Array) -> float:
    return float(np.sqrt((square * volume).sum() / volume.sum()))


def smooth() -> Iterator[Row]:
    """Orders between meshes of 4 and 8 bricks a side."""
    coarse, fine = errors(4), errors(8)
    how = "4³ and 8³ distorted bricks"
    for words, order, k in (("displacement", 3.0, 0), ("stress", 2.0, 1)):
        problem = f"Order of convergence of the {words}, smooth solution"
        yield Row(problem, STRANG, order, float(np.log2(coarse[k] / fine[k])), "1", how, 0.1)


def three_grids() -> Iterator[Row]:
    """Order, limit and index of the worked example of three grids, each half as fine as the one before."""
    found = grid_convergence((0.97050, 0.96854, 0.96178), (1.0, 2.0, 4.0))
    how = "three numbers, ratio 2"
    yield Row("Three grids: observed order", ROACHE, 1.786170, found.order, "1", how, 1e-5)
    yield Row("Three grids: limit", ROACHE, 0.971300, found.limit, "1", how, 1e-6)
    yield Row("Three grids: convergence index", ROACHE, 0.00103083, found.index, "1", how, 1e-4)
