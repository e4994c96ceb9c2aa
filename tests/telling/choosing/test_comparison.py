"""The page of a comparison: every number is there, nothing is asked for outside it, it can be sorted and filtered."""

from __future__ import annotations

import math
import re
import sys
from dataclasses import replace
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1]))

from old_words import old_words, seen
from pages import Page, asks_outside

from fem.judging.choice import VariantNumbers, compare
from fem.telling.comparison import write_comparison
from fem.telling.comparison.page import as_page, plain_setting, requirement_name, short_names, sort_value
from fem.telling.comparison.plots import label_of, shown, trades
from fem.telling.comparison.steps import best_buy, spread_of, step_rows

WALLS, FILL, PATTERN = "bodies.a.print.walls", "bodies.a.print.infill.density", "bodies.a.print.infill.pattern"
SWEEP = {WALLS: ("2", "4"), FILL: ("0.2", "0.6"), PATTERN: ('"grid"', '"gyroid"')}


def variant(walls, fill, pattern):
    w, f, g = float(walls), float(fill), pattern == '"gyroid"'
    mass = 100 + 10 * w + 46 * f + g
    reserve = 0.4 * w + 2 * f - 0.1 * g
    return VariantNumbers(
        f"walls={walls}, density={fill}, pattern={plain_setting(pattern)}",
        {WALLS: walls, FILL: fill, PATTERN: pattern},
        mass_g=mass,
        time_h=mass / 10,
        cost=mass * 0.06,
        deflection_mm=2 / (w + f),
        rotation_deg={"seat": 0.25},
        reserve=reserve,
        reserve_away=reserve,
        reserve_case="landing",
        mode="interlayer tension",
        zone="wall",
        missed=() if reserve >= 2 else (f"reserve factor {reserve:.2f}, 2 required (case landing)",),
        shortfall=max(0.0, 1 - reserve / 2),
        findings_file=f"variants/{walls}-{fill}.json",
    )


SWEPT = [variant(w, f, p) for w in SWEEP[WALLS] for f in SWEEP[FILL] for p in SWEEP[PATTERN]]
METAL = VariantNumbers(
    "machined",
    {"bodies.a.metal": '"6082-t6"'},
    reference=True,
    printed=False,
    mass_g=400.0,
    deflection_mm=0.05,
    reserve=12.0,
    reserve_away=12.0,
    mode="yield (von Mises)",
    zone="metal",
    rotation_deg={"seat": 0.01},
)
BROKEN = VariantNumbers("on edge", {"bodies.a.print.build_direction": "[1, 0, 0]"}, error='too <thin> for "gyroid".')
FREE = VariantNumbers("idle", {}, mass_g=500.0, deflection_mm=0.5, reserve=math.inf, reserve_away=math.inf)


@pytest.fixture(scope="module")
def comparison():
    return compare(
        [*SWEPT, METAL, BROKEN, FREE],
        title="Saddle & <b>foil</b>",
        question="Which way?",
        required_reserve=2.0,
        sweep=SWEEP,
        cautions=("A caution of its own.",),
        beadwork="0.0",
    )


@pytest.fixture(scope="module")
def text(comparison, tmp_path_factory):
    path = write_comparison(comparison, folder=tmp_path_factory.mktemp("page"))
    assert path.name == "comparison.html" and list(path.parent.iterdir()) == [path]
    return path.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def page(text):
    return Page(text)


def test_the_page_is_well_formed_and_asks_for_nothing(text, page):
    assert page.faults == []
    assert len(page.ids) == len(set(page.ids))
    assert asks_outside(text) == []
    assert "default-src 'none'" in page.all("meta", **{"http-equiv": "Content-Security-Policy"})[0]["content"]
    assert len(text) < 2_000_000


@pytest.mark.parametrize(
    "wrong",
    [
        '<script src="https://cdn.example.org/x.js"></script>',
        '<img src="/logo.png">',
        "<style>a { background: url(http://x.example.org/a.png) }</style>",
        "<script>fetch(u)</script>",
        '<link href="//fonts.example.org/css">',
    ],
)
def test_a_page_that_asks_is_found(text, wrong):
    assert asks_outside(text.replace("</header>", wrong + "</header>"))


