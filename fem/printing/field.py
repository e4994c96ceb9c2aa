"""The printed material at every tetrahedron: stiffness, density, and how its beads see the stress.

A tetrahedron carries one `PrintedMaterial`. Its stiffness is what the solver needs; its phases are what the
judgement needs: each phase is one family of beads (say, the skin's raster at +45 degrees), with the matrix
that takes the mean stress of the tetrahedron, in part axes, to the stress in that family's own axes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from fem.errors import InputError
from fem.part.tetmesh import Index, TetMesh
from fem.tensors import Array


@dataclass(frozen=True)
class Strength:
    """What one family of beads, or a metal, bears [MPa].

    `tension`, `compression` (3,): along the bead, across it in the layer, up the build; `shear` (3,) in the
    component order 23, 13, 12. An isotropic body has `yield_stress` alone, and is judged by von Mises.
    """

    tension: Array | None = None
    compression: Array | None = None
    shear: Array | None = None
    yield_stress: float | None = None

    def __post_init__(self) -> None:
        sets = [self.tension, self.compression, self.shear]
        if self.yield_stress is None:
            if any(s is None or np.shape(s) != (3,) or not np.all(np.asarray(s) > 0) for s in sets):
                raise ValueError("tension, compression and shear must each hold three positive strengths [MPa]")
        elif not self.yield_stress > 0:
            raise ValueError(f"yield stress {self.yield_stress} MPa must be positive")

    @property
    def isotropic(self) -> bool:
        return self.yield_stress is not None


@dataclass(frozen=True)
class Phase:
    """One family of beads inside a material.

    `zone` is wall, skin, infill, solid or metal; `label` names the family ("raster 45 deg"); `to_bead` (6, 6)
    takes the mean stress in part axes to the stress in bead axes; `warming_stress` (6,) [MPa/K] is what
    the layers do to one another when the part warms by one kelvin with no mean stress, in bead axes.
    """

    zone: str
    label: str
    to_bead: Array
    warming_stress: Array
    strength: Strength


@dataclass(frozen=True)
class PrintedMaterial:
    """What a tetrahedron is made of: `stiffness` (6, 6) [MPa] in part axes, `print_axes` (3, 3) rows = print
    axes in part axes (row 2 is the build direction), `density` [tonne/mm^3], `expansion` (6,) [1/K] as a strain
    vector in part axes or None when the card gives none, `zones` volume shares, `estimates` which values of the
    card are estimates.
    """

    name: str
    state: str
    stiffness: Array
    print_axes: Array
    density: float
    phases: tuple[Phase, ...]
    zones: dict[str, float]
    expansion: Array | None = None
    estimates: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        if self.stiffness.shape != (6, 6) or not np.allclose(self.stiffness, self.stiffness.T, rtol=1e-9):
            raise ValueError(f"{self.name}: stiffness must be a symmetric 6 x 6")
        if not np.linalg.eigvalsh(self.stiffness).min() > 0:
            raise ValueError(f"{self.name}: stiffness must be positive definite")
        if not (self.density > 0 and self.phases):
            raise ValueError(f"{self.name}: needs a positive density and at least one phase")


@dataclass(frozen=True)
class PrintedField:
    """A material for each tetrahedron: `material` (m,) is an index into `materials`."""

    materials: tuple[PrintedMaterial, ...]
    material: Index

    @property
    def stiffness_table(self) -> Array:
        """Stiffness (k, 6, 6) [MPa] of each material, in part axes."""
        return np.array([m.stiffness for m in self.materials])

    @property
    def density(self) -> Array:
        """Density (m,) [tonne/mm^3] of each tetrahedron."""
        return np.array([m.density for m in self.materials])[self.material]


def printed_field(mesh: TetMesh, *, materials: Mapping[str, PrintedMaterial]) -> PrintedField:
    """The field of a mesh whose bodies are each of one material, by the body's name."""
    missing = [b for b in mesh.bodies if b not in materials]
    if missing:
        raise InputError(f"body {missing[0]} has no material.", advice="Give it a print plan or a metal.")
    return PrintedField(tuple(materials[b] for b in mesh.bodies), mesh.body.astype(np.int32))
