"""The printed material at every tetrahedron: stiffness, density, and how its beads see the stress.

A tetrahedron holds up to three zones - wall, cover, core - each of one `PrintedMaterial`, in shares. Stiffness is
what the solver needs; phases are what the judgement needs: each phase is one family of beads (say, the cover's raster
at +45 degrees), with the matrix that takes the mean stress of its zone to the stress in that family's own axes. A
solid print without walls, and a metal, are fields of one zone.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from fem.criteria.strength import Strength, WallBuckling
from fem.part.tetmesh import Index
from fem.tensors import Array

UNPRINTED = ("metal", "laminate")
"""Zones of bodies that are not printed: they have no beads, and no layers of a print that could part."""


@dataclass(frozen=True)
class Phase:
    """One family of beads inside a zone.

    `zone` is wall, cover, core, solid, metal or laminate; `label` names the family ("raster 45 deg"); `to_bead`
    (6, 6) takes the mean stress of the zone, in part axes (in the wall's own axes for a wall), to the stress in bead
    axes; `thermal_stress` (6,) [MPa/K] is what the beads do to one another when the zone warms by one kelvin with no
    mean stress, in bead axes.
    """

    zone: str
    label: str
    to_bead: Array
    thermal_stress: Array
    strength: Strength | WallBuckling


@dataclass(frozen=True)
class PrintedMaterial:
    """What one zone is made of: `stiffness` (6, 6) [MPa] in part axes, `print_axes` (3, 3) rows = print axes in part
    axes (row 2 is the build direction), `density` [tonne/mm^3] with the air in it, `expansion` (6,) [1/K] as a strain
    vector or None when the card gives none, `zone` its name, `estimates` which values of the card are estimates.

    A wall follows the outline: its stiffness and expansion are in its own axes, which are along the outline, across
    it in the layer, up the build. Stresses have no meaning below its `length` [mm]: in walls, covers and solid cores
    the larger of a bead's width and the card's critical distance (the width, on the safe side, where the card has no
    toughness), in infill the edge of its cell, in a metal or a laminate its critical distance (0 without toughness).
    """

    name: str
    state: str
    stiffness: Array
    print_axes: Array
    density: float
    phases: tuple[Phase, ...]
    zone: str
    expansion: Array | None = None
    estimates: tuple[str, ...] = field(default=())
    follows_outline: bool = False
    length: float = 0.0

    def __post_init__(self) -> None:
        if self.stiffness.shape != (6, 6) or not np.allclose(self.stiffness, self.stiffness.T, rtol=1e-9):
            raise ValueError(f"{self.name}: stiffness must be a symmetric 6 x 6")
        if not np.linalg.eigvalsh(self.stiffness).min() > 0:
            raise ValueError(f"{self.name}: stiffness must be positive definite")
        if not (self.density > 0 and self.phases):
            raise ValueError(f"{self.name}: needs a positive density and at least one phase")


@dataclass(frozen=True)
class PrintedField:
    """What every tetrahedron is made of.

    `materials` of all zones of all bodies; `zone` (m, 3) their numbers for wall, cover and core of each tetrahedron,
    -1 where it has none, `share` (m, 3) of its volume; `turn` (m,) [rad] the wall's bead from print axis 1;
    `thin` (m,) the share that lies where the part is narrower than two beads; `reach` (m, 3, 4) how near each zone
    comes to each corner (1: the corner lies in it).
    `stiffness_table` (k, 6, 6) [MPa] in part axes and `expansion_table` (k, 6) [1/K] hold what is different,
    `material` (m, 4) which of them lies at each integration point of a tetrahedron, so that a wall on one side of it
    counts there. `quarter` (m, 4, 3) are the shares of the zones in the quarter of the tetrahedron around each of
    these points, `normal` (m, 4, 3) [part axes] the surface's normal there, along which the zones lie on each other.
    """

    materials: tuple[PrintedMaterial, ...]
    zone: Index
    share: Array
    turn: Array
    thin: Array
    reach: Array
    stiffness_table: Array
    expansion_table: Array
    material: Index
    quarter: Array
    normal: Array

    def __post_init__(self) -> None:
        m = len(self.zone)
        wanted = {"zone": (m, 3), "share": (m, 3), "turn": (m,), "thin": (m,), "reach": (m, 3, 4)}
        wanted |= {"material": (m, 4), "quarter": (m, 4, 3), "normal": (m, 4, 3)}
        for name, shape in wanted.items():
            if getattr(self, name).shape != shape:
                raise ValueError(f"{name} has shape {getattr(self, name).shape}, not {shape}")
        if not np.allclose(self.share.sum(axis=1), 1.0, atol=1e-9) or np.any(self.share[self.zone < 0] != 0):
            raise ValueError("the shares of the zones must add up to 1 in each tetrahedron")
        if not np.isfinite(self.stiffness_table).all():
            raise ValueError("a stiffness is not finite")

    @property
    def density(self) -> Array:
        """Density (m,) [tonne/mm^3] of each tetrahedron, air included."""
        each = np.array([m.density for m in self.materials])
        return np.asarray((self.share * np.where(self.zone >= 0, each[self.zone], 0.0)).sum(axis=1))

    def holds(self, number: int) -> Array:
        """Share (m,) of each tetrahedron that is of material `number`."""
        return np.asarray((self.share * (self.zone == number)).sum(axis=1))


def uniform_field(materials: tuple[PrintedMaterial, ...], material: Index) -> PrintedField:
    """A field whose tetrahedra each hold one material alone: `material` (m,) numbers of them."""
    m = len(material)
    zone = np.full((m, 3), -1, dtype=np.int32)
    zone[:, 2] = material
    share, reach = np.zeros((m, 3)), np.zeros((m, 3, 4))
    share[:, 2], reach[:, 2] = 1.0, 1.0
    table = np.array([each.stiffness for each in materials])
    expansion = np.array([free_expansion(each) for each in materials])
    none = np.zeros(m)
    at_points = np.repeat(material.astype(np.int32)[:, None], 4, axis=1)
    quarter = np.repeat(share[:, None], 4, axis=1)
    normal = np.broadcast_to(np.array([0.0, 0.0, 1.0]), (m, 4, 3))
    return PrintedField(materials, zone, share, none, none, reach, table, expansion, at_points, quarter, normal)


def free_expansion(material: PrintedMaterial) -> Array:
    """Its expansion (6,) [1/K]; zero where the card gives none, since then nothing of it may warm."""
    return np.zeros(6) if material.expansion is None else material.expansion


def wall_axes(material: PrintedMaterial, turn: Array) -> Array:
    """Axes (j, 3, 3), rows in part axes, of walls turned by `turn` (j,) [rad] from print axis 1: along the outline,
    across it in the layer, up the build.
    """
    cosine, sine, zero, one = np.cos(turn), np.sin(turn), np.zeros_like(turn), np.ones_like(turn)
    within = np.array([[cosine, sine, zero], [-sine, cosine, zero], [zero, zero, one]]).transpose(2, 0, 1)
    return np.asarray(within @ material.print_axes)
