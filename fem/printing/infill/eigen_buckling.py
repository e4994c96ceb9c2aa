"""Buckling of walls in the plane of the layer by the linear eigenvalues of the cell's own mesh.

The flat-plate formula (`buckling`) holds a wall at its crossings and lets it turn there. In the cell crossings turn
with all their walls, and neighbours may sway: both are in the mesh. Displacements that repeat after one cell, or
after two with their sign changed from one to the next, are tried along each of the two periods in the layer (Bloch's
waves of phase 0 and pi, which are real). Modes that change up the build are not looked at: the formula for
compression up the build has them.

Source: N. Triantafyllidis and W. C. Schnaidt, J. Mech. Phys. Solids 41 (1993) 1533 (buckling of periodic cells by
Bloch's waves).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import product
from typing import Any

import numpy as np

from fem.printing.infill.buckling import CellWall, first_to_buckle
from fem.printing.infill.hexahedra import point_gradients
from fem.printing.infill.homogenise import Homogenised, Material, local_stress
from fem.printing.infill.mesh import CellMesh
from fem.tensors import PAIRS, Array

TRUSTED = 0.15
"""The formula is kept where the eigenvalue differs from it by no more than this."""
PRESSED = {"compression 1": (-1.0, 0, 0, 0, 0, 0), "compression 2": (0, -1.0, 0, 0, 0, 0)}
"""The mean stresses [MPa] under which walls are compressed along their beads."""
EIGENVALUE = "wall buckling: in the layer by the cell's own eigenvalue, else as flat plates"


def checked_walls(
    walls: Sequence[CellWall], *, mesh: CellMesh, material: Material, solved: Homogenised
) -> tuple[tuple[CellWall, ...], dict[str, Any]]:
    """The walls of a prismatic cell with their critical compression along the bead checked, and what was found: for
    each state its `formula_MPa`, `eigenvalue_MPa`, how many `cells` the mode takes, and which was `used`.
    """
    if not walls or not mesh.prismatic:
        return tuple(walls), {}
    told: dict[str, Any] = {}
    for name, state in PRESSED.items():
        formula = 1 / float(first_to_buckle(walls, np.array(state))[0])
        value, cells = lowest_buckling(mesh, material=material, solved=solved, state=np.array(state))
        told[name] = {"formula_MPa": formula, "eigenvalue_MPa": value, "cells": cells}
    share = min(t["eigenvalue_MPa"] / t["formula_MPa"] for t in told.values())
    kept = abs(share - 1) <= TRUSTED
    for each in told.values():
        each["used"] = "formula" if kept else "eigenvalue"
    if kept:
        return tuple(walls), told
    return tuple(replace(w, along=w.along * share, mode=EIGENVALUE) for w in walls), told


def lowest_buckling(mesh: CellMesh, *, material: Material, solved: Homogenised, state: Array) -> tuple[float, int]:
    """By which factor the mean stress `state` (6,) [MPa] of the cell may grow until it buckles, infinite where it
    never does, and over how many cells the mode repeats.
    """
    stress = local_stress(solved.strain, solved=solved, stiffness=material.stiffness, expansion=material.expansion)
    pressed = _geometric(mesh, stress[:, :, :6] @ state)
    shift = np.floor(mesh.corners @ np.linalg.inv(mesh.lattice) + 0.1237e-6).astype(int)
    found = []
    for phase in product((0, 1), repeat=2):
        sign = (-1.0) ** (shift[:, :, :2] @ np.array(phase))
        found.append((_lowest(mesh, solved.parts.matrix, pressed, sign, held=phase == (0, 0)), 1 + max(phase)))
    return min(found)


def _geometric(mesh: CellMesh, stress: Array) -> Array:
    """Geometric stiffness (n, 24, 24) of hexahedra under stress (n, 6) [MPa]."""
    gradient, weight = point_gradients(mesh.corners)
    tensor = np.zeros((len(stress), 3, 3))
    for k, (i, j) in enumerate(PAIRS):
        tensor[:, i, j] = tensor[:, j, i] = stress[:, k]
    one = np.einsum("nqai,nij,nqbj,nq->nab", gradient, tensor, gradient, weight)
    out = np.zeros((len(stress), 8, 3, 8, 3))
    for d in range(3):
        out[:, :, d, :, d] = one
    return out.reshape(-1, 24, 24)


def _lowest(mesh: CellMesh, stiffness: Array, pressed: Array, sign: Array, *, held: bool) -> float:
    """The lowest positive factor of `pressed` (n, 24, 24), displacements changing `sign` (n, 8) from cell to cell."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.linalg import LinearOperator, eigsh, splu

    size = 3 * mesh.count
    dofs = (3 * mesh.nodes[:, :, None] + np.arange(3)).reshape(-1, 24)
    signs = np.repeat(sign, 3, axis=1)
    both = signs[:, :, None] * signs[:, None, :]
    free = np.arange(3, size) if held else np.arange(size)

    def gathered(parts: Array) -> Any:
        row = np.broadcast_to(dofs[:, :, None], parts.shape).ravel()
        col = np.broadcast_to(dofs[:, None, :], parts.shape).ravel()
        whole = coo_matrix(((parts * both).ravel(), (row, col)), shape=(size, size)).tocsc()
        return whole[free][:, free]

    k, g = gathered(stiffness), gathered(pressed)
    factor = splu(k, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
    inverse = LinearOperator(k.shape, matvec=factor.solve, dtype=float)
    start = np.random.default_rng(3).standard_normal(len(free))
    most = eigsh(-g, k=1, M=k, Minv=inverse, which="LA", v0=start, tol=1e-6, return_eigenvectors=False)
    return float(1 / most[0]) if most[0] > 0 else np.inf
