"""Beads laid in parts whose areas, volumes and directions are known in closed form."""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from helpers_cad import draw
from helpers_fe import box
from scipy import ndimage

from fem.errors import InputError, NoTrustworthyAnswer
from fem.part.meshing import mesh_solid
from fem.part.solid import read_solid
from fem.printing.beads import AIR, CORE, COVER, FULL, NOTHING, WALL, Grid
from fem.printing.filling import beads_at, fill_grid, layer_grid
from fem.printing.infill import PATTERNS, solid_at
from fem.printing.infill.patterns import period_box
from fem.printing.plan import PrintPlan
from fem.printing.zones import Outline

WIDE, HIGH = 0.45, 0.2
PLAN = PrintPlan((0, 0, 1), walls=3, covers=4, infill_pattern="grid", infill_density=0.3)
SOLID = replace(PLAN, infill_pattern="solid", infill_density=1.0)
BARE = replace(PLAN, walls=0, covers=0)
DEEP = 3 * WIDE
TURN = np.linalg.qr(np.random.default_rng(5).normal(size=(3, 3)))[0]
TURN *= np.sign(np.linalg.det(TURN))
"""Some rotation: its columns are where a part's own axes then lie."""


def turned(mesh, plan):
    """The part turned in space and printed along its own z all the same."""
    plan = replace(plan, build_direction=tuple(TURN[:, 2]), raster_zero=tuple(TURN[:, 0]))
    return replace(mesh, nodes=mesh.nodes @ TURN.T), plan


def filled(mesh, plan=PLAN, *, step=0.15, askew=False, **keys):
    """The whole part on a grid that begins beside its corner, and its outline."""
    if askew:
        mesh, plan = turned(mesh, plan)
    outline = Outline(mesh, body="part", plan=plan)
    grid = layer_grid(outline, low=outline.box[0] - [0.31, 0.47, 0], high=outline.box[1] + [0.4, 0.4, 0], step=step)
    return fill_grid(outline, grid, **keys), outline


def volumes(beads):
    """Volume [mm^3] of the beads of each zone."""
    cell = beads.grid.step.prod() * beads.grid.per_layer
    return np.bincount(beads.zone.ravel(), weights=beads.share.ravel() / FULL * cell, minlength=5)


def middles(grid):
    """Middles (layers, ny, nx, 3) of the boxes, in the middle of each layer."""
    high = grid.step[2] * grid.per_layer
    axes = [grid.origin[d] + (np.arange(n) + 0.5) * s for d, n, s in zip((0, 1), grid.count, grid.step, strict=False)]
    z = grid.origin[2] + (np.arange(grid.layers) + 0.5) * high
    return np.stack(np.meshgrid(z, axes[1], axes[0], indexing="ij"), axis=-1)[..., ::-1]


def drawn(path, build, size):
    return mesh_solid(read_solid(draw(path, build), name="part"), size=size, finest=size / 3)


def outlined(occ, corners, height):
    """A prism over a polygon."""
    points = [occ.addPoint(x, y, 0) for x, y in corners]
    lines = [occ.addLine(a, b) for a, b in zip(points, [*points[1:], points[0]], strict=True)]
    return occ.extrude([(2, occ.addPlaneSurface([occ.addCurveLoop(lines)]))], 0, 0, height)


@pytest.mark.parametrize("askew", [False, True])
def test_a_box_holds_its_walls_covers_and_core(askew):
    beads, outline = filled(box((24, 18, 8), (3, 2, 2)), SOLID, askew=askew)
    assert outline.box[1] - outline.box[0] == pytest.approx([24, 18, 8], abs=1e-9)
    inner = (24 - 2 * DEEP) * (18 - 2 * DEEP)
    found = volumes(beads)
    assert found[[WALL, COVER, CORE, AIR]] == pytest.approx([(24 * 18 - inner) * 8, 0, inner * 8, 0], rel=2e-3)
    beads, _ = filled(box((24, 18, 8), (3, 2, 2)), askew=askew)
    assert volumes(beads)[COVER] == pytest.approx(inner * 2 * 4 * HIGH, rel=2e-3)
    assert beads.grid.layers == 40
    covered = (beads.zone == COVER).any(axis=(1, 2))
    assert np.flatnonzero(~covered).tolist() == list(range(4, 36))


