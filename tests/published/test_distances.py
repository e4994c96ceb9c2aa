"""What the checks of holes by size and of a sharp corner must refuse: wrong lengths, distances and exponents."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fem.evidence import corners, distances
from fem.evidence.holes import kirsch
from fem.evidence.small_parts import field, material
from fem.judging.stress import raw_stress, recover_stress
from fem.tensors import isotropic_stiffness

STIFF = isotropic_stiffness(1000.0, 0.3)


def test_the_factor_of_a_hole_falls_from_three_to_one():
    lengths = (0.02, 0.1, 0.5, 2.0, 10.0, 40.0)
    found = [distances.hole(STIFF, kirsch, length=length, cells=(14, 8)) for length in lengths]
    assert (np.diff(found) < 0).all()
    assert found[0] == pytest.approx(3.0, rel=0.06) and found[-1] == pytest.approx(1.0, rel=0.04)
    assert found[2] < 0.7 * found[0] and found[2] > 1.7 * found[-1], "and is neither between"


def test_half_the_length_misses_the_formulas():
    half = distances.hole(STIFF, kirsch, length=0.5)
    assert abs(half / distances.point_stress(1 / 1.5) - 1) > 0.2, "R / (R + 1/2) belongs to a length of one"
    assert half == pytest.approx(distances.point_stress(1 / 1.25), rel=0.02)
    # Whitney and Nuismer, J. Compos. Mater. 8 (1974) 253: both formulas are 3 for large holes and 1 for small ones
    for formula in (distances.point_stress, distances.average_stress):
        assert formula(0.999999) == pytest.approx(3.0, rel=1e-4) and formula(1e-6) == pytest.approx(1.0, rel=1e-5)


def test_a_distance_from_one_hole_gives_back_its_strength():
    ratio = distances.HOLES[6] / distances.PLAIN
    d0 = distances.distance_from(ratio, diameter=6)
    assert 1 / distances.point_stress(3 / (3 + d0)) / distances.width_factor(1 / 6) == pytest.approx(ratio, rel=1e-9)
    # Half the distance misses what was measured on the 4 mm hole, the whole one does not
    measured = distances.HOLES[4] / distances.PLAIN
    assert abs(1 / distances.in_a_strip(2 * d0 / 4, width=6.0) / measured - 1) > 0.12
    assert abs(1 / distances.in_a_strip(4 * d0 / 4, width=6.0) / measured - 1) < 0.06


def test_the_exact_corner_is_free_on_its_sides_and_balances():
    # The angle's equation, and stress from the displacement by the mesh's own strains, away from the corner
    turn = corners.EXPONENT * corners.FILLED
    assert np.sin(turn) + corners.EXPONENT * np.sin(corners.FILLED) == pytest.approx(0, abs=1e-8)
    mesh = corners.angle_mesh(0.25)
    x, y = mesh.nodes[:, 0], mesh.nodes[:, 1]
    exact = np.stack([*corners.displacement(x, y), np.zeros_like(x)], axis=1)
    stress, _ = raw_stress(mesh, field(mesh, material(STIFF)), exact)
    middle, mean = mesh.nodes[mesh.tets].mean(axis=1), stress.mean(axis=1)
    r, t = np.hypot(middle[:, 0], middle[:, 1]), np.arctan2(middle[:, 1], middle[:, 0]) - np.pi / 4
    some = (r > 1.5) & (r < 5)
    across = (mean[:, 0] + mean[:, 1]) / 2 - mean[:, 5]
    wanted = r ** (corners.EXPONENT - 1) * corners.stress_across(t)
    assert some.sum() > 100 and np.abs(across - wanted)[some].max() < 0.02 * wanted[some].max()


def test_another_exponent_or_length_misses_the_corner():
    mesh, made = corners.angle_mesh(0.125), material(STIFF)
    moved = corners.solved(mesh, made)
    long, short = (corners.averaged(mesh, moved, made, length=length) for length in (1.0, 0.25))
    # Elements of half the shorter length: read a little on the safe side there (judging/notches)
    assert short / long == pytest.approx(4 ** (1 - corners.EXPONENT), rel=0.04)
    assert abs(short / long / 4 ** (1 - 0.6157) - 1) > 0.08, "an angle of 120 degrees"
    assert abs(long / corners.by_the_gradient(0.5) - 1) > 0.2, "half the length"
    plain = recover_stress(mesh, field(mesh, replace(made, length=0.0)), moved).node[:, :2].max()
    assert plain > 2 * long, "without a length the corner has no value"
