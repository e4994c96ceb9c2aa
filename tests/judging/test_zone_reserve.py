"""Zones judged by their own beads: what the search spares changes nothing, and a body of infill."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from helpers_fe import box

from fem.criteria.reserve import phase_reserve
from fem.criteria.strength import WALL_BUCKLING
from fem.judging.reserve import judge_reserve
from fem.judging.stress import recover_stress
from fem.printing.body import metal_body, printed_body
from fem.printing.field import wall_axes
from fem.printing.mixing import printed_field
from fem.printing.plan import PrintPlan
from fem.printing.polymer import card_with, load_card
from fem.tensors import rotate_stiffness, stress_rotation, unpack_stress

CARD = load_card("pa12-cf")


# ---- the screening


def every_phase(mesh, printed, permanent, growing):
    """Minimum reserve, every criterion's least and every zone's, when each phase is judged wherever its zone is.

    Also the pairs of zone and label, modes and stresses that come to this least at each node.
    """
    n = len(mesh.nodes)
    least, seen = np.full(n, np.inf), np.zeros(n, dtype=bool)
    criteria, by_zone = {}, {}
    candidates = [[] for _ in range(n)]
    for number, material in enumerate(printed.materials):
        here = growing.zones[number]
        stay = permanent.zones[number]
        seen[here.nodes] = True
        for phase in material.phases:
            turned = stress_rotation(wall_axes(material, here.turn)) if material.follows_outline else np.eye(6)
            both = [
                (phase.to_bead @ turned @ z.stress[..., None])[..., 0]
                + np.outer(z.temperature_change, phase.thermal_stress)
                for z in (stay, here)
            ]
            found = phase_reserve(*both, phase.strength)
            np.minimum.at(least, here.nodes, found.reserve)
            by_zone[phase.zone] = min(by_zone.get(phase.zone, np.inf), found.reserve.min())
            for name, values in found.criteria.items():
                if values is not None:
                    criteria[name] = min(criteria.get(name, np.inf), values.min())
            for k, node in enumerate(here.nodes):
                candidates[node].append(
                    (found.reserve[k], (phase.zone, phase.label), found.modes[found.mode[k]], both[0][k] + both[1][k])
                )
    return least, seen, (criteria, by_zone), candidates


def waves(mesh, size, number):
    """A smooth displacement of all components, unlike any simple state."""
    x = mesh.nodes / mesh.box[1]
    chance = np.random.default_rng(number)
    wave, phase, shear = chance.normal(size=(3, 3)), chance.normal(size=3), chance.normal(size=(3, 3))
    return size * np.sin(x @ wave.T * 2 + phase) + size * x @ shear


@pytest.fixture(scope="module")
def printed_box():
    mesh = box((14.0, 11.0, 7.0), (4, 3, 3))
    plan = PrintPlan(
        (0.2, 0.1, 1), raster=(20.0, -70.0), infill_pattern="gyroid", infill_density=0.15, infill_angle=10.0
    )
    return mesh, printed_field(mesh, bodies={"part": printed_body(plan, card=CARD, state="dry")})


# growth of the permanent and the growing displacement [mm], temperature_change of both [K]
STATES = [(0.003, 0.01, 0.0, 0.0), (0.003, 0.01, 2.0, -6.0), (0.03, 0.01, 4.0, 5.0), (0.0, 0.01, 0.0, 0.0)]


@pytest.mark.parametrize("state", STATES, ids=["cold", "warmed", "some failed already", "nothing permanent"])
def test_sparing_phases_changes_nothing(printed_box, state):
    mesh, printed = printed_box
    stays, grows, warm, warmer = state
    warm, warmer = (
        t * (1 + mesh.nodes[mesh.tets[:, 0], 0] / mesh.box[1, 0]) if t else np.zeros(len(mesh.tets))
        for t in (warm, warmer)
    )
    permanent = recover_stress(mesh, printed, waves(mesh, stays, 1), temperature_change=warm)
    growing = recover_stress(mesh, printed, waves(mesh, grows, 2), temperature_change=warmer)
    least, seen, (criteria, by_zone), candidates = every_phase(mesh, printed, permanent, growing)
    found = judge_reserve(mesh, printed, permanent=permanent, growing=growing)
    assert seen.all()
    assert np.allclose(found.reserve, least, rtol=1e-9, atol=0)
    assert np.median(least) > 1.5 * least.min()
    assert sum(len(m.phases) for m in printed.materials) > 35
    assert {p[0] for p in found.phases} >= {"wall", "cover", "core"}
    wanted = {name: value for name, value in found.criteria["part"].items() if value is not None}
    assert wanted == pytest.approx(criteria, rel=1e-9)
    assert WALL_BUCKLING in wanted
    assert found.by_zone == pytest.approx(by_zone, rel=1e-9) and min(by_zone.values()) == pytest.approx(least.min())
    assert set(by_zone) == {"wall", "cover", "core"}
    if stays < 0.01:
        assert max(by_zone.values()) > 1.05 * min(by_zone.values()), "the part's minimum is not that of each zone"
    failed = found.reserve == 0
    assert failed.any() == (stays > 0.01) and not failed.all()
    for node in np.flatnonzero(np.isfinite(found.reserve)):
        named = found.phases[found.phase[node]], found.modes[found.mode[node]]
        same = [
            stress
            for value, phase, mode, stress in candidates[node]
            if abs(value - least[node]) <= 1e-9 * least[node] and (phase, mode) == named
        ]
        assert min(np.abs(stress - found.print_stress[node]).max() for stress in same) < 1e-6
    if stays == 0:
        alone = judge_reserve(mesh, printed, permanent=None, growing=growing)
        assert np.allclose(alone.reserve, found.reserve, rtol=1e-9)


def test_a_zone_left_out_would_be_missed(printed_box):
    mesh, printed = printed_box
    still, growing = (recover_stress(mesh, printed, waves(mesh, size, 2)) for size in (0.0, 0.01))
    _, _, _, candidates = every_phase(mesh, printed, still, growing)
    worst = {min(c, key=lambda x: x[0])[1][0] for c in candidates}
    assert worst == {"wall", "cover", "core"}, "each zone must decide somewhere"


# ---- a body of infill alone

DIRECTIONS = [(k, sign) for k in range(6) for sign in (1, -1)]


@pytest.mark.parametrize("pattern", ["grid", "honeycomb"])
def test_a_body_of_infill_bears_what_its_cell_bears(pattern):
    mesh = box((9.0, 8.0, 7.0), (1, 1, 1))
    plan = PrintPlan((0, 0, 1), walls=0, covers=0, infill_pattern=pattern, infill_density=0.3, infill_angle=0.0)
    made = printed_body(plan, card=CARD, state="dry")
    printed = printed_field(mesh, bodies={"part": made})
    compliance = np.linalg.inv(made.core.stiffness)
    limits = made.cell.strength_MPa
    apart = []
    for k, sign in DIRECTIONS:
        kind = ("tension" if sign > 0 else "compression") if k < 3 else "shear"
        name = f"{kind} {('1', '2', '3', '23', '13', '12')[k]}"
        limit = min(limits[kind][k % 3], limits["buckling"].get(name, {}).get("MPa", np.inf))
        strain = compliance[k] * sign * [1, 1, 1, 0.5, 0.5, 0.5]
        growing = recover_stress(mesh, printed, mesh.nodes @ unpack_stress(strain))
        assert growing.node == pytest.approx(np.tile(np.eye(6)[k] * sign, (len(mesh.nodes), 1)), abs=1e-9)
        found = judge_reserve(mesh, printed, permanent=None, growing=growing)
        # the kept points of the cell may miss 1 % of its worst stress, never add to it
        assert (found.reserve >= limit * (1 - 1e-9)).all()
        assert found.reserve == pytest.approx(limit, rel=0.02), name
        apart.append(limit)
        # twice the load, half the reserve; half of it permanent, the other half may grow
        half = judge_reserve(mesh, printed, permanent=growing, growing=growing)
        assert half.reserve == pytest.approx(np.maximum(found.reserve - 1, 0), rel=1e-9)
    assert max(apart) > 4 * min(apart)


def test_turned_infill_bears_as_the_turned_cell():
    shear = {"12": "22 MPa", "13": "15 MPa", "23": "12 MPa"}
    card = card_with(CARD, state="dry", values={"shear": shear})
    # triangles are not alike in tension along 1 and 2: turned by 90 degrees the two change places
    mesh = box((9.0, 8.0, 7.0), (1, 1, 1))
    bears = []
    for angle in (0.0, 90.0):
        plan = PrintPlan(
            (0, 0, 1), walls=0, covers=0, infill_pattern="triangle", infill_density=0.4, infill_angle=angle
        )
        made = printed_body(plan, card=card, state="dry")
        printed = printed_field(mesh, bodies={"part": made})
        for k in (0, 1):
            strain = np.linalg.inv(made.core.stiffness)[k] * [1, 1, 1, 0.5, 0.5, 0.5]
            growing = recover_stress(mesh, printed, mesh.nodes @ unpack_stress(strain))
            bears.append(judge_reserve(mesh, printed, permanent=None, growing=growing).reserve.min())
    assert bears[1] > 1.2 * bears[0]
    assert (bears[2], bears[3]) == pytest.approx((bears[1], bears[0]), rel=1e-6)


def test_a_metal_and_a_print_are_judged_by_one_rule():
    mesh = box((9.0, 8.0, 7.0), (1, 1, 1))
    made = metal_body(load_card("6082-t6"))
    printed = printed_field(mesh, bodies={"part": made})
    strain = np.linalg.inv(made.core.stiffness)[0] * 100 * [1, 1, 1, 0.5, 0.5, 0.5]
    growing = recover_stress(mesh, printed, mesh.nodes @ unpack_stress(strain))
    found = judge_reserve(mesh, printed, permanent=None, growing=growing)
    assert found.reserve == pytest.approx(2.5, rel=1e-9)
    assert found.criteria == {"part": {"von_mises": pytest.approx(2.5, rel=1e-9)}}


def test_walls_that_meet_in_a_corner_are_judged_each_its_own_way():
    # Even strain along x and even shear: exact reserves of a wall along x and of one along y, and nothing between,
    # but for what crosses from one to the other within a bead's width, where beads turn the corner
    mesh = box((20, 10, 8), (20, 10, 4))
    plan = PrintPlan((0, 0, 1), walls=5, covers=0, infill_pattern="grid", infill_density=0.3)
    made = printed_body(plan, card=load_card("pa12-cf"), state="dry")
    plain = replace(made, wall=replace(made.wall, length=0.0))
    fields = [printed_field(mesh, bodies={"part": each}) for each in (plain, made)]
    wall, strength = made.wall, made.wall.phases[0].strength
    for strain in (np.array([2e-3, 0, 0, 0, 0, 0]), np.array([0, 0, 0, 0, 0, 2e-3])):
        exact = []
        for turn in (0.0, np.pi / 2):
            axes = wall_axes(wall, np.array([turn]))[0]
            own = stress_rotation(axes) @ (rotate_stiffness(wall.stiffness, axes) @ strain)
            exact.append(float(phase_reserve(np.zeros(6), own, strength).reserve[0]))
        u = np.zeros_like(mesh.nodes)
        u[:, 0] = strain[0] * mesh.nodes[:, 0] + strain[5] * mesh.nodes[:, 1]
        told = []
        for printed in fields:
            zone = recover_stress(mesh, printed, u).zones[0]
            own = np.einsum("nab,nb->na", stress_rotation(wall_axes(wall, zone.turn)), zone.stress)
            found = phase_reserve(np.zeros_like(own), own, strength).reserve
            x, y, _ = mesh.nodes[zone.nodes].T
            told.append(found[np.isin(x, (0.0, 20.0)) & np.isin(y, (0.0, 10.0))])
        each_its_own, together = told
        off = np.abs(each_its_own[:, None] / np.array(exact) - 1).min(axis=1)
        assert off.max() < 2e-3
        assert all(np.isclose(each_its_own, value, rtol=2e-3).any() for value in exact)
        assert together.min() > 0.99 * min(exact) and together.max() < 1.01 * max(exact)


def test_the_lowest_and_the_highest_edge_are_wall():
    mesh = box((20, 10, 8), (10, 6, 3))
    plan = PrintPlan((0, 0, 1), walls=2, covers=3, infill_pattern="grid", infill_density=0.3)
    printed = printed_field(mesh, bodies={"part": printed_body(plan, card=load_card("pa12-cf"), state="dry")})
    x, y, z = mesh.nodes[mesh.tets[:, :4]].transpose(2, 0, 1)
    on_side = np.isin(x, (0.0, 20.0)) | np.isin(y, (0.0, 10.0))
    for level in (0.0, 8.0):
        at = on_side & (z == level)
        reach = np.where(printed.share[:, :1] > 0, printed.reach[:, 0], 1.0)
        assert at.any()
        assert (reach[at] == 1).all()