@pytest.mark.parametrize(("walls", "covers"), [(0, 2), (2, 0), (0, 0), (1, 1000)])
def test_without_walls_or_covers(walls, covers):
    beads, _ = filled(box((12, 9, 4), (3, 2, 2)), replace(PLAN, walls=walls, covers=covers))
    inner = (12 - 2 * walls * WIDE) * (9 - 2 * walls * WIDE)
    found = volumes(beads)
    assert found[WALL] == pytest.approx((12 * 9 - inner) * 4, rel=5e-3, abs=1e-9)
    assert found[COVER] == pytest.approx(inner * min(2 * covers * HIGH, 4), rel=5e-3, abs=1e-9)


def test_beads_across_a_wall_and_the_way_they_run():
    beads, outline = filled(box((12, 9, 2), (3, 2, 2)), step=0.05, by_middle=True)
    at = middles(beads.grid)[0]
    row = np.argmin(np.abs(at[:, 0, 1] - 4.5))
    x = at[row, :, 0]
    zone, bead, way = (v[0, row] for v in (beads.zone, beads.bead, beads.way))
    left, right = (x > 0) & (x < DEEP), (x < 12) & (x > 12 - DEEP)
    assert (zone[left | right] == WALL).all() and (zone[x < 0] == NOTHING).all()
    assert bead[left].tolist() == np.repeat([0, 1, 2], 9).tolist()
    assert bead[right].tolist() == np.repeat([2, 1, 0], 9).tolist()
    # The part on the left: up the right side (90 degrees), down the left one (270)
    assert set(way[left]) == {108} and set(way[right]) == {36}
    _, low, _ = beads_at(outline, [[6, 0.2, 1], [6, 8.8, 1]])
    assert low.tolist() == [0, 72]


def test_a_ring_lies_in_circles(tmp_path):
    def ring(occ):
        whole = occ.addCylinder(0, 0, 0, 0, 0, 3, 9)
        occ.cut([(3, whole)], [(3, occ.addCylinder(0, 0, 0, 0, 0, 3, 4))])

    beads, outline = filled(drawn(tmp_path / "ring.step", ring, 3.0), SOLID)
    wall = np.pi * (9**2 - (9 - DEEP) ** 2 + (4 + DEEP) ** 2 - 4**2) * 3
    assert volumes(beads)[[WALL, CORE]] == pytest.approx([wall, np.pi * (81 - 16) * 3 - wall], rel=4e-3)
    angle = np.radians(np.arange(5, 360, 7.3))
    around = np.column_stack([np.cos(angle), np.sin(angle), np.full(len(angle), 0.2)])
    for radius, sense, number in ((8.8, 1, 0), (8.3, 1, 1), (4.2, -1, 0), (5.1, -1, 2)):
        zone, way, bead = beads_at(outline, around * [radius, radius, 1])
        assert set(zone) == {WALL} and set(bead) == {number}
        off = way * np.pi / 72 - angle - sense * np.pi / 2
        assert np.abs(np.angle(np.exp(1j * off))).max() < np.radians(1.25 + 3)  # half a step, and the chords


