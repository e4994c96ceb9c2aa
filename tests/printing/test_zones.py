"""Walls, covers and cores: volumes known in closed form, and directions that follow the outline."""

from dataclasses import replace

import numpy as np
import pytest
from helpers_cad import draw
from helpers_fe import box

from fem.part.meshing import mesh_solid
from fem.part.quadrature import tet_volumes
from fem.part.solid import read_solid
from fem.part.tetmesh import joined
from fem.printing.plan import PrintPlan
from fem.printing.zones import COVER, WALL, Outline, find_zones

PLAN = PrintPlan((0, 0, 1), walls=3, covers=4, infill_pattern="grid", infill_density=0.3)
DEEP, HIGH = 3 * 0.45, 4 * 0.2
RNG = np.random.default_rng(31)


def zoned(mesh, plan=PLAN, body="part"):
    """The zones of a body and their volumes (3,) [mm^3]."""
    tets = mesh.tets_of(body)
    zoning = find_zones(mesh, tets, outline=Outline(mesh, body=body, plan=plan))
    return zoning, zoning.share.T @ tet_volumes(mesh)[tets]


def meshed(path, build, size):
    return mesh_solid(read_solid(draw(path, build), name="part"), size=size, finest=size / 2)


def upright(outer, inner, height):
    """Wall, cover, core of a body that is the same in every layer, from its section and what the walls leave of
    it."""
    return np.array([(outer - inner) * height, inner * 2 * HIGH, inner * (height - 2 * HIGH)])


def straight(occ):
    occ.addBox(0, 0, 0, 30, 20, 10)


def round_bar(occ):
    occ.addCylinder(0, 0, 0, 0, 0, 12, 10)


def ring(occ, inner=8.0, outer=15.0, height=8.0):
    whole = occ.addCylinder(0, 0, 0, 0, 0, height, outer)
    occ.cut([(3, whole)], [(3, occ.addCylinder(0, 0, 0, 0, 0, height, inner))])


LONG, WIDE, TALL, SLOPE = 30.0, 16.0, 6.0, 2.5
"""A wedge: its face leans back by SLOPE mm for each mm of height, so that it is nearer to lying than to standing."""


def wedge(occ):
    points = [occ.addPoint(*p) for p in ((0, 0, 0), (LONG, 0, 0), (LONG - SLOPE * TALL, 0, TALL), (0, 0, TALL))]
    lines = [occ.addLine(points[i], points[(i + 1) % 4]) for i in range(4)]
    occ.extrude([(2, occ.addPlaneSurface([occ.addCurveLoop(lines)]))], 0, WIDE, 0)


def wedge_zones(wall_along, behind):
    """Wall, cover, core of the wedge when the slope's wall is `wall_along` [mm] thick in the layer, and its cover
    ends `behind` [mm] of it."""
    mean = LONG - SLOPE * TALL / 2
    inner = (mean - DEEP - wall_along) * (WIDE - 2 * DEEP) * TALL
    core = (mean - DEEP - max(wall_along, behind)) * (WIDE - 2 * DEEP) * (TALL - 2 * HIGH)
    return np.array([mean * WIDE * TALL - inner, inner - core, core])


SHAPES = {
    "box": (straight, upright(30 * 20, (30 - 2 * DEEP) * (20 - 2 * DEEP), 10)),
    "cylinder": (round_bar, upright(np.pi * 10**2, np.pi * (10 - DEEP) ** 2, 12)),
    "ring": (ring, upright(np.pi * (15**2 - 8**2), np.pi * ((15 - DEEP) ** 2 - (8 + DEEP) ** 2), 8)),
    "wedge": (wedge, wedge_zones(DEEP, SLOPE * HIGH)),
}


@pytest.mark.parametrize("size", [6.0, 3.0])
@pytest.mark.parametrize("shape", SHAPES)
def test_volumes_of_the_zones(shape, size, tmp_path):
    build, exact = SHAPES[shape]
    zoning, volumes = zoned(meshed(tmp_path / "part.step", build, size))
    # Fewer samples fall into the wedge's narrow cover: half a per cent more
    assert volumes == pytest.approx(exact, rel=0.015 if shape == "wedge" else 0.01)
    assert np.allclose(zoning.share.sum(axis=1), 1, atol=1e-12)
    assert zoning.share.min() >= 0
    # A bead more or less in the wall, a layer more or less in the cover would be seen
    for plan in (replace(PLAN, walls=4), replace(PLAN, covers=5)):
        _, other = zoned(meshed(tmp_path / "part.step", build, size), plan)
        assert np.abs(other / exact - 1).max() > 0.1


