"""A whole case brought to boxes: a part in boxes alone must answer as the part that they hang in."""

import numpy as np
import pytest
from fem.zooming.hung_case import hang_case
from helpers_boxes import boxes_in, places, solved
from helpers_fe import HIGH_X, HIGH_Z, LOW_X, LOW_Z, box, field, group, material

from fem.loading.case import LoadCase
from fem.loading.kinds import displaced_face, load_of
from fem.loading.plan import AccelerationKeys, DisplacementKeys, ForceKeys, LoadPlan, TemperatureChangeKeys
from fem.loading.supports import Foundation, held_face
from fem.solving.cases import solve_cases
from fem.solving.equilibrium import Equilibrium
from fem.tensors import isotropic_stiffness
from fem.zooming.hang import HeldNodes
from fem.zooming.where import Locator

YOUNG, NU = 2000.0, 0.35
LAME = YOUNG * NU / (1 + NU) / (1 - 2 * NU), YOUNG / (2 + 2 * NU)
LENGTH, WIDTH, HEIGHT = 30.0, 8.0, 6.0
TURNED = np.array([[0.0, 1, 0], [0, 0, 1], [1, 0, 0]])
STEP = np.array([1.0, 1.0, 0.75])
WHOLE = np.round(TURNED @ [LENGTH, WIDTH, HEIGHT] / STEP).astype(int)


@pytest.fixture(scope="module")
def bar():
    return box((LENGTH, WIDTH, HEIGHT), (12, 4, 4))


def plan(name, what, *, kind, face=None, permanent=False):
    return LoadPlan(name, kind, what, face, permanent)


def brought(bar, plans, factors, *, supports=(), foundations=(), low=(0.0, 0.0, 0.0), count=WHOLE):
    """The boxes, the case hung into them, and the part's own displacements (k, n, 3), permanent and growing."""
    groups = {"end": group(bar, HIGH_X), "top": group(bar, HIGH_Z)}
    printed = field(bar, material(isotropic_stiffness(YOUNG, NU), density=1e-9, expansion=[1e-4] * 3 + [0] * 3))
    loads = {p.name: load_of(p, bar, printed, groups) for p in plans}
    moves = {p.name: displaced_face(bar, p, groups) for p in plans if p.kind == "displacement"}
    case = LoadCase("case", factors, loads)
    equilibrium = Equilibrium(bar, printed, held=[*supports, *moves.values()], foundations=foundations)
    (answer,), _ = solve_cases(equilibrium, [case], moves=moves)
    locator = Locator(bar, "part")
    boxes = boxes_in(locator, TURNED, low, tuple(count), STEP)
    hung = hang_case(boxes, case, locator=locator, equilibrium=equilibrium, solved=answer, spacing=0.4, stiffness=1e7)
    fields = np.array([case.combined(names, answer.units) for names in (case.permanent, case.growing)])
    return boxes, hung, fields @ TURNED.T, locator


def in_boxes(boxes, hung, column):
    one = HeldNodes(hung.held.node, hung.held.displacement[[column]])
    springs = type(hung.springs)(hung.springs.node, hung.springs.spring, hung.springs.rest[[column]])
    return solved(boxes, *LAME, hung.forces[column], one, springs)


def compared(boxes, hung, fields, locator, column):
    """The largest difference between boxes and part, over the largest displacement of the part."""
    own = locator.find(places(boxes) @ TURNED).values(fields[column])
    return np.abs(in_boxes(boxes, hung, column) - own).max() / np.abs(own).max()


def clamp(bar):
    return held_face(bar, group(bar, LOW_X), fixed=("x", "y", "z"), name="wall")


def test_a_bar_in_boxes_bends_like_the_part_in_each_column(bar):
    plans = [
        plan("pull", ForceKeys((500.0, 0, 0)), kind="force", face="end", permanent=True),
        plan("bend", ForceKeys((0, 3.0, -5.0)), kind="force", face="end"),
        plan("press", ForceKeys((0, 0, -10.0)), kind="force", face="top"),
    ]
    made = brought(bar, plans, {"pull": 0.5, "bend": 2.0, "press": 1.0}, supports=[clamp(bar)])
    boxes, hung, _, _ = made
    assert boxes.filled.all() and not len(hung.held.node)
    size = np.abs(hung.forces).sum()
    assert hung.forces.sum(axis=1) == pytest.approx(np.array([[250, 0, 0], [0, 6, -20]]) @ TURNED.T, abs=1e-9 * size)
    assert not hung.acceleration.any() and not hung.temperature_change.any()
    for column in (0, 1):
        assert compared(*made, column) < 0.03


