"""Cuts through a print by their pixels, labels and words, against a box whose zones are known on paper."""

from __future__ import annotations

import dataclasses
import itertools

import numpy as np
import printed_box
import pytest
from PIL import Image

from fem.printing.cut import AIR, CORE, COVER, OUTSIDE, PLACES, SOLID, WALL, ZoneCut
from fem.telling.colours import ZONES
from fem.telling.printed import ASSUMED, COMPUTED, FROM_ASSUMED, STUDY, clock, plan_rows, zone_rows
from fem.telling.zone_picture import WIDTH, cut_file, draw_zones, edges, frame_of, stroke_length

CUTS = {"layer": printed_box.layer_cut(), "vertical": printed_box.vertical_cut()}
ENTRIES = {"layer": 5, "vertical": 6}
"""Key: three zones, air, strokes; in the vertical section also dots for the beads that run through it."""


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    folder = tmp_path_factory.mktemp("zones")
    body = printed_box.box_body()
    out = {}
    for kind, cut in CUTS.items():
        picture = draw_zones(cut, body=body, path=folder / cut_file(cut))
        out[kind] = picture, np.asarray(Image.open(folder / picture.file).convert("RGB"))
    return out


def _bytes(colour):
    return np.round(255 * np.array(colour)).astype(int)


def _pixel(kind, x, y):
    """Column and row [px] in its picture of a place (x, y) [mm] of a cut."""
    cut = CUTS[kind]
    frame = frame_of(cut.place.shape, entries=ENTRIES[kind])
    column, row = (x - cut.corner[0]) / cut.pixel - 0.5, (y - cut.corner[1]) / cut.pixel - 0.5
    return tuple(round(v) for v in frame.pixel(row, column))


@pytest.mark.parametrize(
    ("kind", "x", "y", "place"),
    [
        ("layer", 0.75, 12.0, "wall"),  # in the ring, between two strokes
        ("layer", 59.25, 30.0, "wall"),
        ("layer", 1.625, 37.0, "air"),  # just inside the ring of 1.5 mm
        ("layer", 1.375, 37.0, "wall"),  # just before it ends
        ("layer", 10.25, 12.0, "core"),  # a wall of the grid, 10 to 10.5 mm
        ("layer", 12.0, 12.0, "air"),
        ("layer", -1.0, 10.0, "outside"),
        ("layer", 30.0, 41.0, "outside"),
        ("vertical", 30.0, 0.875, "cover"),  # the lower cover ends at 1 mm
        ("vertical", 27.0, 1.125, "air"),
        ("vertical", 27.0, 23.5, "cover"),
        ("vertical", 0.75, 3.0, "wall"),
        ("vertical", 25.25, 12.0, "core"),
    ],
)
def test_a_place_has_the_colour_of_its_zone(drawn, kind, x, y, place):
    column, row = _pixel(kind, x, y)
    assert np.abs(drawn[kind][1][row, column].astype(int) - _bytes(ZONES[place])).max() <= 1
    # Negative control: no other zone has that colour
    others = [p for p in PLACES if p != place]
    assert all(np.abs(_bytes(ZONES[p]) - _bytes(ZONES[place])).max() > 10 for p in others)


def test_the_area_of_each_colour_is_the_area_of_its_zone(drawn):
    # Upright through y = 20 mm, where no strokes cross the walls: two walls of 1.5 x 24 mm
    cut, shot = CUTS["vertical"], drawn["vertical"][1]
    frame = frame_of(cut.place.shape, entries=ENTRIES["vertical"])
    part = shot[frame.top : frame.top + frame.high, frame.left : frame.left + frame.wide].astype(int)
    for zone, area in (("wall", 2 * 1.5 * 24), ("cover", 2 * 57 * 1.0)):
        found = (np.abs(part - _bytes(ZONES[zone])).max(axis=2) <= 1).sum() * (cut.pixel / frame.scale) ** 2
        # Strokes, dots and half of the outline lie on top of it
        assert 0.90 * area < found < area * (1 + 1e-9)


