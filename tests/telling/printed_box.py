"""A printed box, told by hand: a ring of walls, covers below and above, grid infill, and the numbers they must have.

The box is 60 x 40 x 24 mm with three walls of 0.5 mm and four covers of 0.25 mm, so that the zones are boxes inside
boxes and their shares can be computed on paper: inside the walls 57 x 37 mm, between the covers 22 mm.
"""

from __future__ import annotations

import dataclasses

import numpy as np

from fem.judging.findings import BodyFindings, Findings, PrintFindings
from fem.judging.scene import Scene
from fem.printing.cut import AIR, CORE, COVER, OUTSIDE, WALL, ZoneCut

SIZE = (60.0, 40.0, 24.0)
WALLS, COVERS = 3 * 0.5, 4 * 0.25
PIXEL = 0.25
DENSITY, GRAM = 0.19, 1.2e-3
"""Infill density; grams in a cubic millimetre of the solid bead."""
CELL = 5.0
"""Spacing [mm] of the grid: walls of 0.5 mm fill 1 - 0.9^2 = 0.19 of it."""

WHOLE = SIZE[0] * SIZE[1] * SIZE[2]
INNER = (SIZE[0] - 2 * WALLS) * (SIZE[1] - 2 * WALLS)
VOLUME = {"wall": WHOLE - INNER * SIZE[2], "cover": INNER * 2 * COVERS, "core": INNER * (SIZE[2] - 2 * COVERS)}
SHARE = {zone: volume / WHOLE for zone, volume in VOLUME.items()}
MASS = {zone: v * GRAM * (DENSITY if zone == "core" else 1) for zone, v in VOLUME.items()}


def box_plan() -> PrintFindings:
    return PrintFindings(
        build_direction=(0.0, 0.0, 1.0),
        bead_width_mm=0.5,
        bead_height_mm=0.25,
        walls=3,
        covers=4,
        raster_deg=(45.0, -45.0),
        pattern="grid",
        infill_density=DENSITY,
        infill_angle_deg=0.0,
        cell_mm=(CELL, CELL, 0.25),
        cell_stiffness_mesh_change=0.008,
        cell_strength_mesh_change=0.03,
        cell_peak_underestimate=0.01,
        thin_share=0.031,
        layers=96,
        bead_length_m=179.5,
        speed_mm_per_s=60.0,
        time_h=1.4,
        filament_diameter_mm=1.75,
        filament_m=9.33,
        price_per_kg=40.0,
        cost=1.08,
        assumed=("speed", "filament_diameter", "colour of the spool"),
    )


def box_body() -> BodyFindings:
    return BodyFindings(
        WHOLE,
        sum(MASS.values()),
        ((0, 0, 0), SIZE),
        "pa12-cf",
        "dry",
        dict(SHARE),
        (),
        ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
        dict(MASS),
        box_plan(),
    )


def layer_cut() -> ZoneCut:
    """A layer at half height: a frame of walls around the grid, seen from above, 2 mm of air around it all."""
    x, y = _middles(SIZE[0]), _middles(SIZE[1])
    inside = _within(x, 0, SIZE[0])[None, :] & _within(y, 0, SIZE[1])[:, None]
    core = _within(x, WALLS, SIZE[0] - WALLS)[None, :] & _within(y, WALLS, SIZE[1] - WALLS)[:, None]
    place = np.where(core, np.where(_bead(x)[None, :] | _bead(y)[:, None], CORE, AIR), WALL)
    place = np.where(inside, place, OUTSIDE).astype(np.int8)
    at, way = [], []
    for u in np.arange(3.0, SIZE[0], 6.0):
        for v, along in ((WALLS / 2, (1.0, 0.0)), (SIZE[1] - WALLS / 2, (1.0, 0.0)), (20.0, (0.0, 1.0))):
            at.append((u, v))
            way.append(along)
    return ZoneCut(
        "box", "layer", 12.4, place, PIXEL, (-2.0, -2.0), "print axis 1", "print axis 2", np.array(at), np.array(way)
    )


def vertical_cut() -> ZoneCut:
    """A cut along the build through the middle: walls left and right, covers below and above, infill between."""
    x, z = _middles(SIZE[0]), _middles(SIZE[2])
    inside = _within(x, 0, SIZE[0])[None, :] & _within(z, 0, SIZE[2])[:, None]
    core = np.broadcast_to(_within(x, WALLS, SIZE[0] - WALLS)[None, :], inside.shape)
    cover = core & ~_within(z, COVERS, SIZE[2] - COVERS)[:, None]
    place = np.where(core, np.where(cover, COVER, np.where(_bead(x)[None, :], CORE, AIR)), WALL)
    place = np.where(inside, place, OUTSIDE).astype(np.int8)
    at = np.array([(0.75, 12.0), (59.25, 12.0), (20.0, 0.5), (40.0, 23.5), (30.0, 12.0)])
    way = np.array([(0.0, 0.0), (0.0, 0.0), (0.71, 0.0), (0.71, 0.0), (1.0, 0.0)])
    return ZoneCut(
        "box", "vertical", 20.0, place, PIXEL, (-2.0, -2.0), "print axis 1", "build direction (3)", at, way
    )


def printed(findings: Findings, scene: Scene) -> tuple[Findings, Scene]:
    """Another part's findings with the box beside it."""
    bodies = {**findings.bodies, "box": box_body()}
    return dataclasses.replace(findings, bodies=bodies), dataclasses.replace(
        scene, cuts=(layer_cut(), vertical_cut())
    )


def _middles(length: float) -> np.ndarray:
    return np.arange(-2.0 + PIXEL / 2, length + 2.0, PIXEL)


def _within(x: np.ndarray, low: float, high: float) -> np.ndarray:
    return (x > low) & (x < high)


def _bead(x: np.ndarray) -> np.ndarray:
    """Where a wall of the grid stands."""
    return np.mod(x, CELL) < 0.5