def test_what_the_user_wrote_stays_text(text):
    assert "Saddle &amp; &lt;b&gt;foil&lt;/b&gt;" in text and "<b>foil" not in text
    assert "too &lt;thin&gt; for &#34;gyroid&#34;." in text


def test_the_answer_stands_first(text, comparison):
    assert comparison.best == "walls=2, density=0.6, pattern=grid"
    answer = re.search(r'<div class="answer holds"><p>(.*?)</p>', text)[1]
    assert comparison.best in answer and "required" in answer
    assert text.index('class="answer') < text.index("<svg") < text.index('id="all"')
    nothing = compare([BROKEN], title="t", question="q", required_reserve=2.0)
    assert 'class="answer short"' in as_page(nothing) and nothing.reason in as_page(nothing)


def table_rows(page):
    """Rows of the main table by variant number."""
    start = next(
        i for i, row in enumerate(page.rows) if row[:2] == ["No.", "Variant"] and "Requirements missed" in row
    )
    return page.rows[start], {row[0]: row for row in page.rows[start + 1 : start + 12]}


def test_every_variant_has_its_numbers_in_the_table(page, comparison):
    heads, rows = table_rows(page)
    assert heads[:11] == [
        "No.", "Variant", "walls", "density", "pattern", "Mass [g]", "Time [h]", "Cost [currency not stated]",
        "Minimum reserve factor", "Away from singularities", "Maximum deflection [mm]",
    ]  # fmt: skip
    assert heads[13:] == [
        "Rotation of seat [deg]",
        "Mass ratio [1]",
        "Stiffness ratio [1]",
        "Reserve ratio [1]",
        "Remarks",
    ]
    assert len(rows) == 11 and {len(r) for r in rows.values()} == {len(heads)}
    first = rows["1"]
    assert first[2:11] == ["2", "0.2", "grid", "129.2", "12.9", "7.75", "1.20", "1.20", "0.909"]
    assert (
        "reserve factor 1.20, 2 required" in first[11]
        and first[12] == "interlayer tension, in the wall (case landing)"
    )
    assert first[14:17] == ["0.323", "0.0550", "0.100"]
    assert rows["9"][14:17] == ["1.00", "1.00", "1.00"] and "reference part" in rows["9"][-1]
    assert rows["10"][5] == "–" and rows["10"][-1] == 'too <thin> for "gyroid".'
    assert rows["11"][8] == "unlimited"
    assert "the one to print" in rows["3"][-1] and "findings" in rows["3"][-1]


def test_another_number_changes_the_page(comparison, text):
    changed = [VariantNumbers(**{**vars(SWEPT[0]), "mass_g": 131.7}), *SWEPT[1:], METAL]
    other = compare(changed, title="t", question="q", required_reserve=2.0, sweep=SWEEP)
    assert "131.7" in as_page(other) and "131.7" not in text


def test_the_table_can_be_sorted_with_mouse_and_keyboard(page, text):
    heads = [a for t, a in page.tags if t == "th" and "data-first" in a]
    assert len(heads) >= 17 and {a["scope"] for a in heads} == {"col"}
    assert len(page.all("button", type="button")) == len(heads)
    tables = page.all("table", **{"class": "sortable"})
    assert tables[0]["id"] == "all"
    # The script: a button's click is what a keyboard gives it too; it tells the order to screen readers
    assert 'addEventListener("click"' in text and '"aria-sort"' in text
    cells = [a["data-v"] for t, a in page.tags if t == "td" and "data-v" in a]
    assert "inf" in cells and "" in cells and repr(100 + 20 + 46 * 0.2) in cells


