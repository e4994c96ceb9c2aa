"""Layers as one material: what holds for every stack, and what reaches the beads."""

import numpy as np
import pytest

from fem.errors import CardError
from fem.printing.body import metal_body
from fem.printing.layers import IN_PLANE, OUT_OF_PLANE, laminate, metal_material, raster_material
from fem.printing.plan import PrintPlan, in_layer_rotation, print_axes, raster_axes
from fem.printing.polymer import load_card
from fem.tensors import (
    engineering_constants,
    isotropic_stiffness,
    orthotropic_stiffness,
    rotate_stiffness,
    strain_rotation,
    stress_rotation,
)

BEAD = orthotropic_stiffness((6000, 3000, 2000), (0.35, 0.40, 0.45), (1200, 800, 700))
GROWTH = np.array([2e-5, 14e-5, 25e-5, 0, 0, 0])
ANGLES = (0, 30, -45, 80)
TURNS = np.array([in_layer_rotation(a) for a in ANGLES])
LAYERS = rotate_stiffness(BEAD, TURNS)
FREE = strain_rotation(np.swapaxes(TURNS, 1, 2)) @ GROWTH
SHARES = np.array([0.4, 0.3, 0.2, 0.1])
TILTED = PrintPlan((1.0, -2.0, 3.0), raster_zero=(2.0, 1.0, 0.5), raster=(20.0, -70.0, 55.0))
RNG = np.random.default_rng(8)
PLA, STEEL = load_card("pla"), load_card("steel")


def test_one_layer_is_itself():
    single = laminate(LAYERS[1:2], expansion=FREE[1:2])
    assert np.allclose(single.stiffness, LAYERS[1], rtol=1e-12)
    assert np.allclose(single.localisation[0], np.eye(6), atol=1e-12)
    assert np.allclose(single.expansion, FREE[1], atol=1e-18)
    assert np.allclose(single.residual, 0, atol=1e-12)


def test_layer_stresses_average_to_the_mean_and_strains_are_compatible():
    whole = laminate(LAYERS, expansion=FREE, shares=SHARES)
    temperature_change = 35.0
    mean = RNG.normal(size=6)
    local = whole.localisation @ mean + temperature_change * whole.residual
    assert np.allclose(SHARES @ local, mean, atol=1e-12)
    assert np.allclose(local[:, OUT_OF_PLANE], mean[OUT_OF_PLANE], atol=1e-12)
    strain = np.linalg.solve(LAYERS, local[..., None])[..., 0] + temperature_change * FREE
    overall = np.linalg.solve(whole.stiffness, mean) + temperature_change * whole.expansion
    assert np.allclose(strain[:, IN_PLANE], overall[IN_PLANE], rtol=1e-9)
    assert np.allclose(SHARES @ strain, overall, rtol=1e-9)


def test_shares_count():
    equal, unequal = laminate(LAYERS), laminate(LAYERS, shares=SHARES)
    assert not np.allclose(equal.stiffness, unequal.stiffness, rtol=1e-2)
    twice = laminate(LAYERS[[0, 0, 1]])
    assert np.allclose(laminate(LAYERS[:2], shares=[2 / 3, 1 / 3]).stiffness, twice.stiffness, rtol=1e-12)


def test_two_bonded_layers_of_unlike_expansion():
    # S. P. Timoshenko, J. Opt. Soc. Am. 11 (1925) 233, without bending, in biaxial form for equal nu and share:
    # growth = (E1 a1 + E2 a2) / (E1 + E2), stress = E1 / (1 - nu) (growth - a1)
    e1, e2, nu, a1, a2 = 3000.0, 1000.0, 0.3, 2e-5, 10e-5
    free = np.array([[a1] * 3 + [0] * 3, [a2] * 3 + [0] * 3])
    both = laminate([isotropic_stiffness(e1, nu), isotropic_stiffness(e2, nu)], expansion=free)
    growth = (e1 * a1 + e2 * a2) / (e1 + e2)
    assert both.expansion[:2] == pytest.approx(growth)
    assert both.residual[0, :2] == pytest.approx(e1 / (1 - nu) * (growth - a1))
    assert both.residual[1, :2] == pytest.approx(-both.residual[0, :2])
    up = (a1 + a2) / 2 - nu / (1 - nu) * ((growth - a1) + (growth - a2))
    assert both.expansion[2] == pytest.approx(up)


@pytest.mark.parametrize("shares", [[0.5, 0.5], [0.5, 0.5, 0.5, 0.5], [1.0, 0.2, -0.1, -0.1]])
def test_impossible_shares_are_refused(shares):
    with pytest.raises(ValueError, match="shares"):
        laminate(LAYERS, shares=shares)


