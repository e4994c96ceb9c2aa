"""A hole in a pulled plate, printed solid and computed bead by bead, against Kirsch's solution.

Source: S. P. Timoshenko and J. N. Goodier, Theory of Elasticity, 3rd ed. (1970), section 35 (G. Kirsch, VDI-Z. 42
(1898) 797). Stress is compared where the program judges it: averaged over the piece of the bead that runs around the
hole. The plate is thin and its faces are free (plane stress); the boxes are cut out of a wider one, whose
displacements on the cut sides are the exact ones.
"""

import dataclasses

import numpy as np
import pytest
from helpers_cad import draw

from fem.loading.case import LoadCase
from fem.loading.loads import Load
from fem.part.meshing import mesh_solid
from fem.part.solid import read_solid
from fem.printing.beads import WALL
from fem.printing.body import printed_body
from fem.printing.filling import layer_grid
from fem.printing.plan import PrintPlan
from fem.printing.polymer import load_card
from fem.zooming.cube import BodyOfBeads, Supported, solve_beads
from fem.zooming.judge import judge_case

RADIUS, PULL, YOUNG, NU = 3.0, 1.0, 2000.0, 0.35
WIDTH, STEP, HIGH = 0.45, 0.1125, 0.6
MIDDLE = np.array([12.0, 12.0])


def kirsch_stress(x, y):
    """Stress xx, yy, xy (3, n) [MPa] of an infinite plate pulled along x, the hole's middle at the origin."""
    r, t = np.hypot(x, y), np.arctan2(y, x)
    a = (RADIUS / r) ** 2
    rr = PULL / 2 * (1 - a) + PULL / 2 * (1 - 4 * a + 3 * a**2) * np.cos(2 * t)
    tt = PULL / 2 * (1 + a) - PULL / 2 * (1 + 3 * a**2) * np.cos(2 * t)
    rt = -PULL / 2 * (1 + 2 * a - 3 * a**2) * np.sin(2 * t)
    c, s = np.cos(t), np.sin(t)
    return np.array(
        [c * c * rr + s * s * tt - 2 * c * s * rt, s * s * rr + c * c * tt + 2 * c * s * rt,
         c * s * (rr - tt) + (c * c - s * s) * rt]
    )  # fmt: skip


def kirsch_displacement(x, y):
    """Displacement (2, n) [mm] of the same in plane stress."""
    r, t = np.hypot(x, y) / RADIUS, np.arctan2(y, x)
    k, size = (3 - NU) / (1 + NU), PULL * RADIUS * (1 + NU) / (4 * YOUNG)
    far = 2 / r**3
    u = r * (k + 1) * np.cos(t) + 2 / r * ((1 + k) * np.cos(t) + np.cos(3 * t)) - far * np.cos(3 * t)
    v = r * (k - 3) * np.sin(t) + 2 / r * ((1 - k) * np.sin(t) + np.sin(3 * t)) - far * np.sin(3 * t)
    return size * np.array([u, v])


def along_the_hole(number):
    """Mean stress [MPa] along bead `number` where it crosses the y axis: one bead wide and long.

    Midpoint sums over the piece, of x within half a width, r within the bead.
    """
    x = (np.arange(200) + 0.5) / 200 * WIDTH - WIDTH / 2
    r = RADIUS + (number + (np.arange(200) + 0.5) / 200) * WIDTH
    x, r = np.meshgrid(x, r)
    y = np.sqrt(r**2 - x**2)
    # An area of x and r is smaller than one of x and y where the ring slopes
    weight = r / y
    return float((kirsch_stress(x, y)[0] * weight).sum() / weight.sum())


@pytest.fixture(scope="module")
def body(tmp_path_factory):
    def plate(occ):
        outer, hole = occ.addBox(0, 0, 0, 24, 24, HIGH), occ.addCylinder(*MIDDLE, 0, 0, 0, HIGH, RADIUS)
        occ.cut([(3, outer)], [(3, hole)])

    solid = read_solid(draw(tmp_path_factory.mktemp("plate") / "plate.step", plate), name="part")
    mesh = mesh_solid(solid, size=2.0, finest=1.0)
    plan = PrintPlan((0, 0, 1), walls=3, bead_width=WIDTH)
    card = load_card("pla")
    made = printed_body(plan, card=card, state=next(iter(card.states)))
    values = dataclasses.replace(made.values, E=(YOUNG,) * 3, nu=(NU,) * 3, G=(YOUNG / (2 + 2 * NU),) * 3)
    return BodyOfBeads(mesh, "part", dataclasses.replace(made, values=values))


