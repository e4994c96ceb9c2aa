"""The neutral pieces and the numbers that go into them."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from printed_box import box_body

from fem.errors import InputError
from fem.judging.findings import RequirementFindings
from fem.telling.blocks import (
    Beside,
    Cell,
    Figure,
    Items,
    Section,
    Table,
    Text,
    breakable,
    every,
    numbered,
    table,
)
from fem.telling.review.closing import assumptions
from fem.telling.review.loads import loads
from fem.telling.review.numbers import reserve_cell, stiffness_texts
from fem.telling.review.opening import opening
from fem.telling.review.pulls import free_body
from fem.telling.review.requirements import margin
from fem.telling.review.shape import VIEWS, Shape
from fem.telling.review.to_pdf import widths

FRONT, SIDE, PLAN = VIEWS


def test_tables_and_figures_are_counted_in_reading_order():
    grid = table(("a", "b"), [["1", "2"]], caption="First.")
    picture = Figure("alt 1", "Seen.", svg="<svg/>")
    sections = [
        Section("x", "X", (grid, Beside((picture, grid), (0.5, 0.5)))),
        Section("y", "Y", (picture, Text("t"))),
    ]
    told = [b.caption for b in every(numbered(sections)) if not isinstance(b, Text)]
    assert told == ["Table 1. First.", "Figure 1. Seen.", "Table 2. First.", "Figure 2. Seen."]


def test_a_row_of_another_length_or_an_unknown_tone_is_refused():
    with pytest.raises(InputError, match="another length"):
        table(("a", "b"), [["1"]])
    with pytest.raises(InputError, match="loud"):
        Cell("x", "loud")


def test_places_to_break_leave_the_word_as_it_is():
    word = "interlayer_shear_of_" + "x" * 60
    assert breakable("short words stay") == "short words stay"
    assert breakable(word).replace("\u200b", "") == word
    assert max(map(len, breakable(word).split("\u200b"))) <= 22


def test_a_table_that_fits_keeps_its_columns_and_a_wide_one_wraps_its_words():
    assert widths(table(("a", "b"), [["one", "2"]])) == [0, 0]
    wide = table(("a", "b", "c"), [["one", "2", "word " * 40]], align="lrl")
    assert [w > 0 for w in widths(wide)] == [False, False, True]


def test_stiffness_is_written_to_four_digits_of_its_natural_size():
    matrix = np.diag([26423.84, 20579.87, 19315.92, 10452624.4, 20023892.2, 11656309.2])
    matrix[0, 4] = matrix[4, 0] = 502610.734
    matrix[0, 1] = matrix[1, 0] = -3.098
    texts = stiffness_texts(tuple(map(tuple, matrix)))
    # The coupling is rounded to the tens of sqrt(26423.84 x 20023892.2) = 727,400
    assert [texts[0][0], texts[3][3], texts[0][4], texts[4][0]] == ["26420", "1.045e7", "502600", "502600"]
    assert texts[0][1] == texts[1][0] == "0"


def test_a_direction_that_is_held_says_so():
    matrix = np.diag([math.inf, 2.0, 3.0, 4.0, 5.0, 6.0])
    assert stiffness_texts(tuple(map(tuple, matrix)))[0][0] == "fixed"


@pytest.mark.parametrize(
    ("name", "limit", "value", "met", "text"),
    [
        ("reserve", 2.0, 3.0, True, "+50 %"),
        ("reserve", 2.0, 0.5, False, "-75 %"),
        ("mass", 200.0, 150.0, True, "+25 %"),
        ("rotation of seat", 0.4, 0.5, False, "-25 %"),
        ("reserve", 2.0, 1.999, False, "-0.050 %"),
        ("reserve", 2.0, math.inf, True, "unlimited"),
    ],
)
def test_the_margin_is_positive_on_the_good_side(name, limit, value, met, text):
    assert margin(RequirementFindings(name, limit, value, "", met, "a")) == text


@pytest.mark.parametrize(("value", "tone"), [(0.999, "bad"), (1.2, "warn"), (2.0, ""), (None, "")])
def test_a_reserve_is_marked_below_one_and_below_what_is_asked(value, tone):
    assert reserve_cell(value, required=2.0).tone == tone


# ---- the free body


def _with_wing(material):
    """The beam's material with a load that acts off its face, and the reaction that balances it."""
    f = material.findings
    pull, centre, couple = np.array([-30.0, 4.0, 500.0]), np.array([15.0, 2.0, -20.0]), np.array([900.0, 0.0, 70.0])
    about = np.cross(centre, pull) + couple
    facts = {
        "kind": "wing",
        "permanent": False,
        "force_N": pull.tolist(),
        "centre_mm": centre.tolist(),
        "moment_about_origin_Nmm": about.tolist(),
    }
    case = dataclasses.replace(
        f.cases["cruise"],
        factors={"lift": 2.0},
        applied_N=tuple(2 * pull),
        applied_Nmm=tuple(2 * about),
        reaction_N=tuple(-2 * pull),
    )
    found = dataclasses.replace(f, loads={"lift": facts}, cases={"cruise": case})
    return dataclasses.replace(material, findings=found), couple