def test_the_table_can_be_filtered(page):
    form = page.all("form", **{"class": "filter"})[0]
    assert form["data-table"] == "all" and form["data-told"] in page.ids
    assert page.all("p", id=form["data-told"])[0]["aria-live"] == "polite"
    names = {a["name"] for t, a in page.tags if t in ("input", "select") and "name" in a}
    assert names == {"text", "k1", "k2", "k3", "reserve", "away", "mass", "meets", "front"}
    rows = [a for t, a in page.tags if t == "tr" and "data-meets" in a]
    for name in names - {"text"}:
        assert all(f"data-{name}" in row for row in rows)
    # What a choice offers is what rows bear
    offered = [a["value"] for t, a in page.tags if t == "option" and a["value"]]
    assert set(offered) == {row[f"data-k{k}"] for row in rows for k in (1, 2, 3)} - {""}
    # By the formulas above: 3, 5, 7 and 8 have a reserve factor of 2 or more, as have the reference and the idle one
    assert [i for i, row in enumerate(rows, 1) if row["data-meets"] == "yes"] == [3, 5, 7, 8, 9, 11]
    unbeaten = {row[1] for row in page.rows if row[-1:] == ["Pareto-optimal"]}
    assert sum(row["data-front"] == "yes" for row in rows) >= len(unbeaten) > 1


def test_each_plot_has_its_numbers_beside_it(page, comparison):
    plots = [a for t, a in page.tags if t == "svg"]
    assert len(plots) == 2
    for attributes, trade in zip(plots, trades(comparison), strict=True):
        assert attributes["aria-label"] == label_of(comparison, trade)
        points = shown(comparison, trade)
        for i, v, value in points:
            if v.name in comparison.fronts[trade.key]:
                assert f"{i} ({v.name})" in attributes["aria-label"] and trade.text(value) in attributes["aria-label"]
    marks = [a for t, a in page.tags if t == "g" and a.get("class") == "tip"]
    assert len(marks) == sum(len(shown(comparison, t)) for t in trades(comparison)) == 10 + 9
    assert all(a["tabindex"] == "0" and a["role"] == "img" for a in marks)
    assert any(a["aria-label"].startswith("1: walls=2, density=0.2, pattern=grid: 129 g, stiffness") for a in marks)
    assert "Not drawn, as unlimited or not known: 11." in plots[1]["aria-label"]


def test_the_effect_of_a_step(comparison, page):
    rows = step_rows(comparison)
    assert [(r.key, r.start, r.end, r.count) for r in rows] == [(WALLS, "2", "4", 4), (FILL, "0.2", "0.6", 4)]
    walls, fill = rows
    # From the formulas above: two walls more weigh 20 g and give 0.8, and 0.4 more infill 18.4 g and 0.8
    assert walls.mass_g.middle == pytest.approx(20) and walls.reserve.middle == pytest.approx(0.8)
    assert walls.reserve_per_g.middle == pytest.approx(0.04) and walls.reserve_per_h.middle == pytest.approx(0.4)
    assert fill.reserve_per_g.middle == pytest.approx(0.8 / 18.4)
    assert fill.stiffness.low == pytest.approx(0.4 / 4.2) and fill.stiffness.high == pytest.approx(0.4 / 2.2)
    line = next(row for row in page.rows if row[0] == "walls 2 → 4")
    assert line[1] == "4" and line[2] == "+20.0" and line[4] == "+0.800" and line[5] == "+0.400"
    assert "with density from 0.2 to 0.6" in best_buy(rows) and "with walls from 2 to 4" in best_buy(rows)
    assert best_buy([]) == ""


def test_a_range_is_told_where_there_is_one():
    assert spread_of([1.0, 3.0, 2.0]).text() == "+2.00 (+1.00 to +3.00)"
    assert spread_of([-2.0, None]).text(scale=10) == "-20.0"
    assert spread_of([None]).text() == "not known"


def test_missed_requirements_are_counted(text):
    assert "reserve factor: missed by 4 of 9 printed variants" in text
    assert requirement_name("rotation of seat 0.5 deg, at most 0.4 deg allowed (case a)") == "rotation of seat"
    assert requirement_name("mass 231 g, at most 220 g allowed") == "mass"


