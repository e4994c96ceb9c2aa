"""Strength criteria against worked textbook examples and closed forms."""

import numpy as np
import pytest

from fem.criteria import strength as s
from fem.criteria.reserve import phase_reserve
from fem.criteria.strength import Strength
from fem.printing.plan import in_layer_rotation
from fem.tensors import pack_stress, stress_rotation

ZERO = np.zeros((1, 6))


def reserve_by(name, stress, strength):
    """Reserve (n,) of stresses that grow from nothing, by one criterion."""
    return phase_reserve(ZERO, stress, strength).criteria[name]


def layer(xt, xc, yt, yc, shear):
    """A layer whose out-of-plane strengths play no part in plane stress."""
    return Strength(np.array([xt, yt, 1e6]), np.array([xc, yc, 1e6]), np.array([1e6, 1e6, shear]))


T300 = layer(1500.0, 1500.0, 40.0, 246.0, 68.0)
GLASS = layer(1080.0, 620.0, 39.0, 128.0, 89.0)
STRESS = pack_stress(np.array([[10.0, 2.0, -1.0], [2.0, 5.0, 3.0], [-1.0, 3.0, 4.0]]))[None]


def hill_strength(x, y, z, shear=(15.0, 16.0, 25.0)):
    return Strength(np.array([x, y, z]), np.array([x, y, z]), np.array(shear))


class TestLayerAt60Degrees:
    """Source: A. K. Kaw, Mechanics of Composite Materials, 2nd ed. (2006), Examples 2.13 to 2.19, T300/5208."""

    local = stress_rotation(in_layer_rotation(60)) @ pack_stress([[2.0, 4.0, 0.0], [4.0, -3.0, 0.0], [0.0, 0.0, 0.0]])

    def test_stress_in_bead_axes(self):
        assert self.local[[0, 1, 5]] == pytest.approx((1.714102, -2.714102, -4.165064), rel=1e-6)

    def test_maximum_stress(self):
        assert reserve_by("maximum_stress", self.local, T300) == pytest.approx(16.3263, rel=1e-5)
        found = phase_reserve(ZERO, self.local, T300)
        assert found.modes[found.mode[0]] == "in-plane shear τ12"

    def test_tsai_wu(self):
        assert reserve_by("tsai_wu", self.local, T300) == pytest.approx(22.3887, rel=1e-5)
        assert s.tsai_wu_coefficients(T300)[1][0, 1] == pytest.approx(-3.36032e-6, rel=1e-5)

    def test_the_raster_turned_by_a_right_angle_fails_earlier(self):
        wrong = stress_rotation(in_layer_rotation(150)) @ pack_stress([[2, 4, 0], [4, -3, 0], [0, 0, 0]])
        assert reserve_by("tsai_wu", wrong, T300)[0] != pytest.approx(22.3887, rel=0.05)


# Source: S. W. Tsai and E. M. Wu, J. Compos. Mater. 5 (1971) 58, F12 = -1/2 sqrt(F11 F22), and maximum stress,
# evaluated for E-glass/epoxy with strengths 1080/620/39/128/89 MPa; angle, maximum stress, Tsai-Wu [MPa]
@pytest.mark.parametrize(
    ("angle", "single", "tsai_wu"),
    [
        (0, 1080, 1080),
        (10, 520.437, 471.399),
        (15, 356, 303.880),
        (30, 156, 123.323),
        (45, 78, 70.9916),
        (60, 52, 50.2641),
        (90, 39, 39),
    ],
)
def test_off_axis_strength(angle, single, tsai_wu):
    local = stress_rotation(in_layer_rotation(angle)) @ np.array([1.0, 0, 0, 0, 0, 0])
    assert reserve_by("maximum_stress", local, GLASS) == pytest.approx(single, rel=2e-6)
    assert reserve_by("tsai_wu", local, GLASS) == pytest.approx(tsai_wu, rel=5e-6)


def test_von_mises():
    # Source: R. von Mises (1913); principal stresses 10.702037, 7.314287, 0.983677 give 8.544004 MPa
    assert 60 / reserve_by("von_mises", STRESS, Strength(yield_stress=60.0)) == pytest.approx(8.544004, rel=1e-7)


