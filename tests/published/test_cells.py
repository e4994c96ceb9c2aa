"""Infill cells against bounds, exact identities, thin-wall laws and published values of lattices.

Sources: Z. Hashin and S. Shtrikman, J. Mech. Phys. Solids 11 (1963) 127; G. W. Milton and R. V. Kohn, J. Mech. Phys.
Solids 36 (1988) 597 (the bounds hold for the Voigt means of anisotropic cells); L. J. Gibson and M. F. Ashby,
Cellular Solids (1997), chapter 4; A.-J. Wang and D. L. McDowell, J. Eng. Mater. Technol. 126 (2004) 137 (grids of
walls).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fem.errors import NoTrustworthyAnswer
from fem.evidence.lattices import NU, PLAIN, SHEAR, gyroid_density, in_plane, solved
from fem.printing.infill.homogenise import bead_material, homogenise, local_stress
from fem.printing.infill.mesh import Family, brick, graded, mesh_of, tied
from fem.printing.infill.patterns import PATTERNS, cube_axes, gyroid_level
from fem.printing.layers import laminate
from fem.printing.plan import in_layer_rotation
from fem.tensors import engineering_constants, isotropic_stiffness, orthotropic_stiffness, rotate_stiffness

BEAD = {"E": (5500.0, 2000.0, 1800.0), "nu": (0.38, 0.40, 0.45), "G": (800.0, 700.0, 600.0)}
WARM = (2.2e-5, 14e-5, 24.8e-5)
PRISMATIC = ("grid", "triangle", "honeycomb")


@pytest.fixture(scope="module")
def plain_cells():
    return {(p, d): solved(p, d)[2] for p in PATTERNS for d in (0.2, 0.4, 0.6)}


def voigt_means(c):
    """Bulk and shear modulus of a stiffness averaged over all directions (Hill 1952)."""
    bulk = c[:3, :3].sum() / 9
    shear = (np.trace(c[:3, :3]) - (c[0, 1] + c[1, 2] + c[0, 2]) + 3 * np.trace(c[3:, 3:])) / 15
    return bulk, shear


def hashin_shtrikman(density):
    """Upper bounds of bulk and shear modulus of a solid with voids; E = 1, nu = 0.35."""
    k, g = 1 / (3 * (1 - 2 * NU)), SHEAR
    bulk = 4 * g * k * density / (4 * g + 3 * k * (1 - density))
    shear = g + (1 - density) / (-1 / g + 6 * density * (k + 2 * g) / (5 * g * (3 * k + 4 * g)))
    return bulk, shear


def test_the_bound_is_the_published_one():
    # E at nu = 0.35 and densities 0.2, 0.4, 0.8: 0.11129, 0.25034, 0.66706, from the formulas of Hashin and Shtrikman
    for density, modulus in ((0.2, 0.11129), (0.4, 0.25034), (0.8, 0.66706)):
        bulk, shear = hashin_shtrikman(density)
        assert 9 * bulk * shear / (3 * bulk + shear) == pytest.approx(modulus, abs=2e-5)


@pytest.mark.parametrize("density", [0.2, 0.4, 0.6])
@pytest.mark.parametrize("pattern", PATTERNS)
def test_bounds(plain_cells, pattern, density):
    c = plain_cells[pattern, density].stiffness
    assert np.allclose(c, c.T, rtol=0, atol=1e-12)
    assert np.linalg.eigvalsh(c).min() > 0  # Reuss: the voids bear nothing
    assert (
        np.linalg.eigvalsh(density * isotropic_stiffness(1.0, NU) - c).min() > -1e-12
    )  # Voigt; reached by walls pulled along the build
    bulk, shear = voigt_means(c)
    most_bulk, most_shear = hashin_shtrikman(density)
    assert bulk < most_bulk
    assert shear < most_shear
    assert plain_cells[pattern, density].density == pytest.approx(density, rel=1e-9)


def test_a_cell_of_uniform_strain_breaks_the_bound(plain_cells):
    # without the repeating displacement the walls stretch as the mean does: stiffer than any real cell
    bulk, shear = voigt_means(0.4 * isotropic_stiffness(1.0, NU))
    assert bulk > hashin_shtrikman(0.4)[0]
    assert shear > hashin_shtrikman(0.4)[1]


@pytest.mark.parametrize("pattern", PATTERNS)
def test_symmetry(plain_cells, pattern):
    c = plain_cells[pattern, 0.4].stiffness
    scale = np.abs(c).max()
    rest = c.copy()
    rest[:3, :3] = 0
    rest[[3, 4, 5], [3, 4, 5]] = 0
    if pattern == "cubic":
        # three-fold about the build direction: trigonal, with the one coupling c14 and what follows from it
        turn = in_layer_rotation(120.0)
        assert np.allclose(rotate_stiffness(c, turn), c, rtol=0, atol=1e-9 * scale)
        assert np.abs(rest).max() > 0.01 * scale
    else:
        # the gyroid's mesh keeps a three-fold axis, but no mirror
        assert np.abs(rest).max() < (2e-4 if pattern == "gyroid" else 1e-9) * scale
    if pattern in ("triangle", "honeycomb"):
        assert c[5, 5] == pytest.approx((c[0, 0] - c[0, 1]) / 2, rel=1e-9)
    if pattern in ("woodpile", "grid"):
        assert c[0, 0] == pytest.approx(c[1, 1], rel=1e-9)


@pytest.mark.parametrize("pattern", PRISMATIC)
def test_prismatic_cells_are_exact_up_the_build(plain_cells, pattern):
    # Gibson and Ashby, section 4.5: E3 = density x Es and nu31 = nu_s, whatever the walls' pattern
    for density in (0.2, 0.6):
        s = np.linalg.inv(plain_cells[pattern, density].stiffness)
        assert 1 / s[2, 2] == pytest.approx(density, rel=1e-6)
        assert -s[0, 2] / s[2, 2] == pytest.approx(NU, rel=1e-6)
        assert -s[1, 2] / s[2, 2] == pytest.approx(NU, rel=1e-6)


def test_closed_cubes_are_alike_along_their_edges():
    c = solved("cubic", 1 - (1 - 0.1) ** 3)[2].stiffness
    k = engineering_constants(rotate_stiffness(c, cube_axes().T))
    assert k["E3"] == pytest.approx(k["E1"], rel=0.01)
    assert engineering_constants(c)["E3"] != pytest.approx(k["E1"], rel=0.05), "it stands on its corner"


@pytest.mark.parametrize("level", [0.309, 0.461, 0.617])
def test_gyroid_is_nearly_isotropic(level):
    density = gyroid_density(level)
    assert gyroid_level(density) == pytest.approx(level, rel=0.008)
    k = engineering_constants(solved("gyroid", density)[2].stiffness)
    assert k["E2"] == pytest.approx(k["E1"], rel=0.01)
    assert k["E3"] == pytest.approx(k["E1"], rel=0.01)
    zener = k["G12"] / (k["E1"] / (2 * (1 + k["nu12"])))
    assert 1.08 < zener < 1.18


def thin_wall_errors(pattern, law):
    return [abs(in_plane(solved(pattern, d)[2].stiffness) / law(d) - 1) for d in (0.2, 0.1, 0.05)]


def test_thin_walls_are_approached():
    # Gibson and Ashby (4.13): E = 2.31 (t / l)^3 = 1.5 density^3; Wang and McDowell: E = density / 3
    for pattern, law in (("honeycomb", lambda d: 1.5 * d**3), ("triangle", lambda d: d / 3)):
        errors = thin_wall_errors(pattern, law)
        assert errors[0] > errors[1] > errors[2]
        assert errors[0] > 0.065, "thick walls miss the law"


def test_grid_of_stiff_beads_lies_between_its_bounds():
    # stress in the walls along 1 alone bounds E1 from below (joints are layers of both directions), stretching walls
    # and joints alike bounds it from above (Voigt)
    bead = {"E": (60000.0, 2000.0, 2000.0), "nu": (0.3, 0.3, 0.4), "G": (900.0, 900.0, 700.0)}
    s = 0.1
    c = orthotropic_stiffness(**bead)
    turns = np.array([in_layer_rotation(a) for a in (0.0, 90.0)])
    joint = laminate(rotate_stiffness(c, turns)).stiffness
    least = s / ((1 - s) / bead["E"][0] + s / engineering_constants(joint)["E1"])
    whole = engineering_constants(solved("grid", 2 * s - s**2, bead=bead)[2].stiffness)["E1"]
    most = (s - s**2) * (c[0, 0] + c[1, 1]) + s**2 * joint[0, 0]
    assert least < whole < most
    assert whole == pytest.approx(least, rel=0.03)
    # turned by 90 degrees, the beads lie across their walls
    mesh, _, _ = solved("grid", 2 * s - s**2)
    crossed = tuple(replace(f, angles=tuple(a + 90.0 for a in f.angles)) for f in mesh.families)
    wrong = replace(mesh, families=crossed)
    turned = homogenise(wrong, material=bead_material(wrong, **bead))
    assert engineering_constants(turned.stiffness)["E1"] < 0.2 * least


@pytest.mark.parametrize("pattern", PATTERNS)
def test_mean_of_the_local_stress_is_the_mean_stress(pattern):
    mesh, material, cell = solved(pattern, 0.3, bead=BEAD, expansion=WARM)
    stress = local_stress(cell.strain, solved=cell, stiffness=material.stiffness, expansion=material.expansion)
    mean = np.einsum("nij,n->ij", stress, cell.parts.volume) / mesh.volume
    assert np.allclose(mean[:, :6], np.eye(6), rtol=0, atol=1e-8)
    # free to expand, the beads push one another, but the cell as a whole feels nothing
    assert np.abs(mean[:, 6]).max() < 1e-8 * np.abs(stress[:, :, 6]).max() + 1e-12
    assert np.abs(stress[:, :, 6]).max() > 1e-3


def test_walls_that_expand_alike_expand_the_cell():
    _, material, cell = solved("honeycomb", 0.3, expansion=(7e-5, 7e-5, 7e-5))
    assert np.allclose(cell.expansion, [7e-5, 7e-5, 7e-5, 0, 0, 0], rtol=0, atol=1e-12)
    stress = local_stress(cell.strain, solved=cell, stiffness=material.stiffness, expansion=material.expansion)
    assert np.abs(stress[:, :, 6]).max() < 1e-12


def test_stress_in_the_grid_s_walls():
    # a section through the gap cuts only the walls along 1: they bear sigma / s
    s = 0.15
    mesh, material, cell = solved("grid", 2 * s - s**2, bead=BEAD)
    stress = local_stress(cell.strain, solved=cell, stiffness=material.stiffness, expansion=material.expansion)
    wall = mesh.family == 0
    mean = np.einsum("nij,n->ij", stress[wall], cell.parts.volume[wall]) / cell.parts.volume[wall].sum()
    assert mean[0, 0] == pytest.approx(1 / s, rel=1e-8)
    assert np.abs(mean[0, 1:3]).max() < 1e-8


def test_beads_without_gaps_are_the_crossed_laminate():
    turns = np.array([in_layer_rotation(a) for a in (0.0, 90.0)])
    expected = laminate(rotate_stiffness(orthotropic_stiffness(**BEAD), turns))
    cell = solved("woodpile", 1.0, bead=BEAD)[2]
    assert np.allclose(cell.stiffness, expected.stiffness, rtol=0, atol=1e-9 * expected.stiffness.max())


def bent_block(displacement):
    """A full block of one bead direction whose inner nodes stand awry, the period's faces alike."""
    mesh = mesh_of(
        [(brick(*(graded(1.0, first=0.2, growth=1.3),) * 3), 0)],
        lattice=np.eye(3),
        families=[Family("bead", (25.0,))],
        prismatic=False,
    )
    chance = np.random.default_rng(4).uniform(-displacement, displacement, (mesh.count, 3))
    return replace(mesh, corners=mesh.corners + chance[mesh.nodes])


