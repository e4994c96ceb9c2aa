"""The quick search for the minimum reserve factor against the full field of reserve factors."""

from __future__ import annotations

import numpy as np
import pytest
from helpers_fe import block

from fem.judging.least import combined_stress, largest_interlayer, least_reserve, safe_size
from fem.judging.reserve import judge_reserve
from fem.judging.strength import exceeded, phase_reserve
from fem.judging.stress import recover_stress
from fem.printing.body import metal_body, printed_body
from fem.printing.field import Phase, WallBuckling
from fem.printing.mixing import printed_field
from fem.printing.plan import PrintPlan
from fem.printing.polymer import load_card

CARD = "pa12-cf"


@pytest.fixture(scope="module")
def case():
    """A small printed block with walls, covers and grid infill under two smooth displacements."""
    mesh = block((3, 2, 2), bend=lambda p: p * np.array([30.0, 14.0, 9.0]))
    plan = PrintPlan(build_direction=(0.3, -0.2, 0.9), walls=2, covers=3, infill_pattern="grid", infill_density=0.3)
    card = load_card(CARD)
    body = printed_body(plan, card=card, state=next(iter(card.states)))
    printed = printed_field(mesh, bodies={mesh.bodies[0]: body})
    x, y, z = mesh.nodes.T
    first = np.column_stack([2e-5 * x**2 - 1e-3 * y, 3e-5 * x * z, -3e-5 * x**2 + 2e-5 * y * z])
    second = np.column_stack([1e-4 * x + 2e-5 * z**2, -4e-5 * y, 5e-5 * z - 1e-5 * x * y])
    return mesh, printed, recover_stress(mesh, printed, first), recover_stress(mesh, printed, second)


@pytest.mark.parametrize("factor", [0.0, 0.3, -0.8, 60.0])
def test_it_is_the_least_of_the_whole_field(case, factor):
    mesh, printed, first, second = case
    stay = combined_stress([(factor, second)]) if factor else None
    marked = np.zeros(len(mesh.nodes), dtype=bool)
    field = judge_reserve(mesh, printed, permanent=stay, growing=first)
    marked[field.reserve <= np.quantile(field.reserve, 0.2)] = True
    found = least_reserve(mesh, printed, permanent=stay, growing=first, singular=marked)
    assert found.reserve == pytest.approx(field.reserve.min(), rel=1e-12)
    assert found.away == pytest.approx(field.reserve[~marked].min(), rel=1e-12)
    if found.reserve > 0:
        node = int(field.reserve.argmin())
        assert found.node == node
        assert found.mode == field.modes[field.mode[node]]
        assert (found.zone, found.phase) == field.phases[field.phase[node]]
        assert found.away > found.reserve


def test_some_of_these_cases_fail_at_once(case):
    mesh, printed, first, second = case
    found = least_reserve(mesh, printed, permanent=combined_stress([(60.0, second)]), growing=first)
    assert found.reserve == 0.0


def test_where_nothing_grows_the_reserve_is_unlimited(case):
    mesh, printed, first, _ = case
    assert np.isinf(least_reserve(mesh, printed, permanent=None, growing=combined_stress([(0.0, first)])).reserve)


def test_stress_is_summed_as_displacements_are(case):
    _, _, first, second = case
    both = combined_stress([(2.0, first), (-0.5, second)])
    for k, zone in enumerate(both.zones):
        assert zone.stress == pytest.approx(2 * first.zones[k].stress - 0.5 * second.zones[k].stress, abs=1e-12)
    assert both.node == pytest.approx(2 * first.node - 0.5 * second.node, abs=1e-12)


def test_no_criterion_is_met_below_the_safe_size(case):
    _, printed, *_ = case
    rng = np.random.default_rng(3)
    way = rng.normal(size=(4000, 6))
    way /= np.linalg.norm(way, axis=1)[:, None]
    phases = [p for m in printed.materials for p in m.phases][:40]
    phases.append(Phase("core", "wall", phases[0].to_bead, np.zeros(6), WallBuckling(20.0, 9.0, 7.0, "buckling")))
    metal = load_card("6082-t6")
    phases += metal_body(metal, state=next(iter(metal.states))).core.phases
    for phase in phases:
        size = safe_size(phase)
        bead = (way * size) @ phase.to_bead.T
        outside = {k: v for k, v in exceeded(bead * (1 - 1e-9), phase.strength).items() if k != "hill"}
        assert not any(v.any() for v in outside.values())
        # The bound is of use: some direction fails before eight times that size
        assert phase_reserve(np.zeros_like(bead), bead, phase.strength).reserve.min() < 8


def test_interlayer_tension_is_the_pull_along_the_build(case):
    mesh, printed, _, _ = case
    up = printed.materials[0].print_axes[2]
    strain = 1e-3
    field = recover_stress(mesh, printed, strain * (mesh.nodes @ up)[:, None] * up)
    pulled, name = largest_interlayer(printed, {"pull": field, "push": combined_stress([(-1.0, field)])})
    # A cover under strain along the build alone: its stiffness's own entry, C33 in print axes
    cover = next(m for m in printed.materials if m.zone == "cover")
    from fem.tensors import stress_rotation

    turn = stress_rotation(cover.print_axes)
    c33 = float((turn @ cover.stiffness @ turn.T)[2, 2])
    assert name == "pull"
    assert pulled >= c33 * strain * (1 - 0.15)
    squeezed, name = largest_interlayer(printed, {"push": combined_stress([(-1.0, field)])})
    assert squeezed < 0.2 * pulled


def test_a_metal_has_no_layers():
    mesh = block((1, 1, 1), bend=lambda p: p * 10.0)
    card = load_card("6082-t6")
    printed = printed_field(mesh, bodies={mesh.bodies[0]: metal_body(card, state=next(iter(card.states)))})
    field = recover_stress(mesh, printed, 1e-3 * mesh.nodes)
    assert largest_interlayer(printed, {"pull": field}) == (0.0, "")