class TestHill:
    """Source: R. Hill, Proc. R. Soc. A 193 (1948) 281, evaluated in closed form."""

    def test_equal_strengths_give_von_mises(self):
        even = hill_strength(60.0, 60.0, 60.0, np.full(3, 60 / np.sqrt(3)))
        assert 1 / reserve_by("hill", STRESS, even) == pytest.approx(0.1424001, rel=1e-6)

    def test_unequal_strengths(self):
        unequal = hill_strength(60.0, 40.0, 25.0)
        assert s.hill_coefficients(unequal) == pytest.approx((9.73611e-4, 6.26389e-4, -3.48611e-4), rel=1e-5)
        assert 1 / reserve_by("hill", STRESS, unequal) == pytest.approx(0.2551756, rel=1e-6)
        assert reserve_by("hill", STRESS, unequal) == pytest.approx(3.918870, rel=1e-6)
        swapped = hill_strength(60.0, 25.0, 40.0)
        assert reserve_by("hill", STRESS, swapped) != pytest.approx(3.918870, rel=0.02)

    def test_strengths_for_which_it_is_not_positive_are_refused(self):
        strong = hill_strength(60.0, 35.0, 20.0)
        f, g, h = s.hill_coefficients(strong)
        x, y = -82.39, 56.67
        assert f * y**2 + g * x**2 + h * (x - y) ** 2 == pytest.approx(-2.06, abs=0.01), "infinitely strong there"
        assert not s.hill_admissible(strong)
        assert s.hill_admissible(hill_strength(60.0, 40.0, 25.0))
        assert reserve_by("hill", STRESS, strong) is None


class TestTsaiWuInSpace:
    """Source: S. W. Tsai and E. M. Wu (1971), all Fij = -1/2 sqrt(Fii Fjj), evaluated in closed form."""

    printed = Strength(np.array([60.0, 35, 20]), np.array([70.0, 60, 60]), np.array([15.0, 16, 25]))

    def test_reserve(self):
        linear, quadratic = s.tsai_wu_coefficients(self.printed)
        assert float(STRESS[0] @ quadratic @ STRESS[0]) == pytest.approx(0.05210176, rel=1e-6)
        assert float(linear @ STRESS[0]) == pytest.approx(0.21666667, abs=1e-7)
        assert reserve_by("tsai_wu", STRESS, self.printed) == pytest.approx(2.770122, rel=1e-6)

    def test_where_the_quadratic_term_vanishes(self):
        null = np.array([64.80741, 45.82576, 34.64102, 0, 0, 0])
        linear, quadratic = s.tsai_wu_coefficients(self.printed)
        assert abs(null @ quadratic @ null) < 1e-6 * abs(linear @ null)
        assert reserve_by("tsai_wu", null, self.printed) == pytest.approx(0.539215, rel=1e-6)
        exact = np.array([*np.sqrt(np.array([60.0, 35, 20]) * np.array([70.0, 60, 60])), 0, 0, 0])
        assert reserve_by("tsai_wu", exact, self.printed) == pytest.approx(1 / (linear @ exact), rel=1e-9)
        assert reserve_by("tsai_wu", -exact, self.printed)[0] > 1e6, "all-round compression is not failed by Tsai-Wu"

    @pytest.mark.parametrize("tilt", [1e-3, 1e-6, 1e-9, 1e-12, 0.0, -1e-12, -1e-9, -1e-6])
    def test_stays_a_number_around_there(self, tilt):
        exact = np.array([*np.sqrt(np.array([60.0, 35, 20]) * np.array([70.0, 60, 60])), 0, 0, 0])
        near = exact * (1 + tilt * np.array([1, -2, 3, 0, 0, 0]))
        found = reserve_by("tsai_wu", np.array([near, -near]), self.printed)
        assert not np.isnan(found).any()
        assert found[0] == pytest.approx(0.539215, rel=3e-2)


class TestInterlayer:
    """Source: Z. Hashin, J. Appl. Mech. 47 (1980) 329, on the layer interface; closed form."""

    strength = Strength(np.array([60.0, 35, 20]), np.array([70.0, 60, 60]), np.array([15.0, 15, 25]))

    def test_flat_interface(self):
        assert 1 / reserve_by("interlayer", STRESS, self.strength) ** 2 == pytest.approx(0.0844444, rel=1e-6)

    def test_tilted_interface(self):
        # normal (0.5, 0, 0.866025): traction (4.133975, 3.598076, 2.964102), normal part 4.633975, shear 4.165102
        n = np.array([0.5, 0, np.sqrt(3) / 2])
        axes = np.array([np.cross([0, 1, 0], n), [0, 1, 0], n])
        local = stress_rotation(axes) @ STRESS[0]
        assert local[2] == pytest.approx(4.633975, rel=1e-6)
        assert np.hypot(local[3], local[4]) == pytest.approx(4.165102, rel=1e-6)
        expected = (4.633975 / 20) ** 2 + (4.165102 / 15) ** 2
        assert 1 / reserve_by("interlayer", local, self.strength) ** 2 == pytest.approx(expected, rel=1e-6)

    def test_compression_does_not_tear(self):
        pressed = STRESS[0] * np.array([1, 1, -1, 1, 1, 1])
        assert reserve_by("interlayer", pressed, self.strength) == pytest.approx(15 / np.sqrt(10), rel=1e-9)