class TestPrintedMaterial:
    card = load_card("pa12-cf")

    def test_a_single_raster_is_the_card_in_bead_axes(self):
        plan = PrintPlan((1.0, -2.0, 3.0), raster=(25.0,))
        dry = self.card.state("dry")
        made = raster_material(plan, card=self.card, values=self.card.state("dry"))
        axes = raster_axes(plan, 25.0)
        assert np.allclose(
            made.stiffness, rotate_stiffness(orthotropic_stiffness(dry.E, dry.nu, dry.G), axes), atol=1e-9
        )
        assert np.allclose(made.phases[0].to_bead, stress_rotation(axes), atol=1e-12)
        assert np.allclose(made.expansion, strain_rotation(axes.T) @ [*dry.expansion, 0, 0, 0], atol=1e-18)
        assert np.allclose(made.phases[0].thermal_stress, 0, atol=1e-12)
        assert (made.zone, made.density, made.estimates) == ("solid", self.card.density, dry.estimates)

    def test_phases_are_the_distinct_rasters(self):
        made = raster_material(
            PrintPlan((0, 0, 1), raster=(0.0, 45.0, 180.0, -135.0, 90.0)),
            card=self.card,
            values=self.card.state("dry"),
        )
        assert [p.label for p in made.phases] == ["raster 0 deg", "raster 45 deg", "raster 90 deg"]
        even = raster_material(
            PrintPlan((0, 0, 1), raster=(0.0, 45.0, 90.0)), card=self.card, values=self.card.state("dry")
        )
        assert not np.allclose(made.stiffness, even.stiffness, rtol=1e-3), "0 and 45 degrees hold two layers each"

    def test_bead_stresses_average_to_the_mean_in_part_axes(self):
        made = raster_material(TILTED, card=self.card, values=self.card.state("conditioned"))
        mean = RNG.normal(size=6)
        back = [
            stress_rotation(raster_axes(TILTED, a).T) @ (p.to_bead @ mean + 20 * p.thermal_stress)
            for a, p in zip(TILTED.raster, made.phases, strict=True)
        ]
        assert np.allclose(np.mean(back, axis=0), mean, atol=1e-12)
        up = stress_rotation(print_axes(TILTED)) @ mean
        assert all(np.isclose((p.to_bead @ mean)[2], up[2]) for p in made.phases)

    def test_turning_part_and_plan_together_changes_nothing_in_the_beads(self):
        q = np.linalg.qr(RNG.normal(size=(3, 3)))[0]
        q *= np.linalg.det(q)
        turned_plan = PrintPlan(
            tuple(q @ TILTED.build_direction), raster_zero=tuple(q @ TILTED.raster_zero), raster=TILTED.raster
        )
        here, there = (
            raster_material(p, card=self.card, values=self.card.state("dry")) for p in (TILTED, turned_plan)
        )
        mean = RNG.normal(size=6)
        moved = stress_rotation(q) @ mean
        for a, b in zip(here.phases, there.phases, strict=True):
            assert np.allclose(a.to_bead @ mean, b.to_bead @ moved, atol=1e-12)
        assert np.allclose(rotate_stiffness(here.stiffness, q.T), there.stiffness, rtol=1e-9, atol=1e-8)

    def test_build_direction_and_raster_change_the_answer(self):
        upright, lying, turned = (
            engineering_constants(raster_material(p, card=self.card, values=self.card.state("dry")).stiffness)
            for p in (
                PrintPlan((0, 0, 1), raster=(0.0,)),
                PrintPlan((1, 0, 0), raster=(0.0,)),
                PrintPlan((0, 0, 1), raster=(90.0,)),
            )
        )
        dry = self.card.state("dry")
        assert (upright["E1"], lying["E1"], turned["E1"]) == pytest.approx((dry.E[0], dry.E[2], dry.E[1]), rel=1e-9)

    def test_a_card_without_expansion_makes_a_material_without(self):
        made = raster_material(PrintPlan((0, 0, 1)), card=PLA, values=PLA.state("dry"))
        assert made.expansion is None
        assert not any(p.thermal_stress.any() for p in made.phases)


def test_metal_is_the_same_noun():
    made = metal_material(load_card("6082-t6"), values=load_card("6082-t6").state("as_supplied"))
    assert np.allclose(made.stiffness, isotropic_stiffness(70000, 0.33))
    assert made.zone == "metal"
    (phase,) = made.phases
    assert np.array_equal(phase.to_bead, np.eye(6))
    assert phase.strength.yield_stress == 250
    assert np.allclose(made.expansion, [23.4e-6] * 3 + [0] * 3)


def test_polymer_and_metal_are_not_taken_for_one_another():
    with pytest.raises(CardError, match="is a metal"):
        raster_material(PrintPlan((0, 0, 1)), card=STEEL, values=STEEL.state("as_supplied"))
    with pytest.raises(CardError, match="printed polymer"):
        metal_material(PLA, values=PLA.state("dry"))
    with pytest.raises(CardError, match="It has: as_supplied"):
        metal_body(STEEL, state="soaked")