def judged_beads(body, displacement):
    low, high = [*(MIDDLE - 6.75), 0.0], [*(MIDDLE + 6.75), HIGH]
    grid = layer_grid(body.outline, low=low, high=high, step=STEP)
    load = Load("pull", "force", np.zeros(body.mesh.nodes.shape), False, np.zeros(0, dtype=np.int64))
    found = solve_beads(body, grid, loads={"pull": load}, supported=Supported(), displacement={"pull": displacement})
    case = LoadCase("pull", {"pull": 1.0}, {"pull": load})
    return judge_case(found, case, inner=np.ones(found.beads.zone.shape, dtype=bool))


def exact(body):
    x, y = (body.mesh.nodes[:, :2] - MIDDLE).T
    thinner = -NU / YOUNG * kirsch_stress(x, y)[:2].sum(axis=0)
    return np.column_stack([*kirsch_displacement(x, y), thinner * (body.mesh.nodes[:, 2] - HIGH / 2)])


def at_the_hole(judged, number):
    """Stress along a bead of the hole's wall where it crosses the y axis."""
    grid = judged.beads.grid
    y, x = ((np.arange(n) + 0.5) * s + o - m for n, s, o, m in zip(
        grid.count[1::-1], grid.step[1::-1], grid.origin[1::-1], MIDDLE[::-1], strict=True))  # fmt: skip
    mine = (judged.beads.zone[1] == WALL) & (judged.beads.bead[1] == number)
    mine &= (np.abs(x)[None] < STEP) & (np.abs(np.abs(y) - RADIUS)[:, None] < 4 * WIDTH)
    assert mine.sum() >= 4
    return judged.stress[1][mine][:, 0]


def test_the_displacements_are_those_of_the_stresses():
    """Kirsch's displacements, differentiated, obey Hooke's law with Kirsch's stresses: both were copied right."""
    x, y = np.array([3.5, 0.4, -2.9]), np.array([1.0, 3.3, 2.6])
    h = 1e-5
    dx = (kirsch_displacement(x + h, y) - kirsch_displacement(x - h, y)) / (2 * h)
    dy = (kirsch_displacement(x, y + h) - kirsch_displacement(x, y - h)) / (2 * h)
    lam, mu = YOUNG * NU / (1 - NU**2), YOUNG / (2 + 2 * NU)
    grown = dx[0] + dy[1]
    hooke = np.array([lam * grown + 2 * mu * dx[0], lam * grown + 2 * mu * dy[1], mu * (dx[1] + dy[0])])
    assert hooke == pytest.approx(kirsch_stress(x, y), abs=1e-6)


def test_beads_around_a_hole_bear_the_mean_of_kirschs_stress(body):
    judged = judged_beads(body, exact(body))
    first, second = along_the_hole(0), along_the_hole(1)
    # The closed form on the y axis itself lies little above the mean over the bead's length
    a, b = RADIUS, RADIUS + WIDTH
    axis = PULL / 2 * (2 + (a - a**2 / b + a - a**4 / b**3) / WIDTH)
    assert first == pytest.approx(axis, rel=0.02) and first < axis
    assert at_the_hole(judged, 0) == pytest.approx(first, rel=0.03)
    assert at_the_hole(judged, 1) == pytest.approx(second, rel=0.025)
    # Negative controls: the peak at the edge is no mean over a bead, nor is the next bead's
    assert np.abs(at_the_hole(judged, 0) / (3 * PULL) - 1).min() > 0.1
    assert np.abs(at_the_hole(judged, 0) / second - 1).min() > 0.1


def test_a_plate_pulled_as_if_it_had_no_hole_is_another(body):
    x, y, z = (body.mesh.nodes - [*MIDDLE, 0]).T
    plain = np.column_stack([x, -NU * y, -NU * (z - HIGH / 2)]) * PULL / YOUNG
    judged = judged_beads(body, plain)
    assert np.abs(at_the_hole(judged, 0) / along_the_hole(0) - 1).min() > 0.04
