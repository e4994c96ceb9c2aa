"""A printed bar in tension and in pure bending about both axes, against the composite section worked out by hand.

Every zone takes part with its own Young's modulus along the bar, and plane sections stay plane:
EA = sum E A, EI = sum E I. Source: J. M. Gere and S. P. Timoshenko, Mechanics of Materials (1997), section 6.2
(composite beams). Read between two sections in the middle: near the ends the walls run across the bar.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from helpers_fe import HIGH_X, LOW_X, box, pinned

from fem.judging.stress import recover_stress
from fem.loading.loads import wrench_load
from fem.printing.body import printed_body
from fem.printing.mixing import printed_field
from fem.printing.plan import PrintPlan
from fem.printing.polymer import load_card
from fem.solving.equilibrium import Equilibrium

LENGTH, WIDTH, HEIGHT = SIDES = (60.0, 12.0, 8.0)
FIRST, SECOND = 24.0, 36.0
WALL, COVER = 3 * 0.45, 4 * 0.2
CELLS = (10, 9, 10)
"""Bricks nearly as thick as the walls (1.33 against 1.35 mm) and just as high as the covers."""
CARD = load_card("pa12-cf")
E_ALONG, E_ACROSS, E_UP = CARD.state("dry").E
FLAT = PrintPlan(
    (0, 0, 1), walls=3, covers=4, raster=(0.0, 90.0), infill_pattern="triangle", infill_density=0.3, infill_angle=0.0
)


def along_the_bar(material):
    """Young's modulus [MPa] of a material along part x, free to contract."""
    return 1 / np.linalg.inv(material.stiffness)[0, 0]


def section(walls, covers, core, *, wall=WALL):
    """EA [N], EI in the layer's plane and out of it [N mm^2], of the bar printed flat; the moduli [MPa] of each."""
    b, h = WIDTH - 2 * wall, HEIGHT - 2 * COVER

    def summed(whole, between, inner):
        """What the section is worth when a rectangle is worth this: whole, between the walls, the core."""
        return walls * (whole - between) + covers * (between - inner) + core * inner

    stretch = summed(WIDTH * HEIGHT, b * HEIGHT, b * h)
    in_plane = summed(WIDTH**3 * HEIGHT, b**3 * HEIGHT, b**3 * h) / 12
    upright = summed(WIDTH * HEIGHT**3, b * HEIGHT**3, b * h**3) / 12
    return stretch, in_plane, upright


def pulled_and_bent(plan, cells=CELLS):
    """EA [N], EI in the layer's plane and out of it [N mm^2] as found; mesh, field and displacement when pulled."""
    mesh = box(SIDES, cells)
    printed = printed_field(mesh, bodies={"part": printed_body(plan, card=CARD, state="dry")})
    low, high = (mesh.triangles_of((face,)) for face in (LOW_X, HIGH_X))
    middle = np.array([0, WIDTH / 2, HEIGHT / 2])
    end = middle + np.array([LENGTH, 0, 0])
    loads = []
    for force, moment in (([1.0, 0, 0], [0.0] * 3), ([0.0] * 3, [0, 0, 1.0]), ([0.0] * 3, [0, 1.0, 0])):
        both = {"force": np.array(force), "moment": np.array(moment)}
        loads.append(wrench_load(mesh, high, at=end, **both) - wrench_load(mesh, low, at=middle, **both))
    held = pinned(mesh, (0, 0, 0), (LENGTH, 0, 0), (0, WIDTH, 0))
    found, _ = Equilibrium(mesh, printed, held=[held]).solve(np.array(loads))

    def plane(x, move):
        """Shift and slopes over y and z of the plane that fits u_x on the section at x."""
        on = np.abs(mesh.nodes[:, 0] - x) < 1e-6
        assert on.sum() > 100
        base = np.column_stack([np.ones(on.sum()), mesh.nodes[on, 1:] - middle[1:]])
        return np.linalg.lstsq(base, move[on, 0], rcond=None)[0]

    change = [(plane(SECOND, move) - plane(FIRST, move)) / (SECOND - FIRST) for move in found]
    return (1 / change[0][0], -1 / change[1][1], 1 / change[2][2]), mesh, printed, found[0]


