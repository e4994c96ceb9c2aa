"""The cards that ship, and the line that a wrong card gets."""

from itertools import pairwise

import numpy as np
import pytest

from fem.errors import CardError
from fem.printing.polymer import all_cards, card_names, load_card
from fem.tensors import broken_condition, orthotropic_stiffness

CARD = """
name = "trial"
density = "1.06 g/cm^3"
[dry]
E = ["6.0 GPa", "3.0 GPa", "2.0 GPa"]
nu = { "12" = 0.35, "13" = 0.40, "23" = 0.45 }
G = { "12" = "1.2 GPa", "13" = "0.8 GPa", "23" = "0.7 GPa" }
tension = ["60 MPa", "35 MPa", "20 MPa"]
compression = ["70 MPa", "60 MPa", "60 MPa"]
shear = { "12" = "25 MPa", "13" = "16 MPa", "23" = "15 MPa" }
scatter = 0.10
estimates = ["nu", "G"]
source = "made up for this test"
"""
METAL = """
name = "trial-metal"
density = "2.7 g/cm^3"
[dry]
E = "70 GPa"
nu = 0.33
yield = "250 MPa"
ultimate = "290 MPa"
expansion = ["23.4e-6 1/K"]
source = "made up for this test"
"""

# usual working ranges of solid prints, dry, 23 C, along / across / up: E [GPa], tensile strength [MPa]; and density
# [g/cm^3]
RANGES = {
    "pa12-cf": ([(3.5, 8), (1.5, 2.6), (1.4, 2.4)], [(50, 85), (25, 40), (10, 35)], (1.00, 1.10)),
    "pa6-cf": ([(5, 10), (2, 3.5), (1.8, 3.2)], [(80, 120), (35, 55), (15, 50)], (1.09, 1.20)),
    "pla": ([(2.8, 3.6), (2.6, 3.4), (2.3, 3.3)], [(45, 65), (40, 60), (25, 45)], (1.24, 1.24)),
    "petg": ([(1.6, 2.2), (1.5, 2.1), (1.4, 2.0)], [(40, 52), (35, 48), (18, 38)], (1.27, 1.27)),
    "abs": ([(1.7, 2.3), (1.6, 2.2), (1.5, 2.1)], [(28, 42), (22, 36), (12, 28)], (1.04, 1.04)),
    "asa": ([(1.7, 2.3), (1.6, 2.2), (1.5, 2.1)], [(32, 48), (28, 40), (14, 30)], (1.07, 1.07)),
    "pc": ([(1.8, 2.4), (1.7, 2.3), (1.6, 2.2)], [(48, 68), (42, 60), (25, 48)], (1.20, 1.20)),
}
METALS = ("6061-t6", "6082-t6", "a4-stainless", "steel")


def write(tmp_path, text):
    path = tmp_path / "trial.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_every_card_ships_and_is_complete():
    cards = all_cards()
    assert tuple(c.name for c in cards) == card_names()
    assert {c.name for c in cards} == {*RANGES, *METALS}
    for card in cards:
        assert card.kind == ("metal" if card.name in METALS else "polymer")
        for state in card.states.values():
            assert broken_condition(state.E, state.nu, state.G) == ""
            assert np.linalg.eigvalsh(orthotropic_stiffness(state.E, state.nu, state.G)).min() > 0
            assert "density" in state.sources
            assert "E" in state.sources
            assert state.strength.isotropic == (card.kind == "metal")
            for value in set(state.sources) - {"density"}:
                estimated = "estimate" in state.sources[value] or "assumed" in state.sources[value]
                assert not (estimated and value not in state.estimates), f"{card.name} {state.name} {value}"


@pytest.mark.parametrize("name", RANGES)
def test_printed_values_lie_in_the_working_range(name):
    card = load_card(name)
    dry, (moduli, strengths, density) = card.state("dry"), RANGES[name]
    for value, (low, high) in zip(dry.E, moduli, strict=True):
        assert low <= value / 1000 <= high
    for value, (low, high) in zip(dry.tension, strengths, strict=True):
        assert low <= value <= high
    assert density[0] <= card.density * 1e9 <= density[1] + 1e-12
    assert {"E", "nu", "G"} <= set(dry.estimates), "no printed elastic set is wholly measured: it must be flagged"
    assert dry.E[0] >= dry.E[1] >= dry.E[2]


def test_wet_nylon_is_softer_and_weaker():
    for name, states in (("pa12-cf", ("dry", "conditioned")), ("pa6-cf", ("dry", "conditioned", "soaked"))):
        card = load_card(name)
        assert tuple(card.states) == states
        for drier, wetter in pairwise(states):
            for value in ("E", "G", "tension", "compression", "shear"):
                more, less = (np.array(getattr(card.state(x), value)) for x in (drier, wetter))
                assert (less < more).all()
    # Hou and Panesar, Composites A (2025) 108528: wet short-carbon-fibre nylon loses 65 to 79 % of its modulus
    nylon = load_card("pa6-cf")
    loss = 1 - np.array(nylon.state("soaked").E) / np.array(nylon.state("dry").E)
    assert ((loss > 0.65) & (loss < 0.79)).all()


