"""Which elastic constants a material can have, and the stiffness they give."""

import numpy as np
import pytest

from fem.tensors import broken_condition, orthotropic_compliance, orthotropic_stiffness

E = (6000.0, 3000.0, 2000.0)
G = (1200.0, 800.0, 700.0)

# Sources: B. M. Lempriere, AIAA Journal 6 (1968) 2226;
# R. M. Jones, Mechanics of Composite Materials, 2nd ed. (1999), section 2.4


def test_a_possible_material_is_accepted():
    assert broken_condition(E, (0.35, 0.40, 0.45), G) == ""


@pytest.mark.parametrize(
    ("nu", "words"),
    [
        ((1.3, 0.4, 0.45), "-0.1893"),
        ((0.9, 1.2, 0.6), "-0.557"),
        ((0.35, 0.4, 1.3), "nu23"),
        ((1.5, 0.4, 0.45), "1.414"),
        ((0.35, 1.8, 0.45), "1.732"),
    ],
)
def test_an_impossible_material_is_refused_and_the_condition_named(nu, words):
    assert words in broken_condition(E, nu, G)
    assert np.linalg.eigvalsh(orthotropic_compliance(E, nu, G)).min() < 0


def test_the_determinant_of_the_accepted_set():
    # Jones (1999) eq. 2.44: Delta = 0.7084167
    normal = orthotropic_compliance(E, (0.35, 0.40, 0.45), G)[:3, :3]
    assert np.linalg.det(normal) * np.prod(E) == pytest.approx(0.7084167, rel=1e-7)


def test_stiffness_of_the_accepted_set():
    # closed form, Jones (1999) eq. 2.39; shears in the order 23, 13, 12
    c = orthotropic_stiffness(E, (0.35, 0.40, 0.45), G)
    assert (c[0, 0], c[0, 1], c[0, 2]) == pytest.approx((7326.196918, 1990.354076, 1573.932479), rel=1e-9)
    assert (c[1, 1], c[1, 2], c[2, 2]) == pytest.approx((4008.940125, 1468.062581, 2650.276438), rel=1e-9)
    assert (c[3, 3], c[4, 4], c[5, 5]) == pytest.approx((700, 800, 1200), rel=1e-12)
    swapped = orthotropic_stiffness(E, (0.40, 0.35, 0.45), G)
    assert swapped[0, 1] != pytest.approx(1990.354076, rel=0.01)
