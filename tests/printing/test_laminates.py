"""Laminates of continuous fibres: their constants by classical lamination theory, and what a study says of them."""

import math

import numpy as np
import pytest
from helpers_cad import draw

from fem.criteria.reserve import phase_reserve
from fem.errors import CardError, InputError
from fem.printing.body import laminate_body
from fem.printing.field import UNPRINTED
from fem.printing.keys import LaminateKeys
from fem.printing.polymer import load_card
from fem.study.change import changed
from fem.study.file import read_study
from fem.study.prepare import body_print
from fem.study.run import answer
from fem.tensors import engineering_constants

PLY = load_card("carbon-ply")
(E1, E2, _), (NU12, _, _), (G12, _, _) = PLY.states["dry"].E, PLY.states["dry"].nu, PLY.states["dry"].G
QUASI = (0.0, 45.0, 90.0, -45.0)


def material(**keys):
    return laminate_body(LaminateKeys("carbon-ply", **keys), card=PLY).core


def plane_stress():
    """Q (3, 3) [MPa] of the ply under plane stress, order 11 22 12."""
    less = 1 - NU12**2 * E2 / E1
    return np.array([[E1 / less, NU12 * E2 / less, 0], [NU12 * E2 / less, E2 / less, 0], [0, 0, G12]])


def off_axis(angle):
    """Young's modulus [MPa] along `angle` [degrees] from the fibres (Jones, 2nd ed., 2.97)."""
    c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    return 1 / (c**4 / E1 + (1 / G12 - 2 * NU12 / E1) * c**2 * s**2 + s**4 / E2)


def test_a_quasi_isotropic_plate_is_that_of_the_invariants():
    """U1, U4, U5 (Tsai and Pagano 1968; Jones, section 2.7): E = (U1^2 - U4^2) / U1, nu = U4 / U1, G = U5."""
    q = plane_stress()
    u1 = (3 * q[0, 0] + 3 * q[1, 1] + 2 * q[0, 1] + 4 * q[2, 2]) / 8
    u4 = (q[0, 0] + q[1, 1] + 6 * q[0, 1] - 4 * q[2, 2]) / 8
    u5 = (q[0, 0] + q[1, 1] - 2 * q[0, 1] + 4 * q[2, 2]) / 8
    made = material(plies=QUASI)
    k = engineering_constants(made.stiffness)
    assert [k["E1"], k["E2"]] == pytest.approx([(u1**2 - u4**2) / u1] * 2, rel=1e-9)
    assert (k["nu12"], k["G12"]) == (pytest.approx(u4 / u1, rel=1e-9), pytest.approx(u5, rel=1e-9))
    along, across, _ = PLY.states["dry"].expansion
    grown = (along * (q[0, 0] + q[0, 1]) + across * (q[1, 1] + q[0, 1])) / (q[0, 0] + q[1, 1] + 2 * q[0, 1])
    assert made.expansion[:2] == pytest.approx([grown] * 2, rel=1e-9)
    assert made.density == PLY.density
    assert engineering_constants(material(plies=(0.0, 90.0)).stiffness)["G12"] == pytest.approx(G12, rel=1e-9)


def test_its_plies_feel_what_lamination_theory_says():
    """A pull of 100 MPa: stress in each ply's own axes by Q in its axes and the plate's in-plane strain."""
    q, pull = plane_stress(), np.array([100.0, 0, 0])

    def into_ply(angle):
        c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
        return np.array([[c * c, s * s, c * s], [s * s, c * c, -c * s], [-2 * c * s, 2 * c * s, c * c - s * s]])

    mean = np.mean([into_ply(a).T @ q @ into_ply(a) for a in QUASI], axis=0)
    strain = np.linalg.solve(mean, pull)
    made = material(plies=QUASI)
    for angle, phase in zip(QUASI, made.phases, strict=True):
        felt = phase.to_bead @ np.array([100.0, 0, 0, 0, 0, 0])
        assert felt[[0, 1, 5]] == pytest.approx(q @ into_ply(angle) @ strain, rel=1e-9, abs=1e-9)
        assert felt[2:5] == pytest.approx(0, abs=1e-9)
    across = made.phases[2]
    assert across.label == "ply 90 deg"
    found = phase_reserve(np.zeros(6), across.to_bead @ np.array([100.0, 0, 0, 0, 0, 0]), across.strength)
    assert found.criteria["maximum_stress"][0] == pytest.approx(48 / (q @ into_ply(90.0) @ strain)[1], rel=1e-9)


