"""Which variants are solved bead by bead before one is named, on tables whose beads are known beforehand."""

from dataclasses import replace

import pytest

from fem.judging.choice import VariantNumbers, compare
from fem.judging.leading import GAIN, MOST_LEADERS, next_leader

REQUIRED = 2.0


def variant(name, mass, homogenised, **more):
    """A variant as the homogenised answer ranks it."""
    short = max(0.0, 1 - homogenised / REQUIRED)
    plain = {"mass_g": mass, "time_h": 1.0, "deflection_mm": 1.0, "settings": {"walls": name}}
    numbers = {"reserve": homogenised, "homogenised": homogenised, "shortfall": short}
    numbers["missed"] = ("reserve factor",) if short else ()
    return VariantNumbers(name, **{**plain, **numbers, **more})


def by_beads(v, reserve):
    """The same variant with what its beads bear."""
    told = variant(v.name, v.mass_g, reserve, other_shortfall=v.other_shortfall)
    return replace(told, homogenised=v.homogenised, zoomed=1, decided_by="zoom")


def led(variants, beads):
    """The leaders in their order, and the variant that is named in the end; beads of None cannot be solved."""
    known, looked = {v.name: v for v in variants}, []
    while True:
        found = compare(tuple(known.values()), title="t", question="", required_reserve=REQUIRED)
        name = next_leader(found.variants, required_reserve=REQUIRED, reserve_asked=True, base={}, looked=looked)
        if name is None:
            return looked, found.best
        looked.append(name)
        if beads.get(name) is not None:
            known[name] = by_beads(known[name], beads[name])


def test_one_that_the_homogenised_answer_rules_out_is_named_when_its_beads_bear_enough():
    variants = [variant("light", 10, 0.8), variant("heavy", 20, 2.1)]
    assert led(variants, {"heavy": 2.2, "light": 2.3}) == (["heavy", "light"], "light")
    assert led(variants, {"heavy": 2.2, "light": 1.9}) == (["heavy", "light"], "heavy")
    assert compare(variants, title="t", question="", required_reserve=REQUIRED).best == "heavy", "without beads"


def test_what_beads_cannot_make_good_is_not_looked_at():
    hopeless = variant("hopeless", 5, 0.99 * REQUIRED / GAIN)
    soft = variant("soft", 6, 3.0, other_shortfall=0.2, shortfall=0.2, missed=("deflection",))
    heavier = variant("heavier", 30, 1.5)
    known = variant("reference", 7, 1.9, reference=True)
    metal = variant("metal", 8, 1.9, printed=False)
    assert led([hopeless, soft, heavier, known, metal, variant("good", 20, 2.1)], {"good": 2.5}) == (["good"], "good")
    borderline = replace(hopeless, reserve=1.01 * REQUIRED / GAIN, homogenised=1.01 * REQUIRED / GAIN)
    assert led([borderline, variant("good", 20, 2.1)], {"good": 6.4, "hopeless": 2.1})[1] == "hopeless"


def test_the_next_is_named_and_looked_at_where_the_beads_of_the_first_bear_less():
    variants = [variant("a", 10, 2.1), variant("b", 11, 2.2), variant("c", 12, 2.3)]
    assert led(variants, {"a": 1.5, "b": 1.9, "c": 2.2}) == (["a", "b", "c"], "c")
    assert led(variants, {"a": 1.5, "b": 1.9, "c": 1.9}) == (["a", "b", "c"], None)


def test_none_holds_before_its_beads_were_asked():
    variants = [variant("a", 10, 0.7), variant("b", 12, 1.2), variant("c", 14, 1.6)]
    assert led(variants, {"a": 1.1, "b": 2.1, "c": 2.6}) == (["a", "c", "b"], "b")
    assert led(variants, {"a": 1.1, "b": 1.9, "c": 2.6}) == (["a", "c", "b"], "c")


def test_those_come_first_for_which_the_gain_found_so_far_is_enough():
    variants = [variant(str(i), 10 + i, 0.7 + 0.2 * i) for i in range(5)] + [variant("named", 20, 2.0)]
    looked, best = led(variants, {"named": 3.0} | {str(i): 1.5 * (0.7 + 0.2 * i) for i in range(5)})
    assert looked[:2] == ["named", "4"] and best == "4", "1.5 times 1.5 is enough, 1.5 times 1.3 is not"


def test_at_most_so_many_are_looked_at():
    variants = [variant(str(i), 10 + i, 1.5) for i in range(9)]
    looked, best = led(variants, {str(i): 1.6 for i in range(9)})
    assert looked == ["0", "1", "2", "3"] and best is None and len(looked) == MOST_LEADERS


def test_one_that_cannot_be_solved_is_asked_once():
    assert led([variant("a", 10, 2.1)], {"a": None}) == (["a"], "a")


def test_equal_masses_are_told_apart_by_what_their_beads_may_bear():
    alike = [variant("a", 10, 2.1), variant("b", 10.02, 1.9)]
    assert led(alike, {"a": 2.2, "b": 2.6}) == (["a", "b"], "b")
    assert led(alike, {"a": 6.0, "b": 2.6}) == (["a"], "a"), "three times 1.9 is less than six"


def test_meshes_are_not_chosen_and_beads_not_asked():
    size = "bodies.bar.mesh.size"
    meshes = [variant("a", 10, 2.1, settings={size: "4 mm"}), variant("b", 10, 2.3, settings={size: "2 mm"})]
    assert led(meshes, {"a": 2.2, "b": 2.2}) == ([], None)


def test_steps_and_ratios_compare_numbers_of_one_kind():
    key = "bodies.bar.print.walls"
    low, high = (variant(n, m, r, settings={key: n}) for n, m, r in (("1", 10, 0.8), ("2", 12, 1.1)))
    reference = replace(variant("old", 14, 1.0), reference=True)
    found = compare(
        [replace(by_beads(low, 2.4), settings={key: "1"}), high, reference],
        title="t", question="", required_reserve=REQUIRED, sweep={key: ("1", "2")},
    )  # fmt: skip
    (step,) = found.steps
    assert step.reserve == pytest.approx(0.3) and found.ratios["1"]["reserve"] == pytest.approx(0.8)
    metal = compare(
        [replace(by_beads(low, 2.4), settings={key: "1"}), replace(reference, printed=False)],
        title="t", question="", required_reserve=REQUIRED,
    )  # fmt: skip
    assert metal.ratios["1"]["reserve"] == pytest.approx(2.4), "a metal's reserve factor is of no kind"