def _left_over(body, about):
    force = sum(p.force for p in body.pulls)
    moment = sum(p.moment + np.cross(p.at - about, p.force) for p in body.pulls)
    return np.linalg.norm(force), np.linalg.norm(moment)


def test_the_free_body_balances_about_any_point(material):
    wing, couple = _with_wing(material)
    body = free_body(wing, "cruise")
    for about in (np.zeros(3), np.array([70.0, -40.0, 11.0])):
        assert _left_over(body, about) == (pytest.approx(0, abs=1e-9), pytest.approx(0, abs=1e-7))
    load, reaction = body.pulls
    assert load.moment == pytest.approx(2 * couple, rel=1e-9)
    assert load.at == pytest.approx([15, 2, -20])
    assert reaction.at == pytest.approx(wing.findings.faces["root"].centre_mm)


def test_of_two_bodies_the_loaded_one_is_held(material):
    """The box has a support of its own 500 mm away, which a load on the beam does not reach."""
    wing, _ = _with_wing(material)
    f = wing.findings
    faces = {**f.faces, "far": dataclasses.replace(f.faces["root"], centre_mm=(500.0, 0.0, 0.0))}
    supports = {**f.supports, "other": {"face": "far", "hold": ["x"]}}
    text = """
    loads.lift.face = "tip"
    faces.tip.body = "beam"
    faces.root.body = "beam"
    faces.far.body = "box"
    """
    told = dataclasses.replace(f, faces=faces, supports=supports, inputs={"text": text})
    assert free_body(dataclasses.replace(wing, findings=told), "cruise").pulls[-1].at == pytest.approx([0, 10, 0])
    dumb = dataclasses.replace(told, inputs={})
    assert free_body(dataclasses.replace(wing, findings=dumb), "cruise").pulls[-1].at == pytest.approx([250, 5, 0])


def test_a_reaction_that_does_not_balance_shows(material):
    wing, _ = _with_wing(material)
    case = dataclasses.replace(wing.findings.cases["cruise"], reaction_N=(60.0, -8.0, -990.0))
    off = dataclasses.replace(wing, findings=dataclasses.replace(wing.findings, cases={"cruise": case}))
    assert _left_over(free_body(off, "cruise"), np.zeros(3))[0] == pytest.approx(10, rel=1e-9)


def test_a_load_without_face_is_drawn_on_its_line_of_action(material):
    f = material.findings
    pull = np.array([0.0, 0.0, -7.0])
    facts = {
        "kind": "acceleration",
        "permanent": False,
        "force_N": pull.tolist(),
        "moment_about_origin_Nmm": np.cross([30.0, 4.0, 99.0], pull).tolist(),
    }
    case = dataclasses.replace(
        f.cases["cruise"], factors={"lift": 1.0}, applied_N=tuple(pull), applied_Nmm=(-28.0, 210.0, 0.0)
    )
    found = dataclasses.replace(f, loads={"lift": facts}, cases={"cruise": case})
    load = free_body(dataclasses.replace(material, findings=found), "cruise").pulls[0]
    assert load.moment == pytest.approx([0, 0, 0], abs=1e-9)
    assert load.at[:2] == pytest.approx([30, 4])


def test_bolts_in_balance_are_told_and_not_drawn(material):
    f = material.findings
    bolts = {
        "kind": "preload",
        "permanent": True,
        "bolts": 4,
        "force_per_bolt_N": 500.0,
        "force_N": [0.0, 1e-13, 0.0],
    }
    case = dataclasses.replace(f.cases["cruise"], factors={"lift": 1.0, "bolts": 1.0})
    found = dataclasses.replace(f, loads={**f.loads, "bolts": bolts}, cases={"cruise": case})
    body = free_body(dataclasses.replace(material, findings=found), "cruise")
    assert [p.name for p in body.pulls] == ["lift", "reaction"]
    assert body.inner == ("bolts: preload of 4 bolts, 500 N each; each pair of forces is in equilibrium",)


def _only(material, facts, **case):
    """The beam with one load alone."""
    f = material.findings
    none = {"applied_N": (0.0,) * 3, "applied_Nmm": (0.0,) * 3, "reaction_N": (1e-12, 0.0, -3e-13)}
    alone = dataclasses.replace(f.cases["cruise"], factors={"lift": 1.0}, **{**none, **case})
    return dataclasses.replace(
        material, findings=dataclasses.replace(f, loads={"lift": facts}, cases={"cruise": alone})
    )


