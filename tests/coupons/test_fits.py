"""Curves made from known constants give them back, within the band that is told."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from helpers_coupons import MACHINE, pulled, stress_of

from fem.coupons.batches import fit_batch
from fem.coupons.fits import fit_coupon
from fem.coupons.fractile import sample
from fem.coupons.laminate import modulus_at_45, shear_modulus_of
from fem.coupons.line import straight_part
from fem.coupons.nouns import Batch, Coupon, Curve
from fem.coupons.shapes import SHAPES
from fem.coupons.values import samples_of
from fem.errors import InputError
from fem.printing.polymer import load_card

E, STRENGTH, NU = 5200.0, 55.0, 0.36
BASE = load_card("pa12-cf").states["dry"]


def batch(curves, **changes):
    coupons = tuple(Coupon(f"c{k}", curve, 5.0, 2.0) for k, curve in enumerate(curves, 1))
    made = Batch("along", "tension", "along", "dry", 23.0, 25.0, coupons, machine=MACHINE, by_crosshead=True)
    return replace(made, **changes)


def one(rng, **changes):
    return pulled(rng, **{"E": E, "strength": STRENGTH, "nu": NU, **changes})


def fit(rng, *, machine=MACHINE, **changes):
    made = batch([one(rng, **changes)], machine=machine)
    return fit_coupon(made, made.coupons[0]).gives


def test_constants_come_back_without_toe_or_noise():
    gives = fit(np.random.default_rng(1), toe=(0.0, 0.0), noise=0.0)
    assert gives["E"] == pytest.approx(E, rel=1e-6)
    assert gives["nu"] == pytest.approx(NU, rel=1e-6)
    assert gives["strength"] == pytest.approx(STRENGTH, rel=1e-6)
    assert gives["break"] == pytest.approx(0.004 + 4 * (STRENGTH - E * 0.004) / E, rel=1e-6)


def test_a_toe_moves_the_curve_and_not_the_modulus():
    gives = fit(np.random.default_rng(2), toe=(0.08, 0.004))
    assert gives["E"] == pytest.approx(E, rel=0.005)
    assert gives["break"] == pytest.approx(0.004 + 4 * (STRENGTH - E * 0.004) / E, rel=0.01)


def test_the_machines_give_is_taken_off_and_would_matter():
    rng = np.random.default_rng(3)
    with_it, without = fit(rng), fit(rng, machine=None)
    # compliance of the coupon L / (E A), of the machine 1 / K, in a row
    in_a_row = 1 / (1 / E + 10.0 / (MACHINE * 25.0))
    assert with_it["E"] == pytest.approx(E, rel=0.005)
    assert without["E"] == pytest.approx(in_a_row, rel=0.005)
    assert in_a_row < 0.75 * E


DRAWS = 200


def test_the_true_mean_lies_in_the_band_95_times_of_100():
    """The band is two-sided Student's t, so 95 % of the draws must hold the truth: of 200, 190 +- 3.1."""
    rng = np.random.default_rng(15)
    inside = dict.fromkeys(("E", "nu", "strength"), 0)
    for _ in range(DRAWS):
        scatter = 1 + np.array([0.04, 0.05, 0.06])[:, None] * rng.standard_normal((3, 5))
        curves = [
            one(rng, E=E * e, nu=NU * n, strength=STRENGTH * s, toe=(0.02 + 0.02 * rng.random(), 0.004))
            for e, n, s in scatter.T
        ]
        made = batch(curves)
        fits = [fit_coupon(made, coupon).gives for coupon in made.coupons]
        for name, truth in (("E", E), ("nu", NU), ("strength", STRENGTH)):
            found = sample([gives[name] for gives in fits])
            inside[name] += abs(found.mean - truth) <= found.half_band
    for name, count in inside.items():
        assert 0.95 * DRAWS - 9 <= count <= 0.95 * DRAWS + 9, (name, count)


def test_a_band_of_another_kind_would_not_pass():
    """The standard deviation of the mean, taken for the band, holds the truth in 63 % of draws of five."""
    rng = np.random.default_rng(16)
    inside = 0
    for _ in range(1000):
        found = sample(1 + 0.05 * rng.standard_normal(5))
        inside += abs(found.mean - 1) <= found.cov * found.mean / np.sqrt(5)
    assert inside < 0.75 * 1000


def test_too_few_points_in_the_window_are_refused():
    strain = np.linspace(0, 0.02, 12)
    with pytest.raises(InputError, match=r"only . points of different strain lie between 0\.05 and 0\.25 % strain"):
        straight_part(strain, E * strain, window=(0.0005, 0.0025))


