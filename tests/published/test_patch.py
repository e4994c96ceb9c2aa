"""Fields that second-order tetrahedra must reproduce exactly: to rounding, and answers that must miss them."""

import numpy as np
import pytest
from helpers_fe import boundary, field, material, prescribe, solve

from fem.evidence.beams import PRINTED
from fem.evidence.patches import OFF_AXIS, bent_bar, pulled_off_axis, rotation, seven_bricks, shaken
from fem.judging.stress import raw_stress
from fem.part.tetmesh import TetMesh
from fem.tensors import isotropic_stiffness, orthotropic_stiffness, pack_strain, rotate_stiffness


def test_patch_of_seven_bricks_to_rounding():
    # R. H. MacNeal and R. L. Harder (1985): unit strain 1e-3 in all six components
    mesh = seven_bricks()
    printed = field(mesh, material(isotropic_stiffness(1e6, 0.25)))
    exact = 1e-3 * mesh.nodes @ (np.ones((3, 3)) + np.eye(3)) / 2
    found, equilibrium, _ = solve(mesh, printed, held=[prescribe(mesh, boundary(mesh), exact)])
    assert len(mesh.nodes) > len(boundary(mesh)) + 8
    assert np.abs(found - exact).max() < 1e-8 * np.abs(exact).max()
    # Without the iteration in between
    inner = np.setdiff1d(np.arange(len(mesh.nodes)), boundary(mesh))
    force = equilibrium.elastic_forces(exact)
    assert np.abs(force[inner]).max() < 1e-13 * np.abs(force).max()


def test_patch_fails_when_mid_side_nodes_are_in_another_order():
    mesh = seven_bricks()
    swapped = TetMesh(
        mesh.nodes,
        mesh.tets[:, [0, 1, 2, 3, 4, 5, 6, 7, 9, 8]],
        mesh.body,
        mesh.bodies,
        mesh.triangles,
        mesh.face,
        mesh.faces,
    )
    printed = field(swapped, material(isotropic_stiffness(1e6, 0.25)))
    exact = 1e-3 * mesh.nodes @ (np.ones((3, 3)) + np.eye(3)) / 2
    stress, _ = raw_stress(swapped, printed, exact**2 / 1e-3)
    right, _ = raw_stress(mesh, printed, exact**2 / 1e-3)
    assert np.abs(stress - right).max() > 0.1 * np.abs(right).max()


@pytest.mark.parametrize("seed", [1, 2])
def test_uniform_strain_of_a_turned_orthotropic_body(seed):
    # Closed form: sigma = C : sym(A) for u = A x, any A, any rotation of the material
    mesh = shaken((3, 3, 3), (10, 7, 5), amount=0.25)
    stiffness = rotate_stiffness(orthotropic_stiffness(*PRINTED), rotation(seed))
    printed = field(mesh, material(stiffness))
    slope = 1e-3 * np.random.default_rng(seed + 10).normal(size=(3, 3))
    exact = mesh.nodes @ slope.T
    found, equilibrium, _ = solve(mesh, printed, held=[prescribe(mesh, boundary(mesh), exact)])
    assert np.abs(found - exact).max() < 1e-8 * np.abs(exact).max()
    inner = np.setdiff1d(np.arange(len(mesh.nodes)), boundary(mesh))
    force = equilibrium.elastic_forces(exact)
    assert np.abs(force[inner]).max() < 1e-12 * np.abs(force).max()
    strain = pack_strain((slope + slope.T) / 2)
    expected = stiffness @ strain
    stress, _ = raw_stress(mesh, printed, found)
    assert np.abs(stress - expected).max() < 1e-7 * np.abs(expected).max()
    # Two components exchanged, or shear taken as the tensor's, are told apart
    assert np.abs(stress - stiffness @ strain[[0, 1, 2, 3, 5, 4]]).max() > 0.05 * np.abs(expected).max()
    assert np.abs(stress - stiffness @ (strain / [1, 1, 1, 2, 2, 2])).max() > 0.05 * np.abs(expected).max()


def test_pure_bending_of_an_orthotropic_bar_all_over():
    # M = 1000 N mm on 10 x 10: kappa = M / (E1 I) = 2e-4; sides are free of stress
    mesh, _, stress = bent_bar(nu12=0.35, nu13=0.40)
    expected = np.zeros_like(stress)
    expected[:, 0] = 6000 * 2e-4 * (mesh.nodes[:, 1] - 5)
    assert np.abs(stress - expected).max() < 1e-5
    _, _, wrong = bent_bar(nu12=0.40, nu13=0.35)
    assert np.abs(wrong - expected).max() > 0.05


@pytest.mark.parametrize(("name", "constants", "angle", "expected"), OFF_AXIS)
def test_a_coupon_turned_the_other_way_shears_the_other_way(name, constants, angle, expected):
    back = pulled_off_axis(constants, -angle)
    assert back[0] / 1e3 == pytest.approx(expected[0], rel=5e-5)
    assert back[2] == pytest.approx(-expected[2], rel=5e-5)