@pytest.fixture(scope="module")
def flat():
    return pulled_and_bent(FLAT)


def moduli(printed):
    return tuple(along_the_bar(m) for m in printed.materials)


def test_bar_printed_flat(flat):
    found, _, printed, _ = flat
    walls, covers, core = moduli(printed)
    assert walls == pytest.approx(E_ALONG)
    assert E_ACROSS < covers < E_ALONG
    assert core < 0.3 * E_ALONG
    hand = section(walls, covers, core)
    assert found == pytest.approx(hand, rel=0.005)
    for wrong in (section(walls, core, core), section(covers, covers, core), section(walls, covers, 0.3 * E_ALONG)):
        assert max(abs(a / b - 1) for a, b in zip(wrong, hand, strict=True)) > 0.05


@pytest.mark.parametrize("cells", [(20, 10, 11), (20, 6, 4)])
def test_bar_whose_mesh_knows_nothing_of_walls_and_skins(cells):
    # The coarse one has four tetrahedra over the height, each thicker than two covers: one stiffness for each of them
    # would leave the bar 9 % too soft in bending
    found, _, printed, _ = pulled_and_bent(FLAT, cells)
    assert found == pytest.approx(section(*moduli(printed)), rel=0.01)


def test_every_zone_feels_its_own_stress(flat):
    (stretch, _, _), mesh, printed, move = flat
    stress = recover_stress(mesh, printed, move)
    for zone, modulus in zip(stress.zones, moduli(printed), strict=True):
        at = mesh.nodes[zone.nodes]
        middle = np.abs(at[:, 0] - LENGTH / 2) < 6.1
        assert zone.stress[middle, 0].mean() == pytest.approx(modulus / stretch, rel=0.02)
    feels = [modulus / stretch for modulus in moduli(printed)]
    assert feels[0] > 1.3 * feels[1] > 1.3 * 2 * feels[2], "the mean of all three would miss each"


def test_turning_the_raster_changes_the_stiffness_by_what_the_section_says():
    along, across = (pulled_and_bent(replace(FLAT, raster=(angle,))) for angle in (0.0, 90.0))
    core = moduli(along[2])[2]
    hand = [section(E_ALONG, covers, core) for covers in (E_ALONG, E_ACROSS)]
    for number in range(3):
        exact = hand[1][number] / hand[0][number]
        assert exact < 0.92
        assert across[0][number] / along[0][number] == pytest.approx(exact, rel=0.01)


def test_a_bar_without_walls_is_softer_by_what_the_section_says(flat):
    found, _, printed, _ = pulled_and_bent(replace(FLAT, walls=0))
    covers, core = moduli(printed)
    hand = section(E_ALONG, covers, core, wall=0.0)
    assert found == pytest.approx(hand, rel=0.01)
    assert max(a / b for a, b in zip(found, flat[0], strict=True)) < 0.9


def test_bar_printed_standing():
    # the layers lie across the bar: walls bear with E3 all round, the grid inside with density x E3, exactly
    plan = replace(FLAT, build_direction=(1, 0, 0), infill_pattern="grid")
    found = pulled_and_bent(plan, (10, 9, 6))[0]
    b, h = WIDTH - 2 * WALL, HEIGHT - 2 * WALL
    hand = (
        E_UP * (WIDTH * HEIGHT - 0.7 * b * h),
        E_UP * (WIDTH**3 * HEIGHT - 0.7 * b**3 * h) / 12,
        E_UP * (WIDTH * HEIGHT**3 - 0.7 * b * h**3) / 12,
    )
    assert found == pytest.approx(hand, rel=0.01)
