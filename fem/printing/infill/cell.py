"""The infill cell as one noun, and the verb that solves it once and finds it again on disk.

The effective stiffness of a cell whose infill has many periods within a wall of the part; near covers and walls the
real infill is stiffer. Beads are rectangles fully welded to one another.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np

from fem.criteria.reserve import utilisation
from fem.criteria.strength import Strength
from fem.errors import InputError
from fem.printing.bead_box import BeadBox, bead_box
from fem.printing.infill import store
from fem.printing.infill.bead_mean import Places, places
from fem.printing.infill.buckling import CellWall, cell_walls, first_to_buckle
from fem.printing.infill.cell_strength import cell_strength, critical, unit_states
from fem.printing.infill.eigen_buckling import checked_walls
from fem.printing.infill.homogenise import Homogenised, Material, bead_material, homogenise
from fem.printing.infill.mesh import CellMesh
from fem.printing.infill.patterns import check_density, check_pattern, cube_axes, period_box
from fem.tensors import Array, broken_condition, engineering_constants

RESOLUTIONS: dict[str, tuple[tuple[float, float], tuple[float, float]]] = {
    "woodpile": ((1 / 24, 2.0), (1 / 40, 1.8)),
    "grid": ((1 / 48, 1.4), (1 / 96, 1.2)),
    "triangle": ((1 / 48, 1.4), (1 / 96, 1.2)),
    "honeycomb": ((1 / 48, 1.4), (1 / 96, 1.2)),
    "cubic": ((1 / 6, 4.0), (1 / 12, 2.5)),
    "gyroid": ((16, 2), (24, 2)),
}
"""The coarser and the finer mesh: the hexahedron at a notch in wall thicknesses and its growth; for the gyroid, boxes
a period and hexahedra through the sheet."""

MODULI = ("E1", "E2", "E3", "G12", "G13", "G23")
STATES = ("tension 1", "tension 2", "tension 3", "compression 1", "compression 2", "compression 3")
SHEARS = ("shear 23", "shear 13", "shear 12")


@dataclass(frozen=True)
class CellPoint:
    """One critical place in the beads of a cell: a piece of bead whose mean stress is judged (`bead_mean`).

    `label` in words; `at` (3,) [mm] its middle in the cell, print axes; `to_bead` (6, 6) takes the MEAN stress of the
    cell, in cell axes, to the mean stress of the piece in the bead's own axes; `thermal_stress` (6,) [MPa/K] in bead
    axes when the cell is free to expand, zeros when the expansion is not known.
    """

    label: str
    at: Array
    to_bead: Array
    thermal_stress: Array


@dataclass(frozen=True)
class InfillCell:
    """A periodic infill cell as a material. Cell axes are print axes at infill angle 0.

    `density` what the mesh holds; `size` (3,) [mm] period (of the cube along its own edges for cubic, which stands on
    its corner); `stiffness` (6, 6) [MPa]; `expansion` (6,) [1/K] as a strain vector or None; `points` and `walls`
    decide how much mean stress it bears; `strength_MPa` holds "tension" (3,), "compression" (3,), "shear" (3,) in the
    order 23, 13, 12, the least of the beads' criteria, and "buckling": for each state (such as "compression 3") that
    buckling limits further, its MPa and mode; "buckling_in_layer": how the walls' critical compression along their
    beads was checked (`eigen_buckling`). `moves` and `strength_moves` are the largest relative changes of the
    six moduli and of the nine strengths against the next coarser mesh; `points_short` is the largest share by which
    the points understate the worst utilisation of all places (one or two per cent, about five for the gyroid, whose
    worst place wanders over the sheet).

    To draw: `corners` (n, 8, 3) [mm, print axes] of the solid's hexahedra, and `used` (6, n) the worst utilisation of
    the pieces of bead around each per MPa of mean stress in one component, the worse of its two signs.
    """

    pattern: str
    density: float
    bead_width: float
    bead_height: float
    size: Array
    stiffness: Array
    expansion: Array | None
    points: tuple[CellPoint, ...]
    walls: tuple[CellWall, ...]
    strength_MPa: dict[str, Any]
    moves: float
    strength_moves: float
    points_short: float
    corners: Array
    used: Array

    def __post_init__(self) -> None:
        c = self.stiffness
        if c.shape != (6, 6) or not np.allclose(c, c.T, rtol=1e-9, atol=1e-9 * np.abs(c).max()):
            raise ValueError(f"{self.pattern}: stiffness must be a symmetric 6 x 6")
        if not np.linalg.eigvalsh(c).min() > 0:
            raise ValueError(f"{self.pattern}: stiffness must be positive definite")
        if not self.points:
            raise ValueError(f"{self.pattern}: a cell needs at least one critical point")
        shapes: list[tuple[Array | None, tuple[int, ...]]] = [
            (self.size, (3,)),
            (self.expansion, (6,)),
            (self.corners, (len(self.corners), 8, 3)),
            (self.used, (6, len(self.corners))),
            *((p.to_bead, (6, 6)) for p in self.points),
            *((p.thermal_stress, (6,)) for p in self.points),
            *((w.to_wall, (6, 6)) for w in self.walls),
            *((self.strength_MPa[kind], (3,)) for kind in ("tension", "compression", "shear")),
        ]
        for array, shape in shapes:
            if array is not None and (np.shape(array) != shape or not np.isfinite(array).all()):
                raise ValueError(f"{self.pattern}: an array of shape {np.shape(array)} must be {shape}, and finite")


def infill_cell(
    pattern: str,
    *,
    density: float,
    bead_width: float,
    bead_height: float,
    E: Any,
    nu: Any,
    G: Any,
    strength: Strength,
    expansion: Any = None,
    cache: Path | Literal["user"] | None = "user",
) -> InfillCell:
    """Solve the cell of a pattern, or find it on disk.

    `density` share of the volume that is bead; `bead_width`, `bead_height` [mm]; E, nu, G of the bead as for
    `fem.tensors.orthotropic_stiffness` [MPa]; `expansion` (3,) of the bead along its axes [1/K]; `cache` a folder,
    None to keep nothing, or the user's own.

    Errors: InputError for an unknown pattern, a density that cannot be, or constants that no material can have.
    """
    check_pattern(pattern)
    check_density(pattern, density, bead_width=bead_width, bead_height=bead_height)
    broken = broken_condition(E, nu, G)
    if broken:
        raise InputError(f"the bead's constants cannot be: {broken}.")
    grown = None if expansion is None else [float(a) for a in np.asarray(expansion, dtype=float)[:3]]
    shape = {"density": density, "bead_width": bead_width, "bead_height": bead_height}
    inputs = {**inputs_of(pattern, **shape, constants=(E, nu, G), strength=strength), "expansion": grown}
    folder = store.default_folder() if cache == "user" else cache
    kept = store.load(folder, inputs)
    if kept is not None:
        cell = _unpacked(kept)
        if cell is not None:
            return cell
    cell = _solved_cell(
        pattern, density, bead_width, bead_height, bead={"E": E, "nu": nu, "G": G}, strength=strength, expansion=grown
    )
    store.save(folder, inputs, _packed(cell))
    return cell


def inputs_of(
    pattern: str,
    *,
    density: float,
    bead_width: float,
    bead_height: float,
    constants: tuple[Any, Any, Any],
    strength: Strength,
) -> dict[str, Any]:
    """All that a cell's answer depends on, as plain values; `constants` are E, nu, G."""
    return {
        "pattern": pattern,
        "density": float(density),
        "bead": [float(bead_width), float(bead_height)],
        "constants": [[float(v) for v in values] for values in constants],
        "strength": [
            None if v is None else np.asarray(v, dtype=float).tolist()
            for v in (strength.tension, strength.compression, strength.shear, strength.yield_stress)
        ],
    }


