"""What the rows of evidence cannot tell of collapse: answers that must miss, bounds from outside, what is brittle.

Sources: L. J. Gibson and M. F. Ashby, Cellular Solids (1997), chapter 4; P. Ponte Castaneda, J. Mech. Phys. Solids 39
(1991) 45 (no isotropic solid with voids of share f bears more than s^2 (1 + 2 f / 3) + 9 f m^2 / 4 = (1 - f)^2 in
yield stresses of its von Mises solid, s being the equivalent and m the mean stress).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from fem.criteria.reserve import utilisation
from fem.criteria.strength import Strength
from fem.evidence.collapse import BEAD, HONEYCOMB, ISOTROPIC, PLANE_STRAIN, borne, cell, solid_block
from fem.evidence.lattices import NU, PLAIN
from fem.printing.infill.buckling import cell_walls, first_to_buckle
from fem.printing.infill.eigen_buckling import _geometric, checked_walls, lowest_buckling
from fem.printing.infill.homogenise import bead_material, homogenise

SIZE = {"bead_width": 0.45, "bead_height": 0.20}


def test_a_block_bears_what_its_beads_bear_under_any_stress():
    # the cell is uniform: its collapse is the bead's own criterion, whatever the mixture of stresses
    states = np.random.default_rng(5).standard_normal((6, 6)) * np.array([40, 30, 20, 10, 12, 20])
    found = borne(solid_block(), states, BEAD)
    assert found.lower == pytest.approx(1 / utilisation(states, BEAD), rel=1e-3)
    assert (found.upper >= found.lower * (1 - 1e-9)).all() and (found.gap < 0.03).all()


def test_opposite_loads_and_larger_ones_collapse_as_they_must():
    pull = np.array([[1.0, 0.3, 0, 0, 0, 0.2]])
    isotropic = [borne(cell("grid", 0.3), k * pull, ISOTROPIC).lower[0] * abs(k) for k in (1.0, -1.0, 7.0)]
    assert isotropic == pytest.approx([isotropic[0]] * 3, rel=1e-6)


def test_thin_walls_miss_the_law_of_plane_stress_and_of_stretching():
    found = borne(cell("honeycomb", HONEYCOMB), np.eye(6)[:1], ISOTROPIC)
    thin = 2 / 3 * (HONEYCOMB * math.sqrt(3) / 2) ** 2
    assert found.lower[0] == pytest.approx(PLANE_STRAIN * thin, rel=0.07)
    assert found.lower[0] > 1.1 * thin, "walls bend in plane strain"
    assert found.upper[0] < 0.05 * HONEYCOMB, "a wall that only stretched would bear a share of the density"


def test_a_gyroid_keeps_below_the_bound_of_isotropic_solids():
    density = 0.3
    found = borne(cell("gyroid", density), np.eye(6)[[0, 5]], ISOTROPIC)
    voids = 1 - density
    pulled = density / math.sqrt(1 + 2 / 3 * voids + voids / 4)
    sheared = density / math.sqrt(1 + 2 / 3 * voids) / math.sqrt(3)
    assert found.upper[0] < pulled and found.upper[1] < sheared
    assert found.lower[0] > 0.6 * pulled
    assert (found.gap < 0.05).all()


def test_weaker_layers_bear_less_and_strong_beads_do_not_help_them():
    up = np.eye(6)[2:3]
    mesh = cell("grid", 0.3)
    assert BEAD.tension is not None
    first = borne(mesh, up, BEAD).lower[0]
    assert first == pytest.approx(0.3 * BEAD.tension[2], rel=0.01)
    assert borne(mesh, up, replace(BEAD, tension=BEAD.tension * [2, 1, 1])).lower[0] == pytest.approx(first, rel=0.01)
    assert borne(mesh, up, replace(BEAD, tension=BEAD.tension * [1, 1, 0.5])).lower[0] < 0.55 * first


def test_strength_is_none_of_elasticity():
    # limit analysis knows no modulus: scaling all strengths scales the collapse, and nothing else enters
    assert BEAD.tension is not None and BEAD.compression is not None and BEAD.shear is not None
    double = Strength(2 * BEAD.tension, 2 * BEAD.compression, 2 * BEAD.shear)
    state, mesh = np.eye(6)[:1], cell("grid", 0.3)
    assert borne(mesh, state, double).lower[0] == pytest.approx(2 * borne(mesh, state, BEAD).lower[0], rel=1e-6)


def buckled(pattern, density):
    mesh = cell(pattern, density)
    material = bead_material(mesh, **PLAIN)
    solved = homogenise(mesh, material=material)
    flat = cell_walls(pattern, mesh=mesh, material=material, solved=solved, bead=PLAIN, density=density, **SIZE)
    return flat, *checked_walls(flat, mesh=mesh, material=material, solved=solved)


def test_stress_does_its_work_on_any_motion_that_is_linear():
    # u = H x under an even stress S: the second-order work is V tr(H S H'), shears in both of their places
    mesh = solid_block()
    rng = np.random.default_rng(8)
    H, stress = rng.standard_normal((3, 3)), rng.standard_normal(6)
    xx, yy, zz, yz, xz, xy = stress
    S = np.array([[xx, xy, xz], [xy, yy, yz], [xz, yz, zz]])
    u = (mesh.corners @ H.T).reshape(-1, 24)
    parts = _geometric(mesh, np.broadcast_to(stress, (len(u), 6)))
    assert np.einsum("na,nab,nb->", u, parts, u) == pytest.approx(mesh.volume * np.trace(H @ S @ H.T), rel=1e-9)


def test_flat_plates_miss_the_honeycomb_and_the_eigenvalue_takes_their_place():
    flat, checked, told = buckled("honeycomb", HONEYCOMB)
    law = 0.22 * (HONEYCOMB * math.sqrt(3) / 2) ** 3 / (1 - NU**2)
    press = -np.eye(6)[0]
    by_plates, by_cell = (1 / float(first_to_buckle(walls, press)[0]) for walls in (flat, checked))
    assert told["compression 1"]["eigenvalue_MPa"] == pytest.approx(law, rel=0.04)
    assert 0.85 * law < by_cell < law, "all walls take the lesser share of both directions"
    assert by_plates > 1.5 * law, "walls held at crossings that do not turn"
    assert {t["used"] for t in told.values()} == {"eigenvalue"}


def test_the_formula_stays_where_it_is_near():
    flat, checked, told = buckled("grid", 0.2)
    assert {t["used"] for t in told.values()} == {"formula"} and checked == flat
    assert told["compression 1"]["eigenvalue_MPa"] == pytest.approx(told["compression 1"]["formula_MPa"], rel=0.15)


def test_a_grid_in_tension_does_not_buckle():
    mesh = cell("grid", 0.2)
    material = bead_material(mesh, **PLAIN)
    solved = homogenise(mesh, material=material)
    pressed, _ = lowest_buckling(mesh, material=material, solved=solved, state=-np.eye(6)[0])
    stretched, _ = lowest_buckling(mesh, material=material, solved=solved, state=np.eye(6)[0])
    assert stretched > 10 * pressed