@pytest.mark.parametrize(
    ("printed", "distance", "words"),
    [
        (False, None, "no toughness, so stress is judged as it is"),
        (False, 2.04, "is averaged over the critical distance of its card's toughness, 2.04 mm."),
        (True, None, "a bead's width, 0.500 mm (its card has no toughness, which is on the safe side"),
        (True, 0.2, "a bead's width, 0.500 mm (more than the critical distance of its card's toughness, 0.200 mm)"),
        (
            True,
            0.8,
            "over the critical distance of its card's toughness, 0.800 mm; in infill, over the edge of a cell;",
        ),
    ],
)
def test_assumptions_say_over_which_length_stress_is_averaged(material, printed, distance, words):
    body = box_body() if printed else dataclasses.replace(box_body(), print=None)
    bodies = {"box": dataclasses.replace(body, critical_distance_mm=distance)}
    told = assumptions(dataclasses.replace(material, findings=dataclasses.replace(material.findings, bodies=bodies)))
    (line,) = [text for b in told.blocks if isinstance(b, Items) for text in b.items if words in text]
    assert line.startswith("Body box: ")


def test_warming_alone_pulls_on_nothing(material):
    warm = _only(material, {"kind": "temperature_change", "permanent": False, "by_K": 40.0})
    assert free_body(warm, "cruise").pulls == ()
    told = [b.text for b in loads(warm).blocks if isinstance(b, Text)]
    assert "No external load has a resultant on the part." in told


def test_a_moment_alone_shows_no_forces_of_rounding(material):
    facts = {
        "kind": "wrench",
        "permanent": False,
        "force_N": [1e-13, 0.0, 2e-14],
        "moment_about_origin_Nmm": [8000.0, 0.0, 0.0],
    }
    twisted = _only(material, facts, applied_Nmm=(8000.0, 0.0, 0.0))
    tables = [b for b in loads(twisted).blocks if isinstance(b, Table) and b.caption.startswith("Forces and moments")]
    rows = {row[0].text: [c.text for c in row[1:7]] for row in tables[0].rows}
    assert rows["lift"] == ["0", "0", "0", "8.000", "0", "0"]
    assert rows["reaction"] == ["0", "0", "0", "-8.000", "0", "0"]


# ---- the drawing


def _area(outline):
    return sum(0.5 * np.sum(p[:-1, 0] * p[1:, 1] - p[1:, 0] * p[:-1, 1]) for p in outline)


@pytest.mark.parametrize(("view", "area"), [(FRONT, 100 * 16), (SIDE, 20 * 16), (PLAN, 100 * 20)])
def test_the_shadow_of_a_beam_is_its_side(material, view, area):
    drawn = material.shape.drawn(view)
    assert abs(_area(drawn.outline)) == pytest.approx(area, rel=0.03)


def outside(tets):
    """The triangles (t, 3) that belong to one tetrahedron alone."""
    sides = np.concatenate([tets[:, [1, 2, 3]], tets[:, [0, 3, 2]], tets[:, [0, 1, 3]], tets[:, [0, 2, 1]]])
    _, first, count = np.unique(np.sort(sides, axis=1), axis=0, return_index=True, return_counts=True)
    return sides[first[count == 1]]


def test_edges_behind_the_part_are_not_drawn():
    """A small block under a large one: from above its edges are hidden, from the front they are seen."""
    corners = np.array([[x, y, z] for z in (0, 1) for y in (0, 1) for x in (0, 1)], dtype=float)
    six = np.array([(0, 1, 3, 7), (0, 3, 2, 7), (0, 2, 6, 7), (0, 6, 4, 7), (0, 4, 5, 7), (0, 5, 1, 7)])
    large = corners * [10, 10, 2] + [0, 0, 5]
    small = corners * [4, 4, 3] + [3, 3, 1]
    block = outside(six)
    shape = Shape(np.concatenate([large, small]), np.concatenate([block, block + 8]))
    above, front = shape.drawn(PLAN).edges, shape.drawn(FRONT).edges
    inner = np.all((above > 1) & (above < 9), axis=(1, 2))
    assert not inner.any()
    assert np.any(np.all(front[:, :, 1] == 1, axis=1))


def test_without_a_question_the_review_begins_with_the_verdict(material):
    asked = opening(material)
    assert asked.blocks[0] == Text(material.findings.question) and asked.title == "Question and verdict"
    silent = opening(dataclasses.replace(material, findings=dataclasses.replace(material.findings, question="")))
    assert silent.blocks == asked.blocks[1:] and silent.title == "Verdict"