def test_short_names_tell_paths_apart():
    assert short_names(["bodies.a.print.walls", "bodies.a.mesh.size"]) == {
        "bodies.a.print.walls": "walls",
        "bodies.a.mesh.size": "size",
    }
    assert set(short_names(["bodies.a.print.walls", "bodies.b.print.walls"]).values()) == {
        "a.print.walls",
        "b.print.walls",
    }


def test_numbers_sort_as_numbers():
    assert [sort_value(v) for v in (None, math.nan, math.inf, 1e-7)] == ["", "", "inf", "1e-07"]


def test_the_caution_is_on_the_page(text):
    for words in ("A caution of its own.", "test coupons from your own printer", "qualified engineer"):
        assert words in text


def test_five_hundred_variants_are_a_page_still():
    many = [
        VariantNumbers(f"v{i}", {WALLS: str(i)}, mass_g=100.0 + i, deflection_mm=1.0, reserve=1 + i / 100, time_h=3.0)
        for i in range(500)
    ]
    page = as_page(compare(many, title="t", question="q", required_reserve=2.0))
    assert len(page) < 3_000_000 and page.count('class="tip"') == 1000


def test_no_old_word_is_left_on_the_page(text):
    assert old_words(seen(text)) == []


def test_without_a_question_there_is_no_empty_paragraph(tmp_path):
    def page(question):
        made = compare([*SWEPT, METAL], title="t", question=question, required_reserve=2.0, sweep=SWEEP)
        return write_comparison(made, folder=tmp_path).read_text(encoding="utf-8")

    assert '<p class="question">Which way?</p>' in page("Which way?")
    assert 'class="question"' not in page("")


def test_what_may_turn_the_choice_stands_below_the_verdict():
    coarse = [replace(v, decisive={"coarse_mesh": f"The mesh is coarse <{i}>."}) for i, v in enumerate(SWEPT)]
    text = as_page(compare(coarse, title="t", question="q", required_reserve=2.0, sweep=SWEEP))
    told = text.index("<li>8 of 8 variants: The mesh is coarse &lt;0&gt;.</li>")
    assert text.index('class="answer') < text.index('class="alarm"') < told < text.index("</header>")
    assert text.count("The mesh is coarse") == 1
    assert "What may turn this choice" not in as_page(compare(SWEPT, title="t", question="q", required_reserve=2.0))


def test_a_page_of_machined_variants_names_none_to_print():
    steel = [replace(METAL, name=n, reference=False, mass_g=m) for n, m in (("thin", 300.0), ("thick", 500.0))]
    text = as_page(compare([METAL, *steel], title="t", question="q", required_reserve=2.0))
    assert "the one to take" in text and "the one to print" not in text and "printed variant" not in text


def test_no_mesh_is_a_step_to_buy():
    size = "bodies.a.mesh.size"
    sized = [
        replace(SWEPT[0], name=s, settings={size: s}, mass_g=m, reserve=r)
        for s, m, r in (("4 mm", 100.0, 2.0), ("8 mm", 101.0, 3.0))
    ]
    found = compare(sized, title="t", question="q", required_reserve=2.0, sweep={size: ("4 mm", "8 mm")})
    assert found.steps and best_buy(step_rows(found)) == ""


def test_a_reserve_of_the_beads_says_so():
    first, second, *others = SWEPT
    led = [replace(first, decided_by="zoom", homogenised=0.7, zoomed=2), replace(second, zoomed=0), *others]
    found = replace(compare(led, title="t", question="", required_reserve=2.0), leaders=(first.name, second.name))
    page = as_page(found)
    cells = re.findall(r'<td class="n[^>]*>([^<]*)<br><span class="over">bead by bead; homogenised 0.70', page)
    assert cells == [f"{first.reserve:.2f}"] and page.count('<br><span class="over">bead by bead') == 1
    told = f"1 leader was solved bead by bead at the worst places ({first.name}). A reserve factor that is not marked"
    assert told in page
    assert f"{second.name}: no place needs its beads solved" in page
    plain = as_page(compare(SWEPT, title="t", question="", required_reserve=2.0))
    assert "Reserve factors are homogenised: no variant was solved bead by bead." in plain
