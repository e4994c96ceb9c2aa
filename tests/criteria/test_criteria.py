"""Reserve factors with a permanent part: exact crossings, sign of interlayer stress, no failure, failed already."""

import numpy as np
import pytest
from scipy.optimize import brentq

from fem.criteria import strength as s
from fem.criteria.reserve import exceeded, phase_reserve
from fem.criteria.strength import Strength, WallBuckling
from fem.tensors import von_mises

PRINTED = Strength(np.array([60.0, 40, 25]), np.array([70.0, 60, 60]), np.array([15.0, 16, 25]))
METAL = Strength(yield_stress=250.0)
WALL = WallBuckling(along=8.0, up=5.0, shear=6.0, mode="wall between two joints, half a wave")
RNG = np.random.default_rng(5)


def one(component, value):
    out = np.zeros((1, 6))
    out[0, component] = value
    return out


def reserve_by(name, p, v, strength=PRINTED):
    """Reserve (n,) by one criterion."""
    return phase_reserve(p, v, strength).criteria[name]


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
    ("maximum_stress", max_index),
    ("tsai_wu", tsai_wu_index),
    ("interlayer", interlayer_index),
]


@pytest.mark.parametrize(("name", "index"), CRITERIA)
def test_the_criterion_is_met_at_the_reserve_and_not_before(name, index):
    p = RNG.normal(size=(4000, 6)) * np.array([20, 12, 12, 6, 6, 8])
    v = RNG.normal(size=(4000, 6)) * np.array([30, 20, 10, 5, 5, 9])
    lam = reserve_by(name, p, v)
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


def hill_index(stress):
    """Source: R. Hill, Proc. R. Soc. A 193 (1948) 281, written out."""
    x, y, z = np.minimum(PRINTED.tension, PRINTED.compression) ** -2.0
    f, g, h = (y + z - x) / 2, (z + x - y) / 2, (x + y - z) / 2
    one, two, three = stress[:, 0], stress[:, 1], stress[:, 2]
    normal = f * (two - three) ** 2 + g * (three - one) ** 2 + h * (one - two) ** 2
    return normal + ((stress[:, 3:] / PRINTED.shear) ** 2).sum(axis=1)


def von_mises_index(stress):
    return (von_mises(stress) / METAL.yield_stress) ** 2


def buckling_index(stress):
    pressed = np.maximum(-stress[:, [0, 2]], 0) / [WALL.along, WALL.up]
    return pressed.sum(axis=1) + (stress[:, 4] / WALL.shear) ** 2


EVERY = [
    *((name, PRINTED, index, 8.0) for name, index in CRITERIA),
    ("hill", PRINTED, hill_index, 8.0),
    ("von_mises", METAL, von_mises_index, 60.0),
    ("wall_buckling", WALL, buckling_index, 2.0),
]


@pytest.mark.parametrize(("name", "strength", "index", "size"), EVERY, ids=[each[0] for each in EVERY])
def test_a_root_finder_that_knows_no_formula_finds_the_same(name, strength, index, size):
    """The second way: scipy's Brent on the criterion as it is written, from a permanent stress inside."""
    p, v = RNG.normal(size=(400, 6)) * size * 0.5, RNG.normal(size=(400, 6)) * size
    lam = reserve_by(name, p, v, strength)
    wrong = reserve_by(name, p * 0.9, v, strength)
    seen = 0
    for k in range(len(p)):

        def over(factor, k=k):
            return float(index((p[k] + factor * v[k])[None])[0] - 1)

        if over(0) >= 0:
            assert lam[k] == 0
        elif over(1e4) < 0:
            assert lam[k] > 1e4
        else:
            seen += 1
            exact = brentq(over, 0, 1e4, xtol=1e-13, rtol=1e-14, maxiter=500)
            assert lam[k] == pytest.approx(exact, rel=1e-8)
            assert (
                exceeded((p + 1.0001 * exact * v)[k], strength)[name]
                and not (exceeded((p + 0.9999 * exact * v)[k], strength)[name])
            )
    assert seen > 150
    some = np.isfinite(lam) & (lam > 0)
    assert not np.allclose(lam[some], wrong[some], rtol=0.02), "a tenth of the permanent stress must show"


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
    found = phase_reserve(one(component, 0), one(component, value), PRINTED)
    assert found.reserve == pytest.approx(strength, rel=1e-9)
    assert found.modes[found.mode[0]] == mode


def test_permanent_stress_counts_once():
    # clamped to 10 MPa of interlayer tension for good, 5 MPa grow: (25 - 10) / 5, not 25 / 15
    assert reserve_by("maximum_stress", one(2, 10), one(2, 5)) == pytest.approx(3.0)
    # a permanent pressure must first be undone: (25 + 10) / 5
    assert reserve_by("maximum_stress", one(2, -10), one(2, 5)) == pytest.approx(7.0)
    # a shear that turns round: (15 + 6) / 3
    assert reserve_by("maximum_stress", one(3, 6), one(3, -3)) == pytest.approx(7.0)
    # permanent part and yield: (250 - 50) / 100
    assert reserve_by("von_mises", one(0, 50), one(0, 100), METAL) == pytest.approx(2.0)
    assert reserve_by("von_mises", one(0, 50), one(0, -100), METAL) == pytest.approx(3.0)