@pytest.mark.parametrize(
    ("thick", "beads_each_side", "left"),
    [
        (0.8, 0, 0.0),  # narrower than a bead: not printed
        (1.2, 1, 1.2),  # two beads pressed together
        (2.2, 1, 2.2),  # a gap that the melt closes
        (2.6, 1, 2.0),  # a gap of 0.6 bead widths stays
        (3.2, 2, 3.2),
        (4.3, 2, 4.3),
        (6.6, 3, 6.0),
        (7.2, 3, 7.2),  # room for raster between the walls
    ],
)
@pytest.mark.parametrize("askew", [False, True])
def test_a_rib_holds_the_beads_that_fit(thick, beads_each_side, left, askew):
    mesh = box((12, thick * WIDE, 1.2), (5, 2, 2))
    beads, outline = filled(mesh, SOLID, step=0.09, askew=askew)
    x = middles(beads.grid)[0, 0, :, 0] - outline.box[0, 0]
    middle = (x > 4) & (x < 8)
    across = beads.share[:, :, middle].sum(axis=1) / FULL * 0.09
    assert across == pytest.approx(left * WIDE, abs=0.004)
    walls = (beads.zone == WALL) & (beads.share > 0)
    assert (int(beads.bead[walls].max()) + 1 if walls.any() else 0) == beads_each_side
    assert (beads.zone[:, :, middle] == CORE).any() == (thick > 7)


def test_a_re_entrant_corner(tmp_path):
    a, b, c, e = 20.0, 16.0, 8.0, 6.0
    mesh = drawn(
        tmp_path / "angle.step", lambda occ: outlined(occ, [(0, 0), (a, 0), (a, e), (c, e), (c, b), (0, b)], 2), 4.0
    )
    beads, outline = filled(mesh, SOLID, step=0.1)
    # Walls go round the corner that points into the part
    inner = (a - 2 * DEEP) * (b - 2 * DEEP) - (a - c) * (b - e) + (1 - np.pi / 4) * DEEP**2
    assert volumes(beads)[CORE] == pytest.approx(inner * 2, rel=1e-3)
    turn = np.radians([200.0, 225.0, 250.0])
    away = np.column_stack([np.cos(turn), np.sin(turn)])
    zone, way, bead = beads_at(outline, np.column_stack([np.array([c, e]) + 0.7 * away, np.full(3, 1.1)]))
    assert set(zone) == {WALL} and set(bead) == {1}
    # Square to the way to the corner, the part on the left
    assert way * 2.5 == pytest.approx(np.degrees(turn) - 90, abs=1.26)


def test_a_sphere_by_shares(tmp_path):
    mesh = drawn(tmp_path / "sphere.step", lambda occ: occ.addSphere(0, 0, 0, 6), 3.0)
    beads, _ = filled(mesh, replace(SOLID, walls=2), step=0.2)
    exact = 4 / 3 * np.pi * 6**3
    assert volumes(beads).sum() == pytest.approx(exact, rel=0.01)
    whole_boxes = (beads.share > 0).sum() * beads.grid.step.prod()
    assert whole_boxes > 1.02 * exact


def test_raster_turns_from_layer_to_layer():
    beads, _ = filled(box((12, 12, 2), (2, 2, 2)), replace(SOLID, raster=(0.0, 60.0, -45.0)), by_middle=True)
    for k, angle in enumerate((0.0, 60.0, 135.0, 0.0)):
        core = beads.zone[k] == CORE
        assert set(beads.way[k][core]) == {angle / 2.5}
        x, y = middles(beads.grid)[k][core][:, :2].T
        across = np.floor((y * np.cos(np.radians(angle)) - x * np.sin(np.radians(angle))) / WIDE)
        sense = -1 if angle == 135 else 1  # -45 degrees: the same way, counted from the other side
        jump = (beads.bead[k][core].astype(int) - sense * across) % 65536
        assert len(set(jump.tolist())) <= (2 if sense < 0 else 1)


