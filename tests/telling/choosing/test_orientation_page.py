"""The half sphere drawn flat, and the page of a scan of build directions."""

from __future__ import annotations

import csv
import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1]))

from old_words import old_words, seen
from pages import Page, asks_outside

from fem.caution import Caution
from fem.judging.orientation import DirectionNumbers, Orientation, half_sphere, picks_of, reason_of, upper
from fem.telling.orientation import write_orientation
from fem.telling.orientation.page import COLUMNS
from fem.telling.orientation.sphere import QUANTITIES, between, disc_of, flat, label, nearest_known, round_again


def random_half(count, axis, seed=7):
    found = np.random.default_rng(seed).normal(size=(count, 3))
    return upper(found / np.linalg.norm(found, axis=1)[:, None], axis=axis)


@pytest.mark.parametrize("axis", [0, 1, 2])
def test_flat_and_round_again(axis):
    some = random_half(300, axis)
    places = flat(some, axis=axis)
    assert np.linalg.norm(places, axis=1).max() <= 1
    assert round_again(places, axis=axis) == pytest.approx(some, abs=1e-12)
    assert flat(-some, axis=axis) == pytest.approx(places)
    assert flat(np.eye(3)[axis], axis=axis) == pytest.approx(np.zeros((1, 2)))
    assert flat(np.eye(3)[(axis + 1) % 3], axis=axis) == pytest.approx(np.array([[1.0, 0.0]]))


def test_equal_areas_stay_equal():
    # Snyder, Map Projections (1987), chapter 24: a cap of half angle c has the area 2 pi (1 - cos c) on the sphere
    # and pi r^2 on the map; with the half sphere on a disc of radius 1 that is r^2 = 1 - cos c
    c = np.radians([10.0, 45.0, 80.0])
    tilted = np.column_stack([np.sin(c), np.zeros(3), np.cos(c)])
    assert (flat(tilted, axis=2) ** 2).sum(axis=1) == pytest.approx(1 - np.cos(c))
    # An orthographic view would give sin^2 c, which is not that
    assert (flat(tilted, axis=2) ** 2).sum(axis=1) != pytest.approx(np.sin(c) ** 2, rel=0.05)


def test_between_passes_through_what_is_known_and_has_no_sense_of_direction():
    known = half_sphere(60, axis=2)
    values = known[:, 0] ** 2 + 0.5 * known[:, 1] * known[:, 2]
    assert between(known, values, known) == pytest.approx(values, abs=1e-9)
    assert between(known, values, -known) == pytest.approx(values, abs=1e-9)
    asked = random_half(400, 2)
    wanted = asked[:, 0] ** 2 + 0.5 * asked[:, 1] * asked[:, 2]
    assert np.abs(between(known, values, asked) - wanted).max() < 0.05
    # The same places as opposites: nothing is new
    both, twice = np.concatenate([known, -known]), np.concatenate([values, values])
    assert between(both, twice, asked) == pytest.approx(between(known, values, asked), abs=1e-9)


def test_the_nearest_direction_or_its_opposite():
    known = np.eye(3)
    found = nearest_known(known, np.array([1.0, 2.0, 3.0]), np.array([[-0.9, 0.1, 0.2], [0.0, 0.1, -0.9]]))
    assert found.tolist() == [1.0, 3.0]


def scan_of(directions, **more):
    picks = picks_of(directions, required=2.0, asked=True)
    scan = Orientation(
        title="Saddle & <b>",
        question="Which way up?",
        body="saddle",
        required_reserve=2.0,
        reserve_asked=True,
        axis=2,
        directions=tuple(directions),
        spread=24,
        size_mm=6.0,
        unknowns=4321,
        coarser=True,
        own_unknowns=98765,
        picks=picks,
        reason=reason_of(picks, required=2.0, asked=True),
        mirrored=True,
        cautions=(Caution("one", "One caution."),),
        beadwork="0.0",
    )
    return replace(scan, **more)


@pytest.fixture(scope="module")
def scan():
    directions = [
        DirectionNumbers(
            tuple(map(float, d)),
            reserve=1 + 2 * float(d[2]) ** 2,
            reserve_away=1.5 + 2 * float(d[2]) ** 2,
            reserve_case="landing",
            mode="interlayer tension",
            zone="wall",
            deflection_mm=0.5 + 0.1 * float(d[0]) ** 2,
            interlayer_MPa=5 * float(d[0]) ** 2,
            overhang_mm2=1234.0 + k,
            overhang_opposite_mm2=1500.0 - 30 * k,
            height_mm=20.0,
            time_h=7.5,
            rotation_deg={"seat": 0.3},
            missed=() if d[2] > 0.8 else ("reserve factor low",),
        )
        for k, d in enumerate(half_sphere(24, axis=2))
    ]
    directions.append(replace(directions[3], direction=(0.0, 0.0, 1.0), kind="study", reserve=2.9))
    directions.append(DirectionNumbers((1.0, 0.0, 0.0), "axis", error="cannot be <laid> so."))
    found = scan_of(directions)
    own = replace(found.picks[0], own=replace(found.picks[0].scanned, reserve=2.222))
    return replace(found, picks=(own, *found.picks[1:]))


