"""A measured curve's straight part, toe, knee and failure: curves drawn from known numbers must give them back."""

import numpy as np
import pytest

from fem.errors import InputError
from fem.judging.measured import MeasuredCurve, read_curve

STIFFNESS, KNEE, FAILURE = 250.0, 400.0, 520.0


def drawn(*, toe=0.0, knee=KNEE, noise=0.0, points=120, soft=0.35, fall=True, seed=1):
    """Deflection [mm] and load [N]: a straight line of STIFFNESS to `knee`, then a softer one to FAILURE, then a
    fall; the start bends over `toe` [mm], by a parabola that meets the line at twice that deflection.
    """
    end = knee / STIFFNESS + (FAILURE - knee) / (soft * STIFFNESS)
    x = np.linspace(0, end, points)
    y = np.where(x < knee / STIFFNESS, STIFFNESS * x, knee + soft * STIFFNESS * (x - knee / STIFFNESS))
    if toe:
        bend = np.linspace(0, 2 * toe, 20, endpoint=False)
        parabola = STIFFNESS * bend**2 / (4 * toe)
        keep = x > toe
        x, y = np.concatenate([bend, x[keep] + toe]), np.concatenate([parabola, y[keep]])
    if fall:
        x, y = np.append(x, x[-1] * 1.02), np.append(y, 0.4 * y[-1])
    rng = np.random.default_rng(seed)
    return x, y + noise * rng.standard_normal(len(y))


def read(x, y, **more):
    return read_curve(MeasuredCurve(np.asarray(x, float), np.asarray(y, float), **more))


@pytest.mark.parametrize("points", [12, 120, 3000])
def test_line_knee_and_failure_come_back(points):
    found = read(*drawn(points=points))
    assert found.stiffness == pytest.approx(STIFFNESS, rel=0.01 if points == 12 else 0.002)
    assert found.toe == pytest.approx(0.0, abs=0.01)
    assert found.first_knee == pytest.approx(KNEE, rel=0.12 if points == 12 else 0.04)
    assert found.failure == pytest.approx(FAILURE) and found.broke


def test_the_toe_is_where_the_straight_part_reaches_no_load():
    found = read(*drawn(toe=0.15))
    assert found.stiffness == pytest.approx(STIFFNESS, rel=0.01)
    assert found.toe == pytest.approx(0.15, abs=0.01)
    # Through the first point instead, as without a toe, the stiffness at the knee would be a tenth too small
    assert KNEE / (KNEE / STIFFNESS + 0.15) < 0.93 * STIFFNESS


@pytest.mark.parametrize("seed", range(5))
def test_noise_of_half_a_per_cent_moves_the_stiffness_by_less_than_two(seed):
    found = read(*drawn(noise=0.005 * FAILURE, seed=seed, points=300))
    assert found.stiffness == pytest.approx(STIFFNESS, rel=0.02)
    assert found.first_knee == pytest.approx(KNEE, rel=0.12)
    assert found.noise == pytest.approx(0.005 * FAILURE, rel=0.3)


def test_what_the_machine_gives_is_taken_off():
    x, y = drawn()
    soft = 1 / 900.0
    found = read(x + soft * y, y, compliance=soft)
    assert found.stiffness == pytest.approx(STIFFNESS, rel=0.005)
    assert read(x + soft * y, y).stiffness == pytest.approx(1 / (1 / STIFFNESS + soft), rel=0.005)


def test_a_brittle_curve_has_no_knee():
    found = read(*drawn(knee=FAILURE))
    assert found.first_knee is None and found.failure == pytest.approx(FAILURE)
    assert not read(*drawn(knee=FAILURE, fall=False)).broke


LINE = np.linspace(0, 1, 20)
BAD = {
    "points": (LINE[:4], LINE[:4], {}, "4 points, fewer than 5"),
    "unloaded between": (
        [0, 0.2, 0.4, 0.2, 0.4, 0.6],
        [0, 1, 2, 1, 2, 3],
        {},
        "not monotonic: from 0.4 mm .* 0.2 mm",
    ),
    "opposite": (-LINE, 100 * LINE, {}, "runs against the load"),
    "pushed": (-LINE, -100 * LINE, {}, "negative, opposite to that of the case"),
    "softer machine than part": (LINE, 100 * LINE, {"compliance": 0.02}, "without what the machine gives"),
    "not a number": (LINE, 100 * LINE + np.nan, {}, "not finite"),
}


@pytest.mark.parametrize("name", BAD)
def test_what_is_no_loading_of_a_part_is_refused(name):
    x, y, more, told = BAD[name]
    with pytest.raises(InputError, match=told):
        read(x, y, **more)


def test_small_steps_back_of_a_gauge_are_noise():
    x, y = drawn()
    assert read(x + 0.003 * (-1.0) ** np.arange(len(x)), y).stiffness == pytest.approx(STIFFNESS, rel=0.02)
