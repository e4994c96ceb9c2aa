"""Reserve factors with a permanent part: exact crossings, sign of interlayer stress, no failure, failed already."""

import numpy as np
import pytest

from fem.judging import strength as s
from fem.printing.field import Strength

PRINTED = Strength(np.array([60.0, 40, 25]), np.array([70.0, 60, 60]), np.array([15.0, 16, 25]))
METAL = Strength(yield_stress=250.0)
RNG = np.random.default_rng(5)


def one(component, value):
    out = np.zeros((1, 6))
    out[0, component] = value
    return out


def interlayer_index(stress, strength=PRINTED):
    tear = np.maximum(stress[:, 2], 0) / strength.tension[2]
    return tear**2 + (stress[:, 3] / strength.shear[0]) ** 2 + (stress[:, 4] / strength.shear[1]) ** 2


def tsai_wu_index(stress, strength=PRINTED):
    linear, quadratic = s.tsai_wu_coefficients(strength)
    return stress @ linear + np.einsum("ni,ij,nj->n", stress, quadratic, stress)


def max_index(stress, strength=PRINTED):
    normal = np.maximum(stress[:, :3] / strength.tension, -stress[:, :3] / strength.compression)
    return np.concatenate([normal, np.abs(stress[:, 3:]) / strength.shear], axis=1).max(axis=1)


CRITERIA = [
    (lambda p, v: s.max_stress_reserve(p, v, PRINTED)[0], max_index),
    (lambda p, v: s.tsai_wu_reserve(p, v, PRINTED), tsai_wu_index),
    (lambda p, v: s.interlayer_reserve(p, v, PRINTED), interlayer_index),
]


@pytest.mark.parametrize(("reserve", "index"), CRITERIA, ids=["maximum_stress", "tsai_wu", "interlayer"])
def test_the_criterion_is_met_at_the_reserve_and_not_before(reserve, index):
    p = RNG.normal(size=(4000, 6)) * np.array([20, 12, 12, 6, 6, 8])
    v = RNG.normal(size=(4000, 6)) * np.array([30, 20, 10, 5, 5, 9])
    lam = reserve(p, v)
    assert not np.isnan(lam).any()
    failed = index(p) >= 1
    assert failed.any()
    assert np.array_equal(lam == 0, failed)
    met = np.isfinite(lam) & ~failed & (lam < 1e4)
    assert met.sum() > 2000
    at = index(p[met] + lam[met, None] * v[met])
    assert np.allclose(at, 1, rtol=0, atol=1e-7)
    for share in (0.25, 0.5, 0.9, 0.999):
        assert (index(p[met] + share * lam[met, None] * v[met]) < 1).all()
    endless = np.isinf(lam)
    assert (index(p[endless] + 1e5 * v[endless]) < 1).all()


@pytest.mark.parametrize(
    ("component", "value", "strength", "mode"),
    [
        (0, 1, 60, "tension along the bead"),
        (0, -1, 70, "compression along the bead"),
        (1, 1, 40, "tension across the bead"),
        (1, -1, 60, "compression across the bead"),
        (2, 1, 25, "interlayer tension"),
        (2, -1, 60, "compression in the build direction"),
        (3, 1, 15, "interlayer shear τ23"),
        (4, -1, 16, "interlayer shear τ13"),
        (5, -1, 25, "in-plane shear τ12"),
    ],
)
def test_one_stress_alone_names_its_mode(component, value, strength, mode):
    found = s.phase_reserve(one(component, 0), one(component, value), PRINTED)
    assert found.reserve == pytest.approx(strength, rel=1e-9)
    assert found.modes[found.mode[0]] == mode


def test_permanent_stress_counts_once():
    # clamped to 10 MPa of interlayer tension for good, 5 MPa grow: (25 - 10) / 5, not 25 / 15
    assert s.max_stress_reserve(one(2, 10), one(2, 5), PRINTED)[0] == pytest.approx(3.0)
    # a permanent pressure must first be undone: (25 + 10) / 5
    assert s.max_stress_reserve(one(2, -10), one(2, 5), PRINTED)[0] == pytest.approx(7.0)
    # a shear that turns round: (15 + 6) / 3
    assert s.max_stress_reserve(one(3, 6), one(3, -3), PRINTED)[0] == pytest.approx(7.0)
    # permanent part and yield: (250 - 50) / 100
    assert s.von_mises_reserve(one(0, 50), one(0, 100), 250.0) == pytest.approx(2.0)
    assert s.von_mises_reserve(one(0, 50), one(0, -100), 250.0) == pytest.approx(3.0)


