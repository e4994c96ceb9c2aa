"""What bands and singular places do to a choice: variants that are level, and no advice from where a number means
nothing.
"""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "telling"))

import beam

from fem.judging.advice import SHARP_CORNER, advised
from fem.judging.band import Band
from fem.judging.choice import VariantNumbers, compare, non_dominated
from fem.judging.choosing import choose, level_with
from fem.judging.leading import next_leader
from fem.judging.orientation import DirectionNumbers, leaders, picks_of, reason_of
from fem.study.variants.expand import Variant
from fem.study.variants.numbers import numbers_of_variant, table_rows
from fem.study.variants.series import VariantResult
from fem.telling.comparison.page import as_page
from fem.telling.comparison.steps import best_buy, step_rows
from fem.telling.words import answer, standing

KEY = "bodies.bar.print.walls"


def variant(name, mass, reserve, *, band=(), time=10.0, **more):
    return VariantNumbers(
        name,
        more.pop("settings", {}),
        mass_g=mass,
        time_h=time,
        deflection_mm=1.0,
        reserve=reserve,
        band=band,
        **more,
    )


def compared(variants, **more):
    return compare(variants, title="t", question="q", required_reserve=0.4, **more)


def swept(reserves, away, bands=((), (), ())):
    """Walls from 2 to 8 with the minima and the minima away from singular places, and the bands of the latter."""
    sweep = {KEY: ("2", "4", "8")}
    made = [
        variant(
            f"{walls} walls", 50.0 + 10 * i, reserves[i], time=5.0 + i, reserve_away=away[i], band_away=bands[i],
            singular=away[i] > reserves[i], settings={KEY: walls},
        )
        for i, walls in enumerate(sweep[KEY])
    ]  # fmt: skip
    return compared(made, sweep=sweep)


# ---- singular places


FAULT = ((0.21, 0.30, 0.45), (0.52, 0.52, 0.52))
"""The minima of a bracket with more and more walls, and those away from its support's edge: walls buy nothing."""


def test_nothing_is_advised_from_a_singular_place():
    found = swept(*FAULT)
    assert all(s.reserve == 0.0 and s.level for s in found.steps)
    assert "reserve" not in best_buy(step_rows(found))
    assert found.fronts["reserve"] == ("2 walls",), "with equal reserve the lightest alone is Pareto-optimal"


def test_by_the_minimum_of_all_places_walls_would_be_advised():
    """Negative control: the rule as it was, for which the two minima are one."""
    found = swept(FAULT[0], FAULT[0])
    assert "rises most for its mass with walls from 4 to 8" in best_buy(step_rows(found))
    assert found.fronts["reserve"] == ("2 walls", "4 walls", "8 walls")


def test_the_leader_is_ranked_by_its_minimum_away_from_singular_places():
    sharp = variant("sharp", 100.0, 2.9, reserve_away=3.0, singular=True)
    firm = variant("firm", 100.0, 2.5, reserve_away=6.0, singular=True)
    best, why = choose([sharp, firm], required_reserve=2.0)
    assert best == "firm"
    assert "minimum reserve factor of 2.50" in why, "the verdict counts all places"
    assert "read at a singular place, which the verdict counts" in why and "6.00 here" in why
    old = [replace(v, reserve_away=v.reserve) for v in (sharp, firm)]
    assert choose(old, required_reserve=2.0)[0] == "sharp", "negative control: the rule as it was"


def test_a_sharp_corner_is_no_advice_either():
    case = next(iter(beam.beam_findings(beam.beam_scene(beam.beam_mesh((6, 2, 2)))).cases.values()))
    spot = case.hot_spots[0]
    corner = replace(spot, reserve=0.8, singular=False, verdict=SHARP_CORNER, exponent=0.4555)
    firm = replace(spot, reserve=1.7, singular=False, verdict="settled", band=(1.6, 1.8))
    r = replace(case.reserve, minimum=0.8, nonsingular_minimum=0.8, singular=False, band=(0.5, 0.8))
    told = replace(case, reserve=r, hot_spots=(corner, firm))
    assert advised(told) == (1.7, (1.6, 1.8))
    assert advised(replace(told, hot_spots=(replace(corner, verdict=""), firm))) == (0.8, (0.5, 0.8))
    alone = replace(told, hot_spots=(corner, replace(corner, reserve=1.1)))
    assert advised(alone)[0] == 1.1, "a bound of what is left"


