"""At which stress the thin walls of a cell buckle: estimates from plates held at the walls' crossings.

A wall between two crossings is a long plate up the build, `b` wide along the bead and `t` thick, simply supported
along its crossings (which in truth clamp it somewhat). With D1 along the bead, D3 up the build, D13 = nu31 D1 and D66
= G13 t^3 / 12:

    compression up the build     2 pi^2 / (b^2 t) (sqrt(D1 D3) + D13 + 2 D66)
    compression along the bead   pi^2 D1 / (b^2 t)                               (a wide column)
    shear in its plane           4 / (b^2 t) (D3 D1^3)^(1/4) (8.12 + 5.05 / k)   for k = sqrt(D1 D3) / (D13 + 2 D66) >
    1,
                                 4 / (b^2 t) sqrt(D1 (D13 + 2 D66)) (11.7 + 0.532 k + 0.938 k^2)       otherwise

Isotropic walls give the coefficients 4, 1 and 5.34 of pi^2 D / (b^2 t). Sources: S. P. Timoshenko and J. M. Gere,
Theory of Elastic Stability (1961), sections 9.2 to 9.7; S. G. Lekhnitskii, Anisotropic Plates (1968), chapter 15; E.
Seydel, Z. Flugtech. Motorluftsch. 24 (1933) 78 (shear).

Square plates (cubic), whose bead runs along their diagonal, with D the mean (sqrt(D1 D3) + D13 + 2 D66) / 2:
compression along or across the bead is half all-round compression (coefficient 4) and half shear along the edges
(9.34), together 3.83; shear in bead axes is tension and compression along the edges, 25/3. A gyroid's sheet is
curved, which stiffens it, and is taken as a flat square plate of half a period: rough. Beads of the lines pattern are
columns between crossings.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.criteria.reserve import utilisation
from fem.criteria.strength import WallBuckling
from fem.printing.infill.homogenise import Homogenised, Material, local_stress
from fem.printing.infill.mesh import CellMesh, Index
from fem.printing.infill.patterns import LEAN, gyroid_slope, period_length
from fem.tensors import Array, orthotropic_compliance, stress_rotation

_PATCHES = 24
"""Places at which the gyroid's sheet is looked at."""


@dataclass(frozen=True)
class CellWall:
    """A family of thin walls that can buckle.

    `to_wall` (6, 6) takes the mean stress of the cell to the mean stress of the wall in the wall's own axes: 1 along
    the bead, 2 across the wall, 3 up the wall (up the build where the wall stands upright). Critical stresses [MPa,
    positive]: compression `along` the bead, compression `up` the wall, `shear` 13; infinite where it cannot buckle
    so. `mode` in words.
    """

    label: str
    to_wall: Array
    along: float
    up: float
    shear: float
    mode: str

    @property
    def limits(self) -> WallBuckling:
        """What it bears in its own axes."""
        return WallBuckling(self.along, self.up, self.shear, self.mode)


def buckling_use(wall: CellWall, stress: Any) -> Array:
    """Share (...) of its buckling stress that mean stress (..., 6) [MPa] of the cell uses up in a wall."""
    return utilisation(np.asarray(stress, dtype=float) @ wall.to_wall.T, wall.limits)


def first_to_buckle(walls: Sequence[CellWall], stress: Any) -> tuple[Array, Index]:
    """The largest share (...) of its buckling stress that mean stress (..., 6) [MPa] of the cell uses up in any of
    the walls, and which wall (...) that is: `walls[k].mode` says how it buckles. Without walls 0 and -1.
    """
    shape = np.shape(stress)[:-1]
    if not walls:
        return np.zeros(shape), np.full(shape, -1, dtype=np.intp)
    used = np.array([buckling_use(wall, stress) for wall in walls])
    return used.max(axis=0), used.argmax(axis=0)


def wall_axes(normal: Any) -> Array:
    """Axes (3, 3) of a wall as rows in print axes: the horizontal line in it, its normal, and up the wall."""
    n = np.asarray(normal, dtype=float)
    flat = math.hypot(n[0], n[1])
    along = np.array([n[1], -n[0], 0.0]) / flat if flat > 1e-6 else np.array([1.0, 0.0, 0.0])
    return np.array([along, n, np.cross(along, n)])


def plate_stiffness(axes: Any, *, thickness: float, E: Any, nu: Any, G: Any) -> tuple[float, float, float, float]:
    """D1, D3, D13, D66 [N mm] of a wall with `axes` (3, 3), whose material's axis 3 is up the build; couplings left
    out.
    """
    a = np.asarray(axes, dtype=float)
    # the bead runs along the wall's first axis; its own axes are turned about that line
    bead = np.array([a[0], np.cross([0.0, 0.0, 1.0], a[0]), [0.0, 0.0, 1.0]])
    turn = stress_rotation(bead @ a.T)
    compliance = turn.T @ orthotropic_compliance(E, nu, G) @ turn
    pick = np.ix_([0, 2, 4], [0, 2, 4])
    d = np.linalg.inv(compliance[pick]) * thickness**3 / 12
    return float(d[0, 0]), float(d[1, 1]), float(d[0, 1]), float(d[2, 2])


