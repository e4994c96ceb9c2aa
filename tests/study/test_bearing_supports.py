"""Faces that bear on rigid bodies, as a study says it: how far they push, rub and part, and what supports bear."""

import numpy as np
import pytest
from helpers_cad import draw

from fem.errors import BeadworkError, FreeBodyError, InputError
from fem.printing.polymer import load_card
from fem.study.check import check_study
from fem.study.file import read_study
from fem.study.run import answer
from fem.telling.reactions import reaction_rows

BAR = """
title = "A bar before a wall"
[bodies.bar]
solid = "bar.step"
metal = "6082-t6"
mesh = { size = "6 mm" }
[faces]
left = { plane = { normal = [-1, 0, 0], at = "min" } }
right = { plane = { normal = [1, 0, 0], at = "max" } }
front = { plane = { normal = [0, -1, 0], at = "min" } }
bottom = { plane = { normal = [0, 0, -1], at = "min" } }
"""
GUIDED = """
[supports.root]
face = "left"
fixed = ["x"]
[supports.guide]
face = "front"
fixed = ["y"]
[supports.floor]
face = "bottom"
fixed = ["z"]
[supports.wall]
face = "right"
bearing = { clearance = "0.02 mm" }
[loads.pull]
face = "right"
force = ["10 kN", "0 N", "0 N"]
"""
SLED = """
[supports.ground]
face = "bottom"
bearing = { friction = 0.3 }
[loads.weight]
acceleration = ["SIDE m/s^2", "0 m/s^2", "-100 m/s^2"]
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bar")
    draw(folder / "bar.step", lambda occ: occ.addBox(0, 0, 0, 40, 10, 10))
    return folder


def study_of(folder, text, base=BAR):
    path = folder / "study.toml"
    path.write_text(base + text)
    return read_study(path)


def solved(folder, text, base=BAR):
    return answer(study_of(folder, text, base)).findings


def metal():
    state = next(iter(load_card("6082-t6").states.values()))
    return float(state.E[0]), float(state.nu[0])


def test_a_bar_closes_its_gap_to_a_rigid_wall(folder):
    # Bar of 40 mm and 100 mm2: it takes what stretches it by the gap, E A g / L, and the wall takes the rest
    case = solved(folder, GUIDED).cases["all"]
    bar = metal()[0] * 100 * 0.02 / 40
    told = {r.support: r.force_N[0] for r in case.reactions}
    assert told["wall"] == pytest.approx(bar - 10000, rel=5e-3)
    assert told["root"] == pytest.approx(-bar, rel=5e-3)
    assert told["root"] + told["wall"] == pytest.approx(-10000, rel=1e-8)
    assert case.reaction_N[0] == pytest.approx(-10000, rel=1e-8)
    assert case.force_error < 1e-8 and case.moment_error < 1e-8
    seam = case.joints["wall"]
    assert seam.force_N == pytest.approx([told["wall"], 0, 0], abs=1e-3)
    assert seam.state == "touches all over, slips"  # without friction
    rows = {row[0]: row[-1] for row in reaction_rows(case)}
    assert rows["wall"] == seam.state and rows["root"] == ""
    # A gap that the load does not close bears nothing, and the bar stretches by F L / (E A)
    wide = solved(folder, GUIDED.replace("0.02 mm", "0.2 mm")).cases["all"]
    assert wide.joints["wall"].state == "open"
    young, nu = metal()
    along = 10000 * 40 / (young * 100)
    corner = along * np.sqrt(1 + 2 * (nu * 10 / 40) ** 2)  # it draws in by nu along both sides
    assert wide.maximum_displacement_mm == pytest.approx(corner, rel=5e-3)


@pytest.mark.parametrize("side", [28.0, 32.0])
def test_a_block_on_a_rough_ground_slides_beyond_the_angle_of_friction(folder, side):
    # Its weight leans by an angle whose tangent is 0.28 or 0.32; the coefficient is 0.3
    text = SLED.replace("SIDE", str(side))
    if side > 30:
        with pytest.raises(FreeBodyError, match="body bar is free to slide along x"):
            solved(folder, text)
        return
    found = solved(folder, text)
    case = found.cases["all"]
    assert np.array(case.reactions[0].force_N) == pytest.approx(-np.array(case.applied_N), rel=1e-7, abs=1e-7)
    assert case.force_error < 1e-8 and case.moment_error < 1e-8
    assert found.supports["ground"] == {"face": "bottom", "bearing_friction": 0.3, "bearing_clearance_mm": 0.0}


CANTILEVER = """
[supports.root]
face = "left"
fixed = ["x", "y", "z"]
[supports.rest]
face = "bottom"
bearing = { clearance = "0.01 mm" }
[loads.tip]
face = "right"
force = ["0 N", "0 N", "-3 kN"]
[loads.side]
face = "right"
force = ["0 N", "400 N", "0 N"]
permanent = true
[cases]
all = { tip = 1.0, side = 1.0 }
"""


def test_the_load_of_failure_is_followed_to_where_the_reserve_is_one(folder):
    # The bar comes down on the rest as the load grows: the second way is to apply that very load
    first = answer(study_of(folder, CANTILEVER)).findings.cases["all"]
    again = answer(study_of(folder, CANTILEVER).with_({"cases.all.tip": first.reserve.minimum})).findings.cases["all"]
    assert again.reserve.minimum == pytest.approx(1.0, rel=0.01)
    # Where contact stayed as it is at first, the factor would be another one
    free = solved(folder, CANTILEVER.replace("0.01 mm", "4 mm")).cases["all"]
    assert abs(free.reserve.minimum - first.reserve.minimum) > 0.05 * first.reserve.minimum


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('bearing = { clearance = "0.02 mm" }', 'kind = "bearing"', "Write bearing = { friction"),
        ('bearing = { clearance = "0.02 mm" }', 'kind = "fixed"', "Give exactly one of fixed"),
        ('bearing = { clearance = "0.02 mm" }', 'foundation = { normal = "1 N/mm^3", friction = 0.2 }', "friction"),
        ('bearing = { clearance = "0.02 mm" }', 'bearing = {}\nfixed = ["x"]', "both fixed and bearing"),
        ("bearing = { clearance", "bearing = { friction = -0.1, clearance", "-0.1"),
        ('"0.02 mm"', '"0.02"', "unit"),
        ('"0.02 mm"', '"6 mm"', "wider than half the face"),
        ('"0.02 mm"', '"-30 mm"', "wider than bar"),
        ("[loads.pull]", '[joints.wall]\nfaces = ["left", "right"]\n[loads.pull]', "rename one"),
    ],
)
def test_a_bearing_that_cannot_be_is_refused_in_a_line(folder, old, new, said):
    with pytest.raises(InputError) as caught:
        check_study(study_of(folder, GUIDED.replace(old, new)))
    assert said in str(caught.value) and "study.toml" in str(caught.value)


def test_a_bar_that_nothing_presses_on_its_wall_is_refused(folder):
    text = GUIDED.replace('[supports.root]\nface = "left"\nfixed = ["x"]\n', "")
    with pytest.raises(BeadworkError, match="pushed away and nothing stops it: it can slide along x"):
        solved(folder, text.replace("10 kN", "-10 kN"))
    pressed = solved(folder, text).cases["all"]
    assert pressed.reactions[0].force_N[0] == pytest.approx(-10000, rel=1e-8)


def test_beside_joints_a_foundation_that_only_pushes_is_one_of_them(folder):
    # It sinks in by the pressure over its stiffness, and where the bar leaves the wall, that bears nothing
    ground = GUIDED[: GUIDED.index("[supports.wall]")].replace(
        '[supports.root]\nface = "left"\nfixed = ["x"]',
        '[supports.root]\nface = "left"\nfoundation = { normal = "500 N/mm^3", push_only = true }',
    )
    pulled = ground + '[supports.wall]\nface = "right"\nbearing = {}\n[loads.push]\nface = "right"\n'
    case = solved(folder, pulled + 'force = ["-10 kN", "0 N", "0 N"]\n').cases["all"]
    told = {r.support: r.force_N[0] for r in case.reactions}
    assert told["root"] == pytest.approx(10000, rel=1e-6) and told["wall"] == pytest.approx(0, abs=1e-3)
    sunk = case.joints["root"].closing_max_mm
    assert sunk == pytest.approx(10000 / (500 * 100), rel=5e-3)
    assert case.force_error < 1e-8 and case.moment_error < 1e-8