def test_half_a_bar_is_held_by_the_part_where_it_is_cut(bar):
    plans = [plan("bend", ForceKeys((0, 3.0, -5.0)), kind="force", face="end")]
    # Print axis 3 is the bar's length: the upper half
    half = WHOLE * [1, 1, 0] + [0, 0, WHOLE[2] // 2]
    made = brought(bar, plans, {"bend": 1.0}, supports=[clamp(bar)], low=(0, 0, LENGTH / 2), count=half)
    boxes, hung, _, _ = made
    assert places(boxes)[hung.held.node][:, 2] == pytest.approx(LENGTH / 2)
    assert len(hung.held.node) == (half[0] + 1) * (half[1] + 1)
    assert not hung.held.displacement[0].any() and not len(hung.springs.node)
    assert compared(*made, 1) < 0.02


def test_a_foundation_that_only_pushes_lets_go_in_boxes_as_in_the_part(bar):
    bed = Foundation("bed", group(bar, LOW_Z).triangles, normal=20.0, tangential=2.0, push_only=True)
    plans = [
        plan("weight", ForceKeys((0, 0, -50.0)), kind="force", face="top", permanent=True),
        plan("lift", ForceKeys((0, 0, 18.0)), kind="force", face="end"),
    ]
    boxes, hung, fields, locator = brought(bar, plans, {"weight": 1.0, "lift": 1.0}, foundations=[bed])
    area = np.trace(hung.springs.spring, axis1=1, axis2=2).sum() / (20 + 2 * 2)
    assert 0.1 * LENGTH * WIDTH < area < 0.9 * LENGTH * WIDTH
    for column in (0, 1):
        assert compared(boxes, hung, fields, locator, column) < 0.05
    # Negative control: pressing all over, the end stays down
    glued = Foundation("bed", bed.triangles, normal=20.0, tangential=2.0)
    _, stuck, _, _ = brought(bar, plans, {"weight": 1.0, "lift": 1.0}, foundations=[glued])
    own = locator.find(places(boxes) @ TURNED).values(fields[1])
    assert np.abs(in_boxes(boxes, stuck, 1) - own).max() > 0.2 * np.abs(own).max()


def test_a_prescribed_displacement_moves_its_own_column(bar):
    plans = [
        plan("settle", DisplacementKeys(None, None, -0.3), kind="displacement", face="end", permanent=True),
        plan("bend", ForceKeys((0, 40.0, 0)), kind="force", face="end"),
    ]
    made = brought(bar, plans, {"settle": 2.0, "bend": 1.0}, supports=[clamp(bar)])
    boxes, hung, _, _ = made
    for column in (0, 1):
        assert compared(*made, column) < 0.03
    moved = in_boxes(boxes, hung, 0)[places(boxes)[:, 2] > LENGTH - 1e-6]
    assert moved @ TURNED[:, 2] == pytest.approx(-0.6, abs=1e-3)


def test_gravity_and_warming_come_along_by_column(bar):
    plans = [
        plan("gravity", AccelerationKeys((0, 0, -9806.65)), kind="acceleration", permanent=True),
        plan("sun", TemperatureChangeKeys(30.0, None), kind="temperature_change", permanent=True),
        plan("jerk", AccelerationKeys((1e4, 0, 0)), kind="acceleration"),
    ]
    _, hung, _, _ = brought(bar, plans, {"gravity": 1.0, "sun": -0.5, "jerk": 3.0}, supports=[clamp(bar)])
    assert hung.acceleration == pytest.approx(np.array([[0, 0, -9806.65], [3e4, 0, 0]]) @ TURNED.T)
    assert hung.temperature_change == pytest.approx([-15.0, 0.0])
    assert not hung.forces.any()