class TestSignOfInterlayerStress:
    def test_tension_that_closes_before_failure(self):
        p = np.array([[0.0, 0, 10, 0, 0, 0]])
        v = np.array([[0.0, 0, -5, 5, 0, 0]])
        # closed at lam = 2, so the shear alone decides: 15 / 5
        assert s.interlayer_reserve(p, v, PRINTED) == pytest.approx(3.0)

    def test_pressure_that_opens_before_failure(self):
        p = np.array([[0.0, 0, -10, 0, 0, 0]])
        v = np.array([[0.0, 0, 10, 3, 0, 0]])
        lam = s.interlayer_reserve(p, v, PRINTED)
        # ((10 lam - 10) / 25)^2 + (3 lam / 15)^2 = 1, that is 0.2 lam^2 - 0.32 lam - 0.84 = 0
        assert lam == pytest.approx((0.32 + np.sqrt(0.32**2 + 4 * 0.2 * 0.84)) / 0.4, rel=1e-12)
        assert lam[0] < 5, "shear alone would last until 5"

    def test_large_permanent_pressure_is_no_failure(self):
        p = np.array([[0.0, 0, -50, 0, 0, 0]])
        assert s.interlayer_reserve(p, one(2, 5), PRINTED) == pytest.approx(75 / 5)

    def test_growing_pressure_never_tears(self):
        assert np.isinf(s.interlayer_reserve(one(2, 20), one(2, -5), PRINTED))[0]
        assert np.isinf(s.interlayer_reserve(one(3, 10), one(2, -5), PRINTED))[0]


def test_nothing_growing_is_unlimited_and_failed_already_is_nought():
    p = RNG.normal(size=(5, 6))
    for strength in (PRINTED, METAL):
        found = s.phase_reserve(p, np.zeros((5, 6)), strength)
        assert np.isinf(found.reserve).all()
        failed = s.phase_reserve(p + one(0, 1000.0), RNG.normal(size=(5, 6)), strength)
        assert (failed.reserve == 0).all()
    assert found.modes == ("yield (von Mises)",)


def test_failed_already_names_the_mode_that_fails():
    found = s.phase_reserve(one(2, 30.0), one(0, 1.0), PRINTED)
    assert found.modes[found.mode[0]] == "interlayer tension"


def test_the_least_criterion_decides_and_hill_only_reports():
    v = np.array([[20.0, 5, 10, 6, 6, 4]])
    found = s.phase_reserve(np.zeros((1, 6)), v, PRINTED)
    deciding = [found.criteria[k][0] for k in ("maximum_stress", "tsai_wu", "interlayer")]
    assert found.reserve[0] == min(deciding)
    assert found.reserve[0] < found.criteria["maximum_stress"][0], (
        "stresses acting together are worse than each alone"
    )
    assert found.modes[found.mode[0]] in s.PRINTED_MODES[-3:]
    low = Strength(np.array([60.0, 40, 25]), np.array([30.0, 30, 26]), np.array([15.0, 16, 25]))
    found = s.phase_reserve(np.zeros((1, 6)), one(1, 1.0), low)
    assert found.criteria["hill"][0] == pytest.approx(30)
    assert found.reserve[0] == pytest.approx(40), "Hill takes the lesser strength but does not decide"


def test_swapping_tension_and_compression_changes_the_answer():
    swapped = Strength(PRINTED.compression, PRINTED.tension, PRINTED.shear)
    v = np.array([[20.0, 5, 10, 6, 6, 4]])
    right, wrong = (s.phase_reserve(np.zeros((1, 6)), v, x).reserve[0] for x in (PRINTED, swapped))
    assert abs(wrong / right - 1) > 0.1


def test_scaling_the_growing_stress_scales_the_reserve():
    v = RNG.normal(size=(200, 6))
    zero = np.zeros((200, 6))
    once, twice = (s.phase_reserve(zero, k * v, PRINTED).reserve for k in (1.0, 2.0))
    assert np.allclose(once, 2 * twice, rtol=1e-9)


def test_wrong_shapes_and_wrong_kinds_are_refused():
    with pytest.raises(ValueError, match=r"\(n, 6\)"):
        s.von_mises_reserve(np.zeros((2, 5)), np.zeros((2, 5)), 100.0)
    with pytest.raises(ValueError, match="von Mises"):
        s.max_stress_reserve(np.zeros((1, 6)), np.zeros((1, 6)), METAL)


def test_pressed_layers_shear_and_are_not_said_to_tear() -> None:
    # Equal in tension and compression, with a stress along the bead that lifts Tsai-Wu above the interface's own
    strength = s.Strength(
        tension=np.array([60.0, 30.0, 20.0]),
        compression=np.array([60.0, 30.0, 20.0]),
        shear=np.array([12.0, 15.0, 22.0]),
    )
    pulled = np.array([[7.5, 0.0, 5.0, 9.0, 9.0, 0.0]])
    pressed = pulled * np.array([1.0, 1.0, -1.0, 1.0, 1.0, 1.0])
    names = []
    for v in (pressed, pulled):
        found = s.phase_reserve(np.zeros((1, 6)), v, strength)
        names.append(found.modes[found.mode[0]])
    assert names[1] == "interlayer tension and shear combined"
    assert "tension" not in names[0]
