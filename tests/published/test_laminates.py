"""Off-axis and laminate constants against closed forms and published numbers."""

import numpy as np
import pytest

from fem.printing.layers import IN_PLANE, OUT_OF_PLANE, laminate
from fem.printing.plan import in_layer_rotation
from fem.tensors import engineering_constants, isotropic_stiffness, orthotropic_stiffness, rotate_stiffness

# E1, E2, E3, nu12, nu13, nu23, G12, G13, G23 [GPa]
# T300/5208: S. W. Tsai and H. T. Hahn, Introduction to Composite Materials (1980); taken as transversely isotropic
T300 = ((181.0, 10.3, 10.3), (0.28, 0.28, 0.55), (7.17, 7.17, 10.3 / 3.1))
PRINTED = ((6.0, 3.0, 2.0), (0.35, 0.40, 0.45), (1.2, 0.8, 0.7))


def turned(material, angle):
    return rotate_stiffness(orthotropic_stiffness(*material), in_layer_rotation(angle))


def stack(material, angles):
    return laminate([turned(material, a) for a in angles])


def in_plane(stiffness):
    """Plane-stress stiffness (3, 3), order 11 22 12: the out-of-plane stresses are set to zero."""
    c = np.asarray(stiffness)
    i, o = IN_PLANE, OUT_OF_PLANE
    return c[np.ix_(i, i)] - c[np.ix_(i, o)] @ np.linalg.solve(c[np.ix_(o, o)], c[np.ix_(o, i)])


# Source: R. M. Jones, Mechanics of Composite Materials, 2nd ed. (1999), eqs 2.97; Ex, Ey, Gxy, nuxy, eta = S16/S11
OFF_AXIS = [
    (T300, 15, (72.62888, 10.74528, 7.63190, 0.26562, -2.19344)),
    (T300, 30, (28.78011, 12.41812, 8.76062, 0.22672, -1.35145)),
    (T300, 45, (16.73722, 16.73722, 9.46019, 0.16717, -0.76625)),
    (T300, 60, (12.41812, 28.78011, 8.76062, 0.09783, -0.40157)),
    (PRINTED, 15, (5.22540, 2.97876, 1.28342, 0.37558, -0.46285)),
    (PRINTED, 30, (4.01674, 3.00940, 1.49068, 0.39749, -0.47831)),
    (PRINTED, 45, (3.28767, 3.28767, 1.62162, 0.36986, -0.27397)),
]


@pytest.mark.parametrize(("material", "angle", "expected"), OFF_AXIS)
def test_off_axis_constants(material, angle, expected):
    s = np.linalg.inv(turned(material, angle))
    found = (1 / s[0, 0], 1 / s[1, 1], 1 / s[5, 5], -s[0, 1] / s[0, 0], s[0, 5] / s[0, 0])
    assert found == pytest.approx(expected, rel=5e-5)


def test_off_axis_compliance_of_t300_at_60_degrees():
    # Source: A. K. Kaw, Mechanics of Composite Materials, 2nd ed. (2006), chapter 2: 0.8053e-10 1/Pa
    assert np.linalg.inv(turned(T300, 60))[0, 0] == pytest.approx(0.08053, rel=1e-4)


def test_a_raster_turned_the_other_way_is_told_apart():
    right, wrong = (np.linalg.inv(turned(T300, a)) for a in (30, -30))
    assert right[0, 0] == pytest.approx(wrong[0, 0])
    assert right[0, 5] == pytest.approx(-wrong[0, 5])
    assert abs(np.linalg.inv(turned(T300, 30 + 90))[0, 0] / right[0, 0] - 1) > 0.5


