"""Bars and beams: bending, shear, stretch, own weight, temperature_change and twist."""

import numpy as np
import pytest
from helpers_fe import (
    HIGH_X,
    LOW_X,
    boundary,
    box,
    field,
    group,
    material,
    node_at,
    pinned,
    prescribe,
    solve,
)

from fem.judging.stress import recover_stress
from fem.loading.loads import acceleration_load, force_load, spread, thermal_load
from fem.loading.supports import held_face
from fem.tensors import isotropic_stiffness, orthotropic_stiffness


def cantilever(lengths, cells, stiffness, force):
    """Mean displacement (3,) [mm] of the end face of a bar clamped at the other, and the support's force."""
    mesh = box(lengths, cells)
    printed = field(mesh, material(stiffness))
    clamp = held_face(mesh, group(mesh, LOW_X), fixed=("x", "y", "z"), name="preload")
    loads = force_load(mesh, group(mesh, HIGH_X), force=np.asarray(force, dtype=float))
    found, _, solution = solve(mesh, printed, held=[clamp], loads=loads)
    work = (loads * found).sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        return work / np.asarray(force, dtype=float), solution


# Source: R. H. MacNeal and R. L. Harder, Finite Elements in Analysis and Design 1 (1985) 3, figure 3 and table 3:
# straight cantilever 6 x 0.2 x 0.1, E = 1e7, nu = 0.3, unit end loads
SLENDER = [(0, 3.0e-5), (1, 0.1081), (2, 0.4321)]


@pytest.mark.parametrize(("axis", "expected"), SLENDER)
def test_straight_cantilever(axis, expected):
    force = np.eye(3)[axis]
    found, solution = cantilever((6, 0.2, 0.1), (40, 2, 2), isotropic_stiffness(1e7, 0.3), force)
    assert found[axis] == pytest.approx(expected, rel=0.01)
    # A beam 60 times as long as thick: rounding of its stiffness, 1e-16 of 3e6 N/mm a node, adds up to some 5e-8 N
    assert solution.support.sum(axis=0) == pytest.approx(-force, abs=2e-7)


def energetic_deflection(lengths, cells, stiffness, force):
    """Twice the work over the force [mm], of a beam whose ends carry the stresses of beam theory."""
    length, width, height = lengths
    mesh = box(lengths, cells)
    printed = field(mesh, material(stiffness))
    inertia = width * height**3 / 12

    def ends(x, n):
        z = x[..., 2] - height / 2
        shear = force / (2 * inertia) * (height**2 / 4 - z**2)
        stretch = -force * (length - x[..., 0]) * z / inertia
        return n[..., :1] * np.stack([stretch, 0 * z, shear], axis=-1)

    loads = spread(mesh, mesh.triangles_of((LOW_X, HIGH_X)), ends)
    pin = pinned(mesh, (0, 0, 0), (length, 0, 0), (0, width, 0))
    found, _, solution = solve(mesh, printed, held=[pin], loads=loads)
    assert np.abs(solution.support).max() < 1e-5 * force  # the ends balance one another
    return float((found * loads).sum()) / force


def test_beam_with_shear():
    # Timoshenko: P L^3 / 3 E I + P L / (5/6 G A) with E = 2000, nu = 0.3, L = 100, b = h = 10, P = 10
    found = energetic_deflection((100, 10, 10), (20, 2, 4), isotropic_stiffness(2000, 0.3), 10.0)
    assert found == pytest.approx(2.0156, rel=0.002)  # bending alone, 2.0000, misses this


def test_short_orthotropic_beam_gives_by_shear():
    # E1 = 6000, G13 = 800, L = 40, b = h = 10, P = 100: bending 0.426667 + shear 0.060000
    own = (6000, 3000, 2000), (0.35, 0.40, 0.45)
    found = energetic_deflection((40, 10, 10), (8, 3, 4), orthotropic_stiffness(*own, (1200, 800, 700)), 100.0)
    assert found == pytest.approx(0.486667, rel=0.01)
    # The other shear moduli in its place give 0.466667 and 0.495238
    for other in ((800, 1200, 700), (1200, 700, 800)):
        wrong = energetic_deflection((40, 10, 10), (8, 3, 4), orthotropic_stiffness(*own, other), 100.0)
        assert abs(wrong / 0.486667 - 1) > 0.012


def test_bar_under_its_own_weight():
    # u = rho g L^2 / 2 E = 2.69775e-3, sigma = rho g L = 0.010791 at the top; L = 1000, rho = 1.1e-9, g = 9810
    mesh = box((1000, 20, 20), (10, 1, 1))
    printed = field(mesh, material(isotropic_stiffness(2000, 0.0), density=1.1e-9))
    top = held_face(mesh, group(mesh, LOW_X), fixed=("x", "y", "z"), name="top")
    weight = acceleration_load(mesh, printed, field=np.array([9810.0, 0, 0]))
    found, _, solution = solve(mesh, printed, held=[top], loads=weight)
    tip = mesh.nodes[:, 0] > 999
    assert found[tip, 0] == pytest.approx(2.69775e-3, rel=1e-6)
    assert solution.support.sum(axis=0) == pytest.approx([-1.1e-9 * 9810 * 4e5, 0, 0], rel=1e-8, abs=1e-9)
    stress = recover_stress(mesh, printed, found).node[:, 0]
    assert stress == pytest.approx(1.1e-9 * 9810 * (1000 - mesh.nodes[:, 0]), abs=1e-6)