def cell_mesh(pattern: str, *, density: float, bead_width: float, bead_height: float, fine: bool = True) -> CellMesh:
    """The finer or the coarser mesh of a pattern's period."""
    first, second = RESOLUTIONS[pattern][fine]
    if pattern == "gyroid":
        from fem.printing.infill.sheet import sheet_mesh

        return sheet_mesh(density=density, bead_width=bead_width, boxes=int(first), through=int(second))
    from fem.printing.infill.walls import wall_mesh

    return wall_mesh(
        pattern, density=density, bead_width=bead_width, bead_height=bead_height, first=first, growth=second
    )


def solved_places(
    mesh: CellMesh, bead: dict[str, Any], expansion: Any, box: BeadBox
) -> tuple[Material, Homogenised, Places]:
    material = bead_material(mesh, **bead, expansion=expansion)
    solved = homogenise(mesh, material=material)
    return material, solved, places(mesh, material=material, solved=solved, box=box)


def _solved_cell(
    pattern: str,
    density: float,
    bead_width: float,
    bead_height: float,
    *,
    bead: dict[str, Any],
    strength: Strength,
    expansion: list[float] | None,
) -> InfillCell:
    shape: dict[str, Any] = {"density": density, "bead_width": bead_width, "bead_height": bead_height}
    box = bead_box(bead_width=bead_width, bead_height=bead_height)
    coarse = cell_mesh(pattern, **shape, fine=False)
    rough_material, rough, rough_places = solved_places(coarse, bead, expansion, box)
    mesh = cell_mesh(pattern, **shape)
    material, solved, found = solved_places(mesh, bead, expansion, box)

    fine, before = (engineering_constants(s.stiffness) for s in (solved, rough))
    moves = max(abs(fine[k] / before[k] - 1) for k in MODULI)
    bears, bore = (cell_strength(f, strength=strength) for f in (found, rough_places))
    walls = cell_walls(pattern, mesh=mesh, material=material, solved=solved, bead=bead, **shape)
    walls, in_layer = checked_walls(walls, mesh=coarse, material=rough_material, solved=rough)
    scale = np.concatenate([np.minimum(bears[:3], bears[3:6]), bears[6:]])
    chosen, short = critical(found, strength=strength, scale=scale)
    points = tuple(
        CellPoint(
            material.beads[found.bead[k]].label,
            found.at[k],
            found.stress[k, :, :6],
            found.stress[k, :, 6] if expansion is not None else np.zeros(6),
        )
        for k in chosen
    )
    corners, of = _whole_period(mesh, pattern, period_box(pattern, **shape))
    return InfillCell(
        pattern,
        solved.density,
        bead_width,
        bead_height,
        period_box(pattern, **shape),
        solved.stiffness,
        solved.expansion if expansion is not None else None,
        points,
        walls,
        {
            "tension": bears[:3],
            "compression": bears[3:6],
            "shear": bears[6:],
            "buckling": _buckling(walls, bears),
            "buckling_in_layer": in_layer,
        },
        float(moves),
        float(np.abs(bears / bore - 1).max()),
        short,
        corners.astype(np.float32),
        _used_by_hexahedron(found, len(mesh.corners), strength)[:, of].astype(np.float32),
    )


