"""A lug on its pin, both meshed: against a published peak, Hertz where the pin is loose, and the load `bearing`.

The peak beside the hole was read off a chart of tests (`fem.evidence.pins.NIU`); charts differ by 8 %, and tests have
friction: with friction or clearance this is a comparison. Hertz is exact for a narrow contact in a large hole.
"""

from functools import cache

import numpy as np
import pytest

from fem.evidence.pins import (
    PULL,
    READ_OFF,
    hertz_in_a_hole,
    loose_pull,
    lug_on_pin,
    middle_of,
    pressure_by_angle,
    side_factor,
)

COSINE_PEAK = 4 / np.pi
"""Of the pressure over F / (d h) in the load `bearing`."""


@cache
def solved(clearance, friction):
    return lug_on_pin(3.0, pull=PULL, clearance=clearance, friction=friction)


def off_cosine(lug):
    """Root mean square of the pressure less the cosine's, over that of the cosine."""
    angle, pressure = pressure_by_angle(lug)
    area, cosine = lug.met.equilibrium.joined.area, COSINE_PEAK * np.cos(angle).clip(0)
    return np.sqrt((area @ (pressure - cosine) ** 2) / (area @ cosine**2))


def touches_to(lug):
    """The angle [deg] at which pin and lug part."""
    return np.degrees(pressure_by_angle(lug)[0][lug.met.found.state.touching].max())


@pytest.mark.parametrize("clearance", [0.0, 0.1])
@pytest.mark.parametrize("friction", [0.0, 0.2])
def test_what_the_pin_bears(clearance, friction):
    lug = solved(clearance, friction)
    state, joined = lug.met.found.state, lug.met.equilibrium.joined
    total = state.total(joined.law.normal).sum(axis=0)
    assert abs(total[0]) == pytest.approx(PULL / 2, rel=1e-6)  # half of the lug is meshed
    shear = np.linalg.norm(state.shear, axis=1)
    assert (shear <= friction * state.force + 1e-6 * state.force.max()).all()
    assert (shear.max() > 0) == bool(friction)
    assert side_factor(lug) == pytest.approx(READ_OFF, rel=0.08)


def test_a_pin_that_just_fits_against_the_chart_and_the_cosine():
    lug = solved(0.0, 0.0)
    assert side_factor(lug) == pytest.approx(READ_OFF, rel=0.05)
    assert 80 < touches_to(lug) < 90  # a pin touches less than half of its hole
    assert off_cosine(lug) < 0.25
    assert pressure_by_angle(lug)[1].max() == pytest.approx(COSINE_PEAK, rel=0.15)


def test_a_loose_pin_presses_otherwise_than_the_cosine():
    lug = solved(0.1, 0.0)
    assert off_cosine(lug) > 0.4 and touches_to(lug) < 55
    assert pressure_by_angle(lug)[1].max() > 1.3 * COSINE_PEAK


def test_a_loose_pin_hardly_loaded_is_hertzs_cylinder_in_a_hole():
    pull = loose_pull(0.15)
    reach, top = middle_of(lug_on_pin(3.0, pull=pull, clearance=0.1))
    known_reach, known_top = hertz_in_a_hole(pull, 0.1)
    assert reach == pytest.approx(known_reach, rel=0.03)
    assert top == pytest.approx(known_top, rel=0.03)
    # Twice the clearance would be told apart
    assert hertz_in_a_hole(pull, 0.2)[1] > 1.3 * top


def test_a_pin_that_is_glued_in_turns_the_comparison_red():
    assert side_factor(lug_on_pin(3.0, pull=PULL, kind="bonded")) < 0.5 * READ_OFF
