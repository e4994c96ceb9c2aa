"""Overhang of simple solids, exact."""

from __future__ import annotations

import math

import numpy as np
import pytest
from helpers_fe import block, box

from fem.printing.overhang import overhang_area, skin_of

A, B, C = 12.0, 8.0, 5.0
BED = 0.2


def area(mesh, direction, **more):
    return overhang_area(skin_of(mesh, body=mesh.bodies[0]), direction=direction, bed=BED, **more)


@pytest.mark.parametrize("direction", [(0, 0, 1), (0, 0, -1), (1, 0, 0), (0, -2, 0)])
def test_a_box_on_its_face_needs_no_support(direction):
    assert area(box((A, B, C), (3, 2, 2)), direction) == 0.0


@pytest.mark.parametrize("tilt", [5.0, 20.0, 44.0, -30.0])
def test_a_tilted_box_hangs_over_with_its_underside(tilt):
    # Turned about y: the underside's normal is `tilt` off straight down, the end's 90 - tilt
    t = math.radians(tilt)
    found = area(box((A, B, C), (3, 2, 2)), (math.sin(t), 0, math.cos(t)))
    assert found == pytest.approx(A * B, rel=1e-12)


@pytest.mark.parametrize("tilt", [46.0, 70.0])
def test_past_45_degrees_it_is_the_end(tilt):
    t = math.radians(tilt)
    assert area(box((A, B, C), (3, 2, 2)), (math.sin(t), 0, math.cos(t))) == pytest.approx(B * C, rel=1e-12)


def test_at_45_degrees_a_face_carries_itself():
    assert area(box((A, B, C), (2, 2, 2)), (1, 0, 1)) == 0.0
    assert area(box((A, B, C), (2, 2, 2)), (1, 0, 1), steep=46.0) == pytest.approx(A * B + B * C, rel=1e-12)


def test_upside_down_is_another_number():
    # A pyramid's stump, wide below; its sides lean 60 degrees off the vertical, so that upside down their normals are
    # 30 degrees off straight down
    slope = math.tan(math.radians(60))
    mesh = block((3, 3, 2), bend=lambda p: np.column_stack([*_stump(p, slope), 4.0 * p[:, 2]]))
    shadow = 20.0**2 - (20.0 - 2 * slope * 4.0) ** 2
    assert area(mesh, (0, 0, 1)) == 0.0
    assert area(mesh, (0, 0, -1)) == pytest.approx(shadow / math.cos(math.radians(30)), rel=1e-9)


def _stump(p, slope):
    half = 10.0 - slope * 4.0 * p[:, 2]
    return (p[:, 0] * 2 - 1) * half, (p[:, 1] * 2 - 1) * half


def test_a_ball_hangs_over_below_45_degrees_of_latitude():
    # A zone of a sphere has the area 2 pi r h; r (1 - cos 45) high; the lowest triangles lie on the bed in part
    r = 10.0
    mesh = block((8, 8, 8), bend=lambda p: _ball(p, r))
    cap = 2 * math.pi * r**2 * (1 - math.cos(math.radians(45)))
    assert area(mesh, (0.2, 0.3, 1.0)) == pytest.approx(cap, rel=0.04)


def _ball(p, r):
    q = 2 * p - 1
    x, y, z = q.T
    # A cube's grid drawn onto the ball; source: P. Nowell's mapping, x' = x sqrt(1 - y^2/2 - z^2/2 + y^2 z^2/3)
    return r * np.column_stack(
        [
            x * np.sqrt(1 - y**2 / 2 - z**2 / 2 + y**2 * z**2 / 3),
            y * np.sqrt(1 - z**2 / 2 - x**2 / 2 + z**2 * x**2 / 3),
            z * np.sqrt(1 - x**2 / 2 - y**2 / 2 + x**2 * y**2 / 3),
        ]
    )
