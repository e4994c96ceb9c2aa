"""Coupons as drawn: the kernel's volume against the formula by hand, and the file read back."""

from __future__ import annotations

import math

import pytest

from fem.coupons.shapes import SHAPES
from fem.part.extruded import write_extruded
from fem.part.solid import read_solid

BY_HAND = {
    "strip": 80 * 10 * 4,
    "block": 20 * 10 * 10,
    "infill-block": 30**3,
    "notched": (80 * 16 - 7 * 1) * 8,
}


def dog_bone(*, length, ends, narrow, parallel, radius, thickness):
    """Area by circle geometry: the broad strip, less the half segment that each of four circles takes off its edges
    and less the slots between them."""
    rise = (ends - narrow) / 2
    angle = math.acos(1 - rise / radius)
    segment = radius**2 * (angle - math.sin(angle) * math.cos(angle)) / 2
    return (ends * length - 4 * segment - 2 * rise * parallel) * thickness


BY_HAND["1A"] = dog_bone(length=170, ends=20, narrow=10, parallel=80, radius=24, thickness=4)
BY_HAND["1BA"] = dog_bone(length=75, ends=10, narrow=5, parallel=30, radius=40.45, thickness=2)


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("standing", [False, True])
def test_volumes(tmp_path, name, standing):
    shape = SHAPES[name]
    assert shape.volume == pytest.approx(BY_HAND[name], rel=1e-9)
    file = tmp_path / f"{name}.step"
    assert write_extruded(shape.outline, height=shape.thickness, path=file, standing=standing) == pytest.approx(
        BY_HAND[name], rel=1e-6
    )
    solid = read_solid(file)
    assert solid.volume == pytest.approx(BY_HAND[name], rel=1e-6)
    low, high = solid.box
    size = [b - a for a, b in zip(low, high, strict=True)]
    flat = [shape.length, shape.width, shape.thickness]
    assert size == pytest.approx(flat[::-1] if standing else flat, abs=1e-3)
    assert low[2] == pytest.approx(0, abs=1e-4)  # it stands on the bed


def test_the_distances_that_the_standard_names():
    for name, apart in (("1A", 109.3), ("1BA", 58.0)):
        shape = SHAPES[name]
        assert shape.parallel + 2 * shape.shoulder == pytest.approx(apart, abs=0.06)