class TestSignOfInterlayerStress:
    def test_tension_that_closes_before_failure(self):
        p = np.array([[0.0, 0, 10, 0, 0, 0]])
        v = np.array([[0.0, 0, -5, 5, 0, 0]])
        # closed at lam = 2, so the shear alone decides: 15 / 5
        assert reserve_by("interlayer", p, v) == pytest.approx(3.0)

    def test_pressure_that_opens_before_failure(self):
        p = np.array([[0.0, 0, -10, 0, 0, 0]])
        v = np.array([[0.0, 0, 10, 3, 0, 0]])
        lam = reserve_by("interlayer", p, v)
        # ((10 lam - 10) / 25)^2 + (3 lam / 15)^2 = 1, that is 0.2 lam^2 - 0.32 lam - 0.84 = 0
        assert lam == pytest.approx((0.32 + np.sqrt(0.32**2 + 4 * 0.2 * 0.84)) / 0.4, rel=1e-12)
        assert lam[0] < 5, "shear alone would last until 5"

    def test_large_permanent_pressure_is_no_failure(self):
        p = np.array([[0.0, 0, -50, 0, 0, 0]])
        assert reserve_by("interlayer", p, one(2, 5)) == pytest.approx(75 / 5)

    def test_growing_pressure_never_tears(self):
        assert np.isinf(reserve_by("interlayer", one(2, 20), one(2, -5)))[0]
        assert np.isinf(reserve_by("interlayer", one(3, 10), one(2, -5)))[0]


def test_nothing_growing_is_unlimited_and_failed_already_is_nought():
    p = RNG.normal(size=(5, 6))
    for strength in (PRINTED, METAL):
        found = phase_reserve(p, np.zeros((5, 6)), strength)
        assert np.isinf(found.reserve).all()
        failed = phase_reserve(p + one(0, 1000.0), RNG.normal(size=(5, 6)), strength)
        assert (failed.reserve == 0).all()
    assert found.modes == ("yield (von Mises)",)


def test_failed_already_names_the_mode_that_fails():
    found = phase_reserve(one(2, 30.0), one(0, 1.0), PRINTED)
    assert found.modes[found.mode[0]] == "interlayer tension"


def test_the_least_criterion_decides_and_hill_only_reports():
    v = np.array([[20.0, 5, 10, 6, 6, 4]])
    found = phase_reserve(np.zeros((1, 6)), v, PRINTED)
    deciding = [found.criteria[k][0] for k in ("maximum_stress", "tsai_wu", "interlayer")]
    assert found.reserve[0] == min(deciding)
    assert found.reserve[0] < found.criteria["maximum_stress"][0], (
        "stresses acting together are worse than each alone"
    )
    assert found.modes[found.mode[0]] in s.PRINTED_MODES[-3:]
    low = Strength(np.array([60.0, 40, 25]), np.array([30.0, 30, 26]), np.array([15.0, 16, 25]))
    found = phase_reserve(np.zeros((1, 6)), one(1, 1.0), low)
    assert found.criteria["hill"][0] == pytest.approx(30)
    assert found.reserve[0] == pytest.approx(40), "Hill takes the lesser strength but does not decide"


def test_swapping_tension_and_compression_changes_the_answer():
    swapped = Strength(PRINTED.compression, PRINTED.tension, PRINTED.shear)
    v = np.array([[20.0, 5, 10, 6, 6, 4]])
    right, wrong = (phase_reserve(np.zeros((1, 6)), v, x).reserve[0] for x in (PRINTED, swapped))
    assert abs(wrong / right - 1) > 0.1


def test_scaling_the_growing_stress_scales_the_reserve():
    v = RNG.normal(size=(200, 6))
    zero = np.zeros((200, 6))
    once, twice = (phase_reserve(zero, k * v, PRINTED).reserve for k in (1.0, 2.0))
    assert np.allclose(once, 2 * twice, rtol=1e-9)


def test_wrong_shapes_and_wrong_kinds_are_refused():
    with pytest.raises(ValueError, match=r"\(n, 6\)"):
        phase_reserve(np.zeros((2, 5)), np.zeros((2, 5)), METAL)
    with pytest.raises(ValueError, match="von Mises"):
        s.tsai_wu_coefficients(METAL)


def test_pressed_layers_shear_and_are_not_said_to_tear() -> None:
    # Equal in tension and compression, with a stress along the bead that lifts Tsai-Wu above the interface's own
    strength = Strength(
        tension=np.array([60.0, 30.0, 20.0]),
        compression=np.array([60.0, 30.0, 20.0]),
        shear=np.array([12.0, 15.0, 22.0]),
    )
    pulled = np.array([[7.5, 0.0, 5.0, 9.0, 9.0, 0.0]])
    pressed = pulled * np.array([1.0, 1.0, -1.0, 1.0, 1.0, 1.0])
    names = []
    for v in (pressed, pulled):
        found = phase_reserve(np.zeros((1, 6)), v, strength)
        names.append(found.modes[found.mode[0]])
    assert names[1] == "interlayer tension and shear combined"
    assert "tension" not in names[0]
