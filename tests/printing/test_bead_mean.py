"""Stress averaged over pieces of the real bead: exact for simple fields, and by statics in whole cells."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from fem.criteria.strength import Strength
from fem.errors import InputError
from fem.printing.bead_box import BeadBox, bead_box
from fem.printing.infill import CellWall, buckling_use, first_to_buckle, solid_at
from fem.printing.infill.bead_mean import Pieces, Solid, means, places
from fem.printing.infill.cell import cell_mesh
from fem.printing.infill.cell_strength import cell_strength
from fem.printing.infill.hexahedra import volumes
from fem.printing.infill.homogenise import bead_material, homogenise, local_stress
from fem.printing.infill.mesh import SIGNS, brick, graded
from fem.printing.infill.patterns import PATTERNS, gyroid_slope, period_length
from fem.printing.plan import in_layer_rotation

WIDTH, HEIGHT = 0.45, 0.20
SIZE = {"bead_width": WIDTH, "bead_height": HEIGHT}
BOX = bead_box(**SIZE)
BEAD = {"E": (5500.0, 2000.0, 1800.0), "nu": (0.38, 0.40, 0.45), "G": (800.0, 700.0, 600.0)}
WARM = (2.2e-5, 14e-5, 24.8e-5)


def plain(nu):
    return {"E": (2000.0,) * 3, "nu": (nu,) * 3, "G": (1000.0 / (1 + nu),) * 3}


def solved(pattern, density, *, bead=BEAD, box=BOX, fine=False, expansion=None):
    mesh = cell_mesh(pattern, density=density, fine=fine, **SIZE)
    material = bead_material(mesh, **bead, expansion=expansion)
    cell = homogenise(mesh, material=material)
    return mesh, material, cell, places(mesh, material=material, solved=cell, box=box)


def solid_of(corners, field, *, slope=(0.0, 0.0, 0.0), lattice=1e3):
    """Hexahedra that carry `field` (function of place) and change by `slope` a millimetre inside each."""
    edges = np.einsum("ad,nai->ndi", SIGNS, corners) / 8
    middle = corners.mean(axis=1)
    value = np.asarray(field(middle), dtype=float).reshape(-1, 1, 1)
    steep = (edges @ np.asarray(slope)).reshape(-1, 3, 1, 1)
    return Solid(middle, edges, volumes(corners), value, steep, np.eye(3) * lattice)


def pieces_at(middle, *, half=(0.225, 0.225, 0.1), turn=0.0):
    c, s = math.cos(turn), math.sin(turn)
    rows = np.broadcast_to(np.array([[c, s, 0], [-s, c, 0], [0, 0, 1.0]]), (len(middle), 3, 3))
    return Pieces(np.asarray(middle, dtype=float), rows, np.array(half))


def block():
    line = graded(4.0, first=0.05, growth=1.7)
    return brick(line, line, graded(1.0, first=0.03, growth=1.5))


# ---- the mean itself


def test_a_linear_stress_takes_its_value_at_the_middle_however_large_the_hexahedra():
    middle = np.random.default_rng(5).uniform([1.0, 1.0, 0.3], [3.0, 3.0, 0.7], (60, 3))
    slope = np.array([3.0, -2.0, 5.0])
    solid = solid_of(block(), lambda x: 7 + x @ slope, slope=slope)
    assert np.ptp(solid.volume) > 100 * solid.volume.min()
    mean = means(solid, pieces=pieces_at(middle)).ravel()
    assert mean == pytest.approx(7 + middle @ slope, abs=1e-9)
    # negative control: hexahedra of uniform stress would lose it
    stairs = means(replace(solid, slopes=0 * solid.slopes), pieces=pieces_at(middle)).ravel()
    assert np.abs(stairs - mean).max() > 0.1


def test_hexahedra_that_do_not_follow_the_bead_are_averaged_nearly_as_well():
    middle = np.random.default_rng(6).uniform([1.0, 1.0, 0.3], [3.0, 3.0, 0.7], (60, 3))
    slope = np.array([3.0, -2.0, 5.0])
    corners = block()
    corners[..., 0] += 0.4 * (corners[..., 2] - 0.5) + 0.3 * (corners[..., 1] - 2)
    solid = solid_of(corners, lambda x: x @ slope, slope=slope)
    mean = means(solid, pieces=pieces_at(middle, turn=0.6)).ravel()
    # the stress changes by about 3 from one end of a piece to the other
    assert mean == pytest.approx(middle @ slope, abs=0.04)
    assert means(solid_of(corners, lambda x: np.ones(len(x))), pieces=pieces_at(middle, turn=0.6)) == pytest.approx(1)


@pytest.mark.parametrize("length", [0.45, 0.9])
def test_a_step_fades_over_the_length_along_the_bead(length):
    at = np.linspace(1.2, 2.8, 33)
    middle = np.column_stack([at, np.full(33, 2.0), np.full(33, 0.5)])
    solid = solid_of(block(), lambda x: x[:, 0] > 2.0)
    mean = means(solid, pieces=pieces_at(middle, half=(length / 2, 0.225, 0.1))).ravel()
    faded = np.clip(0.5 + (at - 2.0) / length, 0, 1)
    assert mean == pytest.approx(faded, abs=1e-9)
    # negative control: a piece of another length fades otherwise
    other = means(solid, pieces=pieces_at(middle, half=(0.3, 0.225, 0.1))).ravel()
    assert np.abs(other - faded).max() > 0.05


def test_the_other_side_of_a_pore_is_another_sheet():
    # two plates half a bead width apart whose third edges point away from one another
    lower = brick(graded(4.0, first=0.2, growth=1.5), np.array([0.0, 0.2, 0.4]), np.array([0.0, 0.1, 0.2]))
    lower = lower[:, [0, 1, 4, 5, 2, 3, 6, 7]]  # the third direction runs across
    upper = lower * [1.0, -1.0, 1.0] + [0.0, 1.0, 0.0]
    corners = np.concatenate([lower, upper])
    one = solid_of(corners, lambda x: 1.0 + (x[:, 1] > 0.5))
    solid = replace(one, volume=np.abs(one.volume))
    pieces = pieces_at(solid.centre, half=BOX.reach)
    mixed = means(solid, pieces=pieces).ravel()
    apart = means(solid, pieces=pieces, own=solid.edges[:, 2]).ravel()
    assert apart == pytest.approx(solid.stress.ravel(), abs=1e-12)
    assert np.abs(mixed - apart).max() > 0.2


def test_pieces_of_the_gyroid_are_cut_from_its_sheet():
    # their centroids, against points that the sheet's own function says are solid
    mesh = cell_mesh("gyroid", density=0.4, fine=False, **SIZE)
    shifts = np.stack(np.meshgrid(*[[-1.0, 0.0, 1.0]] * 3, indexing="ij"), axis=-1).reshape(-1, 3) @ mesh.lattice
    corners = (mesh.corners[None] + shifts[:, None, None]).reshape(-1, 8, 3)
    period = period_length("gyroid", density=0.4, bead_width=WIDTH)
    chosen = np.arange(13 * len(mesh.corners), 14 * len(mesh.corners), 103)
    middle = corners[chosen].mean(axis=1)
    rows = np.array([in_layer_rotation(a) for a in mesh.angle[chosen % len(mesh.corners)]])
    centroids = []
    for axis in np.eye(3):
        solid = replace(solid_of(corners, lambda x, axis=axis: x @ axis, slope=axis), sheet=True)
        mean = means(solid, pieces=Pieces(middle, rows, BOX.reach), own=solid.edges[chosen, 2])
        centroids.append(mean.ravel())
    away = np.random.default_rng(8).uniform(-1, 1, (60_000, 3)) * BOX.reach
    for at, turn, found in zip(middle, rows, np.transpose(centroids), strict=True):
        points = at + away @ turn
        same = gyroid_slope(points * 2 * np.pi / period) @ gyroid_slope(at * 2 * np.pi / period) > 0
        bead = points[same & solid_at("gyroid", points, density=0.4, **SIZE)]
        assert np.abs(found - bead.mean(axis=0)).max() < 0.005


# ---- whole cells


@pytest.mark.parametrize("pattern", PATTERNS)
def test_every_hexahedron_is_judged_in_each_bead_that_runs_through_it(pattern):
    mesh, material, _, found = solved(pattern, 0.4)
    assert np.array_equal(np.unique(found.hexahedron), np.arange(len(mesh.corners)))
    assert np.array_equal(np.unique(found.bead), np.arange(len(material.beads)))
    family = np.array([bead.family for bead in material.beads])
    assert np.array_equal(family[found.bead], mesh.family[found.hexahedron])


@pytest.mark.parametrize("pattern", PATTERNS)
def test_a_stress_that_is_the_same_everywhere_stays_what_it_is(pattern):
    # beads that expand alike in all directions feel nothing; a full block feels its mean stress
    _, _, _, found = solved(pattern, 0.4, bead=plain(0.35), expansion=(7e-5,) * 3)
    assert np.abs(found.stress[:, :, 6]).max() < 1e-11
    if pattern in ("grid", "triangle", "honeycomb"):
        # pulled up the build, every bead bears mean stress / density
        assert found.stress[:, 2, 2] == pytest.approx(1 / 0.4, rel=1e-8)
        assert np.abs(found.stress[:, :2, 2]).max() < 1e-7


def test_a_bead_runs_on_through_a_crossing_with_its_own_stress():
    mesh, material, cell, found = solved("grid", 0.4)
    stress = local_stress(cell.strain, solved=cell, stiffness=material.stiffness, expansion=material.expansion)
    k = next(k for k, b in enumerate(material.beads) if b.family == 2 and b.angle == 0.0)
    joint = mesh.family == 2
    volume = cell.parts.volume[joint]
    whole = np.einsum("n,nij->ij", volume, material.beads[k].to_bead[0] @ stress[joint]) / volume.sum()
    # the piece in the middle of the crossing is the crossing: one bead width along, one across
    inner = np.flatnonzero((found.bead == k) & (np.abs(found.at[:, 0]) < 0.01))
    assert found.stress[inner, 0, 0] == pytest.approx(whole[0, 0], rel=2e-3)
    # at its border half of the piece lies in the wall, where the bead is alone and bears less
    border = np.flatnonzero((found.bead == k) & (np.abs(found.at[:, 0]) > 0.22))
    s = WIDTH / period_length("grid", density=0.4, bead_width=WIDTH)
    assert 1 / s < found.stress[border, 0, 0].max() < 0.95 * whole[0, 0]


def test_honeycomb_walls_bear_what_statics_says_and_no_bending():
    # pulled along the walls at 0 deg by 1 MPa, those bear sqrt(3) L / w; the others half of that force each, at 60
    # deg: sqrt(3)/4 L / w along and 3/4 L / w of shear; bending has no mean over the section (Gibson and Ashby,
    # Cellular Solids (1997), section 4.3)
    density = 0.2
    mesh, material, cell, found = solved("honeycomb", density)
    length = period_length("honeycomb", density=density, bead_width=WIDTH)
    inner = length / 2 - WIDTH / (2 * math.sqrt(3)) - WIDTH / 2
    local = local_stress(cell.strain, solved=cell, stiffness=material.stiffness, expansion=material.expansion)
    bent = 0.0
    for k, angle in enumerate((0.0, 60.0, 120.0)):
        mine = found.bead == k
        along = found.at[mine] @ [math.cos(math.radians(angle)), math.sin(math.radians(angle)), 0.0]
        middle = np.abs(along - (along.max() + along.min()) / 2) < inner
        stress = found.stress[mine][middle]
        assert middle.sum() > 50
        slant = math.cos(math.radians(angle))
        assert stress[:, 0, 0] == pytest.approx(math.sqrt(3) * length / WIDTH * slant**2, rel=1e-6)
        assert np.abs(stress[:, 5, 0]) == pytest.approx(0.75 * length / WIDTH * (angle > 0), rel=1e-6, abs=1e-6)
        bent = max(bent, np.abs((material.beads[k].to_bead[0] @ local[mesh.family == k])[:, 0, 0]).max())
    # negative control: hexahedron by hexahedron bending counts
    assert bent > 1.5 * math.sqrt(3) * length / WIDTH


def test_walls_of_a_grid_bear_their_share_of_the_bead_s_strength():
    # without lateral contraction the walls along the pull bear mean stress / s, s from 2 s - s^2 = density
    for density in (0.2, 0.4):
        s = 1 - math.sqrt(1 - density)
        found = solved("grid", density, bead=plain(0.0))[3]
        bears = cell_strength(found, strength=Strength(yield_stress=40.0))
        assert bears[:2] == pytest.approx(40.0 * s, rel=0.01)
        assert bears[2] == pytest.approx(40.0 * density, rel=1e-6)


def test_lines_bear_along_their_half_of_the_layers():
    strength = Strength(
        tension=np.array([60.0, 32.0, 19.0]),
        compression=np.array([75.0, 50.0, 38.0]),
        shear=np.array([12.0, 15.0, 22.0]),
    )
    density = 0.3
    bears = cell_strength(solved("woodpile", density)[3], strength=strength)
    # every other layer bears, with width / spacing = density of its section
    assert bears[:2] == pytest.approx(60.0 * density / 2, rel=2e-3)
    # through the crossings, which are density^2 of the plan, less what spreads within a bead's height
    assert 19.0 * density**2 < bears[2] < 1.25 * 19.0 * density**2


def test_a_layer_of_lines_is_judged_as_a_whole():
    mesh, _, _, found = solved("woodpile", 0.4)
    assert mesh.layer == HEIGHT
    assert np.unique(np.round(found.at[:, 2], 9)) == pytest.approx([HEIGHT / 2, 1.5 * HEIGHT])
    lower = mesh.centres[found.hexahedron][:, 2] < HEIGHT
    assert np.abs(found.at[lower, 1]).max() < 1e-12 and np.abs(found.at[~lower, 0]).max() < 1e-12


def test_a_piece_longer_than_periods_is_the_mean_stress_of_its_line():
    # two periods long, a piece of a wall's bead holds all of its line: crossings and walls by their volumes
    period = period_length("grid", density=0.4, bead_width=WIDTH)
    _, material, _, found = solved("grid", 0.4, box=replace(BOX, length=2 * period))
    mine = np.isin(found.bead, [k for k, b in enumerate(material.beads) if b.angle == 0.0])
    stress = found.stress[mine][:, :, :6]
    assert np.ptp(stress, axis=0).max() < 1e-3 * np.abs(stress).max()
    shorter = solved("grid", 0.4, box=replace(BOX, length=1.5 * period))[3].stress[mine][:, :, :6]
    assert np.ptp(shorter, axis=0).max() > 0.01 * np.abs(stress).max()


def test_another_length_is_another_strength():
    # negative control of the length: a stress that rises towards crossings is averaged less over a shorter piece
    strength = Strength(yield_stress=40.0)
    one, half = (
        cell_strength(solved("grid", 0.4, box=box)[3], strength=strength)
        for box in (BOX, replace(BOX, length=0.2 * WIDTH))
    )
    assert half[8] < 0.9 * one[8]


# ---- the box as a noun


def test_the_piece_is_as_long_as_the_bead_is_wide_unless_told():
    assert bead_box(**SIZE) == BeadBox(WIDTH, WIDTH, HEIGHT)
    box = bead_box(**SIZE, length=1.0)
    assert box.reach == pytest.approx([0.5, WIDTH, HEIGHT / 2])
    inside = [[0.5, 0.45, 0.1], [-0.5, 0.0, -0.1], [0.51, 0, 0], [0, 0.46, 0], [0, 0, -0.11]]
    assert box.holds(inside).tolist() == [True, True, False, False, False]
    assert box.holds(np.zeros((2, 4, 3))).shape == (2, 4)
    for wrong in (0.0, -1.0, math.nan, math.inf):
        with pytest.raises(InputError, match="length"):
            bead_box(**SIZE, length=wrong)


def test_the_wall_that_buckles_first():
    pressed = CellWall("one", np.eye(6), along=10.0, up=5.0, shear=8.0, mode="plate buckling")
    sheared = CellWall("two", np.eye(6), along=100.0, up=50.0, shear=4.0, mode="sheet buckling")
    states = np.array([[-2.0, 0, 0, 0, 0, 0], [0, 0, 0, 0, 2.0, 0], [3.0, 0, 0, 0, 0, 0]])
    used, which = first_to_buckle((pressed, sheared), states)
    assert used == pytest.approx([0.2, 0.5, 0.0]) and which[:2].tolist() == [0, 1]
    assert used[0] == buckling_use(pressed, states[0])
    used, which = first_to_buckle((), states)
    assert used.tolist() == [0.0] * 3 and which.tolist() == [-1] * 3
