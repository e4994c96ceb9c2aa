"""Cards whose stiffness is computed from resin and fibre."""

import numpy as np
import pytest

from fem.errors import CardError
from fem.printing.fibre import Fibre, Resin, compose
from fem.printing.polymer import load_card
from fem.tensors import engineering_constants

BUILT = """
name = "trial-built"
density = "1.08 g/cm^3"
[dry]
tension = ["60 MPa", "35 MPa", "20 MPa"]
compression = ["70 MPa", "60 MPa", "60 MPa"]
shear = { "12" = "25 MPa", "13" = "16 MPa", "23" = "15 MPa" }
source = "made up for this test"
[dry.resin]
E = "1.4 GPa"
nu = 0.38
density = "1.01 g/cm^3"
[dry.fibre]
E = "230 GPa"
nu = 0.2
density = "1.80 g/cm^3"
mass_fraction = 0.15
aspect_ratio = 20
orientation = [1, 0, 0]
"""
SCALED = """
[wet]
as = "dry"
stiffness = 0.5
strength = 0.6
source = "a coupon"
[temperature]
at = ["23 degC", "60 degC"]
stiffness = [1, 0.7]
strength = [1, 0.75]
source = "made up for heat"
"""


def write(tmp_path, text):
    path = tmp_path / "trial.toml"
    path.write_text(text, encoding="utf-8")
    return path


def one_line(tmp_path, text, words):
    with pytest.raises(CardError) as error:
        load_card(write(tmp_path, text))
    line = str(error.value)
    assert "\n" not in line or "things are wrong" in line.splitlines()[0]
    assert "trial.toml" in line.splitlines()[0]
    assert all(word in line for word in words), line


def test_a_card_is_computed_from_resin_and_fibre(tmp_path):
    # closed forms of Mori-Tanaka and Halpin-Tsai at 15 % by mass (9.01 % by volume), E along and across [GPa]
    made = load_card(write(tmp_path, BUILT)).state("dry")
    assert np.array(made.E) == pytest.approx((7527.13, 1827.07, 1827.07), rel=1e-5)
    assert made.made_of.fibre_share == pytest.approx(0.09010, abs=5e-6)
    assert made.made_of.density == pytest.approx(1.0812e-9, rel=5e-5)
    assert "Mori-Tanaka" in made.sources["E"] and "230 GPa" in made.sources["G"]
    assert made.expansion is None and made.estimates == ()
    assert made.tension == (60, 35, 20)
    other = load_card(write(tmp_path, BUILT + 'model = "halpin-tsai"')).state("dry")
    assert other.E[:2] == pytest.approx((5854.48, 1807.65), rel=1e-5)
    assert "Halpin-Tsai" in other.sources["E"]
    turned = load_card(write(tmp_path, BUILT.replace("[1, 0, 0]", "[0, 1, 0]"))).state("dry")
    assert np.array(turned.E) == pytest.approx((1827.07, 7527.13, 1827.07), rel=1e-5)
    assert load_card(write(tmp_path, BUILT)).kind == "polymer"


def test_fibres_unlike_along_and_across_and_expansion(tmp_path):
    text = (
        BUILT.replace(
            'E = "230 GPa"\nnu = 0.2', 'E = ["230 GPa", "15 GPa"]\nnu = { "12" = 0.2, "23" = 0.3 }\nG = "20 GPa"'
        )
        .replace("[1, 0, 0]", '[0.8, 0.15, 0.05]\nexpansion = ["-0.5e-6 1/K", "10e-6 1/K"]')
        .replace('"1.01 g/cm^3"', '"1.01 g/cm^3"\nexpansion = "12e-5 1/K"')
        .replace("[dry]", '[dry]\nestimates = ["fibre"]')
    )
    made = load_card(write(tmp_path, text)).state("dry")
    expected = compose(
        Resin(1400, 0.38, 1.01e-9, 12e-5),
        Fibre(230e3, 15e3, 0.2, 0.3, 20e3, 1.8e-9, (-0.5e-6, 10e-6)),
        mass_fraction=0.15,
        aspect_ratio=20,
        orientation=(0.8, 0.15, 0.05),
    )
    k = engineering_constants(expected.stiffness)
    assert np.array(made.E) == pytest.approx((k["E1"], k["E2"], k["E3"]))
    assert made.nu == pytest.approx((k["nu12"], k["nu13"], k["nu23"]))
    assert np.array(made.G) == pytest.approx((k["G12"], k["G13"], k["G23"]))
    assert made.expansion == pytest.approx(tuple(expected.expansion[:3]))
    assert set(made.estimates) == {"E", "nu", "G", "expansion", "fibre"}
    # bonds soften what passes through them, not the pull along the bead
    loose = load_card(write(tmp_path, text.replace("[dry]", "[dry]\nknockdown = { across = 0.8, up = 0.7 }")))
    soft = loose.state("dry")
    assert np.array(soft.E) / made.E == pytest.approx([1, 0.8, 0.7])
    assert np.array(soft.G) / made.G == pytest.approx([0.8, 0.7, 0.7])
    assert soft.nu == made.nu
    assert "0.8 across the beads and 0.7 in the build direction" in soft.sources["E"]
    # what was computed may be scaled and warmed like anything else
    wet = load_card(write(tmp_path, text + SCALED)).state("wet", 60.0)
    assert np.array(wet.E) == pytest.approx(tuple(0.35 * e for e in made.E))
    assert wet.made_of is None and "fibre" not in wet.sources


