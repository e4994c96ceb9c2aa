"""Cards of the user's own: made from another one, changed by a study, guessed, damaged, or of what cannot be."""

import random

import numpy as np
import pytest

from fem.errors import CardError
from fem.printing.card.values import says_estimate
from fem.printing.fibre import Fibre, Resin, compose
from fem.printing.polymer import (
    CARDS,
    all_cards,
    card_digest,
    card_files,
    card_names,
    card_with,
    load_card,
    other_temperature,
)

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
source = "coupons"
"""
OWN = """
name = "mine"
from = "pa12-cf"
[dry]
tension = ["55 MPa", "35 MPa", "17 MPa"]
source = "five coupons of our own printer"
"""


def write(tmp_path, text, name="trial.toml"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def refused(tmp_path, text, *words):
    with pytest.raises(CardError) as error:
        load_card(write(tmp_path, text))
    told = str(error.value)
    assert all(word in told for word in words), told
    assert all(len(line) < 400 for line in told.splitlines())
    return told


# ---- all at once


def test_all_that_is_wrong_is_told_at_once(tmp_path):
    wrong = CARD.replace('"1.06 g/cm^3"', '"1,060 g/cm^3"').replace('"6.0 GPa"', '"6.0 mm"')
    wrong = wrong.replace("tension = [", "tensoin = [").replace("0.10", "3") + 'more = 1\n[wet]\nas = "dri"\n'
    told = refused(tmp_path, wrong, "trial.toml: 9 things are wrong.").splitlines()[1:]
    assert told == [f"  {line.strip()}" for line in told], "a line each, under the file's name"
    for place, words in [
        ("density", "1.06 g/cm^3 or 1060 g/cm^3"), ("dry", '"tensoin"'), ("dry", '"more"'), ("dry.E", "6.0 mm"),
        ("dry.scatter", "3 must lie"), ("wet", '"stiffness" is missing'), ("wet", '"strength" is missing'),
        ("wet", '"source" is missing'), ("wet.as", '"dri"'),
    ]:  # fmt: skip
        assert sum(line.startswith(f"  {place}: ") and words in line for line in told) == 1, (place, words, told)


def test_one_fault_is_one_line(tmp_path):
    assert "\n" not in refused(tmp_path, CARD.replace("0.10", "3"), "card trial.toml: dry.scatter: 3 must lie")


# ---- what cannot be

EXTREME = [
    ('"6.0 GPa"', '"1e-150 MPa"', "too small"), ('"6.0 GPa"', '"1e300 MPa"', "too large"),
    ('"6.0 GPa"', '"6.0 Pa"', "not plausible"), ('"6.0 GPa"', '"6000 GPa"', "not plausible"),
    ('"60 MPa", "35', '"1e-9 MPa", "35', "not plausible"), ('"1.06 g/cm^3"', '"1060 g/cm^3"', "0.01 and 25 g/cm^3"),
    ("0.35", "1e300", "nu12"), ("0.35", "nan", "plain number"), ("0.35", "inf", "plain number"),
    ("0.35", "1" + "0" * 4000, "plain number"), ("0.35", "1" + "0" * 5000, "TOML"),
    ("0.10", "1" + "0" * 400, "plain"),
    ("0.10", "-1e300", "between 0 and 1"), ("0.10", '0.1\nexpansion = ["1 1/K", "1 1/K", "1 1/K"]', "not plausible"),
    ('"trial"', '"a\\u001b[31mb"', "printed"), ('"trial"', '"' + "x" * 5000 + '"', "longer"),
    ('"trial"', '" "', "text"),
    ("[dry]", '["\\u001b[2J"]', "\\x1b"), ("[dry]", "[dry" + ".x" * 600 + "]\na = 1\n[dry]", 'unknown key "x"'),
    ("0.10", "[" * 2000 + "]" * 2000, "trial.toml"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "words"), EXTREME, ids=range(len(EXTREME)))
def test_what_no_material_has_is_refused(tmp_path, old, new, words):
    assert old in CARD
    told = refused(tmp_path, CARD.replace(old, new, 1), words, "trial.toml")
    assert all(line.isprintable() for line in told.splitlines())


@pytest.mark.parametrize("factor", ["1e-300", "1e300", "1e-9", "1" + "0" * 400])
def test_an_extreme_factor_is_refused(tmp_path, factor):
    wet = f'[wet]\nas = "dry"\nstiffness = {factor}\nstrength = 0.5\nsource = "a book"\n'
    refused(tmp_path, CARD + wet, "wet.stiffness")
    heat = f'[temperature]\nat = ["23 degC", "60 degC"]\nstiffness = [1, {factor}]\nstrength = [1, 1]\nsource = "a"\n'
    refused(tmp_path, CARD + heat, "temperature.stiffness")


@pytest.mark.parametrize("model", ["mori-tanaka", "halpin-tsai"])
def test_an_endless_fibre_is_refused(model):
    resin, fibre = Resin(1400, 0.38, 1.01e-9), Fibre.isotropic(E=72000, nu=0.22, density=2.54e-9)
    for ratio in (1e300, float("inf"), float("nan"), 0.5):
        with pytest.raises(Exception, match="aspect ratio"):
            compose(resin, fibre, mass_fraction=0.2, aspect_ratio=ratio, orientation=[1, 0, 0], model=model)
    long = compose(resin, fibre, mass_fraction=0.2, aspect_ratio=1e6, orientation=[1, 0, 0], model=model)
    # fibres without end: the rule of mixtures along them, to the small gain by unlike Poisson's ratios
    along = 1 / np.linalg.inv(long.stiffness)[0, 0]
    assert along == pytest.approx(1400 + long.fibre_share * (72000 - 1400), rel=2e-3)


def test_a_card_far_too_large_or_unreadable_gets_one_line(tmp_path):
    refused(tmp_path, "#" * 1_000_001, "far too large")
    for name in ("nowhere.toml", "a\0b.toml", "~nouser/x.toml", "x" * 5000 + ".toml"):
        with pytest.raises(CardError, match="no such card file"):
            load_card(name)


PIECES = [
    '"', "[", "]", "{", "}", "=", "\n", "0", "-1", "nan", "1e300", '"x"', "[]", "true", "9" * 400, "9" * 5000,
    "[dry]\n", 'as = "dry"\n', 'from = "pla"\n', '"1,500 MPa"', "\x00", '"\\u001b"', "[dry.source]\n", "[[dry]]\n",
    "estimates = [[1]]\n",
]  # fmt: skip


def test_a_damaged_card_is_read_or_refused(tmp_path):
    """Seeded damage to cards of every kind: never anything but a card or a refusal that can be shown."""
    rng, read = random.Random(7), 0
    texts = [(CARDS / f"{name}.toml").read_text(encoding="utf-8") for name in card_names()] + [CARD, OWN]
    for _ in range(200):
        text = rng.choice(texts)
        for _ in range(rng.randint(1, 3)):
            lines, place = text.split("\n"), rng.randrange(len(text))
            row = rng.randrange(len(lines))
            lines[row] = lines[row].split("=")[0] + "= " + rng.choice(PIECES) if "=" in lines[row] else ""
            cut = text[:place] + rng.choice(PIECES) + text[place + rng.randint(0, 6) :]
            text = cut if rng.random() < 0.3 else "\n".join(lines)
        try:
            load_card(write(tmp_path, text))
            read += 1
        except CardError as error:
            assert all(line.isprintable() for line in str(error).splitlines())
    assert 0 < read < 150, "the damage spares some cards, and is found in most"


# ---- estimates that the source itself tells


@pytest.mark.parametrize(
    "source", ["guess", "a guess", "Estimate", "from memory", "estimated by eye", "assumed", "?", "rule of thumb"]
)
def test_a_guess_counts_as_an_estimate(tmp_path, source):
    state = load_card(write(tmp_path, CARD.replace('"coupons"', f'"{source}"'))).state("dry")
    assert set(state.estimates) == {"E", "nu", "G", "tension", "compression", "shear", "scatter"}
    each = "".join(f'{key} = "{source if key == "nu" else "a book"}"\n' for key in state.sources if key != "density")
    listed = CARD.replace('source = "coupons"\n', 'estimates = ["E"]\n[dry.source]\n' + each)
    assert load_card(write(tmp_path, listed)).state("dry").estimates == ("E", "nu")


def test_a_factor_that_is_a_guess_makes_estimates(tmp_path):
    sources = '{ as = "coupons", stiffness = "guess", strength = "a book" }'
    wet = f'[wet]\nas = "dry"\nstiffness = 0.8\nstrength = 0.9\nsource = {sources}'
    card = load_card(write(tmp_path, CARD + wet))
    assert set(card.state("wet").estimates) == {"E", "G"}
    heat = '[temperature]\nat = ["23 degC", "60 degC"]\nstiffness = [1, 0.8]\nstrength = [1, 0.8]\nsource = "guess"\n'
    warm = load_card(write(tmp_path, CARD + heat)).state("dry", 60.0)
    assert {"temperature", "E", "G", "tension"} <= set(warm.estimates)


@pytest.mark.parametrize(
    "source", ["coupons", "ISO 527", "measured, not a guess", "no estimate: data sheet", "EN 755-2"]
)
def test_what_was_measured_is_no_estimate(source):
    assert not says_estimate(source)


# ---- made from another card


def test_an_own_card_changes_a_few_values_of_another(tmp_path):
    own, base = load_card(write(tmp_path, OWN)), load_card("pa12-cf")
    assert (own.name, own.kind, own.density, tuple(own.states)) == (
        "mine",
        "polymer",
        base.density,
        tuple(base.states),
    )
    dry, was = own.state("dry"), base.state("dry")
    assert dry.tension == (55, 35, 17) and was.tension == (60, 32, 19)
    for value in ("E", "nu", "G", "compression", "shear", "expansion", "scatter", "factors"):
        assert getattr(dry, value) == getattr(was, value)
    assert dry.sources["tension"] == "the user's own, over card pa12-cf: five coupons of our own printer"
    assert dry.sources["E"] == was.sources["E"]
    assert set(was.estimates) - set(dry.estimates) == {"tension"}, "measured now"
    # what is scaled from it follows
    assert np.allclose(own.state("conditioned").tension, 0.9 * np.array(dry.tension))
    assert own.state("saturated", 60.0).tension[0] == pytest.approx(55 * 0.8 * 0.69)
    assert card_files(tmp_path / "trial.toml")[1].stem == "pa12-cf"


def test_the_digest_of_a_card_covers_the_one_that_it_is_made_from(tmp_path):
    base = write(tmp_path, CARD, "first.toml")
    own = write(tmp_path, OWN.replace("pa12-cf", "first.toml"))
    before = card_digest(own)
    assert before == card_digest(str(own)) != card_digest(base)
    base.write_text(CARD.replace("0.10", "0.11"), encoding="utf-8")
    assert card_digest(own) != before
    base.unlink()
    assert card_digest(own) not in (before, card_digest(base)), "no card, no trouble here: it fails when it is read"


def test_an_own_card_may_change_any_part(tmp_path):
    text = """
    name = "mine"
    about = "our spool"
    from = "first.toml"
    density = "1.10 g/cm^3"
    source = "weighed"
    [dry]
    G = { "12" = "1.3 GPa" }
    source = "guess"
    [wet]
    stiffness = 0.7
    tension = ["40 MPa", "30 MPa", "15 MPa"]
    source = { stiffness = "coupons", tension = "more coupons" }
    [hot]
    as = "dry"
    stiffness = 0.5
    strength = 0.5
    source = "coupons"
    [temperature]
    at = ["23 degC", "60 degC"]
    stiffness = [1, 0.6]
    strength = [1, 0.7]
    source = "oven"
    """
    wet = '[wet]\nas = "dry"\nstiffness = 0.9\nstrength = 0.8\nsource = "a book"\n'
    write(tmp_path, CARD + wet, "first.toml")
    card = load_card(write(tmp_path, text))
    assert (card.about, card.density, tuple(card.states)) == (
        "our spool",
        pytest.approx(1.1e-9),
        ("dry", "wet", "hot"),
    )
    dry, wet = card.state("dry"), card.state("wet")
    assert dry.G == (1300, 800, 700) and "G" in dry.estimates
    assert dry.sources["density"] == "the user's own, over card trial: weighed"
    assert np.allclose(wet.E, 0.7 * np.array(dry.E)) and wet.tension == (40, 30, 15)
    assert np.allclose(wet.compression, 0.8 * np.array(dry.compression))
    assert "coupons" in wet.sources["E"] and "more coupons" in wet.sources["tension"]
    assert card.state("wet", 60.0).E[0] == pytest.approx(0.6 * 0.7 * 6000)


def test_every_shipped_card_can_be_made_one_s_own(tmp_path):
    for name in card_names():
        own, base = load_card(write(tmp_path, f'name = "mine"\nfrom = "{name}"\n')), load_card(name)
        assert own.density == base.density
        for state in base.states:
            for warm in (None, 40.0) if base.kind != "laminate" else (None,):
                ours, theirs = own.state(state, warm), base.state(state, warm)
                assert ours.strength.yield_stress == theirs.strength.yield_stress
                assert (ours.E, ours.G, ours.tension, ours.sources) == (
                    theirs.E, theirs.G, theirs.tension, theirs.sources,
                )  # fmt: skip
                assert set(ours.estimates) == set(theirs.estimates)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('source = "five coupons of our own printer"\n', "", '"source" is missing'),
        ('source = "five coupons of our own printer"\n', 'source = { E = "a book" }\n', '"tension" has no source'),
        ('from = "pa12-cf"', 'from = "pa12cf"', "Nearest: pa12-cf"),
        ('from = "pa12-cf"', "from = 3", "from: must be a card's name"),
        ('from = "pa12-cf"', 'from = "trial.toml"', "each made from the other"),
        ('"17 MPa"', '"17 mm"', "dry.tension"),
        ("[dry]", "[soaked]", 'state "soaked" is now called "saturated"'),
        ("[dry]", "[damp]", '"E" is missing'),
        ("tension =", "tensoin =", 'unknown key "tensoin"'),
        ('name = "mine"\n', "", "mine"),
    ],
)
def test_a_wrong_own_card_is_refused(tmp_path, old, new, words):
    assert old in OWN
    if not new and old.startswith("name"):
        assert load_card(write(tmp_path, OWN.replace(old, new))).name == "pa12-cf", "it keeps the name"
        return
    refused(tmp_path, OWN.replace(old, new), words)


def test_what_is_wrong_with_the_other_card_is_told_of_it(tmp_path):
    write(tmp_path, CARD.replace("0.10", "3"), "first.toml")
    with pytest.raises(CardError, match=r"card first.toml: dry.scatter"):
        load_card(write(tmp_path, OWN.replace("pa12-cf", "first.toml")))


# ---- set in a study


def test_a_study_sets_single_values():
    base = load_card("pa12-cf")
    card = card_with(base, state="conditioned", values={"tension": ["55 MPa", "35 MPa", "17 MPa"], "scatter": 0.05})
    state, was = card.state("conditioned"), base.state("conditioned")
    assert (state.tension, state.scatter) == ((55, 35, 17), 0.05)
    assert (state.E, state.shear, card.state("dry")) == (was.E, was.shear, base.state("dry"))
    assert state.sources["tension"] == "set in the study" != state.sources["E"]
    assert state.from_study == ("tension", "scatter")
    assert {"tension (set in the study)", "scatter (set in the study)", "E"} <= set(state.doubtful)
    assert "tension" not in state.doubtful and was.doubtful == was.estimates
    # heat does to them what it does to the card's
    warm = card.state("conditioned", 60.0)
    assert np.allclose(warm.tension, 0.67 * np.array([55, 35, 17]))
    assert "tension (set in the study)" in warm.doubtful
    assert base.state("conditioned") == was, "the card itself stays as it is"


def test_a_study_sets_values_of_a_metal_and_of_a_computed_card():
    steel = card_with(load_card("steel"), state="as_supplied", values={"yield": "355 MPa", "ultimate": "490 MPa"})
    assert steel.state("as_supplied").strength.yield_stress == 355
    stiff = card_with(load_card("steel"), state="as_supplied", values={"E": "200 GPa", "density": "7.8 g/cm^3"})
    assert stiff.density == pytest.approx(7.8e-9)
    assert np.allclose(stiff.state("as_supplied").G, 200000 / 2.6)
    built = card_with(load_card("pa12-cf15-built"), state="dry", values={"E": ["6 GPa", "2 GPa", "2 GPa"]})
    assert built.state("dry").made_of is None and built.state("dry").E == (6000, 2000, 2000)


@pytest.mark.parametrize(
    ("state", "values", "words"),
    [
        ("damp", {"tension": ["1 MPa"] * 3}, 'no state "damp"'),
        ("dry", {"tensoin": ["1 MPa"] * 3}, 'unknown key "tensoin". Nearest: tension'),
        ("dry", {"tension": ["55 MPa", "35 MPa"]}, "tension: must hold three values"),
        ("dry", {"tension": ["1,500 kPa"] * 3}, "two ways"),
        ("dry", {"tension": ["55 MPa"] * 3, "E": "1 mm", "scatter": 4}, "2 things are wrong"),
        ("dry", {"nu": {"12": 0.9, "13": 3, "23": 0.9}}, "no material can have"),
        ("dry", {"yield": "3 MPa"}, 'unknown key "yield"'),
        ("dry", {"density": "1 mm"}, "density: '1 mm'"),
        ("dry", {"source": "x"}, 'unknown key "source"'),
    ],
)
def test_wrong_values_of_a_study_are_refused_with_their_place(state, values, words):
    with pytest.raises(CardError) as error:
        card_with(load_card("pa12-cf"), state=state, values=values, where="bodies.x.print.card")
    assert words in str(error.value) and str(error.value).startswith("bodies.x.print.card: "), str(error.value)


def test_a_yield_above_the_ultimate_strength_is_refused():
    with pytest.raises(CardError, match="ultimate 360 MPa is below yield 400 MPa"):
        card_with(load_card("steel"), state="as_supplied", values={"yield": "400 MPa"})


# ---- temperature, names


def test_a_load_may_end_at_another_temperature_than_the_card_s():
    card = load_card("pa12-cf")
    found = other_temperature(card.state("dry"), change=37.0)
    assert (found.values_at, found.load_at, found.factors) == (23.0, 60.0, (0.52, 0.68))
    assert '"60 degC"' in found.text and "0.52" in found.text
    assert other_temperature(card.state("dry", 60.0), change=37.0) is None, "the values are those at the load's end"
    assert other_temperature(card.state("dry"), change=4.0) is None
    assert other_temperature(load_card("steel").state("as_supplied"), change=40.0) is None, "steel stays as it is"
    back = other_temperature(card.state("dry", 60.0), change=0.0)
    assert back.factors == (pytest.approx(1 / 0.52), pytest.approx(1 / 0.68))
    beyond = other_temperature(card.state("dry"), change=120.0)
    assert beyond.factors is None and "does not say" in beyond.text


def test_states_have_the_names_of_the_field():
    for card in all_cards():
        assert "soaked" not in card.states
        assert (tuple(card.states) == ("as_supplied",)) == (card.kind == "metal")
        assert card.about
    for name, old, new in (("pa6-cf", "soaked", "saturated"), ("steel", "dry", "as_supplied")):
        with pytest.raises(CardError, match=f'no state "{old}". It is now called "{new}"'):
            load_card(name).state(old)
