"""Fibres in a resin: what must hold whatever the numbers are."""

import numpy as np
import pytest

from fem.errors import InputError
from fem.printing.fibre import (
    Fibre,
    Resin,
    average_stiffness,
    compose,
    eshelby_tensor,
    fourth_moment,
    halpin_tsai,
    mix,
    mori_tanaka,
    second_moment,
)
from fem.tensors import engineering_constants, is_isotropic, rotate_stiffness

RESIN = Resin(E=1400, nu=0.38, density=1.01e-9, expansion=12e-5)
CARBON = Fibre(E1=230e3, E2=15e3, nu12=0.2, nu23=0.3, G12=20e3, density=1.8e-9, expansion=(-0.5e-6, 10e-6))
LIKE_RESIN = Fibre.isotropic(E=1400, nu=0.38, density=1.01e-9, expansion=12e-5)
RUBBERY = Fibre.isotropic(E=20e3, nu=0.49, density=1.8e-9)
ABOUT = {"mass_fraction": 0.15, "aspect_ratio": 20}
MODELS = ("mori-tanaka", "halpin-tsai")


def turn(angle, axis):
    c, s = np.cos(angle), np.sin(angle)
    i, j = [k for k in range(3) if k != axis]
    q = np.eye(3)
    q[i, i], q[i, j], q[j, i], q[j, j] = c, s, -s, c
    return q


def test_no_fibre_leaves_the_resin():
    for model in (mori_tanaka, halpin_tsai):
        assert np.allclose(model(RESIN, CARBON, share=0.0, aspect_ratio=20), RESIN.stiffness, rtol=1e-12)
        # fibres of resin are resin
        assert np.allclose(model(RESIN, LIKE_RESIN, share=0.3, aspect_ratio=20), RESIN.stiffness, rtol=1e-9)
        assert not np.allclose(model(RESIN, CARBON, share=0.01, aspect_ratio=20), RESIN.stiffness, rtol=1e-3)


@pytest.mark.parametrize("model", MODELS)
def test_stiffness_lies_between_the_means(model):
    # R. Hill, Proc. Phys. Soc. A 65 (1952) 349: between the harmonic and the arithmetic mean, as matrices
    made = compose(RESIN, CARBON, orientation=(0.8, 0.15, 0.05), model=model, **ABOUT)
    second = second_moment((0.8, 0.15, 0.05))
    stiff = average_stiffness(CARBON.stiffness, second, fourth_moment(second))
    upper = made.fibre_share * stiff + (1 - made.fibre_share) * RESIN.stiffness
    assert np.linalg.eigvalsh(upper - made.stiffness).min() > 0
    softest = np.linalg.eigvalsh(made.stiffness - RESIN.stiffness).min()
    # Halpin-Tsai takes each constant by itself and may fall below the resin in bulk; Mori-Tanaka never does
    assert softest > 0 or model == "halpin-tsai"
    assert np.linalg.eigvalsh(made.stiffness).min() > 0
    assert np.allclose(made.stiffness, made.stiffness.T, rtol=1e-12)


@pytest.mark.parametrize("model", MODELS)
def test_more_fibre_along_an_axis_stiffens_it(model):
    def stiffness(*orientation):
        return engineering_constants(compose(RESIN, CARBON, orientation=orientation, model=model, **ABOUT).stiffness)

    aligned, printed, random = stiffness(1, 0, 0), stiffness(0.8, 0.15, 0.05), stiffness(1 / 3, 1 / 3, 1 / 3)
    assert aligned["E1"] > printed["E1"] > random["E1"]
    assert aligned["E2"] < printed["E2"] < random["E2"]
    assert printed["E1"] > printed["E2"] > printed["E3"]
    # the axes are along, across, up: another order of the shares goes to other axes
    turned = stiffness(0.05, 0.15, 0.8)
    assert turned["E3"] == pytest.approx(printed["E1"], rel=1e-9)
    assert turned["G23"] == pytest.approx(printed["G12"], rel=1e-9)


def test_expansion_is_held_back_along_the_fibres():
    made = compose(RESIN, CARBON, orientation=(0.8, 0.15, 0.05), **ABOUT)
    along, across, up, *shear = made.expansion
    assert along < across < up
    assert shear == pytest.approx([0, 0, 0], abs=1e-18)
    random = compose(RESIN, CARBON, orientation=(1 / 3, 1 / 3, 1 / 3), **ABOUT).expansion
    assert random[:3] == pytest.approx([random[0]] * 3, rel=1e-7)
    assert 0 < random[0] < RESIN.expansion


def test_spheres_expand_as_their_bulk_modulus_says():
    # V. M. Levin (1967): alpha = mean + (alpha_f - alpha_m) / (1/K_f - 1/K_m) (1/K - mean of 1/K)
    glass = Fibre.isotropic(E=73e3, nu=0.21, density=2.55e-9, expansion=4.9e-6)
    made = compose(RESIN, glass, mass_fraction=0.3, aspect_ratio=1, orientation=(1, 0, 0))
    k = engineering_constants(made.stiffness)
    v = made.fibre_share

    def soft(E, nu):
        return 3 * (1 - 2 * nu) / E

    f, m, whole = soft(73e3, 0.21), soft(1400, 0.38), soft(k["E1"], k["nu12"])
    mean = v * 4.9e-6 + (1 - v) * 12e-5
    expected = mean + (4.9e-6 - 12e-5) / (f - m) * (whole - v * f - (1 - v) * m)
    assert made.expansion[:3] == pytest.approx([expected] * 3, rel=1e-9)
    assert abs(mean - expected) > 0.02 * expected


