"""Collapse of infill cells by limit analysis, and buckling of their walls in the layer."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from fem.criteria.strength import Strength
from fem.evidence.lattices import GIBSON, HEIGHT, NU, PLAIN, WIDTH
from fem.evidence.nouns import CLOSED_FORM, Row
from fem.printing.infill.cell import cell_mesh
from fem.printing.infill.cell_strength import unit_states
from fem.printing.infill.eigen_buckling import lowest_buckling
from fem.printing.infill.homogenise import bead_material, homogenise
from fem.printing.infill.limit_load import LimitLoads, cell_points, limit_loads
from fem.printing.infill.mesh import CellMesh, Family, brick, mesh_of
from fem.tensors import Array

HILL = "Hill, The Mathematical Theory of Plasticity (1950), von Mises in plane strain"
ISOTROPIC = Strength(yield_stress=1.0)
BEAD = Strength(
    tension=np.array([60.0, 32.0, 19.0]), compression=np.array([75.0, 50.0, 38.0]), shear=np.array([12.0, 15.0, 22.0])
)
"""Strengths of a made-up bead [MPa]."""
PLANE_STRAIN = 2 / math.sqrt(3)
HONEYCOMB = 0.02
"""Density of a honeycomb that is nearly thin; t / l of its walls is its density times sqrt(3) / 2."""


def solid_block() -> CellMesh:
    """A period that is bead all over, all beads along axis 1."""
    even = np.linspace(0.0, 1.0, 3)
    return mesh_of(
        [(brick(even, even, even), 0)], lattice=np.eye(3), families=[Family("solid", (0.0,))], prismatic=False
    )


def cell(pattern: str, density: float) -> CellMesh:
    """The coarser mesh of a pattern, as the program's own limit analysis takes it."""
    return cell_mesh(pattern, density=density, bead_width=WIDTH, bead_height=HEIGHT, fine=False)


def borne(mesh: CellMesh, states: Array, strength: Strength) -> LimitLoads:
    """By which factors mean stresses may grow."""
    return limit_loads(cell_points(mesh, strength=strength), states, strength=strength)


def walls() -> Iterator[Row]:
    """A block that is bead all over, and standing walls that stretch and shear evenly."""
    found = borne(solid_block(), unit_states(), BEAD)
    assert BEAD.tension is not None and BEAD.compression is not None and BEAD.shear is not None
    names = ("tension along the bead", "interlayer tension", "compression across the bead", "in-plane shear")
    exact = (BEAD.tension[0], BEAD.tension[2], BEAD.compression[1], BEAD.shear[2])
    for name, published, k in zip(names, exact, (0, 2, 4, 8), strict=True):
        how = "limit analysis, a solid block"
        yield Row(f"Block of beads: {name}", CLOSED_FORM, published, float(found.lower[k]), "MPa", how, 0.005)
    density = 0.2
    wall = 1 - math.sqrt(1 - density)
    found = borne(cell("grid", density), np.eye(6)[[0, 2, 4]], ISOTROPIC)
    told = (
        ("pulled along its walls", HILL, PLANE_STRAIN * wall, "the walls across hold it up the build"),
        ("pulled up the build", CLOSED_FORM, density, ""),
        ("sheared up the build", CLOSED_FORM, wall / math.sqrt(3), "walls along the shear alone"),
    )
    for (name, source, published, note), low, high in zip(told, found.lower, found.upper, strict=True):
        how = "limit analysis, middle of both bounds"
        middle = float(low + high) / 2
        yield Row(f"Square grid, 20 % dense, {name}", source, published, middle, "yield stress", how, 0.03, note)


def honeycombs() -> Iterator[Row]:
    """A thin honeycomb pulled and pressed in its plane: plastic hinges, and elastic buckling."""
    mesh, slender = cell("honeycomb", HONEYCOMB), HONEYCOMB * math.sqrt(3) / 2
    one = np.eye(6)
    found = borne(mesh, np.array([one[0], -one[1]]), ISOTROPIC)
    law, note = PLANE_STRAIN * 2 / 3 * slender**2, "limit of thin walls, times 2 / √3 for walls in plane strain"
    for name, low, high in zip(("pulled along 1", "pressed along 2"), found.lower, found.upper, strict=True):
        problem, how = f"Honeycomb, 2 % dense, {name}: collapse", "limit analysis, middle of both bounds"
        yield Row(problem, GIBSON, law, float(low + high) / 2, "yield stress", how, 0.07, note)
    material = bead_material(mesh, **PLAIN)
    solved = homogenise(mesh, material=material)
    value, _ = lowest_buckling(mesh, material=material, solved=solved, state=-one[0])
    law = 0.22 * slender**3 / (1 - NU**2)
    note = "limit of thin walls, E / (1 - nu²) for walls in plane strain; along the walls that stand in line"
    how = "lowest eigenvalue over one and two cells"
    yield Row("Honeycomb, 2 % dense: elastic buckling in the plane", GIBSON, law, value, "1", how, 0.04, note)