def test_hot_spots_and_the_answer_say_whether_a_number_stands():
    found = beam.beam_findings(beam.beam_scene(beam.beam_mesh((6, 2, 2))))
    case = next(iter(found.cases.values()))
    spot = replace(case.hot_spots[0], singular=False, singular_reason="")
    texts = {
        "settled": "settled",
        "moving": "still moving with the mesh",
        "support": "support or load edge",
        "": "one mesh cannot tell",
    }
    for verdict, text in texts.items():
        assert standing(replace(spot, verdict=verdict)) == text
    corner = replace(spot, reserve=0.8, verdict=SHARP_CORNER, exponent=0.4555)
    assert standing(corner) == "sharp corner: the stress grows without limit, by exponent 0.46"
    edge = replace(spot, singular=True, singular_reason="the edge of the fixed face root")
    assert standing(edge) == "support or load edge, singular: the edge of the fixed face root"
    r = replace(case.reserve, minimum=0.8, nonsingular_minimum=0.8, singular=False, band=(0.7, 0.85))
    cases = {"one": replace(case, reserve=r, hot_spots=(corner, replace(spot, reserve=1.7, verdict="settled")))}
    text = answer(replace(found, cases=cases))[0]
    assert "a sharp corner" in text and "the minimum away from singularities is 1.70" in text
    firm = replace(corner, verdict="settled")
    text = answer(replace(found, cases={"one": replace(cases["one"], hot_spots=(firm,))}))[0]
    assert "sharp" not in text and "singular" not in text


# ---- level variants


def test_a_heavier_variant_that_is_level_is_not_on_the_front():
    points = [(1.0, 1.0), (2.0, 1.1), (3.0, 1.4)]
    bands = [Band(0.9, 1.2), Band(1.0, 1.3), Band(1.25, 1.5)]
    assert non_dominated(points, bands) == (0, 2)
    assert non_dominated(points) == (0, 1, 2)


def test_level_variants_are_told_and_the_sooner_printed_one_is_taken():
    slow = variant("slow", 100.0, 2.6, band=(2.3, 2.9), time=20.0)
    quick = variant("quick", 100.0, 2.4, band=(2.2, 2.5), time=8.0)
    best, why = choose([slow, quick], required_reserve=2.0)
    assert best == "quick" and "level with slow of equal mass" in why
    apart = replace(quick, band=(2.2, 2.29), reserve=2.25)
    best, why = choose([slow, apart], required_reserve=2.0)
    assert best == "slow" and "level" not in why
    assert level_with([slow, quick], slow) == ("quick",) and level_with([slow, apart], slow) == ()
    plain = [replace(v, band=()) for v in (slow, quick)]
    assert choose(plain, required_reserve=2.0)[0] == "slow", "without bands the larger number is the better one"
    assert level_with(plain, plain[0]) == ()


def test_overlap_is_symmetric_and_never_without_a_band():
    rng = np.random.default_rng(8)
    for _ in range(50):
        made = []
        for i in range(4):
            low = float(rng.uniform(1, 3))
            band = (low, low + float(rng.exponential(0.5))) if rng.random() < 0.7 else ()
            made.append(variant(f"v{i}", 100.0, sum(band) / 2 if band else low, band=band))
        for a in made:
            for b in level_with(made, a):
                other = next(v for v in made if v.name == b)
                assert a.name in level_with(made, other) and (a.band or other.band)


def test_a_step_within_the_bands_buys_no_reserve():
    bands = ((0.48, 0.58), (0.50, 0.60), (0.51, 0.66))
    found = swept((0.52, 0.55, 0.58), (0.52, 0.55, 0.58), bands)
    assert all(s.level and s.reserve_per_g is None and s.reserve == pytest.approx(0.03) for s in found.steps)
    assert "reserve" not in best_buy(step_rows(found)) and found.fronts["reserve"] == ("2 walls",)
    sure = swept((0.52, 0.55, 0.58), (0.52, 0.55, 0.58), ((0.51, 0.53), (0.54, 0.56), (0.57, 0.59)))
    assert not any(s.level for s in sure.steps) and "reserve" in best_buy(step_rows(sure))


