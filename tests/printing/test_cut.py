"""Cuts through a box: areas of the zones, air between the infill's beads, and the beads' directions."""

import numpy as np
import pytest
from helpers_fe import box

from fem.printing.body import metal_body, printed_body
from fem.printing.cut import AIR, CORE, COVER, OUTSIDE, SOLID, WALL, cut_body
from fem.printing.plan import PrintPlan
from fem.printing.polymer import load_card

X, Y, Z = 36.0, 24.0, 10.0
DEEP, HIGH = 3 * 0.45, 4 * 0.2


def cuts(pattern="grid", density=0.3, **keys):
    plan = PrintPlan((0, 0, 1), infill_pattern=pattern, infill_density=density, **keys)
    made = printed_body(plan, card=load_card("pa12-cf"), state="dry")
    return cut_body(box((X, Y, Z), (4, 3, 2)), body="part", made=made)


@pytest.fixture(scope="module")
def grid():
    return cuts()


def areas(cut):
    """Area [mm^2] of each kind of place."""
    return np.bincount(cut.place.ravel(), minlength=6) * cut.pixel**2


def test_a_layer_holds_the_areas_of_its_zones(grid):
    layer = areas(grid[0])
    inner = (X - 2 * DEEP) * (Y - 2 * DEEP)
    # Each edge of an area is found to a pixel of a third of a bead
    assert layer[WALL] == pytest.approx(X * Y - inner, rel=0.03)
    assert layer[CORE] + layer[AIR] == pytest.approx(inner, rel=0.02)
    assert layer[COVER] == layer[SOLID] == 0
    assert areas(cuts(walls=4)[0])[WALL] > 1.2 * layer[WALL]


def test_a_vertical_section_holds_walls_and_covers(grid):
    vertical = areas(grid[1])
    # In the middle of the part: two walls of the whole height, covers between them
    assert vertical[WALL] == pytest.approx(2 * DEEP * Z, rel=0.06)
    assert vertical[COVER] == pytest.approx((X - 2 * DEEP) * 2 * HIGH, rel=0.1)
    whole = vertical.sum() - vertical[OUTSIDE]
    assert whole == pytest.approx(X * Z, rel=0.03)


@pytest.mark.parametrize("density", [0.2, 0.4])
def test_air_is_what_the_infill_leaves(density):
    # 33 x 21 mm of the core hold some eight to sixteen periods: a cut wall more or less stays within 0.03
    layer = areas(cuts(density=density)[0])
    assert layer[AIR] / (layer[AIR] + layer[CORE]) == pytest.approx(1 - density, abs=0.03)


def test_the_picture_lies_over_the_part(grid):
    for cut, (wide, high) in zip(grid, ((X, Y), (X, Z)), strict=True):
        rows, columns = np.nonzero(cut.place != OUTSIDE)
        for at, corner, size in ((columns, cut.corner[0], wide), (rows, cut.corner[1], high)):
            assert corner + at.min() * cut.pixel == pytest.approx(0, abs=cut.pixel)
            assert corner + (at.max() + 1) * cut.pixel == pytest.approx(size, abs=cut.pixel)
        assert (cut.place[[0, -1]] == OUTSIDE).all()
        assert (cut.place[:, [0, -1]] == OUTSIDE).all()
    layer, vertical = grid
    assert (layer.kind, vertical.kind) == ("layer", "vertical")
    assert HIGH < layer.height < Z - HIGH
    assert (layer.height / 0.2) % 1 == pytest.approx(0.5, abs=1e-6)  # through the middle of a bead
    assert DEEP < vertical.height < Y - DEEP


def test_strokes_follow_the_outline(grid):
    layer, vertical = grid
    assert np.linalg.norm(layer.stroke, axis=1) == pytest.approx(1, abs=1e-9)
    x, y = layer.stroke_at.T
    near_x, near_y = np.minimum(x, X - x), np.minimum(y, Y - y)
    sides, ends = near_y < near_x, near_x < near_y
    assert sides.sum() > 10
    assert ends.sum() > 10
    assert np.minimum(near_x, near_y).max() <= DEEP  # in the walls alone: this layer holds no other stack of beads
    assert np.abs(layer.stroke[sides, 1]).max() < 1e-6
    assert np.abs(layer.stroke[ends, 0]).max() < 1e-6
    # Upright, a bead shows what of it lies in the cut: nothing of one that runs through, cos 45 deg in a cover
    assert np.abs(vertical.stroke[:, 1]).max() < 1e-9
    x, z = vertical.stroke_at.T
    wall, cover = np.minimum(x, X - x) <= DEEP, (np.minimum(x, X - x) > DEEP) & (np.minimum(z, Z - z) <= HIGH)
    assert np.abs(vertical.stroke[wall, 0]).max() < 1e-6
    assert np.abs(vertical.stroke[cover, 0]) == pytest.approx(np.sqrt(0.5), abs=1e-9)


@pytest.mark.parametrize("raster", [(0.0,), (90.0,), (30.0,)])
def test_strokes_of_a_solid_core_follow_the_raster(raster):
    layer = cuts("solid", 1.0, raster=raster)[0]
    place = areas(layer)
    assert place[CORE] == place[AIR] == place[COVER] == 0
    assert place[SOLID] == pytest.approx((X - 2 * DEEP) * (Y - 2 * DEEP), rel=0.02)
    x, y = layer.stroke_at.T
    core = np.min([x, X - x, y, Y - y], axis=0) > DEEP
    assert core.sum() > 50
    along = np.radians(raster[0])
    assert np.abs(layer.stroke[core] @ [np.cos(along), np.sin(along)]) == pytest.approx(1, abs=1e-9)


def test_a_metal_is_not_cut():
    assert cut_body(box((X, Y, Z), (2, 2, 2)), body="part", made=metal_body(load_card("steel"))) == ()