@pytest.mark.parametrize("angle", [0.0, 30.0, 45.0, 90.0])
def test_turned_fibres_and_turned_plies_are_the_same(angle):
    c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    by_ply, by_axes = material(plies=(angle,)), material(fibre=(c, s, 0.0))
    assert np.allclose(by_ply.stiffness, by_axes.stiffness, rtol=1e-12, atol=1e-6)
    assert engineering_constants(by_ply.stiffness)["E1"] == pytest.approx(off_axis(angle), rel=1e-12)
    assert engineering_constants(by_ply.stiffness)["E2"] == pytest.approx(off_axis(angle - 90), rel=1e-12)


def test_a_plate_that_stands_upright_is_the_lying_one_turned():
    lying, standing = material(plies=QUASI), material(plies=QUASI, fibre=(0.0, 0.0, 1.0), normal=(1.0, 0.0, 0.0))
    a, b = engineering_constants(lying.stiffness), engineering_constants(standing.stiffness)
    assert [b["E3"], b["E2"], b["E1"]] == pytest.approx([a["E1"], a["E2"], a["E3"]], rel=1e-9)
    assert b["G23"] == pytest.approx(a["G12"], rel=1e-9)
    assert standing.expansion[[2, 1, 0]] == pytest.approx(lying.expansion[[0, 1, 2]], rel=1e-9)


@pytest.mark.parametrize("name", ["carbon-ply", "carbon-fabric"])
def test_cards_that_ship_are_positive_definite_however_laid(name):
    card = load_card(name)
    assert card.kind == "laminate"
    for plies in ((0.0,), QUASI, (17.0, -60.0)):
        made = laminate_body(LaminateKeys(name, plies=plies, fibre=(1, 2, 0), normal=(0.3, 0, 1)), card=card).core
        assert made.zone in UNPRINTED
        assert np.array_equal(made.stiffness, made.stiffness.T)
        assert np.linalg.eigvalsh(made.stiffness).min() > 0


STUDY = """
title = "Strip"
[bodies.strip]
solid = "strip.step"
mesh = { size = "4 mm" }
[bodies.strip.laminate]
card = "carbon-ply"
fibre = [1, 0, 0]
[faces]
root = { plane = { normal = [-1, 0, 0], at = "min" } }
tip = { plane = { normal = [1, 0, 0], at = "max" } }
[supports.root]
face = "root"
fixed = "normal"
[supports.spring]
face = "root"
foundation = { normal = "1e-3 N/mm^3", tangential = "1e-3 N/mm^3", bonded = true }
[loads.pull]
face = "tip"
force = ["2 kN", "0 N", "0 N"]
[watch]
faces = ["tip"]
"""


def written(folder, text=STUDY):
    draw(folder / "strip.step", lambda occ: occ.addBox(0, 0, 0, 40, 10, 4))
    path = folder / "strip.toml"
    path.write_text(text)
    return read_study(path)