def test_without_an_expansion_none_is_made():
    bare = Resin(E=1400, nu=0.38, density=1.01e-9)
    assert compose(bare, CARBON, orientation=(1, 0, 0), **ABOUT).expansion is None


def gaussian_directions(stretch, count=400):
    """Moments of directions M q / |M q| with q all over the sphere and M = diag(stretch), by a product rule."""
    z, wz = np.polynomial.legendre.leggauss(count)
    turn_by = 2 * np.pi * (np.arange(count) + 0.5) / count
    r = np.sqrt(1 - z**2)[:, None]
    q = np.stack([r * np.cos(turn_by), r * np.sin(turn_by), z[:, None] + 0 * turn_by], axis=-1) * stretch
    p = q / np.linalg.norm(q, axis=-1, keepdims=True)
    w = wz[:, None] / 2 / count + 0 * turn_by
    return np.einsum("ab,abi,abj->ij", w, p, p), np.einsum("ab,abi,abj,abk,abl->ijkl", w, p, p, p, p)


@pytest.mark.parametrize("stretch", [(1, 1, 1), (3, 1, 1), (1, 1, 0.4), (5, 2, 1), (4, 1, 0.5), (2, 2, 1)])
def test_fourth_moment_of_the_spread_it_stands_for(stretch):
    second, fourth = gaussian_directions(np.array(stretch, dtype=float))
    assert np.allclose(fourth_moment(second), fourth, atol=1e-7)
    # a product of second moments, the crudest closure, is told apart
    assert not np.allclose(np.einsum("ij,kl->ijkl", second, second), fourth, atol=0.01)


SPREADS = [
    (1, 0, 0), (0.5, 0.5, 0), (0.7, 0.3, 0), (0.8, 0.15, 0.05), (0.97, 0.02, 0.01), (0.6, 0.399, 0.001),
    (0.99998, 1e-5, 1e-5), (0.4, 0.3, 0.3), (0.34, 0.33, 0.33), (0.5, 0.5 - 2e-6, 2e-6), (0.05, 0.05, 0.9),
]  # fmt: skip


@pytest.mark.parametrize("shares", SPREADS)
def test_fourth_moment_holds_its_second(shares):
    second = second_moment(shares)
    fourth = fourth_moment(second)
    assert np.allclose(np.einsum("ijkk->ij", fourth), second, atol=1e-10)
    assert np.allclose(fourth, np.einsum("ijkl->kjil", fourth), atol=1e-12)
    # Jensen: <p^4> is at least <p^2>^2, and at most <p^2>
    for i in range(3):
        assert second[i, i] ** 2 - 1e-12 <= fourth[i, i, i, i] <= second[i, i] + 1e-12


def test_the_closure_is_smooth_towards_the_plane():
    near, flat = fourth_moment(np.diag([0.7, 0.3 - 3e-6, 3e-6])), fourth_moment(np.diag([0.7, 0.3, 0.0]))
    assert np.allclose(near, flat, atol=1e-4)


def test_turned_directions_turn_the_stiffness():
    grain = mori_tanaka(RESIN, CARBON, share=0.1, aspect_ratio=20)
    straight = np.diag([0.8, 0.15, 0.05])
    axes = turn(0.4, 2) @ turn(1.1, 0)
    tilted = axes.T @ straight @ axes
    there = average_stiffness(grain, tilted, fourth_moment(tilted))
    here = average_stiffness(grain, straight, fourth_moment(straight))
    assert np.allclose(there, rotate_stiffness(here, axes), rtol=1e-7, atol=1e-6)
    assert not np.allclose(there, here, rtol=0.02)


def test_random_directions_leave_no_direction():
    made = compose(RESIN, CARBON, orientation=(1 / 3, 1 / 3, 1 / 3), **ABOUT)
    assert is_isotropic(made.stiffness, tolerance=1e-7)
    assert not is_isotropic(compose(RESIN, CARBON, orientation=(0.4, 0.3, 0.3), **ABOUT).stiffness, tolerance=1e-3)


WRONG = [
    (lambda: eshelby_tensor(0.3, aspect_ratio=0.5), "aspect ratio"),
    (lambda: mix(1.0, fibre_density=1.8, resin_density=1.0), "mass fraction"),
    (lambda: mix(-0.1, fibre_density=1.8, resin_density=1.0), "mass fraction"),
    (lambda: second_moment((0.8, 0.1, 0.05)), "sum to 0.95"),
    (lambda: second_moment((1.2, -0.2, 0.0)), "negative"),
    (lambda: second_moment((0.5, 0.5)), "three shares"),
    (lambda: compose(RESIN, CARBON, orientation=(1, 0, 0), model="mean", **ABOUT), "mori-tanaka, halpin-tsai"),
    (lambda: halpin_tsai(Resin(1400, 0.49, 1.0), RUBBERY, share=0.6, aspect_ratio=20), "Halpin-Tsai gives"),
]


@pytest.mark.parametrize(("call", "words"), WRONG)
def test_what_cannot_be_is_refused(call, words):
    with pytest.raises(InputError, match=words):
        call()
