"""Infill cells: exact identities, thin-wall laws, and other solutions of real walls."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from fem.evidence.nouns import Row
from fem.printing.infill.cell import cell_mesh
from fem.printing.infill.homogenise import Homogenised, Material, bead_material, homogenise
from fem.printing.infill.mesh import CellMesh
from fem.printing.infill.patterns import cube_axes
from fem.tensors import Array, engineering_constants, rotate_stiffness

NU = 0.35
SHEAR = 1 / (2 * (1 + NU))
PLAIN: dict[str, tuple[float, float, float]] = {
    "E": (1.0, 1.0, 1.0),
    "nu": (NU, NU, NU),
    "G": (SHEAR, SHEAR, SHEAR),
}
"""An isotropic bead of unit modulus."""
WIDTH, HEIGHT = 0.45, 0.20
"""Bead [mm]."""

GIBSON = "Gibson and Ashby, Cellular Solids (1997), chapter 4"
MCDOWELL = "Wang and McDowell, J. Eng. Mater. Technol. 126 (2004) 137"
VOXELS = "independent voxel solution, nu = 0.35"
THIN = "limit of thin walls: real joints are stiffer"


def solved(
    pattern: str,
    density: float,
    *,
    bead: dict[str, Any] | None = None,
    expansion: Sequence[float] | None = None,
    fine: bool = False,
) -> tuple[CellMesh, Material, Homogenised]:
    """A cell's mesh, what its beads are made of, and its homogenised answer."""
    mesh = cell_mesh(pattern, density=density, bead_width=WIDTH, bead_height=HEIGHT, fine=fine)
    material = bead_material(mesh, **(bead or PLAIN), expansion=expansion)
    return mesh, material, homogenise(mesh, material=material)


def in_plane(c: Array) -> float:
    """Plane-stress modulus of a prismatic cell, from its response at no strain up the build."""
    s = np.linalg.inv(c)
    flat = s[:2, :2] - np.outer(s[:2, 2], s[2, :2]) / s[2, 2]
    # plane strain E' = E / (1 - nu^2) of the wall; both scale alike
    return float((1 - NU**2) / flat[0, 0])


def gyroid_density(level: float) -> float:
    """Share of the space within which |sin x cos y + sin y cos z + sin z cos x| < level."""
    chance = np.random.default_rng(7).uniform(0, 2 * np.pi, (400_000, 3))
    (x, y, z), sin, cos = chance.T, np.sin, np.cos
    return float(np.mean(np.abs(sin(x) * cos(y) + sin(y) * cos(z) + sin(z) * cos(x)) < level))


def up_the_build() -> Iterator[Row]:
    """Walls that stand: E3 is the density's share and nu31 the wall's own, whatever their pattern."""
    for pattern in ("grid", "triangle", "honeycomb"):
        s = np.linalg.inv(solved(pattern, 0.2)[2].stiffness)
        how, name = "hexahedra, 20 % dense", f"Cell of {pattern} pulled up the build"
        yield Row(f"{name}: E3 / Es", GIBSON, 0.2, float(1 / s[2, 2]), "1", how, 1e-6)
        yield Row(f"{name}: nu31", GIBSON, NU, float(-s[0, 2] / s[2, 2]), "1", how, 1e-6)


def real_walls() -> Iterator[Row]:
    """Square grids and closed cubes with walls of real thickness s of the period."""
    for s, flat, along, shear in ((0.1, 0.1015, 0.1076, 5.51e-4), (0.2, 0.2060, 0.2173, 4.89e-3)):
        c = solved("grid", 2 * s - s**2, fine=True)[2].stiffness
        # Between the layers above and below, walls bend with E / (1 - nu^2)
        told = (
            ("modulus in the plane", flat, in_plane(c), 0.007),
            ("modulus of the solid", along, engineering_constants(c)["E1"], 0.007),
            ("shear modulus", shear / (1 - NU**2), c[5, 5], 0.015),
        )
        for words, published, computed, allowed in told:
            problem = f"Square grid, walls {s:g} of the period: {words}"
            note = "the other solution is good to 0.5 %, in shear to 2 %"
            yield Row(problem, VOXELS, published, float(computed), "1", "graded hexahedra", allowed, note)
    for s, edge, shear in ((0.1, 0.205, 0.0403), (0.2, 0.387, 0.0887)):
        cube = rotate_stiffness(solved("cubic", 1 - (1 - s) ** 3)[2].stiffness, cube_axes().T)
        k = engineering_constants(cube)
        for words, published, computed in (("modulus", edge, k["E1"]), ("shear modulus", shear, k["G12"])):
            problem = f"Closed cubes, walls {s:g} of the period: {words}"
            note = "the other solution is good to 2 %"
            yield Row(problem, VOXELS, published, float(computed), "1", "hexahedra", 0.025, note)


def gyroids() -> Iterator[Row]:
    """Sheets |phi| < level at densities of about 0.2, 0.3 and 0.4."""
    for level, published in ((0.309, 0.069), (0.461, 0.114), (0.617, 0.174)):
        k = engineering_constants(solved("gyroid", gyroid_density(level))[2].stiffness)
        problem = f"Gyroid sheet of level {level}: modulus"
        note = "60³ voxels; the other solution is good to 3 %"
        yield Row(problem, VOXELS, published, float(k["E1"]), "1", "hexahedra on the sheet", 0.03, note)


def thin_walls() -> Iterator[Row]:
    """The laws of thin walls, approached at a density of 5 %."""
    how = "graded hexahedra, 5 % dense"
    comb = solved("honeycomb", 0.05)[2].stiffness
    s = np.linalg.inv(comb)
    told = (
        ("modulus in the plane", 1.5 * 0.05**3, in_plane(comb), 0.065),
        ("Poisson's ratio in the plane", 1.0, -s[0, 1] / s[0, 0], 0.02),
        ("shear modulus up the build", 0.5 * 0.05 * SHEAR, comb[4, 4], 0.03),
    )
    for words, published, computed, allowed in told:
        yield Row(f"Honeycomb of thin walls: {words}", GIBSON, published, float(computed), "1", how, allowed, THIN)
    triangle = solved("triangle", 0.05)[2].stiffness
    stretched = (
        ("modulus in the plane", 0.05 / 3, in_plane(triangle), 0.03),
        ("shear modulus in the plane", 0.05 / 8 / (1 - NU**2), triangle[5, 5], 0.02),
    )
    for words, published, computed, allowed in stretched:
        yield Row(f"Triangles of thin walls: {words}", MCDOWELL, published, float(computed), "1", how, allowed, THIN)