def test_a_slope_is_measured_in_the_layer_and_up_the_build():
    # Square to the slope, three beads are sqrt(1 + SLOPE^2) times as much along the layer, and four layers of cover
    # reach sqrt(1 + SLOPE^2) behind it, not SLOPE: both far from what test_volumes_of_the_zones accepts
    lean = np.hypot(1, SLOPE)
    right = wedge_zones(DEEP, SLOPE * HIGH)
    assert np.abs(wedge_zones(DEEP * lean, SLOPE * HIGH) / right - 1).min() > 0.05
    assert abs(wedge_zones(DEEP, HIGH * lean)[COVER] / right[COVER] - 1) > 0.018
    assert abs(wedge_zones(DEEP, 0.0)[COVER] / right[COVER] - 1) > 0.05


def test_other_build_directions():
    mesh = box((24, 18, 12), (10, 8, 6))
    along_x, along_y = (zoned(mesh, replace(PLAN, build_direction=d))[1] for d in ((1, 0, 0), (0, -1, 0)))
    assert along_x == pytest.approx(upright(18 * 12, (18 - 2 * DEEP) * (12 - 2 * DEEP), 24), rel=0.01)
    assert along_y == pytest.approx(upright(24 * 12, (24 - 2 * DEEP) * (12 - 2 * DEEP), 18), rel=0.01)


def test_part_and_plan_turned_together_are_the_same_print():
    mesh = box((24, 18, 12), (6, 5, 4))
    turn, _ = np.linalg.qr(RNG.normal(size=(3, 3)))
    turn *= np.linalg.det(turn)
    turned = replace(mesh, nodes=np.ascontiguousarray(mesh.nodes @ turn.T))
    plan = replace(PLAN, build_direction=tuple(turn[:, 2]), raster_zero=tuple(turn[:, 0]))
    one, other = zoned(mesh)[0], zoned(turned, plan)[0]
    assert np.abs(one.share - other.share).mean() < 1e-3  # a sample on the edge of a zone may fall on either side
    held = one.share[:, WALL] > 0.2
    assert np.abs(np.sin(one.turn - other.turn))[held].mean() < 1e-2
    assert np.abs(zoned(turned)[0].share - one.share).mean() > 0.05  # built upright all the same: another print


def test_wall_beads_follow_a_ring(tmp_path):
    mesh = meshed(tmp_path / "ring.step", ring, 3.0)
    zoning, _ = zoned(mesh)
    middle = mesh.nodes[mesh.tets[:, :4]].mean(axis=1)
    tangent = np.arctan2(middle[:, 1], middle[:, 0]) + np.pi / 2
    held = zoning.share[:, WALL] > 0.3
    off = np.degrees(np.arcsin(np.abs(np.sin(zoning.turn - tangent))))[held]
    assert held.sum() > 200
    # A tetrahedron 3 mm wide spans up to 20 degrees of the inner circle, so its wall is not quite where its middle is
    assert off.mean() < 2
    assert np.quantile(off, 0.99) < 8
    assert np.degrees(np.arcsin(np.abs(np.sin(tangent))))[held].mean() > 30  # no fixed direction would do


def test_wall_beads_follow_a_box():
    mesh = box((30, 20, 6), (15, 10, 3))
    zoning, _ = zoned(mesh)
    middle = mesh.nodes[mesh.tets[:, :4]].mean(axis=1)
    near_x = np.minimum(middle[:, 0], 30 - middle[:, 0])
    near_y = np.minimum(middle[:, 1], 20 - middle[:, 1])
    sides, ends = (near_y < 2) & (near_x > 4), (near_x < 2) & (near_y > 4)
    assert sides.sum() > 100
    assert ends.sum() > 100
    assert np.abs(np.sin(zoning.turn[sides])).max() < 1e-6
    assert np.abs(np.cos(zoning.turn[ends])).max() < 1e-6