WRONG_BUILT = [
    ('"1.08 g/cm^3"', '"1.2 g/cm^3"', ["density 1.2", "1.081 g/cm^3", "11.0 % above", "mass fraction"]),
    ('"1.08 g/cm^3"', '"1.05 g/cm^3"', ["2.9 % below"]),
    ("mass_fraction = 0.15", "mass_fraction = 15", ["dry.fibre.mass_fraction", "between 0 and 1"]),
    ("aspect_ratio = 20", "aspect_ratio = 0.5", ["dry.fibre", "aspect ratio"]),
    ("aspect_ratio = 20\n", "", ["dry.fibre", '"aspect_ratio" is missing']),
    ("[1, 0, 0]", "[0.8, 0.1, 0.05]", ["dry.fibre", "sum to 0.95"]),
    ("[1, 0, 0]", "[1.2, -0.2, 0]", ["dry.fibre", "negative"]),
    ("[1, 0, 0]", "[1, 0]", ["dry.fibre.orientation", "three shares"]),
    ("[1, 0, 0]", '[1, 0, 0]\nmodel = "mean"', ["dry.fibre", "mori-tanaka, halpin-tsai"]),
    ("[1, 0, 0]", "[1, 0, 0]\nmodel = 3", ["dry.fibre.model", "must be text"]),
    ("[1, 0, 0]", '[1, 0, 0]\nG = "9 GPa"', ["dry.fibre", 'unknown key "G"']),
    ("nu = 0.38", "nu = 0.5", ["dry.resin.nu", "0.5"]),
    ('E = "1.4 GPa"', 'E = "1.4 mm"', ["dry.resin.E"]),
    ('E = "1.4 GPa"', 'E = "1.4 GPa"\ntension = "50 MPa"', ["dry.resin", 'unknown key "tension"']),
    ('E = "230 GPa"', 'E = ["230 GPa", "15 GPa"]', ["dry.fibre", '"G" is missing']),
    ('E = "230 GPa"', 'E = ["230 GPa", "15 GPa"]\nG = "9 GPa"', ["dry.fibre.nu", "12, 23"]),
    (
        'E = "230 GPa"\nnu = 0.2',
        'E = ["230 GPa", "15 GPa"]\nG = "9 GPa"\nnu = { "12" = 4, "23" = 0.3 }',
        ["dry.fibre", "no fibre can have"],
    ),
    ("[dry]", '[dry]\nE = ["6 GPa", "3 GPa", "2 GPa"]', ['"E" is given, and computed']),
    ("[dry]", "[dry]\nknockdown = { across = 1.2 }", ["dry.knockdown.across", "above 1"]),
    ("[dry]", "[dry]\nknockdown = { along = 0.8 }", ["dry.knockdown", 'unknown key "along"']),
    ("[dry]", "[dry]\nknockdown = 0.8", ["dry.knockdown", "table"]),
    ('shear = { "12" = "25 MPa", "13" = "16 MPa", "23" = "15 MPa" }', "", ['"shear" is missing', "not the strength"]),
    ("[dry.resin]", "[dry.resine]", ["resine", "Nearest: resin"]),
    ('source = "made up for this test"', 'source = { resin = "a book" }', ["dry.source", "has no source"]),
]


@pytest.mark.parametrize(("old", "new", "words"), WRONG_BUILT)
def test_a_wrong_built_card_gets_one_line(tmp_path, old, new, words):
    assert old in BUILT
    one_line(tmp_path, BUILT.replace(old, new, 1), words)


def test_expansion_is_not_given_twice(tmp_path):
    text = BUILT.replace('"1.01 g/cm^3"', '"1.01 g/cm^3"\nexpansion = "12e-5 1/K"')
    given = text.replace("[dry]", '[dry]\nexpansion = ["2e-5 1/K", "14e-5 1/K", "24e-5 1/K"]')
    assert load_card(write(tmp_path, given)).state("dry").expansion == pytest.approx((2e-5, 14e-5, 24e-5))
    one_line(tmp_path, given + 'expansion = "5e-6 1/K"', ["dry.expansion", "given, and computed"])


def test_resin_alone_is_not_enough(tmp_path):
    one_line(tmp_path, BUILT[: BUILT.index("[dry.fibre]")], ["dry", '"fibre" is missing'])
