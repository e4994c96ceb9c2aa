"""Rings, holes and plates: fields as a whole, and answers that must miss the rows of evidence."""

import numpy as np
import pytest
from helpers_fe import node_at

from fem.evidence import plates
from fem.evidence.holes import HOLES, kirsch, potentials, strip_factors, with_hole
from fem.evidence.rounds import cavity_factor, thick_cylinder
from fem.tensors import isotropic_stiffness


def test_stress_across_a_thick_cylinder():
    # Lamé: a = 10, b = 20, p = 10; S. P. Timoshenko and J. N. Goodier, section 28
    mesh, _, stress = thick_cylinder(plane_strain=True)
    for r, radial in ((10, -10), (15, -2.59259), (20, 0)):
        assert stress[node_at(mesh, (r, 0, 0)), 0] == pytest.approx(radial, abs=0.25)
    for r in (10, 20):
        assert stress[node_at(mesh, (r, 0, 0)), 2] == pytest.approx(2.33333, abs=0.1)


def test_plane_strain_and_free_ends_are_told_apart():
    mesh, moved, _ = thick_cylinder(plane_strain=False)
    assert abs(moved[node_at(mesh, (10, 0, 0)), 0] / 0.09675 - 1) > 0.04
    mesh, moved, _ = thick_cylinder(plane_strain=True, poisson=0.3)
    assert abs(moved[node_at(mesh, (10, 0, 0)), 0] / 0.09675 - 1) > 0.005


def test_hole_in_an_isotropic_plate_all_around():
    mesh, stress = with_hole(isotropic_stiffness(2400, 0.3), kirsch)
    far = np.hypot(mesh.nodes[:, 0], mesh.nodes[:, 1]) > 1.3
    xx, yy, xy = kirsch(mesh.nodes[far, 0], mesh.nodes[far, 1])
    assert np.abs(stress[far][:, [0, 1, 5]] - np.stack([xx, yy, xy], axis=1)).max() < 0.04


def test_a_rim_without_the_holes_own_field_misses_the_factor():
    # Even tension on so near a rim is another problem, and the peak tells
    mesh, stress = with_hole(isotropic_stiffness(2400, 0.3), lambda x, y: (1 + 0 * x, 0 * x, 0 * x))
    assert abs(stress[node_at(mesh, (0, 1, 0)), 0] - 3.0) > 0.1


ACROSS = ("T300/5208 across its fibres", (10.3, 181.0, 0.28 * 10.3 / 181, 7.17), 2.37178, -4.19199)


@pytest.mark.parametrize(("name", "constants", "across", "along"), [*HOLES, ACROSS])
def test_potentials_meet_the_published_factors(name, constants, across, along):
    exact = potentials(constants)
    assert exact(np.array([1e-9]), np.array([1.0]))[0][0] == pytest.approx(across, rel=1e-5)
    assert exact(np.array([1.0]), np.array([1e-9]))[1][0] == pytest.approx(along, rel=1e-4)


def test_width_and_poissons_ratio_are_felt():
    assert abs(strip_factors(0.4)[0] / 4.32 - 1) > 0.1  # d/W = 0.4 is not 0.5 (Howland: 3.74)
    assert abs(cavity_factor(0.2) / 2.071429 - 1) > 0.02
    # A body of only three radii is too small to be called large
    assert abs(cavity_factor(0.2, outer=3.0) / 2.0 - 1) > 0.02


def test_a_plate_bends_both_ways():
    top, below = plates.thick_plate((6, 9, 2))
    assert top < -4 and below > 2


def test_a_panel_of_another_poissons_ratio_misses():
    assert abs(plates.cook(8, poisson=0.0) / 23.97 - 1) > 0.01


def test_plies_in_another_order_miss_the_strip():
    mesh, moved, _ = plates.layered_strip((90, 0, 90, 0, 90, 0, 90))
    assert abs(moved[node_at(mesh, (0, 0, 0)), 2] / -1.06 - 1) > 0.2
