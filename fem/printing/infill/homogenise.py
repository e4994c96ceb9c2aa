"""The cell under six unit mean strains and one kelvin: effective stiffness, expansion, and stress everywhere inside.

The displacement is that of the mean strain plus a part that repeats from period to period; nodes one period apart are
one node. Mean stress over the whole period, empty space included, then gives the effective stiffness, which by the
balance of the repeating part equals the energy form <(e_i + eps(u_i)) : c : (e_j + eps(u_j))>.

Sources: J. C. Michel, H. Moulinec and P. Suquet, Comput. Methods Appl. Mech. Eng. 172 (1999) 109 (periodic cells);
V. M. Levin, Mech. Solids 2 (1967) 58 (expansion from the same cell).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.errors import NoTrustworthyAnswer
from fem.printing.infill.hexahedra import Elements, elements
from fem.printing.infill.mesh import CellMesh, Index
from fem.printing.layers import laminate
from fem.printing.plan import in_layer_rotation
from fem.tensors import Array, orthotropic_stiffness, rotate_stiffness, strain_rotation, stress_rotation


@dataclass(frozen=True)
class Bead:
    """One direction of beads inside some hexahedra.

    `family` of the mesh and `label` in words; `to_bead` (k, 6, 6) takes the stress of the hexahedron in print axes
    to the bead's own, k = 1 or one for each hexahedron of the family; `residual` (6,) [MPa/K] in bead axes; `angle`
    [degrees] in the layer, None where it changes from one hexahedron to the next.
    """

    family: int
    label: str
    to_bead: Array
    residual: Array
    angle: float | None


@dataclass(frozen=True)
class Material:
    """What the hexahedra are made of, in print axes: `stiffness` (n, 6, 6) [MPa], `expansion` (n, 6) [1/K] (zeros
    when unknown), and the `beads` that run through each family.
    """

    stiffness: Array
    expansion: Array
    beads: tuple[Bead, ...]


@dataclass(frozen=True)
class Homogenised:
    """The solved cell: effective `stiffness` (6, 6) [MPa], `expansion` (6,) [1/K], `strain` (n, 6, 7) the mean strain
    of each hexahedron per unit mean strain of the cell and, last, per kelvin at no mean strain; `moves` (n, 24, 7)
    [mm] the repeating displacements of its corners; `density` the share of the period that is solid.
    """

    stiffness: Array
    expansion: Array
    strain: Array
    moves: Array
    density: float
    parts: Elements


def bead_material(mesh: CellMesh, *, E: Any, nu: Any, G: Any, expansion: Any = None) -> Material:
    """Give every hexahedron the stiffness of its beads.

    Axis 1 of a bead is the horizontal tangent of its wall, axis 3 is up the build: the material turns about the
    build direction alone. Where walls cross, the layers take turns; there the material is their laminate.
    """
    bead = orthotropic_stiffness(E, nu, G)
    grown = np.zeros(6)
    if expansion is not None:
        grown[:3] = np.asarray(expansion, dtype=float)[:3]
    n = len(mesh.corners)
    stiffness, warm, beads = np.empty((n, 6, 6)), np.zeros((n, 6)), []
    for number, family in enumerate(mesh.families):
        mine = np.flatnonzero(mesh.family == number)
        if not family.angles:
            assert mesh.angle is not None
            turn = np.array([in_layer_rotation(a) for a in mesh.angle[mine]])
            stiffness[mine] = rotate_stiffness(bead, turn)
            warm[mine] = np.linalg.inv(strain_rotation(turn)) @ grown
            beads.append(Bead(number, family.label, stress_rotation(turn), np.zeros(6), None))
            continue
        turn = np.array([in_layer_rotation(a) for a in family.angles])
        stack = laminate(rotate_stiffness(bead, turn), expansion=np.linalg.inv(strain_rotation(turn)) @ grown)
        assert stack.expansion is not None and stack.residual is not None
        stiffness[mine], warm[mine] = stack.stiffness, stack.expansion
        into = stress_rotation(turn)
        for k, angle in enumerate(family.angles):
            label = family.label if len(family.angles) == 1 else f"{family.label}, bead at {angle:g} deg"
            to_bead = (into[k] @ stack.localisation[k])[None]
            beads.append(Bead(number, label, to_bead, into[k] @ stack.residual[k], angle))
    return Material(stiffness, warm, tuple(beads))


def homogenise(mesh: CellMesh, *, material: Material) -> Homogenised:
    """Solve the periodic cell. Errors: NoTrustworthyAnswer when the equations do not balance afterwards."""
    parts = elements(mesh.corners, stiffness=material.stiffness)
    c, volume = material.stiffness, parts.volume
    # per unit mean strain the stress is c; per kelvin it is -c alpha
    start = np.concatenate([c, -np.einsum("nij,nj->ni", c, material.expansion)[..., None]], axis=2)
    force = -np.swapaxes(parts.mean, 1, 2) @ (start * volume[:, None, None])
    moves = _solve(mesh, parts, force)
    strain = parts.mean @ moves
    strain[:, :, :6] += np.eye(6)
    stress = c @ strain
    stress[:, :, 6] -= np.einsum("nij,nj->ni", c, material.expansion)
    mean = np.einsum("nij,n->ij", stress, volume) / mesh.volume
    whole = mean[:, :6]
    if not np.abs(whole - whole.T).max() <= 1e-7 * np.abs(whole).max():
        raise NoTrustworthyAnswer(
            "the infill cell's effective stiffness is not symmetric: its equations did not balance."
        )
    whole = (whole + whole.T) / 2
    grown = -np.linalg.solve(whole, mean[:, 6])
    return Homogenised(whole, grown, strain, moves, float(volume.sum()) / mesh.volume, parts)


def local_stress(strain: Array, *, solved: Homogenised, stiffness: Array, expansion: Array) -> Array:
    """Stress (p, 6, 7) in print axes per unit MEAN STRESS of the cell, and, last, per kelvin of a cell free to
    expand.

    `strain` (p, 6, 7) local strain as in `Homogenised.strain`, with the `stiffness` (p, 6, 6) and `expansion` (p, 6)
    of the same places.
    """
    stress = stiffness @ strain
    stress[:, :, 6] -= np.einsum("nij,nj->ni", stiffness, expansion)
    per_strain = stress[:, :, :6]
    out = np.empty_like(stress)
    out[:, :, :6] = per_strain @ np.linalg.inv(solved.stiffness)
    out[:, :, 6] = stress[:, :, 6] + per_strain @ solved.expansion
    return out


def _solve(mesh: CellMesh, parts: Elements, force: Array) -> Array:
    """Repeating displacements (n, 24, k) [mm] of the corners under nodal forces (n, 24, k) [N]."""
    equations = balance(mesh, parts.matrix)
    load = equations.gather(force)
    u = equations.solve(load)
    rest = np.linalg.norm((equations.matrix @ u - load)[equations.free]) if equations.pieces == 1 else 0.0
    if not rest <= 1e-8 * np.linalg.norm(force):
        raise NoTrustworthyAnswer("the infill cell's equations could not be solved to the accuracy needed.")
    return u[equations.unknowns]


@dataclass(frozen=True)
class Balance:
    """The factorised equations of a periodic cell: `unknowns` (n, 24) of the hexahedra's corners, `matrix` of all
    unknowns, `free` those that are solved for, `pieces` how many parts hang together with nothing else.
    """

    unknowns: Index
    matrix: Any
    free: Index
    pieces: int
    factor: Any

    def gather(self, force: Array) -> Array:
        """Sum of the hexahedra's forces (n, 24, k) on the unknowns (size, k)."""
        load = np.zeros((self.matrix.shape[0], force.shape[2]))
        np.add.at(load, self.unknowns, force)
        return load

    def solve(self, load: Array) -> Array:
        """Displacements (size, k) under a load (size, k)."""
        u = np.zeros_like(load)
        u[self.free] = self.factor.solve(load[self.free])
        return u