def test_a_toe_that_reaches_into_the_window_is_told():
    strain = np.linspace(0, 0.006, 200)
    foot = E * strain**2 / (strain + 0.002)
    made = batch([Curve(10 * foot, 25 * strain)], machine=None)
    assert any("toe reaches into it" in text for text in fit_coupon(made, made.coupons[0]).remarks)


def test_shear_from_a_diagonal_coupon():
    """Layers at ±45: with the strain across, G12 is half the stress over the difference of strains; without it,
    lamination theory gives the same."""
    (E1, E2, _), nu12, G = BASE.E, BASE.nu[0], BASE.G[0]
    E45 = modulus_at_45(BASE.E, nu12, G)
    # by hand, plane stress: Q of the layer turned by 45 degrees both ways
    q = 1 - nu12**2 * E2 / E1
    U = (E1 / q + E2 / q + 2 * nu12 * E2 / q) / 4
    nu45 = (U - G) / (U + G)
    assert 2 * G * (1 + nu45) == pytest.approx(E45, rel=1e-12)
    assert shear_modulus_of(E45, E=BASE.E, nu12=nu12) == pytest.approx(G, rel=1e-12)
    rng = np.random.default_rng(4)
    curve = pulled(rng, E=E45, strength=40.0, nu=nu45, toe=(0.03, 0.002))
    across = batch([curve] * 3, direction="45")
    gives = fit_coupon(across, across.coupons[0]).gives
    assert gives["G"] == pytest.approx(G, rel=0.01)
    # the curve goes on beyond a shear strain of 5 %, where the strength is read
    at_limit = stress_of(np.array([0.05 / (1 + nu45)]), E=E45, strength=40.0)[0] / 2
    assert gives["shear"] == pytest.approx(at_limit, rel=0.01)
    assert at_limit < 0.96 * 20
    blind = batch([Curve(curve.force, curve.path)], direction="45")
    found = samples_of([fit_batch(blind, BASE)], "dry", BASE)[("G", 0)]
    assert found.sample.mean == pytest.approx(G, rel=0.01)
    assert found.doubt  # E along and across were not measured: a doubt is left


def test_bent_strips_give_the_modulus_without_what_shear_adds():
    """A beam on two supports, F L^3 / (48 E I) + 1.2 F L / (4 G A), with E and G of the card."""
    span, b, h = 64.0, 10.0, 4.0
    force = np.linspace(0, 120, 200)
    path = force * (span**3 / (4 * E * b * h**3) + 1.2 * span / (4 * BASE.G[1] * b * h))
    coupons = tuple(Coupon(f"c{k}", Curve(force[k:], path[k:]), b, h) for k in range(3))
    made = Batch("bent", "bending", "along", "dry", 23.0, span, coupons)
    fitted = fit_batch(made, BASE)
    assert fitted.samples["E"].mean < 0.98 * E
    assert samples_of([fitted], "dry", BASE)[("E", 0)].sample.mean == pytest.approx(E, rel=1e-6)
    # F L / 4 over b h^2 / 6
    assert fitted.samples["strength"].mean == pytest.approx(120 * 16 * 6 / 160, rel=1e-9)


def test_toughness_of_a_notched_bar():
    """With a / W = 0.5 and a span of four widths the form is 2.66 times four: K = 10.65 F / (B sqrt(W)), published
    as 10.65 in the tables of ASTM E399 (f(a/W) = 2.66; from memory)."""
    curve = Curve(np.linspace(0, 200, 50), np.zeros(50))
    made = Batch("n", "notched", "up", "dry", 23.0, 64.0, (Coupon("c1", curve, 16.0, 8.0, notch=8.0),))
    gives = fit_coupon(made, made.coupons[0]).gives
    assert gives["toughness"] == pytest.approx(10.65 * 200 / (8 * 4), rel=0.002)


def test_a_coupon_between_grips_gives_as_its_sections_do():
    """Elastic stretch of the drawn 1A coupon between grips 115 mm apart, by a fine sum over its width."""
    shape = SHAPES["1A"]
    x = (np.arange(20000) + 0.5) / 20000 * 57.5
    beyond = np.clip(x - 40, 0, None)
    width = np.where(x < 40, 10, np.minimum(10 + 2 * (24 - np.sqrt(24**2 - np.minimum(beyond, 23) ** 2)), 20))
    assert shape.between_grips(115.0) == pytest.approx(2 * np.mean(10 / width) * 57.5, rel=1e-4)
    assert 95 < shape.between_grips(115.0) < 110