def test_the_key_shows_each_zone_with_its_numbers(drawn):
    for kind, (picture, shot) in drawn.items():
        frame = frame_of(CUTS[kind].place.shape, entries=ENTRIES[kind])
        key = shot[frame.top + frame.high + 60 :].reshape(-1, 3).astype(int)
        for zone in ("wall", "cover", "core", "air"):
            assert (np.abs(key - _bytes(ZONES[zone])).max(axis=1) <= 1).sum() > 40 * 40
        assert not (np.abs(key - _bytes(ZONES["solid"])).max(axis=1) <= 0).sum() > 40 * 40
        # By hand: 60 x 40 x 24 less 57 x 37 x 24 is 6984 of 57600 mm3, at 1.2 mg/mm3 8.38 g of 24.05 g
        assert "wall 12.1 % of the volume, 8.38 g, 34.9 % of the mass" in picture.labels
        assert "cover 7.32 % of the volume, 5.06 g, 21.1 % of the mass" in picture.labels
        assert "core 80.6 % of the volume, 10.6 g, 44.0 % of the mass" in picture.labels


def test_axes_name_what_they_measure_and_their_unit(drawn):
    assert {"print axis 1 [mm]", "print axis 2 [mm]"} <= set(drawn["layer"][0].labels)
    assert {"print axis 1 [mm]", "build direction (3) [mm]"} <= set(drawn["vertical"][0].labels)


def test_words_carry_the_numbers(drawn):
    layer, vertical = drawn["layer"][0], drawn["vertical"][0]
    assert layer.title == "box: layer at 12.4 mm above the build plate"
    assert vertical.title == "box: vertical section at print axis 2 = 20.0 mm"
    assert layer.kind == vertical.kind == "zones"
    for picture in (layer, vertical):
        for text in ("wall 12.1 %", "8.38 g", "cover 7.32 %", "core 80.6 %", "64.0 mm by "):
            assert text in picture.alt
    assert "3 walls, 4 covers, grid infill 19 % dense, bead 0.5 x 0.25 mm" in layer.labels


def test_strokes_lie_along_the_beads(drawn):
    shot = drawn["layer"][1].astype(int)

    def dark(x, y):
        column, row = _pixel("layer", x, y)
        return shot[row, column].max() < 90

    # A wall's bead along x at (9, 0.75); a bead along y at (9, 20)
    assert all(dark(9 + d, 0.75) for d in (-1, 0, 1))
    assert not any(dark(9, 0.75 + d) for d in (-0.5, 0.5))
    assert all(dark(9, 20 + d) for d in (-1, 0, 1))
    assert not any(dark(9 + d, 20) for d in (-1, 1))
    # A bead that runs through the cut is a dot: dark in the middle, neither along nor across
    column, row = _pixel("vertical", 0.75, 12.0)
    assert drawn["vertical"][1][row, column].max() < 90
    for x, y in ((0.25, 12.0), (1.25, 12.0), (0.75, 11.0), (0.75, 13.0)):
        column, row = _pixel("vertical", x, y)
        assert np.abs(drawn["vertical"][1][row, column].astype(int) - _bytes(ZONES["wall"])).max() <= 1


def test_strokes_of_neighbours_do_not_touch():
    grid = np.stack(np.meshgrid(np.arange(5) * 4.0, np.arange(4) * 4.0), axis=-1).reshape(-1, 2)
    assert 0.4 * 4 < stroke_length(grid, extent=100.0) < 4
    assert 0 < stroke_length(grid[:1], extent=100.0) <= 10


def test_outline_is_the_length_of_the_edge():
    # A rectangle of 7 x 3 cells with a hole of 2 x 1: circumference 20 + 6
    place = np.zeros((6, 10), dtype=bool)
    place[1:4, 2:9] = True
    place[2, 4:6] = False
    found = edges(place)
    assert np.abs(found[:, 1] - found[:, 0]).sum() == 26
    assert found.reshape(-1, 2).min(axis=0).tolist() == [2, 1]
    assert found.reshape(-1, 2).max(axis=0).tolist() == [9, 4]
    # Also where the part fills the cut to its very edge
    assert np.abs(np.diff(edges(np.ones((3, 4))), axis=1)).sum() == 14


def test_outline_is_drawn_where_the_part_ends(drawn):
    shot = drawn["layer"][1].astype(int)
    for x, y in ((0.0, 13.0), (60.0, 13.0), (30.0, 0.0), (13.0, 40.0)):
        column, row = _pixel("layer", x, y)
        assert shot[row - 3 : row + 4, column - 3 : column + 4].max(axis=2).min() < 60