def balance(mesh: CellMesh, stiffness: Array) -> Balance:
    """The equations of a cell whose hexahedra have `stiffness` (n, 24, 24), factorised.

    Forces that repeat cannot hold a piece that hangs together with nothing: one node of each piece is held, and what
    can still turn gets a trace of stiffness.
    """
    from scipy.sparse import coo_matrix, identity
    from scipy.sparse.csgraph import connected_components
    from scipy.sparse.linalg import splu

    dofs = (3 * mesh.nodes[:, :, None] + np.arange(3)).reshape(len(mesh.nodes), 24)
    size = 3 * mesh.count
    row = np.broadcast_to(dofs[:, :, None], stiffness.shape)
    col = np.broadcast_to(dofs[:, None, :], stiffness.shape)
    matrix = coo_matrix((stiffness.ravel(), (row.ravel(), col.ravel())), shape=(size, size)).tocsc()
    links = coo_matrix(
        (np.ones(mesh.nodes.size), (np.repeat(mesh.nodes[:, 0], 8), mesh.nodes.ravel())), shape=(mesh.count,) * 2
    )
    pieces, piece = connected_components(links, directed=False)
    held = np.unique(piece, return_index=True)[1]
    free = np.setdiff1d(np.arange(size), (3 * held[:, None] + np.arange(3)).ravel())
    inner = matrix[free][:, free]
    if pieces > 1:
        inner = inner + 1e-10 * np.abs(inner.diagonal()).mean() * identity(len(free), format="csc")
    factor = splu(inner.tocsc(), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
    return Balance(dofs, matrix, free, pieces, factor)
