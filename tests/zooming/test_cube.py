"""Loads and supports brought to boxes of beads: a bar in boxes alone must answer as the part that they hang in.

The bar is printed solid of one isotropic bead, so that its tetrahedra and its boxes are of the same material and only
what hangs the boxes can tell the two apart. Its build direction lies along its length.
"""

import dataclasses

import numpy as np
import pytest
from helpers_fe import HIGH_X, HIGH_Z, LOW_X, LOW_Z, box, field, group, material

from fem.loading.acceleration import AccelerationKeys
from fem.loading.case import LoadCase
from fem.loading.displacement import DisplacementKeys, displaced_face
from fem.loading.force import ForceKeys
from fem.loading.kinds import load_of
from fem.loading.plan import LoadPlan
from fem.loading.supports import Foundation, held_face
from fem.loading.temperature_change import TemperatureChangeKeys
from fem.printing.body import printed_body
from fem.printing.filling import layer_grid
from fem.printing.plan import PrintPlan
from fem.printing.polymer import load_card
from fem.solving.cases import solve_cases
from fem.solving.equilibrium import Equilibrium
from fem.tensors import isotropic_stiffness
from fem.zooming.cube import BodyOfBeads, Supported, solve_beads

YOUNG, NU, DENSITY, GROWS = 2000.0, 0.35, 1e-9, 1e-4
LENGTH, WIDTH, HEIGHT = 30.0, 8.0, 6.0
LAYER, STEP = 0.75, 1.0
PLAN = PrintPlan((1, 0, 0), raster_zero=(0, 1, 0), bead_width=1.0, bead_height=LAYER, walls=0)
WHOLE = ((0.0, 0.0, 0.0), (WIDTH, HEIGHT, LENGTH))
HALF = ((0.0, 0.0, LENGTH / 2), (WIDTH, HEIGHT, LENGTH))


@pytest.fixture(scope="module")
def bar():
    return box((LENGTH, WIDTH, HEIGHT), (12, 4, 4))


@pytest.fixture(scope="module")
def body(bar):
    """The bar of a card's print whose bead is isotropic here."""
    card = load_card("pla")
    made = printed_body(PLAN, card=card, state=next(iter(card.states)))
    shear = YOUNG / (2 + 2 * NU)
    values = dataclasses.replace(made.values, E=(YOUNG,) * 3, nu=(NU,) * 3, G=(shear,) * 3, expansion=(GROWS,) * 3)
    return BodyOfBeads(bar, "part", dataclasses.replace(made, solid=DENSITY, values=values))


def plan(name, what, *, kind, face=None, permanent=False):
    return LoadPlan(name, kind, what, face, permanent)


def brought(body, plans, factors, *, supports=(), foundations=(), room=WHOLE):
    """The beads of a room (low, high) in print axes, solved; the part's displacements by load; and the case."""
    bar = body.mesh
    groups = {"end": group(bar, HIGH_X), "top": group(bar, HIGH_Z)}
    expansion = [GROWS] * 3 + [0] * 3
    printed = field(bar, material(isotropic_stiffness(YOUNG, NU), density=DENSITY, expansion=expansion))
    loads = {p.name: load_of(p, bar, printed, groups) for p in plans}
    moves = {p.name: displaced_face(bar, p, groups) for p in plans if p.kind == "displacement"}
    still = [dataclasses.replace(m, value=np.zeros_like(m.value)) for m in moves.values()]
    case = LoadCase("case", factors, loads)
    equilibrium = Equilibrium(bar, printed, held=[*supports, *still], foundations=foundations)
    (answer,), _ = solve_cases(equilibrium, [case], moves=moves)
    pressing = {} if answer.contact is None else answer.contact.pressing
    given = layer_grid(body.outline, low=room[0], high=room[1], step=STEP)
    found = solve_beads(
        body,
        given,
        loads=loads,
        supported=Supported(tuple(supports), tuple(foundations), pressing, moves),
        displacement=answer.units,
    )
    return found, answer.units, case


def apart(found, units, case, names):
    """The largest difference between boxes and part under these loads, over the part's largest displacement."""
    number = found.system.boxes.number
    corner = np.argwhere(number >= 0)[np.argsort(number[number >= 0])]
    place = found.beads.grid.origin + corner[:, ::-1] * found.beads.grid.step
    axes = found.body.axes
    own = found.body.locator.find(place @ axes).values(case.combined(tuple(names), units)) @ axes.T
    return np.abs(found.combined(case, names)[0] - own).max() / np.abs(own).max()