def test_a_variant_whose_requirement_is_not_decided_is_not_named():
    told = "reserve factor not decided, 1.90 to 2.30, 2 required (case a)"
    open_ = variant("open", 90.0, 2.1, band=(1.9, 2.3), missed=(told,), shortfall=0.05)
    sure = variant("sure", 120.0, 2.4, band=(2.1, 2.6))
    assert choose([open_, sure], required_reserve=2.0)[0] == "sure"
    best, why = choose([open_], required_reserve=2.0)
    assert best is None and "not decided, 1.90 to 2.30" in why
    free = replace(open_, missed=(), shortfall=0.0)
    assert choose([free, sure], required_reserve=2.0, reserve_asked=False)[0] == "sure", "the target alike"


def test_a_rival_that_is_level_with_the_named_one_is_not_looked_at():
    named = variant("named", 100.0, 2.6, band=(2.3, 9.0), zoomed=2, decided_by="zoom", homogenised=1.3)
    rival = variant("rival", 100.0, 2.5, decided_by="homogenised")
    asked = {"required_reserve": 2.0, "reserve_asked": True, "base": {}, "looked": ("named",)}
    assert next_leader([named, rival], **asked) is None
    assert next_leader([replace(named, band=(2.5, 2.7)), rival], **asked) == "rival"


# ---- from findings to the page


def findings(low, high, *, used=()):
    found = beam.beam_findings(beam.beam_scene(beam.beam_mesh((6, 2, 2))))
    cases = {
        name: replace(
            case,
            reserve=replace(case.reserve, minimum=(low + high) / 2, singular=False, band=(low, high),
                            nonsingular_minimum=(low + high) / 2),
            hot_spots=(), foundations={}, used_up=used,
        )
        for name, case in found.cases.items()
    }  # fmt: skip
    return replace(found, cases=cases, requirements=())


def test_the_table_and_the_page_hold_bands_and_who_is_level():
    made = [
        replace(
            numbers_of_variant(VariantResult(Variant(n, {}, None), findings(*band), "")), printed=True, mass_g=mass
        )
        for n, band, mass in (("a", (1.8, 2.4), 50.0), ("b", (2.3, 2.7), 60.0), ("c", (3.0, 3.2), 70.0))
    ]
    found = compared(made)
    head, *rows = table_rows(found)
    column = {name: [row[head.index(name)] for row in rows] for name in head}
    assert column["minimum reserve factor, lowest [-]"] == ["1.8", "2.3", "3"]
    assert column["away from singular places, highest [-]"] == ["2.4", "2.7", "3.2"]
    assert column["level in reserve with"] == ["b", "a", ""]
    assert column["none lighter has more in reserve"] == ["yes", "", "yes"]
    page = as_page(found)
    assert "Level with no." in page and "1.80 to 2.40" in page and "Thin lines" in page
    plain = as_page(compared([replace(v, band=(), band_away=()) for v in made]))
    assert "Level with no." not in plain and "Thin lines" not in plain


def test_permanent_loads_that_use_a_place_up_are_missed_by_a_variant():
    from fem.judging.findings import UsedUp

    used = (UsedUp(0.7, "compression", "core", "bar", "top", (0.0, 0.0, 0.0), 0.01, 4),)
    made = numbers_of_variant(VariantResult(Variant("a", {}, None), findings(2.4, 2.6, used=used), ""))
    assert any("permanent loads alone use up a place" in text for text in made.missed)
    assert made.shortfall == pytest.approx(0.3) and choose([made], required_reserve=2.0)[0] is None


# ---- directions


def direction(x, reserve, away=math.inf, **more):
    way = np.array([x, 0.0, 1.0]) / math.hypot(x, 1.0)
    return DirectionNumbers(tuple(way), reserve=reserve, reserve_away=away, **more)


def test_directions_are_ranked_away_from_singular_places():
    steep, flat = direction(0.0, 1.9, 2.0, overhang_mm2=9.0), direction(3.0, 1.2, 3.0, overhang_mm2=8.0)
    assert leaders([steep, flat], count=1) == [flat]
    picks = picks_of([steep, flat], required=1.0, asked=True)
    assert picks[0].scanned is flat and "highest reserve factor" in picks[0].why
    told = reason_of(picks, required=1.0, asked=True)
    assert "1.20 (3.00 away from singular places)" in told and "requirements count all places" in told
    old = [replace(d, reserve_away=d.reserve) for d in (steep, flat)]
    assert leaders(old, count=1) == [old[0]], "negative control: the rule as it was"
