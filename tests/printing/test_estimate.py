"""What a print takes, worked by hand from the volume of its beads."""

import math
from dataclasses import replace

import pytest

from fem.errors import InputError
from fem.printing.estimate import estimate_print
from fem.printing.plan import PrintPlan

PLAN = PrintPlan((0, 0, 1), bead_width=0.5, bead_height=0.25)
GIVEN = {"mass": 50e-6, "density": 1.25e-9, "height": 20.0}
"""50 g of 1.25 g/cm^3: 40 000 mm^3 of beads, 80 layers of 0.25 mm."""


def test_a_print_by_hand():
    took = estimate_print(PLAN, **GIVEN, speed=40.0, filament_diameter=2.0, price_per_kg=30.0)
    assert took.layers == 80
    assert took.bead_length == pytest.approx(40_000 / (0.5 * 0.25), rel=1e-12)
    assert took.filament == pytest.approx(40_000 / math.pi, rel=1e-12)  # a circle of 1 mm radius
    # A quarter of the set speed is lost, and each layer takes three seconds more
    assert took.time == pytest.approx(320_000 / 30 + 80 * 3, rel=1e-12)
    assert took.cost == pytest.approx(0.05 * 30, rel=1e-12)
    assert took.mass == 50e-6
    assert took.assumed == ()


def test_what_is_not_given_is_named():
    took = estimate_print(PLAN, **GIVEN)
    assert took.assumed == ("speed", "filament diameter", "price")
    assert (took.speed, took.filament_diameter, took.price_per_kg) == (60.0, 1.75, 60.0)
    assert took.filament == pytest.approx(40_000 / (math.pi * 0.875**2), rel=1e-12)
    assert took.time == pytest.approx(320_000 / 45 + 240, rel=1e-12)
    assert took.cost == pytest.approx(3.0, rel=1e-12)
    assert estimate_print(PLAN, **GIVEN, speed=60.0).assumed == ("filament diameter", "price")


@pytest.mark.parametrize(("height", "layers"), [(20.0, 80), (20.01, 81), (19.9999999999, 80), (20.2, 81), (0.1, 1)])
def test_layers_are_whole(height, layers):
    assert estimate_print(PLAN, **{**GIVEN, "height": height}).layers == layers


def test_a_bead_twice_as_wide_is_half_as_long():
    one, two = (estimate_print(replace(PLAN, bead_width=w), **GIVEN) for w in (0.5, 1.0))
    assert one.bead_length == pytest.approx(2 * two.bead_length, rel=1e-12)
    assert one.filament == pytest.approx(two.filament, rel=1e-12)
    assert one.time - 240 == pytest.approx(2 * (two.time - 240), rel=1e-12)


@pytest.mark.parametrize(
    ("key", "words"), [("speed", "speed"), ("filament_diameter", "filament diameter"), ("price_per_kg", "price")]
)
@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
def test_a_value_that_cannot_be_gets_one_line(key, words, value):
    with pytest.raises(InputError) as caught:
        estimate_print(PLAN, **GIVEN, **{key: value})
    assert str(caught.value) == f"{words} {value:g} must be more than zero."
