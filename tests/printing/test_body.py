"""What the zones of a print, or a metal, are made of."""

from dataclasses import replace

import numpy as np
import pytest

from fem.criteria.strength import Strength
from fem.errors import CardError, InputError
from fem.printing.body import infill_material, metal_body, printed_body
from fem.printing.infill import infill_cell
from fem.printing.plan import PrintPlan
from fem.printing.polymer import card_with, load_card
from fem.tensors import orthotropic_stiffness

CARD = load_card("pa12-cf")
UP = (0, 0, 1)


def printed(pattern="grid", density=0.3, **keys):
    return printed_body(PrintPlan(UP, infill_pattern=pattern, infill_density=density, **keys), card=CARD, state="dry")


def moduli(material):
    """Young's moduli (3,) [MPa] along part axes."""
    return 1 / np.diag(np.linalg.inv(material.stiffness))[:3]


def test_solid_without_walls_is_its_raster_alone():
    body = printed("solid", 1.0, walls=0, raster=(0,))
    assert body.zones == (None, None, body.core)
    assert (body.cell, body.core.zone, len(body.core.phases)) == (None, "solid", 1)
    values = CARD.state("dry")
    bead = orthotropic_stiffness(values.E, values.nu, values.G)
    assert body.core.stiffness == pytest.approx(bead, rel=1e-9, abs=1e-9)
    turned = printed("solid", 1.0, walls=0, raster=(90,)).core
    assert moduli(turned) == pytest.approx(moduli(body.core)[[1, 0, 2]], rel=1e-9)
    assert moduli(turned)[0] < 0.5 * moduli(body.core)[0]


def test_solid_with_walls_has_no_skins_of_its_own():
    body = printed("solid", 1.0)
    assert body.wall is not None
    assert body.wall.follows_outline
    assert body.cover is None
    assert not body.core.follows_outline


def test_a_metal_is_one_zone():
    card = load_card("6082-t6")
    body = metal_body(card)
    assert body.zones == (None, None, body.core)
    assert (body.plan, body.cell, body.core.zone) == (None, None, "metal")
    assert body.solid == body.core.density == card.density
    young, ratio = card.state("as_supplied").E[0], card.state("as_supplied").nu[0]
    assert moduli(body.core) == pytest.approx(young, rel=1e-9)
    assert body.core.stiffness[5, 5] == pytest.approx(young / (2 + 2 * ratio), rel=1e-6)


def test_stress_is_averaged_over_the_larger_of_bead_and_critical_distance():
    # (K_c / strength)^2 / pi: pa12-cf bears 60 MPa along its beads, and less across them
    assert CARD.state("dry").tension == (60, 32, 19)
    longer, shorter = (
        card_with(CARD, state="dry", values={"toughness": [f"{k * s} MPa*m^0.5" for s in (60, 32, 19)]})
        for k in (0.07, 0.02)
    )
    plan = PrintPlan(UP, infill_pattern="grid", infill_density=0.3)
    plain, long, short = (printed_body(plan, card=card, state="dry") for card in (CARD, longer, shorter))
    distance = 0.07**2 / np.pi * 1000
    assert distance > 3 * plan.bead_width
    assert (plain.wall.length, plain.cover.length) == (plan.bead_width,) * 2
    assert (long.wall.length, long.cover.length) == (pytest.approx(distance),) * 2
    assert (short.wall.length, short.cover.length) == (plan.bead_width,) * 2
    assert long.core.length == plain.core.length == max(plain.cell.size), "infill keeps the edge of its cell"
    solid = printed_body(replace(plan, infill_pattern="solid", infill_density=1.0), card=longer, state="dry")
    assert solid.core.length == pytest.approx(distance)


def test_a_metal_has_a_length_where_its_card_is_given_a_toughness():
    card = load_card("6082-t6")
    tough = card_with(card, state="as_supplied", values={"toughness": "20 MPa*m^0.5"})
    assert metal_body(card).core.length == 0
    assert metal_body(tough).core.length == pytest.approx((20 / 250) ** 2 / np.pi * 1000)


def test_infill_weighs_its_share():
    body = printed(density=0.3)
    assert body.core.density == pytest.approx(0.3 * CARD.density, rel=5e-3)
    assert body.cover.density == body.wall.density == body.solid == CARD.density
    assert [z.zone for z in body.zones] == ["wall", "cover", "core"]


@pytest.mark.parametrize("pattern", ["woodpile", "grid"])
def test_crossed_walls_are_the_same_turned_by_90_degrees(pattern):
    one, two = (printed(pattern, infill_angle=a).core.stiffness for a in (0, 90))
    assert two == pytest.approx(one, rel=2e-3, abs=1e-3 * np.abs(one).max())
    askew = printed(pattern, infill_angle=45).core.stiffness
    assert np.abs(askew - one).max() > 0.05 * np.abs(one).max()  # but not by 45: the angle is heard


