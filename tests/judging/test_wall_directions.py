"""Walls whose beads run along the outline: where the raster begins means nothing to them.

A part that is wall throughout is the same whatever `raster_zero` says: its reserve must not depend on how a compiled
loop sorts directions.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from helpers_cad import draw
from helpers_fe import box

from fem.judging.reserve import judge_reserve
from fem.judging.stress import recover_stress
from fem.part.meshing import mesh_solid
from fem.part.solid import read_solid
from fem.printing.body import printed_body
from fem.printing.mixing import printed_field
from fem.printing.plan import PrintPlan
from fem.printing.polymer import load_card

CARD = load_card("pa12-cf")
ALL_WALL = PrintPlan((0, 0, 1), walls=12, raster=(0.0,), infill_pattern="solid")
TURNS = np.arange(0.0, 90.0, 2.5)


def turned(degrees):
    angle = np.radians(degrees)
    return replace(ALL_WALL, raster_zero=(float(np.cos(angle)), float(np.sin(angle)), 0.0))


def least(mesh, plan, moved):
    """The least reserve, and that of a print of rasters, which raster_zero does turn."""
    body = mesh.bodies[0]
    out = []
    for each in (plan, replace(plan, walls=0)):
        printed = printed_field(mesh, bodies={body: printed_body(each, card=CARD, state="dry")})
        stress = recover_stress(mesh, printed, moved)
        out.append(float(judge_reserve(mesh, printed, permanent=None, growing=stress).reserve.min()))
    return out


def test_a_bar_of_walls_does_not_know_where_the_raster_begins():
    mesh = box((30.0, 7.0, 6.0), (8, 3, 2))
    x, y, z = mesh.nodes.T
    moved = 1e-3 * np.stack([x + 0.1 * x * z, 0.2 * y * x - y, 0.3 * x * y - z], axis=1)
    found = np.array([least(mesh, turned(each), moved) for each in TURNS])
    assert np.ptp(found[:, 0]) < 1e-6 * found[0, 0]
    assert np.ptp(found[:, 1]) > 0.02 * found[0, 1], "rasters do turn"


def test_around_a_hole_the_reserve_hardly_knows_it(tmp_path):
    path = tmp_path / "plate.step"

    def plate(occ):
        whole, hole = occ.addBox(-9, -6, 0, 18, 12, 3), occ.addCylinder(0, 0, 0, 0, 0, 3, 2.5)
        occ.cut([(3, whole)], [(3, hole)])

    draw(path, plate)
    mesh = mesh_solid(read_solid(path, name="plate"), size=2.0, finest=0.8)
    # Kirsch's displacement around a hole of radius 2.5 mm in a pulled plate, E = 1, nu = 0.35, plane stress
    r, t = np.hypot(*mesh.nodes[:, :2].T), np.arctan2(mesh.nodes[:, 1], mesh.nodes[:, 0])
    a, nu, k = 2.5, 0.35, (3 - 0.35) / 1.35
    q, scale = a / r, 0.02 * a * (1 + nu) / 4
    radial = (k - 1) / q + 2 * q + 2 * (1 / q + (k + 1) * q - q**3) * np.cos(2 * t)
    around = -2 * (1 / q + (k - 1) * q + q**3) * np.sin(2 * t)
    radial, around = scale * radial / 2, scale * around / 2
    moved = np.stack(
        [radial * np.cos(t) - around * np.sin(t), radial * np.sin(t) + around * np.cos(t), 0 * r], axis=1
    )
    found = np.array([least(mesh, turned(each), moved) for each in TURNS[::3]])
    assert np.ptp(found[:, 0]) < 0.01 * found[0, 0]
    assert np.ptp(found[:, 1]) > 0.05 * found[0, 1], "rasters do turn"


def test_beads_around_a_hole_follow_it(tmp_path):
    # swollen evenly in the layer, every bead of a ring feels the same in its own axes
    path = tmp_path / "ring.step"

    def ring(occ):
        outer, inner = occ.addCylinder(0, 0, 0, 0, 0, 3, 9), occ.addCylinder(0, 0, 0, 0, 0, 3, 7)
        occ.cut([(3, outer)], [(3, inner)])

    draw(path, ring)
    mesh = mesh_solid(read_solid(path, name="ring"), size=2.0, finest=1.0)
    printed = printed_field(mesh, bodies={"ring": printed_body(ALL_WALL, card=CARD, state="dry")})
    x, y, z = mesh.nodes.T
    values = CARD.state("dry")
    moved = 1e-3 * np.stack([x, y, -values.nu[0] * z], axis=1)
    stress = recover_stress(mesh, printed, moved)
    field = judge_reserve(mesh, printed, permanent=None, growing=stress)
    along = field.print_stress[:, 0]
    assert np.std(along) < 0.02 * np.mean(along)
    assert field.reserve.min() == pytest.approx(np.median(field.reserve), rel=0.03)
    # an interlayer shear across the beads, the same all around: its sign is the axes', its size is no matter of them
    moved = np.stack([0 * x, 0 * y, 1e-3 * np.hypot(x, y)], axis=1)
    field = judge_reserve(mesh, printed, permanent=None, growing=recover_stress(mesh, printed, moved))
    shear = np.abs(field.print_stress[:, 3])
    assert shear.min() > 0.95 * np.median(shear) > 0.5, "nothing cancels where axes turn over"