def test_metal_values():
    # EN 755-2, extrusions of 6082-T6 up to 5 mm: 250 / 290 MPa; ISO 3506-1, class 70: 450 / 700 MPa
    extrusion, stainless = load_card("6082-t6").state("dry"), load_card("a4-stainless").state("dry")
    assert (extrusion.yield_stress, extrusion.ultimate) == (250, 290)
    assert (stainless.yield_stress, stainless.ultimate) == (450, 700)
    assert extrusion.expansion == pytest.approx((23.4e-6,) * 3)
    assert load_card("6082-t6").density == pytest.approx(2.7e-9)


def test_a_card_is_read_in_the_programs_units_and_order(tmp_path):
    card = load_card(write(tmp_path, CARD))
    dry = card.state("dry")
    assert card.density == pytest.approx(1.06e-9)
    assert dry.E == (6000, 3000, 2000)
    assert dry.nu == (0.35, 0.40, 0.45)
    assert np.allclose(dry.G, (1200, 800, 700), rtol=1e-12)
    assert dry.shear == (15, 16, 25)
    assert dry.estimates == ("nu", "G")
    assert dry.sources["tension"] == "made up for this test"
    assert dry.expansion is None
    assert load_card("trial.toml", relative_to=tmp_path) == card


def test_a_scalar_modulus_makes_a_metal(tmp_path):
    card = load_card(write(tmp_path, METAL))
    dry = card.state("dry")
    assert card.kind == "metal"
    assert np.allclose(dry.G, 70000 / 2.66, rtol=1e-12)
    assert dry.strength.yield_stress == 250


WRONG = [
    ('"13" = 0.40', '"13" = 0.40, "31" = 0.1', ["dry.nu"]),
    ('"12" = 0.35', '"12" = 1.3', ["1 - nu12 nu21", "must be positive", "trial.toml"]),
    ('"23" = 0.45', '"23" = 1.3', ["nu23", "sqrt(E2/E3)"]),
    ('"6.0 GPa"', '"6.0 mm"', ["dry.E", "trial.toml", "6.0 mm"]),
    ('"6.0 GPa"', "6.0", ["dry.E", "no unit"]),
    ('"6.0 GPa"', '"-6.0 GPa"', ["dry.E", "positive"]),
    ('density = "1.06 g/cm^3"', "", ["density", "missing"]),
    ("tension =", "tensoin =", ["tensoin", "tension"]),
    ('shear = { "12" = "25 MPa", "13" = "16 MPa", "23" = "15 MPa" }', "", ["shear", "missing"]),
    ("scatter = 0.10", "scatter = 1.5", ["dry.scatter"]),
    ('source = "made up for this test"', "", ["source", "missing"]),
    ('source = "made up for this test"', 'source = { E = "a book" }', ['"nu" has no source']),
    ('estimates = ["nu", "G"]', 'estimates = ["nu", "H"]', ["dry.estimates", '"H"']),
    ('"60 MPa", "35 MPa", "20 MPa"', '"60 MPa", "35 MPa"', ["dry.tension", "three values"]),
    ('name = "trial"', 'name = "trial"\ncolour = "black"', ["colour"]),
    ("[dry]", "[dry", ["TOML"]),
]


@pytest.mark.parametrize(("old", "new", "words"), WRONG)
def test_a_wrong_card_gets_one_line_that_names_file_and_key(tmp_path, old, new, words):
    assert old in CARD
    with pytest.raises(CardError) as error:
        load_card(write(tmp_path, CARD.replace(old, new, 1)))
    line = str(error.value)
    assert "\n" not in line
    assert "trial.toml" in line
    assert all(word in line for word in words), line


@pytest.mark.parametrize(("old", "new", "word"), [("0.33", "0.5", "nu"), ('"290 MPa"', '"200 MPa"', "ultimate")])
def test_a_wrong_metal_is_refused(tmp_path, old, new, word):
    with pytest.raises(CardError, match=word):
        load_card(write(tmp_path, METAL.replace(old, new)))


def test_unknown_names_and_states():
    with pytest.raises(CardError, match="pa12-cf"):
        load_card("pa12cf")
    with pytest.raises(CardError, match="steel"):
        load_card("zzz")
    with pytest.raises(CardError, match="dry, conditioned"):
        load_card("pa12-cf").state("soaked")
    with pytest.raises(CardError, match="no such card file"):
        load_card("nowhere/card.toml")
