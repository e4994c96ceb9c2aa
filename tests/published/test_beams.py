"""Bars and beams: what the rows of evidence do not tell, and answers that must miss them."""

import numpy as np
import pytest
from helpers_fe import HIGH_X, LOW_X, box, field, material, node_at, pinned, prescribe, solve

from fem.evidence.beams import PRINTED, cantilever, energetic_deflection, twisted
from fem.judging.stress import recover_stress
from fem.loading.acceleration import acceleration_load
from fem.loading.temperature_change import thermal_load
from fem.tensors import isotropic_stiffness, orthotropic_stiffness


def test_support_of_a_slender_cantilever():
    force = np.eye(3)[2]
    _, solution = cantilever((6, 0.2, 0.1), (40, 2, 2), isotropic_stiffness(1e7, 0.3), force)
    # A beam 60 times as long as thick: rounding of its stiffness, 1e-16 of 3e6 N/mm a node, adds up to some 5e-8 N
    assert solution.support.sum(axis=0) == pytest.approx(-force, abs=2e-7)


def test_first_order_bending_alone_misses_the_beam_with_shear():
    found = energetic_deflection((100, 10, 10), (20, 2, 4), isotropic_stiffness(2000, 0.3), 10.0)
    assert abs(found / 2.0 - 1) > 0.002 * 3


@pytest.mark.parametrize("other", [(800, 1200, 700), (1200, 700, 800)])
def test_other_shear_moduli_miss_the_short_beam(other):
    # They give 0.466667 and 0.495238 where the beam gives 0.486667
    wrong = energetic_deflection((40, 10, 10), (8, 3, 4), orthotropic_stiffness(*PRINTED[:2], other), 100.0)
    assert abs(wrong / 0.486667 - 1) > 0.012


def test_bar_under_its_own_weight_all_along():
    # sigma = rho g (L - x); rho = 1.1e-9, g = 9810
    mesh = box((1000, 20, 20), (10, 1, 1))
    printed = field(mesh, material(isotropic_stiffness(2000, 0.0), density=1.1e-9))
    top = prescribe(mesh, mesh.nodes_of((LOW_X,)), np.zeros(3), name="top")
    weight = acceleration_load(mesh, printed, field=np.array([9810.0, 0, 0]))
    found, _, solution = solve(mesh, printed, held=[top], loads=weight)
    assert solution.support.sum(axis=0) == pytest.approx([-1.1e-9 * 9810 * 4e5, 0, 0], rel=1e-8, abs=1e-9)
    stress = recover_stress(mesh, printed, found).node[:, 0]
    assert stress == pytest.approx(1.1e-9 * 9810 * (1000 - mesh.nodes[:, 0]), abs=1e-6)


def test_clamped_bar_whose_warmth_is_forgotten():
    # sigma = -E alpha dT = -2000 x 1.2e-4 x 40 = -9.6, and no other component
    mesh = box((60, 10, 10), (4, 2, 2))
    printed = field(mesh, material(isotropic_stiffness(2000, 0.3), expansion=[1.2e-4] * 3 + [0] * 3))
    warmer = np.full(len(mesh.tets), 40.0)
    still = prescribe(mesh, mesh.nodes_of((LOW_X, HIGH_X)), np.zeros(3), axes=(0,))
    loads = thermal_load(mesh, printed, temperature_change=warmer)
    found, _, _ = solve(mesh, printed, held=[still, pinned(mesh, (0, 0, 0), (60, 0, 0), (0, 10, 0))], loads=loads)
    stress = recover_stress(mesh, printed, found, temperature_change=warmer).node
    assert stress == pytest.approx(np.tile([-9.6, 0, 0, 0, 0, 0], (len(stress), 1)), abs=1e-6)
    assert recover_stress(mesh, printed, found).node[0, 0] != pytest.approx(-9.6, rel=0.01)


def test_free_body_that_warms_is_free_of_stress():
    # Expansion that differs by direction, with shear: displacement is the strain times the place
    expansion = np.array([2.2e-5, 9e-5, 24.8e-5, 1e-5, -2e-5, 3e-5])
    mesh = box((30, 20, 10), (3, 2, 2))
    stiffness = orthotropic_stiffness(*PRINTED)
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


def test_twist_tells_the_two_shear_moduli_apart():
    assert abs(twisted(20, 10, 800, 1200)[0] / 4948573.7 - 1) > 0.05
