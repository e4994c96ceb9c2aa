"""Made-up beads at a curved side of a part: walls along it, covers under it, a gyroid core; reserves to match.

The numbers mean nothing, but the place of the worst bead is known: the second wall, some layers above the covers.
"""

from __future__ import annotations

import math

import numpy as np

from fem.judging.zoomed import ZoomFindings
from fem.printing.beads import CORE, COVER, FULL, NOTHING, WALL, WAYS, BeadMap, Grid
from fem.printing.infill.patterns import gyroid_slope, period_length, solid_at
from fem.zooming.nouns import JudgedBeads

WIDTH, HEIGHT, WALLS, COVERS, AIR_BEFORE = 0.45, 0.2, 4, 18, 3.0
SIZE = 12.0
LEAST = 0.62
MODES = ("interlayer shear", "tension along the beads", "interlayer tension")


def judged_cube(step=(0.15, 0.15, 0.2), *, axes=None, least: float = LEAST) -> JudgedBeads:
    """The cube in boxes of `step` [mm]; its lowest corner lies at (30, -6, 9.4) along the print axes."""
    per_layer = round(HEIGHT / step[2])
    count = (round(SIZE / step[0]), round(SIZE / step[1]), round(SIZE / HEIGHT) * per_layer)
    grid = Grid(np.array([30.0, -6.0, 9.4]), np.array(step), count, per_layer, 47)
    beads = _beads(grid)
    filled = beads.share > FULL // 2
    reserve = _reserves(grid, beads, filled, least)
    stress = np.zeros((*filled.shape, 6), dtype=np.float32)
    stress[..., 0], stress[..., 4] = 12.0 / reserve, 5.0 / reserve
    stress[~filled] = np.nan
    mode = np.where(beads.zone == COVER, 2, np.where(beads.zone == CORE, 1, 0)).astype(np.int8)
    return JudgedBeads(
        beads=beads,
        axes=np.eye(3) if axes is None else np.asarray(axes, dtype=float),
        reserve=np.where(filled, reserve, np.nan).astype(np.float32),
        stress=stress,
        inner=_inner(filled.shape),
        mode=mode,
        modes=MODES,
    )


def _inner(shape) -> np.ndarray:
    inner = np.zeros(shape, dtype=bool)
    inner[tuple(slice(n // 4, n - n // 4) for n in shape)] = True
    return inner


def _beads(grid: Grid) -> BeadMap:
    layers, ny, nx = grid.layers, grid.count[1], grid.count[0]
    z, y, x = np.meshgrid(
        (np.arange(layers) + 0.5) * HEIGHT,
        (np.arange(ny) + 0.5) * grid.step[1],
        (np.arange(nx) + 0.5) * grid.step[0],
        indexing="ij",
    )
    slope = 0.06 * (x - SIZE / 2)
    depth = (y - AIR_BEFORE - 0.03 * (x - SIZE / 2) ** 2) / np.hypot(1, slope)
    zone = np.full(z.shape, NOTHING, dtype=np.uint8)
    bead, way = np.zeros(z.shape, dtype=np.uint16), np.zeros(z.shape, dtype=np.uint8)
    inside = depth > 0
    wall = inside & (depth < WALLS * WIDTH)
    cover = inside & ~wall & (z < COVERS * HEIGHT)
    place = np.stack([x, y, z], axis=-1).reshape(-1, 3)
    lattice = solid_at("gyroid", place, density=0.4, bead_width=WIDTH, bead_height=HEIGHT).reshape(z.shape)
    core = inside & ~wall & ~cover & lattice
    zone[wall], zone[cover], zone[core] = WALL, COVER, CORE
    bead[wall] = (depth[wall] / WIDTH).astype(np.uint16)
    way[wall] = (np.round(np.degrees(np.arctan(slope[wall])) / (180 / WAYS)) % (2 * WAYS)).astype(np.uint8)
    rising = (z / HEIGHT).astype(int) % 2 == 0
    for up, sign in ((rising, 1.0), (~rising, -1.0)):
        across = (y - sign * x) / math.sqrt(2)
        raster = cover & up
        bead[raster] = (across[raster] / WIDTH + 100).astype(np.uint16)
        way[raster] = round(45 * sign / (180 / WAYS)) % WAYS
    # A bead of the lattice follows its level set: square to its slope in the layer
    length = period_length("gyroid", density=0.4, bead_width=WIDTH)
    slope_x, slope_y, _ = gyroid_slope(place * (2 * math.pi / length)).T.reshape(3, *z.shape)
    turn = np.degrees(np.arctan2(slope_x, -slope_y))
    way[core] = (np.round(turn / (180 / WAYS)) % WAYS).astype(np.uint8)[core]
    return BeadMap(grid, zone, np.where(zone == NOTHING, 0, FULL).astype(np.uint8), way, bead)


def _reserves(grid: Grid, beads: BeadMap, filled, least: float):
    """Reserves that fall towards a place in the second wall bead of the middle; the least there."""
    layers, ny, nx = filled.shape
    layer, column = COVERS + 6, nx // 2
    row = int((AIR_BEFORE + 1.5 * WIDTH) / grid.step[1])
    k, j, i = np.meshgrid(np.arange(layers), np.arange(ny), np.arange(nx), indexing="ij")
    away = np.sqrt(
        ((k - layer) * HEIGHT) ** 2 + ((j - row) * grid.step[1]) ** 2 + (0.5 * (i - column) * grid.step[0]) ** 2
    )
    scatter = 0.12 * np.sin(2.1 * beads.bead.astype(float) + 1.3 * k)
    zone = np.select([beads.zone == WALL, beads.zone == COVER, beads.zone == CORE], [0.0, 0.5, 0.8], 0.0)
    reserve = least * (1.25 + 0.55 * away + scatter + zone)
    reserve[layer, row, column] = least
    return reserve


def zoom_of(judged: JudgedBeads, **other) -> ZoomFindings:
    """What the findings say of the cube: numbers read off its arrays."""
    masked = np.where(judged.inner, judged.reserve, np.nan)
    at = np.unravel_index(np.nanargmin(masked), masked.shape)
    zones = {"wall": WALL, "cover": COVER, "core": CORE}
    least = float(masked[at])
    told = {
        "body": "bracket", "size_mm": SIZE, "voxel_mm": tuple(float(v) for v in judged.beads.grid.step),
        "unknowns": 1_962_000, "iterations": 9, "least": least, "band": (0.95 * least, 1.05 * least), "zone": "wall",
        "mode": judged.modes[int(judged.mode[at])], "homogenised": 0.31 * least, "homogenised_zone": "core",
        "at_mm": tuple(float(v) for v in judged.part_point(*(n // 2 for n in judged.reserve.shape))),
        "worst_at_mm": tuple(float(v) for v in judged.part_point(*map(int, at))),
        "by_zone": {name: float(np.nanmin(masked[judged.beads.zone == z])) for name, z in zones.items()},
        "beads_beyond": 3, "change": 0.012, "settled": True, "face": "seat", "face_distance_mm": 0.6,
        "print_stress_MPa": tuple(float(v) for v in judged.stress[at]),
    }  # fmt: skip
    return ZoomFindings(**{**told, **other})
