"""Directions over the half sphere: how even they lie, what they are called, which stand out."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fem.judging.orientation import (
    DirectionNumbers,
    angle_between,
    contenders,
    direction_words,
    half_sphere,
    leaders,
    mirrored_alike,
    picks_of,
    reason_of,
    ring,
    spacing,
    upper,
)


def random_half(count, axis):
    found = np.random.default_rng(5).normal(size=(count, 3))
    return upper(found / np.linalg.norm(found, axis=1)[:, None], axis=axis)


def evenness(directions):
    """Least and largest distance [rad] to the nearest neighbour, and the largest from anywhere to a direction."""
    full = np.concatenate([directions, -directions])
    cosine = np.clip(full @ full.T, -1, 1)
    np.fill_diagonal(cosine, -1)
    near = np.arccos(cosine.max(axis=1))
    anywhere = random_half(20_000, 2)
    return near.min(), near.max(), np.arccos(np.clip(anywhere @ full.T, -1, 1).max(axis=1)).max()


@pytest.mark.parametrize("axis", [0, 1, 2])
def test_the_spiral_is_even(axis):
    found = half_sphere(200, axis=axis)
    assert np.linalg.norm(found, axis=1) == pytest.approx(np.ones(200), abs=1e-12)
    assert (found[:, axis] > 0).all()
    ideal = spacing(200)
    # Away from the rim, where a direction and its opposite meet
    inner = found[found[:, axis] > 0.3]
    cosine = inner @ found.T
    cosine[cosine > 1 - 1e-12] = -1
    near = np.arccos(cosine.max(axis=1))
    assert near.min() > 0.75 * ideal and near.max() < 1.25 * ideal
    # Nowhere is farther from one than 0.85 of the spacing; in a triangular net it is 1/sqrt(3) of it
    assert evenness(found)[2] < 0.95 * ideal
    # Bands of equal height have equal area (Archimedes) and so hold equally many
    counts = np.histogram(found[:, axis], bins=10, range=(0, 1))[0]
    assert (counts == 20).all()


def test_a_random_set_is_not_even():
    found = random_half(200, 2)
    least, _, gap = evenness(found)
    assert least < 0.4 * spacing(200) and gap > 1.2 * spacing(200)


def test_the_spacing_is_that_of_a_triangular_net():
    # A net of triangles of side a holds one point for each sqrt(3)/2 a^2; the half sphere has 2 pi
    a = spacing(500)
    assert 2 * math.pi / (math.sqrt(3) / 2 * a**2) == pytest.approx(500)


def test_a_ring_lies_around_its_centre():
    centre = np.array([0.3, -0.5, 0.2])
    found = ring(centre, angle=0.2, count=6, axis=2)
    assert [angle_between(centre, d) for d in found] == pytest.approx([math.degrees(0.2)] * 6)
    assert (found[:, 2] >= 0).all()
    turned = np.array([d if d @ centre > 0 else -d for d in found])
    assert turned.mean(axis=0) / np.linalg.norm(turned.mean(axis=0)) == pytest.approx(centre / np.linalg.norm(centre))


@pytest.mark.parametrize(
    ("direction", "words"),
    [
        ((0, 0, 2), "along z"),
        ((-1, 0, 0), "along -x"),
        ((math.sin(math.radians(30)), 0, math.cos(math.radians(30))), "30° from z towards x"),
        ((0, -0.5, math.sqrt(0.75)), "30° from z towards -y"),
        ((0.8, 0.2, 0.2), "19° from x towards y, 45° round to z"),
    ],
)
def test_directions_in_words(direction, words):
    assert direction_words(direction) == words


def test_an_axis_has_no_sense():
    assert angle_between((0, 0, 1), (0, 0, -3)) == pytest.approx(0.0)
    assert angle_between((1, 0, 0), (0, 1, 0)) == pytest.approx(90.0)


@pytest.mark.parametrize(
    ("raster", "pattern", "angle", "alike"),
    [
        ((45, -45), "solid", 45, True),
        ((45, 135), "solid", 45, True),
        ((0, 90), "grid", 0, True),
        ((0, 90), "grid", 45, True),
        ((0, 90), "grid", 20, False),
        ((30,), "solid", 45, False),
        ((0,), "triangle", 30, True),
        ((0,), "triangle", 45, False),
        ((45, -45), "cubic", 0, False),
    ],
)
def test_which_plans_are_alike_upside_down(raster, pattern, angle, alike):
    assert mirrored_alike(raster, pattern=pattern, infill_angle=angle) is alike


def numbers(direction, reserve, *, over=0.0, opposite=0.0, bend=1.0, kind="scan", missed=(), error=""):
    size = math.sqrt(sum(v * v for v in direction))
    return DirectionNumbers(
        tuple(v / size for v in direction),
        kind,
        error,
        reserve=reserve,
        overhang_mm2=over,
        overhang_opposite_mm2=opposite,
        deflection_mm=bend,
        missed=missed,
    )


SET = [
    numbers((0, 0, 1), 2.0, over=900, opposite=700, kind="study"),
    numbers((0, 0.1, 1), 2.9, over=800, opposite=900),
    numbers((1, 0, 0), 3.0, over=500, opposite=900),
    numbers((1, 0.1, 0), 2.95, over=500, opposite=900),
    numbers((0, 1, 0), 2.4, over=300, opposite=100, bend=0.5),
    numbers((0, 1, 1), 9.0, error="no"),
]


def test_the_directions_that_stand_out():
    picks = picks_of(SET, required=2.2, asked=False)
    assert [p.scanned for p in picks] == [SET[2], SET[4], SET[1], SET[0]]
    assert picks[1].why == ("minimum overhang among directions that meet all requirements", "minimum deflection")
    assert picks[1].scanned.build_direction == pytest.approx((0, -1, 0))
    assert picks[1].scanned.support_mm2 == 100
    said = reason_of(picks, required=2.2, asked=False)
    assert (
        "Build the part along -y [0, -1, 0]" in said
        and "an overhang of 100 mm²" in said
        and "The highest reserve factor has" in said
    )
    assert "The study's own direction, along z [0, 0, 1], has a minimum reserve factor of 2.00" in said
    assert "an overhang of 900 mm²" in said


def test_leaders_are_apart():
    assert leaders(SET, count=3) == [SET[2], SET[1], SET[4]]
    assert leaders(SET, count=3, apart=1.0) == [SET[2], SET[3], SET[1]]


def test_contenders_hold_what_stands_out_and_the_leaders():
    found = contenders(SET, required=2.2, asked=False, count=3, apart=1.0)
    assert found == [SET[2], SET[4], SET[1], SET[0], SET[3]]


def test_when_none_meets_all_the_highest_reserve_is_named():
    low = [numbers((0, 0, 1), 1.0, missed=("mass",)), numbers((1, 0, 0), 1.6, over=50, opposite=50, missed=("mass",))]
    picks = picks_of(low, required=2.0, asked=True)
    said = reason_of(picks, required=2.0, asked=True)
    assert said.startswith("No direction meets all requirements.")
    assert "along x [1, 0, 0]" in said and "1.60" in said and "It misses: mass." in said
    assert "cannot" not in said and picks_of([SET[5]], required=2, asked=True) == ()