@pytest.fixture(scope="module")
def folder(scan, tmp_path_factory):
    folder = tmp_path_factory.mktemp("orient")
    assert write_orientation(scan, folder=folder) == folder / "orientation.html"
    return folder


def test_the_page_is_well_formed_and_asks_for_nothing(folder):
    text = (folder / "orientation.html").read_text(encoding="utf-8")
    page = Page(text)
    assert page.faults == [] and asks_outside(text) == []
    assert len(page.ids) == len(set(page.ids))
    assert len(text) < 3_000_000
    assert "Saddle &amp; &lt;b&gt;" in text and "cannot be &lt;laid&gt; so." in text


def test_the_page_holds_every_number(folder, scan):
    page = Page((folder / "orientation.html").read_text(encoding="utf-8"))
    pick = next(row for row in page.rows if row[0] == "1")
    assert "2.22" in pick and "highest reserve factor" in pick[1] and "study's own" in pick[-1]
    first = next(row for row in page.rows if row[1:2] == ["scan"])
    d = scan.directions[0]
    assert first[3] == f"{math.floor(d.reserve * 100) / 100:.2f}" and first[7:9] == ["1,234", "1,500"]
    assert sum(row[1:2] == ["scan"] for row in page.rows) == 24
    assert "98,765" in (folder / "orientation.html").read_text() and scan.reason.split(":")[0]


def test_each_picture_tells_its_numbers(folder, scan):
    page = Page((folder / "orientation.html").read_text(encoding="utf-8"))
    plots = [a for t, a in page.tags if t == "svg"]
    assert [a["aria-label"] for a in plots] == [label(scan, q) for q in QUANTITIES]
    marks = [a for t, a in page.tags if t == "g" and a.get("class") == "tip"]
    assert len(marks) == 4 * (len(scan.answered) + len(scan.picks))
    reserve = label(scan, QUANTITIES[0])
    low, high = min(d.advised for d in scan.answered), max(d.advised for d in scan.answered)
    assert (
        f"from {math.floor(low * 100) / 100:.2f}" in reserve and f"to {math.floor(high * 100) / 100:.2f}" in reserve
    )


def test_the_disc_holds_the_numbers(scan):
    disc = disc_of(scan, QUANTITIES[0])
    grid = disc.image.shape[0]
    for d in scan.answered[:10]:
        x, y = flat(np.array(d.direction), axis=2)[0]
        row, column = (min(grid - 1, int((v + 1) / 2 * grid)) for v in (y, x))
        assert disc.image[row, column] == pytest.approx(d.advised, rel=0.05)
    assert np.isnan(disc.image[0, 0]) and np.isfinite(disc.image[grid // 2, grid // 2])


def test_an_unlimited_reserve_can_be_drawn(scan, tmp_path):
    free = [replace(d, reserve=math.inf, reserve_away=math.inf) for d in scan.directions]
    path = write_orientation(scan_of(free), folder=tmp_path)
    assert "unlimited" in path.read_text(encoding="utf-8")


def test_the_table_for_scripts(folder, scan):
    with open(folder / "orientation.csv", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert tuple(rows[0]) == COLUMNS and len(rows) == len(scan.directions) + 1
    assert [float(r["reserve"]) for r in rows[:24]] == pytest.approx(
        [d.reserve for d in scan.directions[:24]], rel=1e-5
    )
    assert rows[-2]["error"] == "cannot be <laid> so." and rows[-2]["reserve"] == ""
    assert rows[-1]["mesh"] == "study's own" and float(rows[-1]["reserve"]) == 2.222
    assert (folder / "orientation.png").stat().st_size > 50_000


def test_no_old_word_is_left_on_the_page(folder):
    assert old_words(seen((folder / "orientation.html").read_text(encoding="utf-8"))) == []
    assert old_words(" ".join(COLUMNS).replace("_", " ")) == []


def test_without_a_question_there_is_no_empty_paragraph(folder, scan, tmp_path):
    assert '<p class="question">Which way up?</p>' in (folder / "orientation.html").read_text(encoding="utf-8")
    write_orientation(replace(scan, question=""), folder=tmp_path)
    assert 'class="question"' not in (tmp_path / "orientation.html").read_text(encoding="utf-8")