def strip_stresses(
    d: tuple[float, float, float, float], *, width: float, thickness: float
) -> tuple[float, float, float]:
    """Critical compression along the bead, up the build, and shear [MPa] of a long plate held along its two edges."""
    d1, d3, d13, d66 = d
    mixed = d13 + 2 * d66
    k = math.sqrt(d1 * d3) / mixed
    if k > 1:
        shear = 4 * (d3 * d1**3) ** 0.25 * (8.12 + 5.05 / k)
    else:
        shear = 4 * math.sqrt(d1 * mixed) * (11.7 + 0.532 * k + 0.938 * k**2)
    area = width**2 * thickness
    return math.pi**2 * d1 / area, 2 * math.pi**2 * (math.sqrt(d1 * d3) + mixed) / area, shear / area


def square_stresses(
    d: tuple[float, float, float, float], *, width: float, thickness: float
) -> tuple[float, float, float]:
    """As `strip_stresses`, of a square plate whose diagonal is the bead."""
    d1, d3, d13, d66 = d
    even = math.pi**2 * (math.sqrt(d1 * d3) + d13 + 2 * d66) / 2 / (width**2 * thickness)
    # all-round half s/2 against 2, shear s/2 against 9.34: s/4 + (s/18.68)^2 = 1
    pressed = 18.68**2 / 2 * (math.sqrt(1 / 16 + 4 / 18.68**2) - 1 / 4)
    return pressed * even, pressed * even, 25 / 3 * even


def cell_walls(
    pattern: str,
    *,
    mesh: CellMesh,
    material: Material,
    solved: Homogenised,
    bead: dict[str, Any],
    density: float,
    bead_width: float,
    bead_height: float,
) -> tuple[CellWall, ...]:
    """The walls of a cell that can buckle; `bead` holds E, nu, G. A cell without gaps has none."""
    length = period_length(pattern, density=density, bead_width=bead_width)
    stress = local_stress(solved.strain, solved=solved, stiffness=material.stiffness, expansion=material.expansion)[
        :, :, :6
    ]
    volume = solved.parts.volume
    if pattern == "gyroid":
        return _sheet_walls(mesh, stress, volume, bead, density=density, bead_width=bead_width, length=length)
    out = []
    for number, family in enumerate(mesh.families):
        mine = mesh.family == number
        if not family.is_wall or not mine.any():
            continue
        mean = np.einsum("nij,n->ij", stress[mine], volume[mine]) / volume[mine].sum()
        if pattern == "woodpile":
            turn = math.radians(family.angles[0])
            axes = wall_axes((-math.sin(turn), math.cos(turn), 0.0))
            limit = math.pi**2 * bead["E"][0] * bead_height**2 / 12 / (length - bead_width) ** 2
            critical, mode = (limit, math.inf, math.inf), "column buckling of the beads between crossings"
        else:
            assert family.normal is not None
            axes = wall_axes(family.normal)
            thickness, width, square = _plate(pattern, length, bead_width)
            d = plate_stiffness(axes, thickness=thickness, **bead)
            critical = (square_stresses if square else strip_stresses)(d, width=width, thickness=thickness)
            mode = "plate buckling of the walls between their crossings"
        out.append(CellWall(family.label, stress_rotation(axes) @ mean, *critical, mode))
    return tuple(out)


def _plate(pattern: str, length: float, bead_width: float) -> tuple[float, float, bool]:
    """Thickness and clear width [mm] of a wall, and whether it is a square."""
    root = math.sqrt(3)
    if pattern == "cubic":
        return LEAN * bead_width, length - LEAN * bead_width, True
    clear = {
        "grid": length - bead_width,
        "triangle": length - root * bead_width,
        "honeycomb": length - bead_width / root,
    }
    return bead_width, clear[pattern], False


def _sheet_walls(
    mesh: CellMesh,
    stress: Array,
    volume: Array,
    bead: dict[str, Any],
    *,
    density: float,
    bead_width: float,
    length: float,
) -> tuple[CellWall, ...]:
    """Patches of the gyroid's sheet, an eighth of a period around places spread evenly, each a flat square plate."""
    centre = mesh.centres
    spread = [int(np.argmin((centre**2).sum(axis=1)))]
    away = _apart(centre, centre[spread[0]], mesh.lattice)
    while len(spread) < _PATCHES:
        spread.append(int(away.argmax()))
        away = np.minimum(away, _apart(centre, centre[spread[-1]], mesh.lattice))
    slope = gyroid_slope(centre * (2 * np.pi / length))
    normal = slope / np.linalg.norm(slope, axis=1)[:, None]
    # volume = area x thickness, area 3.0915 L^2 a period
    thickness = density * length / 3.0915
    out = []
    for place in spread:
        axes = wall_axes(normal[place])
        near = (_apart(centre, centre[place], mesh.lattice) < length / 8) & (np.abs(normal @ normal[place]) > 0.5)
        mean = np.einsum("nij,n->ij", stress[near], volume[near]) / volume[near].sum()
        d = plate_stiffness(axes, thickness=thickness, **bead)
        critical = square_stresses(d, width=length / 2, thickness=thickness)
        mode = "sheet buckling, rough: a flat plate of half a period"
        out.append(CellWall("sheet", stress_rotation(axes) @ mean, *critical, mode))
    return tuple(out)


def _apart(points: Array, place: Array, lattice: Array) -> Array:
    """Distance (n,) from a place to the nearest copy of each point."""
    share = (points - place) @ np.linalg.inv(lattice)
    share = share - np.round(share)
    shifts = np.stack(np.meshgrid(*[[-1.0, 0.0, 1.0]] * 3, indexing="ij"), axis=-1).reshape(-1, 3)
    return np.linalg.norm((share[None] + shifts[:, None]) @ lattice, axis=2).min(axis=0)