# Sources: worked example of classical lamination theory, carbon/epoxy by the rule of mixtures (Vf = 0.6)
# with E1 = 133.44, E2 = 7.226277 (or 8.784383), nu12 = 0.26, G12 = 3.254202 GPa; formula Jones (1999) eq. 2.85
@pytest.mark.parametrize(
    ("e2", "expected"),
    [
        (7.226277, (106.262605, 14.734973, 35.669801, 9.222039, 5.043551, 16.103440)),
        (8.784383, (106.451271, 15.232238, 35.540328, 10.532679, 4.702299, 16.192292)),
    ],
)
def test_plane_stress_stiffness_of_a_layer_at_20_degrees(e2, expected):
    material = ((133.44, e2, e2), (0.26, 0.26, 0.4), (3.254202, 3.254202, e2 / 2.8))
    q = in_plane(turned(material, 20))
    assert (q[0, 0], q[0, 1], q[0, 2], q[1, 1], q[1, 2], q[2, 2]) == pytest.approx(expected, rel=1e-5)


def test_stretching_stiffness_of_a_textbook_laminate():
    # Source: A. K. Kaw, Mechanics of Composite Materials, 2nd ed. (2006), Example 4.2: [0/30/-45], 5 mm each; [Pa m]
    a = in_plane(stack(T300, (0, 30, -45)).stiffness) * 1e9 * 0.015
    expected = (1.739241e9, 3.883864e8, 5.663373e7, 4.532535e8, -1.140636e8, 4.524825e8)
    assert (a[0, 0], a[0, 1], a[0, 2], a[1, 1], a[1, 2], a[2, 2]) == pytest.approx(expected, rel=1e-5)


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


# Sources: T. W. Chou, J. Carleone, C. M. Hsu, J. Compos. Mater. 6 (1972) 80; C. T. Sun, S. Li, ibid. 22 (1988) 629;
# closed form evaluated: Ex, Ez, Gxz, Gxy, nuxy, nuxz
SOLID_CONSTANTS = [
    (PRINTED, (0, 90), (4.532623, 2.046083, 0.746667, 1.2, 0.23333, 0.43999)),
    (PRINTED, (45, -45), (3.414072, 2.046083, 0.746667, 1.837550, 0.42253, 0.33141)),
    (PRINTED, (0, 45, -45, 90), (4.013189, 2.046083, 0.746667, 1.518775, 0.32119, 0.38957)),
    (T300, (0, 90), (95.9913, 13.95609, 4.54090, 7.17, 0.030152, 0.48148)),
    (T300, (0, 45, -45, 90), (69.67574, 13.95609, 4.54090, 26.88043, 0.296031, 0.34948)),
]


@pytest.mark.parametrize(("material", "angles", "expected"), SOLID_CONSTANTS)
def test_three_dimensional_lamination(material, angles, expected):
    k = engineering_constants(stack(material, angles).stiffness)
    found = (k["E1"], k["E3"], k["G13"], k["G12"], k["nu12"], k["nu13"])
    assert found == pytest.approx(expected, rel=3e-5)
    assert k["E1"] == pytest.approx(k["E2"]), "each of these stacks is the same along x and y"
    mean = np.mean([turned(material, a) for a in angles], axis=0)
    assert engineering_constants(mean)["G13"] > 1.001 * k["G13"], "averaged stiffness is too stiff between the layers"


def test_isotropic_layers():
    # Source: G. E. Backus, J. Geophys. Res. 67 (1962) 4427, layers (E, nu) = (4, 0.35) and (1, 0.30) of equal share
    c = laminate([isotropic_stiffness(4, 0.35), isotropic_stiffness(1, 0.30)]).stiffness
    expected = (3.348976, 1.482879, 1.076124, 2.225619, 0.610687, 0.933048)
    assert (c[0, 0], c[0, 1], c[0, 2], c[2, 2], c[3, 3], c[5, 5]) == pytest.approx(expected, rel=1e-6)
    k = engineering_constants(c)
    assert (k["E1"], k["E3"], k["nu12"], k["nu13"]) == pytest.approx(
        (2.501107, 1.746283, 0.340288, 0.318982), rel=3e-6
    )


def test_swapped_axes_do_not_pass():
    (e1, e2, e3), nu, g = PRINTED
    swapped = ((e1, e3, e2), nu, g)
    assert engineering_constants(stack(swapped, (0, 90)).stiffness)["E3"] != pytest.approx(2.046083, rel=0.1)