def test_a_solid_cell_is_its_bead():
    # patch test of the periodic cell: a homogeneous block, however meshed, answers with its own stiffness
    mesh = bent_block(0.04)
    cell = homogenise(mesh, material=bead_material(mesh, **BEAD))
    expected = rotate_stiffness(orthotropic_stiffness(**BEAD), in_layer_rotation(25.0))
    assert np.allclose(cell.stiffness, expected, rtol=0, atol=1e-9 * expected.max())
    assert np.abs(cell.strain[:, :, :6] - np.eye(6)).max() < 1e-10


def test_two_periods_are_one():
    # the same grid with a period twice as long along 1: nothing may change
    mesh, _, cell = solved("grid", 0.3, bead=BEAD)
    twice = mesh.lattice * np.array([[2.0], [1.0], [1.0]])
    corners = np.concatenate([mesh.corners, mesh.corners + mesh.lattice[0]])
    double = replace(mesh, lattice=twice, corners=corners, nodes=tied(corners, twice), family=np.tile(mesh.family, 2))
    again = homogenise(double, material=bead_material(double, **BEAD))
    assert np.allclose(again.stiffness, cell.stiffness, rtol=0, atol=1e-9 * cell.stiffness.max())


def test_a_period_that_is_not_tied_is_found():
    # negative control: with the nodes of opposite faces left apart, nothing holds the piece
    mesh, _, _ = solved("grid", 0.3)
    away = mesh.lattice * 1.02
    loose = replace(mesh, lattice=away, nodes=tied(mesh.corners, away))
    with pytest.raises(NoTrustworthyAnswer):
        homogenise(loose, material=bead_material(loose, **PLAIN))


def test_a_loose_piece_bears_nothing():
    # a plate through the period, and a block that floats above it
    line = np.linspace(0.0, 1.0, 4)
    plate = brick(line, line, np.array([0.0, 0.15, 0.3]))
    block = brick(np.array([0.3, 0.45, 0.6]), np.array([0.3, 0.5]), np.array([0.5, 0.7]))
    families = [Family("plate", (0.0,)), Family("block", (0.0,))]
    whole = mesh_of([(plate, 0), (block, 1)], lattice=np.eye(3), families=families, prismatic=False)
    alone = mesh_of([(plate, 0)], lattice=np.eye(3), families=families, prismatic=False)
    both, one = (homogenise(m, material=bead_material(m, **BEAD)).stiffness for m in (whole, alone))
    assert np.abs(both - one).max() < 1e-6 * one.max()
    # plane stress of the plate, 0.3 of the period
    assert 1 / np.linalg.inv(one[:2, :2])[0, 0] == pytest.approx(0.3 * BEAD["E"][0], rel=1e-6)