@pytest.mark.parametrize("fibre", [[1, 0, 0], [0, 1, 0]])
def test_a_pulled_strip_stretches_as_its_fibres_run(tmp_path, fibre):
    """Along and across the fibres: F l / (E A), and the reserve against the ply's own strength."""
    study = written(tmp_path).with_({"bodies.strip.laminate.fibre": fibre})
    findings = answer(study).findings
    along = fibre[0] == 1
    case = findings.cases["all"]
    assert case.faces["tip"].displacement_mm[0] == pytest.approx(2000 * 40 / ((E1 if along else E2) * 40), rel=1e-4)
    assert case.reserve.minimum == pytest.approx((1950 if along else 48) / 50, rel=1e-3)
    assert case.reserve.mode in (f"tension {'along' if along else 'across'} the fibres", "combined stress (Tsai–Wu)")
    body = findings.bodies["strip"]
    assert (body.print, body.zones) == (None, {"laminate": pytest.approx(1)})
    assert body.mass_g == pytest.approx(40 * 10 * 4 * PLY.density * 1e6, rel=1e-9)


def test_a_card_alone_stands_for_a_table_and_a_metal_takes_its_place(tmp_path):
    table = STUDY[STUDY.index("[bodies.strip.laminate]") : STUDY.index("[faces]")]
    study = written(tmp_path, STUDY.replace(table, 'laminate = "carbon-fabric"\n'))
    assert study.bodies["strip"].laminate == LaminateKeys("carbon-fabric")
    turned = study.with_({"bodies.strip.laminate.fibre": [0, 1, 0]}).bodies["strip"].laminate
    assert (turned.card, turned.fibre) == ("carbon-fabric", (0.0, 1.0, 0.0))
    machined = changed(study, {"bodies.strip.metal": "steel"}, where="here").bodies["strip"]
    assert (machined.metal, machined.laminate) == ("steel", None)


SLIPS = {
    "metal": ('card = "carbon-ply"', 'card = "steel"', "steel is a metal, not a laminate."),
    "polymer": ('card = "carbon-ply"', 'card = "pla"', "pla is a polymer, not a laminate."),
    "parallel": ("fibre = [1, 0, 0]", "fibre = [0, 0, 2]", "fibre is parallel to normal."),
    "angle": ("fibre = [1, 0, 0]", "plies = [0, 450]", "ply angle 450.0 must lie between"),
    "empty": ("fibre = [1, 0, 0]", "plies = []", "bodies.strip.laminate.plies"),
    "both": (
        "[bodies.strip.laminate]",
        'metal = "steel"\n[bodies.strip.laminate]',
        "both metal and laminate are given.",
    ),
    "state beside": (
        "[bodies.strip.laminate]",
        'state = "dry"\n[bodies.strip.laminate]',
        "state stands beside laminate.",
    ),
    "state": ('card = "carbon-ply"', 'card = "carbon-ply"\nstate = "wet"', 'card carbon-ply has no state "wet".'),
    "warm": ('card = "carbon-ply"', 'card = "carbon-ply"\ntemperature = "60 degC"', "says nothing about 60 degC"),
    "as metal": ("[bodies.strip.laminate]\ncard =", "metal =", "carbon-ply is a laminate, not a metal."),
    "as print": (
        "[bodies.strip.laminate]\ncard =",
        "[bodies.strip.print]\npolymer =",
        "is a laminate and has no bead",
    ),
}


@pytest.mark.parametrize("slip", SLIPS)
def test_a_laminate_that_cannot_be_gets_one_line(slip, tmp_path):
    old, new, words = SLIPS[slip]
    text = STUDY.replace(old, new)
    if slip.startswith("as "):
        text = text.replace("fibre = [1, 0, 0]\n", "")
    with pytest.raises(InputError) as caught:
        body_print(written(tmp_path, text).bodies["strip"])
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_card_says_what_it_is(tmp_path):
    path = tmp_path / "own.toml"
    path.write_text('from = "carbon-ply"\nname = "own"\n[dry]\nscatter = 0.05\n[dry.source]\nscatter = "ours"\n')
    assert load_card(path).kind == "laminate"
    path.write_text('from = "steel"\nname = "own"\nkind = "laminate"\n')
    with pytest.raises(CardError, match="has three values of E"):
        load_card(path)
    path.write_text('from = "pla"\nname = "own"\nkind = "wood"\n')
    with pytest.raises(CardError, match="no kind that a card may state"):
        load_card(path)