@pytest.mark.parametrize(("width", "thin"), [(0.85, 1.0), (1.0, 0.0)])
def test_a_ring_narrower_than_two_beads_is_thin(width, thin, tmp_path):
    mesh = meshed(tmp_path / "thin.step", lambda occ: ring(occ, inner=8, outer=8 + width, height=4), 2.0)
    zoning, _ = zoned(mesh)
    # Less the few samples of a curved tetrahedron that lie outside the flat triangles of its outline
    volume = tet_volumes(mesh)
    assert zoning.thin @ volume / volume.sum() == pytest.approx(thin, abs=0.01)
    assert zoning.share[:, WALL] == pytest.approx(1.0, abs=1e-9)


def test_thin_share_of_a_plate_with_ends():
    # 20 x 0.8 mm: thin, but for at most the two triangles whose nearest outline is an end, 0.8 wide and 0.4 deep
    mesh = box((20, 0.8, 6), (24, 2, 4))
    zoning, _ = zoned(mesh)
    volume = tet_volumes(mesh)
    assert 1 - 0.8 * 0.4 / (20 * 0.8) - 0.004 < zoning.thin @ volume / volume.sum() <= 1 + 1e-12
    assert zoned(box((20, 0.95, 6), (12, 2, 4)))[0].thin.max() == 0
    # The corner of a wide part is not thin: its two sides meet there
    assert zoned(box((24, 18, 4), (12, 9, 2)))[0].thin.max() == 0
    # Low is not thin: the beads lie in the layer
    assert zoned(box((20, 10, 0.4), (10, 5, 1)))[0].thin.max() == 0


def test_without_walls_or_skins():
    mesh = box((24, 18, 12), (6, 5, 4))
    bare, whole = zoned(mesh, replace(PLAN, walls=0))[1], 24 * 18 * 12
    assert bare == pytest.approx([0, 24 * 18 * 2 * HIGH, 24 * 18 * (12 - 2 * HIGH)], rel=0.01)
    open_, inner = zoned(mesh, replace(PLAN, covers=0))[1], (24 - 2 * DEEP) * (18 - 2 * DEEP) * 12
    assert open_ == pytest.approx([whole - inner, 0, inner], rel=0.01)
    assert zoned(mesh, replace(PLAN, walls=0, covers=0))[1] == pytest.approx([0, 0, whole], abs=1e-9 * whole)


def test_each_of_two_touching_bodies_has_its_own_outline():
    left, right = box((12, 18, 12), (4, 5, 4)), box((24, 18, 12), (6, 5, 4))
    right = replace(right, nodes=right.nodes + np.array([12.0, 0, 0]))
    right = replace(right, bodies=("other",), faces=tuple(replace(f, body="other") for f in right.faces))
    both = joined([left, right])
    for body, alone in (("part", left), ("other", right)):
        one, two = zoned(alone, body=body)[1], zoned(both, body=body)[1]
        assert two == pytest.approx(one, rel=2e-3)
    # Walls on both sides of the joint: more of them than in one body of the whole length
    assert zoned(both)[1][WALL] + zoned(both, body="other")[1][WALL] > 1.05 * (36 * 18 - 33.3 * 15.3) * 12


def test_zones_do_not_depend_on_how_the_work_is_cut(monkeypatch):
    mesh = box((20.0, 12.0, 6.0), (5, 3, 2))
    first, _ = zoned(mesh)
    monkeypatch.setattr("fem.printing.zones._slices", lambda count: [(0, 7), (7, 61), (61, count)])
    again, _ = zoned(mesh)
    assert np.array_equal(first.share, again.share) and np.array_equal(first.quarter, again.quarter)
    assert np.array_equal(first.reach, again.reach) and np.array_equal(first.turn, again.turn)
    # Tetrahedra in another order take other samples: near, and not the same
    order = np.arange(len(mesh.tets))[::-1]
    other, _ = zoned(replace(mesh, tets=mesh.tets[order], body=mesh.body[order]))
    apart = np.abs(other.share[order] - first.share).max()
    assert 0 < apart < 0.2
