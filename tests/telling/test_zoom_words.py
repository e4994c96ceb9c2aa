"""Both numbers of a place in words, and the rows of the tables that tell them."""

from __future__ import annotations

import dataclasses
import math

import bead_cube
import printed_box
import pytest

from fem.digits import number
from fem.judging.findings import HotSpot
from fem.judging.verdict import verdict_of
from fem.judging.zoomed import FaceMoves, MissedPlace, WholeFindings
from fem.telling import words
from fem.telling.zoom_rows import homogenised_minimum, missed_rows, whole_line, whole_rows, zoom_rows
from fem.telling.zoom_words import (
    aside,
    is_told,
    kind_of,
    reserve_line,
    short_reserve,
    two_levels,
    value_and_kind,
    zoom_line,
)

LINE = "bead by bead 0.98 (0.93 to 1.03), in the wall; homogenised 0.29, in the core"


def zoom(**other):
    return bead_cube.zoom_of(bead_cube.judged_cube(), least=0.984, band=(0.93, 1.039), homogenised=0.293, **other)


def decided(findings, scene, **other):
    """The told beam with a printed box, whose landing is decided by its beads."""
    findings, _ = printed_box.printed(findings, scene)
    case = findings.cases["landing"]
    reserve = dataclasses.replace(
        case.reserve,
        **{
            "minimum": 0.984,
            "zone": "wall",
            "homogenised": 0.293,
            "homogenised_zone": "core",
            "decided_by": "zoom",
            "band": (0.93, 1.039),
            "by_zone": {"wall": 0.478, "cover": None, "core": 0.293},
            **other,
        },
    )
    case = dataclasses.replace(case, reserve=reserve, zooms=(zoom(),))
    return dataclasses.replace(findings, cases={**findings.cases, "landing": case})


@pytest.fixture(scope="module")
def both(findings, scene):
    return decided(findings, scene)


def test_the_sentence_is_the_same_wherever_it_stands(both):
    assert zoom_line(zoom()) == LINE
    assert reserve_line(both.cases["landing"].reserve) == LINE
    assert two_levels(0.984, (0.93, 1.039), "wall", homogenised=0.293, homogenised_zone="core") == LINE
    assert f" Both calculations: {LINE}. That location is singular" in words.answer(both)[0]


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.999, "0.99"), (1.0, "1.00"), (1.039, "1.03"), (0.0349, "0.034"), (12.39, "12.3"), (math.inf, "unlimited")],
)
def test_short_numbers_are_rounded_down(value, text):
    assert short_reserve(value) == text


def test_an_unlimited_homogenised_reserve_lies_nowhere():
    assert two_levels(2.0, (), "wall", homogenised=math.inf, homogenised_zone="core").endswith(
        "; homogenised unlimited"
    )


def test_a_number_of_the_homogenised_answer_says_so_where_a_body_is_printed(findings, scene):
    printed, _ = printed_box.printed(findings, scene)
    assert is_told(printed) and "That number is homogenised" in words.answer(printed)[0]
    assert not is_told(findings) and "homogenised" not in words.answer(findings)[0]
    assert aside(printed.cases["landing"].reserve) == "homogenised"


def test_narrow_cells_and_requirements_name_the_kind(both):
    reserve = both.cases["landing"].reserve
    assert aside(reserve) == "bead by bead (0.93 to 1.03); homogenised 0.29"
    asked = both.requirements[0]
    assert value_and_kind(both, asked).endswith(", bead by bead")
    assert value_and_kind(both, dataclasses.replace(asked, where="cruise")).endswith(", homogenised")
    mass = both.requirements[2]
    assert value_and_kind(both, mass) == "33.9 g"
    spot = dataclasses.replace(both.cases["landing"].hot_spots[0], decided_by="whole", homogenised=0.4)
    assert isinstance(spot, HotSpot) and kind_of(spot) == "bead by bead"
    assert aside(spot) == "bead by bead; homogenised 0.40"