def test_clamped_bar_that_warms():
    # sigma = -E alpha dT = -2000 x 1.2e-4 x 40 = -9.6
    mesh = box((60, 10, 10), (4, 2, 2))
    printed = field(mesh, material(isotropic_stiffness(2000, 0.3), expansion=[1.2e-4] * 3 + [0] * 3))
    temperature_change = np.full(len(mesh.tets), 40.0)
    ends = np.unique(mesh.triangles[np.isin(mesh.face, (LOW_X, HIGH_X))])
    still = prescribe(mesh, ends, np.zeros(3), axes=(0,))
    pin = pinned(mesh, (0, 0, 0), (60, 0, 0), (0, 10, 0))
    loads = thermal_load(mesh, printed, temperature_change=temperature_change)
    found, _, _ = solve(mesh, printed, held=[still, pin], loads=loads)
    stress = recover_stress(mesh, printed, found, temperature_change=temperature_change).node
    assert stress == pytest.approx(np.tile([-9.6, 0, 0, 0, 0, 0], (len(stress), 1)), abs=1e-6)
    assert recover_stress(mesh, printed, found).node[0, 0] != pytest.approx(-9.6, rel=0.01)


def test_free_body_that_warms_is_free_of_stress():
    # Expansion that differs by direction, with shear: displacement is the strain times the place
    expansion = np.array([2.2e-5, 9e-5, 24.8e-5, 1e-5, -2e-5, 3e-5])
    mesh = box((30, 20, 10), (3, 2, 2))
    stiffness = orthotropic_stiffness((6000, 3000, 2000), (0.35, 0.40, 0.45), (1200, 800, 700))
    printed = field(mesh, material(stiffness, expansion=expansion))
    temperature_change = np.full(len(mesh.tets), 50.0)
    loads = thermal_load(mesh, printed, temperature_change=temperature_change)
    assert np.abs(loads.sum(axis=0)).max() < 1e-10 * np.abs(loads).max()
    found, _, _ = solve(mesh, printed, held=[pinned(mesh, (0, 0, 0), (30, 0, 0), (0, 20, 0))], loads=loads)
    stress = recover_stress(mesh, printed, found, temperature_change=temperature_change).node
    assert np.abs(stress).max() < 1e-6 * np.abs(stiffness @ expansion * 50).max()
    grow = found[node_at(mesh, (30, 20, 10))] - found[node_at(mesh, (0, 0, 0))]
    half = expansion * [1, 1, 1, 0.5, 0.5, 0.5]
    # Pins at (30, 0, 0) in y, z and at (0, 20, 0) in z turn shear into x alone, and yz into y
    assert grow[2] == pytest.approx(50 * 10 * half[2], rel=1e-6)
    assert grow[1] == pytest.approx(50 * (20 * half[1] + 10 * expansion[3]), rel=1e-6)
    assert grow[0] == pytest.approx(50 * (30 * half[0] + 20 * expansion[5] + 10 * expansion[4]), rel=1e-6)


# G J [N mm^2] of rectangular bars by the series of S. G. Lekhnitskii, Theory of Elasticity of an Anisotropic
# Body (1981), section 27; isotropic square: S. P. Timoshenko and J. N. Goodier, Theory of Elasticity, 3rd ed.,
# table in section 109, k1 = 0.1406. Sides along y and z [mm], Gxy and Gxz [MPa].
TWIST = [
    (10, 10, 1000, 1000, 1405770.1),
    (10, 10, 1200, 800, 1351469.9),
    (20, 10, 1200, 800, 4948573.7),
]


@pytest.mark.parametrize(("width", "height", "gxy", "gxz", "expected"), TWIST)
def test_twist_of_a_rectangular_bar(width, height, gxy, gxz, expected):
    assert twisted(width, height, gxy, gxz) == pytest.approx(expected, rel=0.004)


def test_twist_tells_the_two_shear_moduli_apart():
    assert abs(twisted(20, 10, 800, 1200) / 4948573.7 - 1) > 0.05


def twisted(width, height, gxy, gxz):
    """G J [N mm^2] from the moment that turns one end of a bar whose ends may warp."""
    length, angle = 10.0, 0.01
    mesh = box((length, width, height), (1, 8, 8))
    printed = field(mesh, material(orthotropic_stiffness((6000, 3000, 2000), (0.35, 0.40, 0.45), (gxy, gxz, 700))))
    off = mesh.nodes - [0, width / 2, height / 2]
    turn = angle * off[:, 0] / length
    given = np.stack([np.zeros(len(off)), -turn * off[:, 2], turn * off[:, 1]], axis=1)
    ends = np.unique(mesh.triangles[np.isin(mesh.face, (LOW_X, HIGH_X))])
    middle = [node_at(mesh, (0, width / 2, height / 2))]
    held = [prescribe(mesh, ends, given, axes=(1, 2)), prescribe(mesh, middle, given, axes=(0,), name="middle")]
    assert len(boundary(mesh)) > len(ends)
    _, _, solution = solve(mesh, printed, held=held)
    far = off[:, 0] > length / 2
    moment = np.cross(off[far], solution.support[far]).sum(axis=0)[0]
    return moment * length / angle