def test_a_honeycomb_is_the_same_in_every_direction_of_the_layer():
    # Six-fold symmetry makes a fourth-order tensor isotropic in the plane: J. F. Nye, Physical Properties of Crystals
    one, askew = (printed("honeycomb", infill_angle=a).core.stiffness for a in (0, 17))
    assert askew == pytest.approx(one, rel=5e-3, abs=5e-3 * np.abs(one).max())


def test_a_grid_of_even_beads_bears_stress_up_the_build_evenly():
    # A prism of one isotropic material under stress along its axis: sigma / density everywhere and nothing else
    plan = PrintPlan(UP, infill_pattern="grid", infill_density=0.3, infill_angle=30)
    E, nu = 2000.0, 0.35
    even = replace(CARD.state("dry"), E=(E,) * 3, nu=(nu,) * 3, G=(E / (2 + 2 * nu),) * 3)
    cell = infill_cell(
        "grid",
        density=0.3,
        bead_width=plan.bead_width,
        bead_height=plan.bead_height,
        E=even.E,
        nu=even.nu,
        G=even.G,
        strength=even.strength,
        cache=None,
    )
    core = infill_material(plan, cell=cell, card=CARD, values=even)
    assert moduli(core)[2] == pytest.approx(cell.density * E, rel=1e-4)
    felt = np.array([p.to_bead[:, 2] for p in core.phases if isinstance(p.strength, Strength)])
    assert felt == pytest.approx(np.tile([0, 0, 1 / cell.density, 0, 0, 0], (len(felt), 1)), abs=1e-3)


def test_a_wall_of_the_grid_carries_what_the_air_does_not():
    body = printed(density=0.3, infill_angle=0)
    beads = [p for p in body.core.phases if isinstance(p.strength, Strength)]
    felt = np.array([p.to_bead[:, 2] for p in beads])
    # A bead narrows less along itself than across, by (nu32 - nu31) sigma / E3, and a crossing bead holds it to the
    # other: at most E1 times that, and less than a twentieth more or less of the stress up the build
    soft = np.linalg.inv(body.wall.stiffness)
    apart = (soft[0, 2] - soft[1, 2]) / body.cell.density
    assert felt[:, 2] == pytest.approx(1 / body.cell.density, rel=0.05)
    assert np.abs(np.delete(felt, 2, axis=1)).max() < apart / soft[0, 0]
    # Along a family of walls: that family alone bears it, in its own bead's direction; with Poisson's ratio at the
    # joints the share s = 1 - sqrt(1 - density) of the section is no more than a guide, from below
    s = 1 - np.sqrt(1 - body.cell.density)
    along = np.array([p.to_bead @ np.array([1.0, 0, 0, 0, 0, 0]) for p in beads])
    assert 0.9 / s < along[:, 0].max() < 1.5 / s
    assert np.abs(along[:, 2]).max() < 0.3 / s


def test_states_and_temperatures_reach_every_zone():
    dry = printed()
    warm = printed_body(dry.plan, card=CARD, state="dry", temperature=60.0)
    for cold, hot in zip(dry.zones, warm.zones, strict=True):
        # The card keeps 0.52 of the stiffness at 60 degC, in every direction
        assert hot.stiffness == pytest.approx(0.52 * cold.stiffness, rel=2e-3, abs=1e-3 * cold.stiffness.max())


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({"state": "damp"}, 'card pa12-cf has no state "damp". It has: dry, conditioned, saturated.'),
        ({"state": "dry", "temperature": 120.0}, "reaches from 0 to 80 degC, not to 120 degC."),
        ({"state": "as_supplied", "card": load_card("steel")}, "steel is a metal and has no bead direction."),
    ],
)
def test_what_the_card_does_not_cover_gets_one_line(keys, words):
    with pytest.raises(CardError) as caught:
        printed_body(PrintPlan(UP), **{"card": CARD, **keys})
    assert words in str(caught.value)


@pytest.mark.parametrize(("density", "words"), [(0.01, "The nearest that can is "), (0.97, 'or print it "solid".')])
def test_an_infill_that_the_bead_cannot_make_names_the_nearest(density, words):
    with pytest.raises(InputError) as caught:
        printed(density=density)
    line = str(caught.value)
    assert f'infill density {density:g} cannot be made in the pattern "grid" by beads 0.45 mm wide.' in line
    assert words in line
    nearest = float(line.split("The nearest that can is ")[1].split(";")[0].rstrip("."))
    assert printed(density=nearest).core.density == pytest.approx(nearest * CARD.density, rel=0.02)


def test_a_polymer_is_no_metal():
    with pytest.raises(CardError, match="printed polymer, not a metal"):
        metal_body(CARD)