@pytest.mark.parametrize("density", [0.2, 0.45])
@pytest.mark.parametrize("pattern", PATTERNS)
def test_infill_fills_its_density_and_is_the_pattern(pattern, density):
    plan = replace(BARE, infill_pattern=pattern, infill_density=density, infill_angle=0.0)
    outline = Outline(box((60, 60, 12), (2, 2, 2)), body="part", plan=plan)
    bead = {"density": density, "bead_width": WIDE, "bead_height": HIGH}
    period = period_box(pattern, **bead)
    if pattern == "cubic":
        period = np.array([np.sqrt(2), np.sqrt(6), 1]) * period[0]  # of the cube on its corner, in the layer
    many = np.floor(40 / period[:2])
    count = np.ceil(period[:2] * many / 0.15)
    step = np.array([*(period[:2] * many / count), HIGH])
    grid = Grid(np.array([8.0, 8.0, 0.0]), step, (int(count[0]), int(count[1]), 60), 1, 0)
    beads = fill_grid(outline, grid)
    assert beads.share.mean() / FULL == pytest.approx(density, rel=0.02)
    sharp = fill_grid(outline, grid, by_middle=True)
    known = solid_at(pattern, middles(grid).reshape(-1, 3), **bead).reshape(sharp.zone.shape)
    assert ((sharp.zone == CORE) == known).mean() > 0.999
    assert set(np.unique(sharp.zone)) == {CORE, AIR}


@pytest.mark.parametrize("pattern", PATTERNS)
def test_a_whole_phase_is_none_and_half_a_phase_is_one(pattern):
    plan = replace(BARE, infill_pattern=pattern, infill_angle=20.0)
    outline = Outline(box((30, 30, 4), (2, 2, 2)), body="part", plan=plan)
    grid = layer_grid(outline, low=(8, 8, 0), high=(20, 20, 4), step=0.15)
    still, whole, half = (fill_grid(outline, grid, phase=(p, p, p)).share for p in (0.0, 1.0, 0.5))
    assert np.abs(whole.astype(int) - still).max() <= 1
    if pattern == "honeycomb":  # centred: half a period along both axes is a period
        half = fill_grid(outline, grid, phase=(0.5, 0.0, 0.0)).share
    if pattern == "gyroid":  # half a period along all three axes is a period
        half = fill_grid(outline, grid, phase=(0.5, 0.0, 0.0)).share
    if pattern == "triangle":
        half = fill_grid(outline, grid, phase=(0.5, 0.0, 0.0)).share
    assert (half != still).mean() > 0.2


def test_beads_of_the_infill_follow_its_walls():
    plan = replace(BARE, infill_angle=0.0)
    outline = Outline(box((30, 30, 4), (2, 2, 2)), body="part", plan=plan)
    length = period_box("grid", density=0.3, bead_width=WIDE, bead_height=HIGH)[0]
    along, across, joint = (length * 4.5, length * 5, 0), (length * 5, length * 4.5, 0), (length * 5, length * 5, 0)
    zone, way, _ = beads_at(
        outline, np.add([along, across, joint, joint], np.array([[0, 0, 0.1]] * 3 + [[0, 0, 0.3]]))
    )
    # Where walls cross the layers take turns
    assert set(zone) == {CORE} and way.tolist() == [0, 36, 0, 36]


def curved_part(occ):
    """Flat faces, cylinders and a ball's hollow: curved triangles beside flat ones."""
    whole = occ.addBox(0, 0, 0, 16, 12, 7)
    cuts = [
        occ.addCylinder(4, 6, -1, 0, 0, 9, 2.5),
        occ.addCylinder(-1, 6, 8, 18, 0, 0, 3),
        occ.addSphere(12, 6, 7, 3),
    ]
    occ.cut([(3, whole)], [(3, c) for c in cuts])


@pytest.fixture(scope="module")
def curved(tmp_path_factory):
    mesh = drawn(tmp_path_factory.mktemp("beads") / "curved.step", curved_part, 2.5)
    return filled(mesh, replace(PLAN, walls=2))


def pieces(inside):
    label, _ = ndimage.label(inside)
    return np.bincount(label.ravel())[1:]


def test_no_needles_holes_or_crumbs(curved):
    beads, _ = curved
    assert len(pieces(beads.share > 0)) == 1
    assert pieces(beads.share == 0).min() > 3
    for layer_zone in beads.zone:
        for zone in (WALL, COVER, CORE):
            found = pieces(layer_zone == zone)
            assert not len(found) or found.min() > 1