def _buckling(walls: tuple[CellWall, ...], bears: Array) -> dict[str, dict[str, Any]]:
    """The unit states in which a wall buckles before a bead fails, each with its mean stress [MPa] and mode."""
    out = {}
    used, which = first_to_buckle(walls, unit_states())
    for name, share, k, limit in zip((*STATES, *SHEARS), used, which, bears, strict=True):
        if share * limit > 1:
            out[name] = {"MPa": float(1 / share), "mode": walls[k].mode, "wall": walls[k].label}
    return out


def _used_by_hexahedron(found: Places, count: int, strength: Strength) -> Array:
    """Worst utilisation (6, n) in each hexahedron per MPa of each component, the worse of both signs."""
    out = np.zeros((6, count))
    for k in range(6):
        stress = found.stress[:, :, k]
        both = np.maximum(utilisation(stress, strength), utilisation(-stress, strength))
        np.maximum.at(out[k], found.hexahedron, both)
    return out


def _whole_period(mesh: CellMesh, pattern: str, box: Array) -> tuple[Array, Any]:
    """Corners (n, 8, 3) that fill the whole period, and the hexahedron of the mesh that each repeats."""
    axes = cube_axes() if pattern == "cubic" else np.eye(3)
    # a mesh prismatic up the build is drawn as high as it is
    size = np.where([False, False, mesh.prismatic], mesh.lattice[2, 2], box)
    steps = np.stack(np.meshgrid(*[np.arange(-2.0, 3.0)] * 3, indexing="ij"), axis=-1).reshape(-1, 3)
    corners, of = [], []
    for shift in steps @ mesh.lattice:
        share = (mesh.centres + shift) @ axes.T / size
        inside = np.flatnonzero(((share >= -1e-9) & (share < 1 - 1e-9)).all(axis=1))
        corners.append(mesh.corners[inside] + shift)
        of.append(inside)
    return np.concatenate(corners), np.concatenate(of)