def clamp(bar):
    return held_face(bar, group(bar, LOW_X), fixed=("x", "y", "z"), name="wall")


def test_a_bar_in_boxes_bends_like_the_part_under_each_load(bar, body):
    plans = [
        plan("pull", ForceKeys((500.0, 0, 0)), kind="force", face="end", permanent=True),
        plan("bend", ForceKeys((0, 3.0, -5.0)), kind="force", face="end"),
        plan("press", ForceKeys((0, 0, -10.0)), kind="force", face="top"),
    ]
    found, units, case = brought(body, plans, {"pull": 0.5, "bend": 2.0, "press": 1.0}, supports=[clamp(bar)])
    assert found.system.filled.all() and not len(found.system.held)
    for name in units:
        assert apart(found, units, case, (name,)) < 0.03
    assert apart(found, units, case, case.growing) < 0.03
    # Negative control: one load is not another
    swapped = {**units, "bend": units["press"]}
    assert apart(found, swapped, case, ("bend",)) > 0.2


def test_half_a_bar_is_held_by_the_part_where_it_is_cut(bar, body):
    plans = [plan("bend", ForceKeys((0, 3.0, -5.0)), kind="force", face="end")]
    found, units, case = brought(body, plans, {"bend": 1.0}, supports=[clamp(bar)], room=HALF)
    number = found.system.boxes.number
    # Print axis 3 is the bar's length: the lowest corners of the upper half are cut, and nothing else
    assert set(found.system.held) == set(number[0].ravel()) and len(found.system.held) == (6 + 1) * (8 + 1)
    assert not len(found.system.springs.node)
    assert apart(found, units, case, ("bend",)) < 0.02


def test_a_foundation_that_only_pushes_lets_go_in_boxes_as_in_the_part(bar, body):
    bed = Foundation("bed", group(bar, LOW_Z).triangles, normal=20.0, tangential=2.0, push_only=True)
    plans = [
        plan("weight", ForceKeys((0, 0, -50.0)), kind="force", face="top", permanent=True),
        plan("lift", ForceKeys((0, 0, 18.0)), kind="force", face="end"),
    ]
    factors = {"weight": 1.0, "lift": 1.0}
    found, units, case = brought(body, plans, factors, foundations=[bed])
    area = np.trace(found.system.springs.matrix, axis1=1, axis2=2).sum() / (20 + 2 * 2)
    assert 0.1 * LENGTH * WIDTH < area < 0.9 * LENGTH * WIDTH
    for name in units:
        assert apart(found, units, case, (name,)) < 0.05
    # Negative control: pressing all over, the end stays down
    glued = Foundation("bed", bed.triangles, normal=20.0, tangential=2.0)
    stuck, _, _ = brought(body, plans, factors, foundations=[glued])
    assert apart(stuck, units, case, ("lift",)) > 0.2


def test_a_prescribed_displacement_moves_its_own_load(bar, body):
    plans = [
        plan("settle", DisplacementKeys(None, None, -0.3), kind="displacement", face="end", permanent=True),
        plan("bend", ForceKeys((0, 40.0, 0)), kind="force", face="end"),
    ]
    found, units, case = brought(body, plans, {"settle": 2.0, "bend": 1.0}, supports=[clamp(bar)])
    for name in units:
        assert apart(found, units, case, (name,)) < 0.03
    end = found.system.boxes.number[-1].ravel()
    moved = found.combined(case, case.permanent)[0][end] @ found.body.axes[:, 2]
    assert moved == pytest.approx(-0.6, abs=2e-3)


def test_gravity_and_warming_come_along_by_load(bar, body):
    plans = [
        plan("gravity", AccelerationKeys((0, 0, -9806.65)), kind="acceleration", permanent=True),
        plan("sun", TemperatureChangeKeys(30.0, None), kind="temperature_change", permanent=True),
        plan("jerk", AccelerationKeys((1e4, 0, 0)), kind="acceleration"),
    ]
    factors = {"gravity": 1.0, "sun": -0.5, "jerk": 3.0}
    found, units, case = brought(body, plans, factors, supports=[clamp(bar)])
    mass = found.system.mass(found.body.made.solid).sum()
    assert mass == pytest.approx(DENSITY * LENGTH * WIDTH * HEIGHT, rel=1e-9)
    for name in units:
        assert apart(found, units, case, (name,)) < 0.03
    assert found.combined(case, case.permanent)[1] == pytest.approx(-15.0)
    assert found.combined(case, case.growing)[1] == 0.0
    # Negative control: as much colder as it is warmer
    assert apart(found, {**units, "sun": -units["sun"]}, case, ("sun",)) > 1