def test_a_cracked_surface_is_repaired_and_an_open_one_refused(curved):
    beads, outline = curved
    cracked, open_ = (object.__new__(Outline) for _ in range(2))
    noise = np.random.default_rng(3).normal(scale=2e-4, size=outline.corner.shape)
    for copy, corner in ((cracked, outline.corner + noise), (open_, outline.corner)):
        copy.__dict__.update(outline.__dict__)
        copy.corner = corner
    again = fill_grid(cracked, beads.grid)
    assert (again.zone != beads.zone).mean() < 2e-3
    assert len(pieces(again.share > 0)) == 1 and pieces(again.share == 0).min() > 3
    size = np.linalg.norm(np.cross(*np.diff(outline.corner, axis=1).swapaxes(0, 1)), axis=1)
    upright = np.ptp(outline.corner[..., 2], axis=1) > 1
    open_.corner = np.delete(outline.corner, np.argmax(size * upright), axis=0)
    with pytest.raises(NoTrustworthyAnswer, match="not closed"):
        fill_grid(open_, beads.grid)


def test_part_of_a_grid_is_the_same_as_the_whole(curved):
    beads, outline = curved
    x, y, low, high = 21, 13, 5, 22
    origin = beads.grid.origin + beads.grid.step * [x, y, low]
    grid = Grid(origin, beads.grid.step, (40, 30, high - low), 1, low)
    part = fill_grid(outline, grid)
    inner = np.s_[:, 3:-3, 3:-3]  # a piece that the window cuts may look like a crumb, or not
    for name in ("zone", "share", "way", "bead"):
        whole = getattr(beads, name)[low:high, y : y + 30, x : x + 40]
        assert (getattr(part, name)[inner] == whole[inner]).mean() > 0.9995


def test_places_and_boxes_agree(curved):
    _, outline = curved
    grid = layer_grid(outline, low=outline.box[0] - 0.53, high=outline.box[1] + 0.5, step=0.2, per_layer=2)
    beads = fill_grid(outline, grid, by_middle=True)
    assert beads.zone.shape[0] * 2 == grid.count[2]
    rng = np.random.default_rng(8)
    at = tuple(rng.integers(0, n, 4000) for n in beads.zone.shape)
    zone, way, bead = beads_at(outline, middles(grid)[at])
    assert set(zone) == {NOTHING, WALL, COVER, CORE, AIR}
    for one, boxes in ((zone, beads.zone), (way, beads.way), (bead, beads.bead)):
        assert (one == boxes[at]).mean() > 0.998  # but for crumbs, and covers that end within a box


def test_a_grid_must_lie_on_layers():
    outline = Outline(box((6, 6, 2), (2, 2, 2)), body="part", plan=PLAN)
    grid = layer_grid(outline, low=(0, 0, 0.5), high=(6, 6, 1.1), step=0.3)
    assert (grid.first_layer, grid.layers, grid.origin[2]) == (2, 4, pytest.approx(0.4))
    for wrong in (
        replace(grid, origin=np.add(grid.origin, [0, 0, 0.05])),
        replace(grid, step=np.array([0.3, 0.3, 0.25])),
        replace(grid, per_layer=3),
    ):
        with pytest.raises(InputError, match="layer"):
            fill_grid(outline, wrong)
    with pytest.raises(InputError, match="phase"):
        fill_grid(outline, grid, phase=(0.0, np.nan, 0.0))
    for low, step in (((0, 0, 3), 0.3), ((0, 0, 0), 0.0)):
        with pytest.raises(InputError, match="positive"):
            layer_grid(outline, low=low, high=(6, 6, 2), step=step)


def test_nothing_lies_beside_below_and_above_the_part():
    outline = Outline(box((6, 6, 2), (2, 2, 2)), body="part", plan=PLAN)
    for low in product((-30, 20), (0, 20), (-5, 7)):
        grid = layer_grid(outline, low=low, high=np.add(low, 3), step=0.3)
        assert not fill_grid(outline, grid).share.any()