def _packed(cell: InfillCell) -> tuple[dict[str, Array], dict[str, Any]]:
    """A cell as named arrays and plain values."""
    strength = cell.strength_MPa
    arrays = {
        "size": cell.size,
        "stiffness": cell.stiffness,
        "corners": cell.corners,
        "used": cell.used,
        "strength": np.concatenate([strength[k] for k in ("tension", "compression", "shear")]),
        "at": np.array([p.at for p in cell.points]),
        "to_bead": np.array([p.to_bead for p in cell.points]),
        "temperature_change": np.array([p.thermal_stress for p in cell.points]),
        "to_wall": np.array([w.to_wall for w in cell.walls]).reshape(-1, 6, 6),
        "limits": np.array([[w.along, w.up, w.shear] for w in cell.walls]).reshape(-1, 3),
    }
    if cell.expansion is not None:
        arrays["expansion"] = cell.expansion
    plain = {
        "pattern": cell.pattern,
        "numbers": [
            cell.density,
            cell.bead_width,
            cell.bead_height,
            cell.moves,
            cell.strength_moves,
            cell.points_short,
        ],
        "points": [p.label for p in cell.points],
        "walls": [[w.label, w.mode] for w in cell.walls],
        "buckling": strength["buckling"],
        "buckling_in_layer": strength["buckling_in_layer"],
    }
    return arrays, plain


def _unpacked(kept: tuple[dict[str, Array], dict[str, Any]]) -> InfillCell | None:
    """The cell that was packed; None when the file does not hold one."""
    try:
        a, plain = kept
        density, width, height, moves, strength_moves, short = plain["numbers"]
        points = zip(plain["points"], a["at"], a["to_bead"], a["temperature_change"], strict=True)
        walls = zip(plain["walls"], a["to_wall"], a["limits"].tolist(), strict=True)
        bears = a["strength"]
        return InfillCell(
            plain["pattern"],
            density,
            width,
            height,
            a["size"],
            a["stiffness"],
            a.get("expansion"),
            tuple(CellPoint(*p) for p in points),
            tuple(CellWall(label, m, along, up, shear, mode) for (label, mode), m, (along, up, shear) in walls),
            {
                "tension": bears[:3],
                "compression": bears[3:6],
                "shear": bears[6:],
                "buckling": plain["buckling"],
                "buckling_in_layer": plain["buckling_in_layer"],
            },
            moves,
            strength_moves,
            short,
            a["corners"],
            a["used"],
        )
    except (KeyError, ValueError, TypeError, IndexError, AttributeError):
        return None