@pytest.mark.parametrize("shape", [(176, 256), (40, 3000), (2400, 2000), (1200, 30), (5, 5)])
def test_cut_and_key_stay_inside_the_picture(shape):
    frame = frame_of(shape, entries=6)
    assert frame.size[0] == WIDTH
    assert frame.left + frame.wide < WIDTH
    assert frame.top + frame.high < frame.size[1] - 100
    assert frame.wide / frame.high == pytest.approx(shape[1] / shape[0], rel=0.05)
    assert frame.scale == int(frame.scale) or frame.scale < 3


def test_a_cut_finer_than_the_picture_keeps_its_colours_and_thin_walls(tmp_path):
    place = np.full((1000, 4000), CORE, dtype=np.int8)
    place[:, ::4] = AIR
    place[:20], place[-20:], place[:, :400] = WALL, WALL, SOLID
    cut = ZoneCut("plate", "layer", 0.2, place, 0.05, (0.0, 0.0), "x", "y", np.zeros((0, 2)), np.zeros((0, 2)))
    body = dataclasses.replace(printed_box.box_body(), zones={"solid": 0.1, "core": 0.9}, zone_mass_g={}, print=None)
    picture = draw_zones(cut, body=body, path=tmp_path / "plate.png")
    shot = np.asarray(Image.open(tmp_path / "plate.png").convert("RGB")).astype(int)
    frame = frame_of(place.shape, entries=4)
    assert shot.shape == (frame.size[1], WIDTH, 3)
    column, row = (round(v) for v in frame.pixel(500, 200))
    assert np.abs(shot[row, column] - _bytes(ZONES["solid"])).max() <= 1
    # Three parts of infill and one of air, mixed where they are too fine to be told apart
    x0, x1 = (round(frame.pixel(0, c)[0]) for c in (1000, 3000))
    mixed = shot[row, x0:x1].mean(axis=0)
    assert mixed == pytest.approx(0.75 * _bytes(ZONES["core"]) + 0.25 * _bytes(ZONES["air"]), abs=3)
    column, row = (round(v) for v in frame.pixel(10, 2000))
    assert np.abs(shot[row, column] - _bytes(ZONES["wall"])).max() <= 1
    assert "wall" in " ".join(picture.labels)  # in the cut, though the findings hold no share of it
    assert "solid 10.0 % of the volume" in picture.labels


def test_files_of_cuts_differ():
    layer, vertical = CUTS["layer"], CUTS["vertical"]
    other = dataclasses.replace(layer, body="box.")
    assert len({cut_file(layer), cut_file(vertical), cut_file(other), cut_file(layer, rank=1)}) == 4


# Simulation of lost cones: G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, "A Physiologically-based Model for
# Simulation of Color Vision Deficiency", IEEE Trans. Visualization and Computer Graphics 15 (2009) 1291, severity 1
SEEN = {
    "all cones": np.eye(3),
    "no long cones": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "no middle cones": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.01182, 0.04294, 0.968881],
    ],
    "no short cones": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.3039],
    ],
}


def _linear(colour):
    """sRGB to linear light, IEC 61966-2-1."""
    c = np.array(colour)
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def _lab(light):
    """CIE 1976 L*a*b* of linear sRGB light under D65."""
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    xyz = to_xyz @ np.clip(light, 0, 1) / [0.9505, 1.0, 1.089]
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("eye", SEEN)
def test_zones_stay_apart_for_every_eye(eye):
    # A difference of 2.3 is just noticed (Mahy, Van Eycken, Oosterlinck 1994); 25 is another colour at a glance
    light = {name: np.array(SEEN[eye]) @ _linear(c) for name, c in ZONES.items()}
    for a, b in itertools.combinations(ZONES, 2):
        least = 5 if {a, b} == {"air", "outside"} else 25
        assert np.linalg.norm(_lab(light[a]) - _lab(light[b])) > least, (a, b)
    # Negative control: red and green of one lightness fall together for an eye without long or middle cones
    red, green = (np.array(SEEN[eye]) @ _linear(c) for c in ((0.70, 0.35, 0.25), (0.45, 0.48, 0.25)))
    if eye == "no middle cones":
        assert np.linalg.norm(_lab(red) - _lab(green)) < 25


