"""What is told of a whole part: its least reserve, the largest pull between layers; stress summed and kept."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from helpers_fe import block

from fem.judging.interlayer import largest_interlayer
from fem.judging.recovered import RecoveredStress
from fem.judging.recovery import Recovery
from fem.judging.reserve import judge_reserve
from fem.judging.stress import combined_stress, recover_stress
from fem.loading.case import LoadCase
from fem.loading.loads import Load
from fem.printing.body import metal_body, printed_body
from fem.printing.mixing import printed_field
from fem.printing.plan import PrintPlan
from fem.printing.polymer import load_card
from fem.solving.cases import SolvedCases
from fem.solving.linear import SolveRecord

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


def test_the_least_of_the_field_and_of_its_unmarked_nodes(case):
    mesh, printed, first, second = case
    field = judge_reserve(mesh, printed, permanent=combined_stress([(0.3, second)]), growing=first)
    marked = field.reserve <= np.quantile(field.reserve, 0.2)
    found = field.least(marked)
    node = int(np.flatnonzero(field.reserve == field.reserve.min())[0])
    assert (found.reserve, found.node) == (field.reserve[node], node)
    assert found.away == np.sort(field.reserve[~marked])[0] > found.reserve
    assert found.mode == field.modes[field.mode[node]]
    assert (found.zone, found.phase) == field.phases[field.phase[node]]
    assert np.isinf(field.least(np.ones(len(mesh.nodes), dtype=bool)).away)


def test_where_nothing_grows_the_reserve_is_unlimited(case):
    mesh, printed, first, second = case
    none = np.zeros(len(mesh.nodes), dtype=bool)
    found = judge_reserve(mesh, printed, permanent=None, growing=combined_stress([(0.0, first)])).least(none)
    assert np.isinf(found.reserve) and found.mode == "none"
    failed = judge_reserve(mesh, printed, permanent=combined_stress([(60.0, second)]), growing=first)
    assert failed.least(none).reserve == 0.0


def test_stress_is_summed_as_displacements_are(case):
    _, _, first, second = case
    both = combined_stress([(2.0, first), (-0.5, second)])
    for k, zone in enumerate(both.zones):
        assert zone.stress == pytest.approx(2 * first.zones[k].stress - 0.5 * second.zones[k].stress, abs=1e-12)
    assert both.node == pytest.approx(2 * first.node - 0.5 * second.node, abs=1e-12)


@pytest.fixture
def metal_cases():
    """Three cases of three loads on a small metal block, and the stress recovered of them."""
    mesh = block((2, 1, 1), bend=lambda p: p * 10.0)
    card = load_card("6082-t6")
    printed = printed_field(mesh, bodies={mesh.bodies[0]: metal_body(card, state=next(iter(card.states)))})
    none = np.zeros_like(mesh.nodes), np.zeros(0, dtype=np.int64)
    loads = {k: Load(k, "force", none[0], k == "bolts", none[1]) for k in ("lift", "drag", "bolts")}
    wave = np.sin(mesh.nodes / 7)
    units = {"lift": 1e-3 * wave, "drag": 2e-3 * wave[:, ::-1] + 8e-4 * wave, "bolts": 5e-4 * mesh.nodes}
    one = LoadCase("one", {"lift": 1.0, "bolts": 2.0}, loads)
    two = LoadCase("two", {"lift": 3.0, "drag": -1.0, "bolts": 2.0}, loads)
    other = LoadCase("other", {"lift": 3.0, "bolts": 1.5}, loads)
    return RecoveredStress(mesh, printed, SolvedCases((one, two, other), units, SolveRecord(1, ())))


def test_sums_are_those_of_the_loads(metal_cases):
    recovered, (one, two, other) = metal_cases, metal_cases.solved.cases
    assert recovered.stay(one) is recovered.stay(two)
    assert recovered.stay(other).node == pytest.approx(0.75 * recovered.stay(one).node, abs=1e-9)
    each = {k: recover_stress(recovered.mesh, recovered.printed, u) for k, u in recovered.solved.units.items()}
    summed = combined_stress([(3.0, each["lift"]), (-1.0, each["drag"]), (2.0, each["bolts"])])
    whole = recovered.of(two, tuple(two.factors))
    assert whole.node == pytest.approx(summed.node, abs=1e-9)
    growing = whole.minus(recovered.stay(two))
    assert growing.zones[0].stress == pytest.approx(recovered.of(two, two.growing).zones[0].stress, abs=1e-9)
    assert np.abs(whole.node - growing.node).max() > 0.1 * np.abs(whole.node).max(), "what stays must show"


def test_every_load_is_recovered_once_and_averages_are_set_up_once(metal_cases, monkeypatch):
    seen, made = [], []
    stress, zone = Recovery.stress, Recovery._zone
    monkeypatch.setattr(Recovery, "stress", lambda *given: seen.append(len(given[1])) or stress(*given))
    monkeypatch.setattr(Recovery, "_zone", lambda *given: made.append(given[1]) or zone(*given))
    for case in metal_cases.solved.cases:
        metal_cases.of(case, tuple(case.factors))
        metal_cases.stay(case)
    assert seen == [3], "one pass over three loads, for three cases and what stays in them"
    recover_stress(metal_cases.mesh, metal_cases.printed, metal_cases.solved.units["lift"])
    assert made == [0], "nor is anything set up again for another load"


def test_the_energy_error_of_a_sum_is_that_of_the_summed_displacement(metal_cases):
    _, two, _ = metal_cases.solved.cases
    displacement = two.combined(tuple(two.factors), metal_cases.solved.units)
    alone = recover_stress(metal_cases.mesh, metal_cases.printed, displacement)
    found = metal_cases.of(two, tuple(two.factors)).energy_error
    assert found == pytest.approx(alone.energy_error, rel=1e-9)
    units = metal_cases.units
    without_products = np.diag(np.diag(units.error)), np.diag(np.diag(units.energy))
    apart = replace(units, error=without_products[0], energy=without_products[1])
    assert abs(apart.sum(np.array([3.0, 2.0, -1.0])).energy_error / found - 1) > 0.01


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
