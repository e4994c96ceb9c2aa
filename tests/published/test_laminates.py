"""Off-axis and laminate constants: what the rows of evidence do not tell, and answers that must miss them."""

import numpy as np
import pytest

from fem.evidence.laminates import OFF_AXIS, PRINTED, SOLID, T300, in_plane, stack, turned
from fem.printing.layers import laminate
from fem.tensors import engineering_constants, isotropic_stiffness


def test_a_layer_of_other_fibres_is_told_apart():
    # With E2 = 8.784383 GPa in place of 7.226277 the worked layer at 20 degrees has Q22 = 10.532679, not 9.222039
    other = ((133.44, 8.784383, 8.784383), (0.26, 0.26, 0.4), (3.254202, 3.254202, 8.784383 / 2.8))
    q = in_plane(turned(other, 20))
    found = (q[0, 0], q[0, 1], q[0, 2], q[1, 1], q[1, 2], q[2, 2])
    expected = (106.451271, 15.232238, 35.540328, 10.532679, 4.702299, 16.192292)
    assert found == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize(("name", "material", "angle", "expected"), OFF_AXIS)
def test_layers_turned_too_far_miss(name, material, angle, expected):
    s = np.linalg.inv(turned(material, angle + 2))
    assert abs(1 / s[0, 0] / expected[0] - 1) > 0.01


def test_a_raster_turned_the_other_way_is_told_apart():
    right, wrong = (np.linalg.inv(turned(T300, a)) for a in (30, -30))
    assert right[0, 0] == pytest.approx(wrong[0, 0])
    assert right[0, 5] == pytest.approx(-wrong[0, 5])
    assert abs(np.linalg.inv(turned(T300, 30 + 90))[0, 0] / right[0, 0] - 1) > 0.5


# Source: classical lamination theory, Jones (1999) section 4.3, in-plane Ex, Gxy, nuxy [GPa]
IN_PLANE_CONSTANTS = [
    (T300, (0, 90), (95.9913, 7.17, 0.030152)),
    (T300, (45, -45), (25.05057, 46.59086, 0.746902)),
    (T300, (0, 45, -45, 90), (69.67574, 26.88043, 0.296031)),
    (T300, (0, 60, -60), (69.67574, 26.88043, 0.296031)),
    (PRINTED, (0, 90), (4.53262, 1.2, 0.233333)),
    (PRINTED, (45, -45), (3.41407, 1.83755, 0.42253)),
    (PRINTED, (0, 45, -45, 90), (4.01319, 1.51877, 0.32119)),
]


@pytest.mark.parametrize(("material", "angles", "expected"), IN_PLANE_CONSTANTS)
def test_in_plane_constants_of_laminates(material, angles, expected):
    k = engineering_constants(stack(material, angles).stiffness)
    assert (k["E1"], k["G12"], k["nu12"]) == pytest.approx(expected, rel=2e-5)


@pytest.mark.parametrize(("name", "material", "angles", "expected"), SOLID)
def test_averaged_stiffness_is_too_stiff_between_the_layers(name, material, angles, expected):
    k = engineering_constants(stack(material, angles).stiffness)
    assert k["E1"] == pytest.approx(k["E2"]), "each of these stacks is the same along x and y"
    mean = np.mean([turned(material, a) for a in angles], axis=0)
    assert engineering_constants(mean)["G13"] > 1.001 * k["G13"]


def test_engineering_constants_of_isotropic_layers():
    # Source: G. E. Backus, J. Geophys. Res. 67 (1962) 4427, layers (E, nu) = (4, 0.35) and (1, 0.30) of equal share
    k = engineering_constants(laminate([isotropic_stiffness(4, 0.35), isotropic_stiffness(1, 0.30)]).stiffness)
    assert (k["E1"], k["E3"], k["nu12"], k["nu13"]) == pytest.approx(
        (2.501107, 1.746283, 0.340288, 0.318982), rel=3e-6
    )


def test_swapped_axes_do_not_pass():
    (e1, e2, e3), nu, g = PRINTED
    swapped = ((e1, e3, e2), nu, g)
    assert engineering_constants(stack(swapped, (0, 90)).stiffness)["E3"] != pytest.approx(2.046083, rel=0.1)