def test_the_verdict_is_that_of_the_decided_number(findings, scene):
    good = decided(findings, scene, minimum=1.6)
    calm = dataclasses.replace(good, cases={"landing": good.cases["landing"]}, requirements=())
    assert verdict_of(calm).minimum == 1.6


def test_a_table_of_a_place_holds_its_numbers():
    rows = dict(zoom_rows(zoom(beads_beyond=1200, settled=False, change=-0.061)))
    assert rows["Reserve factor, bead by bead"] == "0.98 (0.93 to 1.03), in the wall"
    assert rows["Reserve factor, homogenised"] == "0.29, in the core"
    assert rows["Minimum in the cover"] == short_reserve(zoom().by_zone["cover"])
    assert rows["Beads beyond their strength"] == "1,200"
    assert rows["Boxes"] == "0.15 x 0.15 x 0.2 mm: 1,962,000 unknowns, 9 iterations"
    assert rows["Larger cube"] == "changed the reserve factor by 6.1 %: NOT settled"
    lonely = dict(zoom_rows(zoom(by_zone={"wall": 0.984, "cover": None, "core": None}, beads_beyond=0)))
    assert lonely["Minimum in the cover"] == "–" and lonely["Beads beyond their strength"] == "none"


def whole(**other):
    told = {
        "voxel_mm": (0.225, 0.225, 0.2), "unknowns": 38_000_000, "iterations": 17, "least": 0.901, "zone": "wall",
        "mode": "interlayer shear", "at_mm": (36.5, 3.1, 15.3), "body": "box",
        "by_zone": {"wall": 0.901, "cover": 1.16, "core": None}, "strain_energy_mJ": 2000.0,
        "maximum_displacement_mm": 6.0, "beads_beyond": 5,
        "faces": {"tip": FaceMoves((0.0, 0.0, -0.55), (0.0, 0.3, 0.0))},
        "missed": (MissedPlace((1.0, 2.0, 3.0), "cover", "interlayer shear", 1.16, 2.04),), "device": "some card",
    }  # fmt: skip
    return WholeFindings(**{**told, **other})


def test_the_whole_stands_beside_the_other_two(both):
    case = dataclasses.replace(both.cases["landing"], whole=whole())
    rows = {row[0]: row[1:] for row in whole_rows(case, both.faces)}
    # 6.0 mm against the beam's 5.90 mm; -0.55 mm against -0.5 mm: ten per cent more
    assert rows["Maximum displacement"][2].startswith("6.00 mm (+")
    assert rows["Displacement of tip"] == ("(0, 0, -0.500) mm", "–", "(0, 0, -0.550) mm (+10.0 %)")
    energy = case.strain_energy_mJ
    assert rows["Strain energy"][2] == f"{number(2000.0)} mJ ({100 * (2000 / energy - 1):+.1f} %)"
    assert rows["Minimum in the wall"][0] == "0.47"
    assert rows["Minimum in the wall"][2] == "0.90 at (36.5, 3.1, 15.3) mm"
    assert rows["Minimum in the wall"][1].startswith("0.62 at (36.1, -2.3, 14.3) mm")
    assert rows["Minimum in the core"] == ("0.29", "1.61", "–")
    assert rows["Beads beyond their strength"] == ("–", "–", "5")
    assert whole_line(case.whole).endswith("38,000,000 unknowns, 17 iterations, on some card.")
    assert missed_rows(case.whole) == (("(1.0, 2.0, 3.0) mm", "cover", "interlayer shear", "1.16", "2.04"),)
    assert whole_rows(both.cases["cruise"], both.faces) == ()


def test_the_homogenised_minimum_of_each_zone_is_its_own(both):
    case = both.cases["landing"]
    told = {zone: homogenised_minimum(case, zone) for zone in ("wall", "cover", "core", "solid")}
    assert told == {"wall": "0.47", "cover": "–", "core": "0.29", "solid": "–"}