def test_strokes_stand_out_from_every_zone():
    # Contrast of graphic objects is at least 3 to 1 (WCAG 2.1, 1.4.11), by the dark stroke or by its white rim
    def shine(colour):
        return float(np.array([0.2126, 0.7152, 0.0722]) @ _linear(colour)) + 0.05

    ink = shine((0.08, 0.09, 0.11))
    for name, colour in ZONES.items():
        assert max(shine(colour) / ink, 1.05 / shine(colour)) >= 3, name
    assert 1.05 / ink > 15


def test_zone_rows_add_up_to_the_body():
    rows = zone_rows(printed_box.box_body())
    assert sum(r.share for r in rows) == pytest.approx(1, rel=1e-12)
    assert sum(r.mass_share for r in rows) == pytest.approx(1, rel=1e-12)
    core = next(r for r in rows if r.name == "core")
    # 57 x 37 x 22 mm at 0.19 x 1.2 mg/mm3
    assert core.mass == pytest.approx(57 * 37 * 22 * 0.19 * 1.2e-3, rel=1e-12)
    unweighed = zone_rows(dataclasses.replace(printed_box.box_body(), zone_mass_g={}))
    assert all(r.mass is None and "g (" not in r.text for r in unweighed)


def test_the_plan_says_what_was_assumed():
    rows = {r.name: r for r in plan_rows(printed_box.box_body())}
    assert rows["Print speed"].basis == rows["Filament diameter"].basis == ASSUMED
    assert rows["Price of filament"].basis == rows["Walls"].basis == STUDY
    assert rows["Print time"].basis == rows["Filament length"].basis == FROM_ASSUMED
    paid = {r.name: r.text for r in plan_rows(printed_box.box_body(), currency="EUR")}
    assert paid["Cost"].endswith(" EUR") and paid["Price of filament"].endswith(" EUR per kg")
    assert rows["Cost"].text.endswith(" (currency not stated)")
    assert rows["Cost"].basis == rows["Bead length"].basis == COMPUTED
    assert rows["Walls"].text == "3, 1.50 mm in all"
    assert rows["Print time"].text == "1.40 h (1 h 24 min)"
    assert rows["Bead length"].text == "180 m"
    assert rows["Infill cell"].text.startswith("5.00 x 5.00 x 0.250 mm; its stiffness changed by 0.80 %")
    assert rows["Thinner than two beads"].text.startswith("3.10 %")
    assert rows["Infill quality"].basis == ASSUMED
    # Every word for a value finds its row; a longer name does not take a shorter one's
    body = printed_box.box_body()
    for name, row in (
        ("bead.width", "Bead"), ("price", "Price of filament"), ("infill_angle", "Infill angle"),
        ("speed 60 mm/s", "Print speed"), ("raster", "Raster"), ("filament price", "Price of filament"),
    ):  # fmt: skip
        plan = dataclasses.replace(body.print, assumed=(name,), infill_quality=0.8)
        assert [r.name for r in plan_rows(dataclasses.replace(body, print=plan)) if r.basis == ASSUMED] == [row]
    plan = dataclasses.replace(body.print, assumed=("raster_zero",), infill_quality=0.8)
    assert not [r for r in plan_rows(dataclasses.replace(body, print=plan)) if r.basis == ASSUMED]


def test_a_solid_print_and_a_metal_have_plans_of_their_own():
    body = printed_box.box_body()
    solid = dataclasses.replace(
        body.print,
        pattern="solid",
        infill_density=1.0,
        cell_mm=None,
        cell_stiffness_mesh_change=None,
        price_per_kg=0.0,
        cost=0.0,
    )
    rows = {r.name: r.text for r in plan_rows(dataclasses.replace(body, print=solid))}
    assert "Infill density" not in rows
    assert "Infill cell" not in rows
    assert rows["Cost"] == "no price is given"
    assert plan_rows(dataclasses.replace(body, print=None)) == ()


def test_clock_carries_minutes_into_hours():
    assert [clock(h) for h in (0.25, 2.0, 0.999)] == [
        "0.250 h (0 h 15 min)",
        "2.00 h (2 h 00 min)",
        "0.999 h (1 h 00 min)",
    ]


def test_places_of_a_cut_all_have_a_colour():
    assert set(ZONES) == set(PLACES)
    assert [PLACES[i] for i in (OUTSIDE, WALL, COVER, CORE, SOLID, AIR)] == list(PLACES)
