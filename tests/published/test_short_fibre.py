"""Short-fibre micromechanics: what the rows of evidence do not tell, and answers that must miss them; GPa."""

import numpy as np
import pytest

from fem.evidence.grains import (
    AVERAGES,
    CARBON,
    E_GLASS,
    GLASS,
    PA12,
    POLYCARBONATE,
    averaged,
    constants,
    moments,
)
from fem.printing.fibre import Fibre, Resin, eshelby_tensor, grain_expansion, mix, mori_tanaka


@pytest.mark.parametrize(("model", "aspect_ratio", "expected"), GLASS)
def test_fibres_of_another_length_are_told_apart(model, aspect_ratio, expected):
    wrong = constants(model, POLYCARBONATE, E_GLASS, 0.20, 20)
    assert wrong["E1"] != pytest.approx(expected["E1"], rel=0.05)


def test_expansion_is_not_the_mean_over_the_volume():
    grain = mori_tanaka(POLYCARBONATE, E_GLASS, share=0.20, aspect_ratio=100)
    got = grain_expansion(grain, POLYCARBONATE, E_GLASS, share=0.20) * 1e6
    assert got[2] == pytest.approx(got[1], rel=1e-9) and got[3:] == pytest.approx(0, abs=1e-9)
    assert abs(0.2 * 4.9 + 0.8 * 65 - got[1]) > 5


def test_share_of_the_volume():
    # PA6 with 20 % by mass of carbon, by the rule of mixtures
    assert mix(0.20, fibre_density=1.80, resin_density=1.14)[0] == pytest.approx(0.13669, abs=5e-6)
    assert mix(0.40, fibre_density=0.92, resin_density=2.55)[0] != pytest.approx(0.194, rel=0.1)


def test_longer_grains_leave_the_lower_bound():
    stiff = Fibre.isotropic(E=230e3, nu=0.2, density=1.0)
    sphere, longer = (constants(mori_tanaka, Resin(1400, 0.38, 1.0), stiff, 0.10, ratio) for ratio in (1.0, 1.5))
    assert sphere["E3"] == pytest.approx(sphere["E1"], rel=1e-6)
    assert sphere["G23"] == pytest.approx(1728.36 / 2 / 1.37077, rel=1e-5)
    assert longer["E1"] > 1750


def long_cylinders(resin, fibre, v):
    """The exact forms for long fibres: R. Hill, J. Mech. Phys. Solids 12 (1964) 199 (E1, nu12); Z. Hashin, J. Appl.
    Mech. 46 (1979) 543 (plane-strain bulk and shear moduli, lower bounds)."""
    gm = resin.E / 2 / (1 + resin.nu)
    km = gm / (1 - 2 * resin.nu)
    gf = fibre.G12
    kf = 1 / (2 * (1 - fibre.nu23) / fibre.E2 - 4 * fibre.nu12**2 / fibre.E1)
    w = 1 - v
    holding = v / km + w / kf + 1 / gm
    slip = fibre.nu12 - resin.nu
    e1 = v * fibre.E1 + w * resin.E + 4 * v * w * slip**2 / holding
    nu12 = v * fibre.nu12 + w * resin.nu + v * w * slip * (1 / km - 1 / kf) / holding
    g12 = gm * (gf * (1 + v) + gm * w) / (gf * w + gm * (1 + v))
    k23 = km + v / (1 / (kf - km) + w / (km + gm))
    g23 = gm + v / (1 / (fibre.G23 - gm) + w * (km + 2 * gm) / (2 * gm * (km + gm)))
    e2 = 4 / (1 / g23 + 1 / k23 + 4 * nu12**2 / e1)
    return {"E1": e1, "E2": e2, "nu12": nu12, "G12": g12, "G23": g23}


@pytest.mark.parametrize("share", [0.05, 0.3, 0.6])
def test_long_fibres_unlike_along_and_across(share):
    carbon = Fibre(E1=230, E2=15, nu12=0.2, nu23=0.3, G12=20, density=1.8)
    expected = long_cylinders(PA12, carbon, share)
    got = constants(mori_tanaka, PA12, carbon, share, 3e4)
    assert {k: got[k] for k in expected} == pytest.approx(expected, rel=2e-5)
    alike = constants(mori_tanaka, PA12, CARBON, share, 3e4)
    assert alike["E2"] > 1.005 * expected["E2"], "a fibre as stiff across as along is told apart"
    assert alike["G12"] > 1.003 * expected["G12"]


@pytest.mark.parametrize("nu", [0.2, 0.38, 0.45])
def test_the_tensor_of_eshelby_at_its_two_ends(nu):
    # J. D. Eshelby, Proc. R. Soc. A 241 (1957) 376: the sphere, and the long cylinder (T. Mura, Micromechanics of
    # Defects in Solids (1987), eq. 11.22)
    d = 15 * (1 - nu)
    sphere = np.full((3, 3), (5 * nu - 1) / d) + np.eye(3) * (8 - 10 * nu) / d
    shear = 2 * (4 - 5 * nu) / d
    for ratio in (1.0, 1.0005):
        got = eshelby_tensor(nu, aspect_ratio=ratio)
        assert np.allclose(got[:3, :3], sphere, atol=2e-4)
        assert np.allclose(np.diag(got)[3:], shear, atol=2e-4)
    c = 8 * (1 - nu)
    long = eshelby_tensor(nu, aspect_ratio=1e4)
    assert long[0, 0] == pytest.approx(0, abs=1e-6) and long[0, 1] == pytest.approx(0, abs=1e-6)
    assert long[1, 1] == pytest.approx((5 - 4 * nu) / c, abs=1e-6)
    assert long[1, 2] == pytest.approx((4 * nu - 1) / c, abs=1e-6)
    assert long[1, 0] == pytest.approx(nu / (2 * (1 - nu)), abs=1e-6)
    assert long[3, 3] == pytest.approx(2 * (3 - 4 * nu) / c, abs=1e-6)
    assert long[5, 5] == pytest.approx(0.5, abs=1e-6)


@pytest.mark.parametrize("spread", AVERAGES)
def test_moments_agree_and_other_directions_are_told_apart(spread):
    (second, fourth), expected = AVERAGES[spread]
    assert np.allclose(np.einsum("ijkk->ij", fourth), second, atol=1e-12)
    assert averaged(*moments(0.6, 0.3, 0.1))["E1"] != pytest.approx(expected["E1"], rel=0.02)
