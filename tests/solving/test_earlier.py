"""A preconditioner serves another material only as far as theory says, and never changes an answer."""

import numpy as np
import pytest
from helpers_fe import HIGH_X, LOW_X, LOW_Z, box, field, group, material

from fem.loading.loads import force_load
from fem.loading.supports import Foundation, held_face
from fem.solving.earlier import energy_ratios
from fem.solving.equilibrium import Equilibrium
from fem.tensors import isotropic_stiffness, orthotropic_stiffness

LAYERED = orthotropic_stiffness((10000.0, 3000.0, 1000.0), (0.35, 0.4, 0.45), (1200.0, 800.0, 400.0))
ONE = np.zeros((1, 4), dtype=int)


def held(mesh, fixed=("x", "y", "z")):
    return [held_face(mesh, group(mesh, LOW_X), fixed=fixed, name="clamp")]


def one(stiffness):
    return stiffness[None], ONE


def test_ratios_of_isotropic_materials_are_those_of_their_two_moduli():
    e, nu = np.array([2000.0, 1400.0]), np.array([0.38, 0.42])
    bulk, shear = e / (3 - 6 * nu), e / (2 + 2 * nu)
    found = energy_ratios(one(isotropic_stiffness(e[0], nu[0])), one(isotropic_stiffness(e[1], nu[1])))
    expected = sorted([bulk[1] / bulk[0], shear[1] / shear[0]])
    assert found == pytest.approx(expected, rel=1e-9)
    assert energy_ratios(one(LAYERED), one(1.7 * LAYERED)) == pytest.approx((1.7, 1.7), rel=1e-9)


def test_the_spectrum_of_the_whole_lies_within():
    mesh = box((6.0, 3.0, 2.0), (2, 2, 1))
    half = (np.arange(len(mesh.tets)) % 2).astype(int)
    a = field(mesh, material(LAYERED), material(2 * LAYERED), which=half)
    b = field(mesh, material(1.1 * LAYERED), material(isotropic_stiffness(3000.0, 0.3)), which=half)
    dense = [Equilibrium(mesh, p, held=held(mesh)).system.elastic.as_scipy().toarray() for p in (a, b)]
    free = np.ones(len(dense[0]), dtype=bool)
    free.reshape(-1, 3)[mesh.nodes[:, 0] < 1e-9] = False
    factor = np.linalg.inv(np.linalg.cholesky(dense[0][free][:, free]))
    values = np.linalg.eigvalsh(factor @ dense[1][free][:, free] @ factor.T)
    low, high = energy_ratios((a.stiffness_table, a.material), (b.stiffness_table, b.material))
    assert low * (1 - 1e-9) <= values.min() and values.max() <= high * (1 + 1e-9)
    assert high / low < 4 * values.max() / values.min()  # a bound of use


def test_a_like_material_is_solved_with_the_older_preconditioner():
    mesh = box((10.0, 6.0, 4.0), (5, 3, 2))
    load = force_load(mesh, group(mesh, HIGH_X), force=np.array([1.0, 2.0, -3.0]))[None]
    first = Equilibrium(mesh, field(mesh, material(LAYERED)), held=held(mesh))
    softer = LAYERED.copy()
    softer[3:, 3:] *= 0.85
    for stiffness in (3 * LAYERED, softer):
        again = Equilibrium(mesh, field(mesh, material(stiffness)), held=held(mesh), earlier=first.earlier)
        anew = Equilibrium(mesh, field(mesh, material(stiffness)), held=held(mesh))
        assert again.solver.precondition is first.solver.precondition
        (found, used), (expected, fresh) = again.solve(load), anew.solve(load)
        assert np.abs(found - expected).max() < 1e-8 * np.abs(expected).max()
        assert used.iterations <= np.ceil(fresh.iterations * np.sqrt(1.25))
        # What the next one is held against is still the first: likeness does not add up unseen
        assert again.earlier is first.earlier


@pytest.mark.parametrize("change", ["material", "supports", "foundation"])
def test_anything_else_gets_a_new_one(change):
    mesh = box((10.0, 6.0, 4.0), (3, 2, 2))
    foundations = [Foundation("glue", mesh.triangles_of((LOW_Z,)), 5.0, 2.0)]
    first = Equilibrium(mesh, field(mesh, material(LAYERED)), held=held(mesh), foundations=foundations)
    stiffness, hold = LAYERED.copy(), ("x", "y", "z")
    if change == "material":
        stiffness[5, 5] *= 0.75
    elif change == "supports":
        hold = ("x", "y")
    else:
        foundations = [Foundation("glue", mesh.triangles_of((LOW_Z,)), 6.0, 2.0)]
    printed = field(mesh, material(stiffness))
    again = Equilibrium(mesh, printed, held=held(mesh, hold), foundations=foundations, earlier=first.earlier)
    assert again.solver.precondition is not first.solver.precondition
    assert again.earlier is not first.earlier
    same = Equilibrium(mesh, printed, held=held(mesh, hold), foundations=foundations, earlier=again.earlier)
    assert same.solver.precondition is again.solver.precondition
    # A foundation that stays as it is while the material stiffens by half is another problem
    stiffer = 1.5 * printed.stiffness_table
    assert again.earlier.serves(printed.stiffness_table, printed.material, same.system)
    assert not again.earlier.serves(stiffer, printed.material, same.system)
