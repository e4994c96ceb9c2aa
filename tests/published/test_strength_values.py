"""Strength criteria: their terms and modes, what they refuse, and stresses that must miss the rows of evidence."""

import numpy as np
import pytest

from fem.criteria import strength as s
from fem.criteria.reserve import phase_reserve
from fem.criteria.strength import Strength
from fem.evidence.limits import PRINTED, STRESS, T300, ZERO, hill_strength, loaded_layer
from fem.tensors import stress_rotation


def reserve_by(name, stress, strength):
    """Reserve (n,) of stresses that grow from nothing, by one criterion."""
    return phase_reserve(ZERO, stress, strength).criteria[name]


class TestLayerAt60Degrees:
    """Source: A. K. Kaw, Mechanics of Composite Materials, 2nd ed. (2006), Examples 2.13 to 2.19, T300/5208."""

    local = loaded_layer(60)

    def test_stress_in_bead_axes(self):
        assert self.local[[0, 1, 5]] == pytest.approx((1.714102, -2.714102, -4.165064), rel=1e-6)

    def test_mode(self):
        found = phase_reserve(ZERO, self.local, T300)
        assert found.modes[found.mode[0]] == "in-plane shear τ12"

    def test_interaction_of_tsai_and_wu(self):
        assert s.tsai_wu_coefficients(T300)[1][0, 1] == pytest.approx(-3.36032e-6, rel=1e-5)

    def test_the_raster_turned_by_a_right_angle_fails_earlier(self):
        assert reserve_by("tsai_wu", loaded_layer(150), T300)[0] != pytest.approx(22.3887, rel=0.05)


class TestHill:
    """Source: R. Hill, Proc. R. Soc. A 193 (1948) 281, evaluated in closed form."""

    def test_equal_strengths_give_von_mises(self):
        even = hill_strength(60.0, 60.0, 60.0, np.full(3, 60 / np.sqrt(3)))
        assert 1 / reserve_by("hill", STRESS, even) == pytest.approx(0.1424001, rel=1e-6)

    def test_unequal_strengths(self):
        unequal = hill_strength(60.0, 40.0, 25.0)
        assert s.hill_coefficients(unequal) == pytest.approx((9.73611e-4, 6.26389e-4, -3.48611e-4), rel=1e-5)
        assert 1 / reserve_by("hill", STRESS, unequal) == pytest.approx(0.2551756, rel=1e-6)
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

    printed = PRINTED

    def test_terms(self):
        linear, quadratic = s.tsai_wu_coefficients(self.printed)
        assert float(STRESS[0] @ quadratic @ STRESS[0]) == pytest.approx(0.05210176, rel=1e-6)
        assert float(linear @ STRESS[0]) == pytest.approx(0.21666667, abs=1e-7)

    def test_where_the_quadratic_term_vanishes(self):
        null = np.array([64.80741, 45.82576, 34.64102, 0, 0, 0])
        linear, quadratic = s.tsai_wu_coefficients(self.printed)
        assert abs(null @ quadratic @ null) < 1e-6 * abs(linear @ null)
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
