"""The section on the bolts' clamp with time: loud about estimates, numbers as found, nothing for no bolts."""

from dataclasses import replace

import numpy as np

from fem.joining.bolt_plan import BoltPlan
from fem.joining.creep import Findley
from fem.joining.remedies import Built
from fem.joining.tightening import tighten
from fem.judging.clamp_time import Layer, clamp_with_time
from fem.printing.polymer import load_card
from fem.telling.blocks import Figure, Items, Notice, Table, every
from fem.telling.blocks import Section as Page
from fem.telling.review.clamp_time import clamp_time_blocks

PLAN = BoltPlan("front", "M8", "A4-80", torque=16e3)
TIGHT = tighten(PLAN)
SADDLE = Layer(load_card("pa6-cf").state("conditioned"), 20.0, np.array([0, 0, 1.0]))


def of_kind(blocks, kind):
    return [block for block in every([Page("bolts", "Bolts", tuple(blocks))]) if isinstance(block, kind)]


def test_an_estimate_is_told_before_all_numbers():
    found = clamp_with_time(PLAN, TIGHT, [SADDLE])
    blocks = clamp_time_blocks({"front": found})
    kinds = [type(block) for block in blocks]
    assert kinds.index(Notice) < kinds.index(Figure) < kinds.index(Table)
    (notice,) = of_kind(blocks, Notice)
    assert "default estimate" in notice.title and "common practice" in notice.text
    (figure,) = of_kind(blocks, Figure)
    assert "estimated" in figure.caption and figure.svg.lstrip().startswith("<?xml")
    measured = clamp_with_time(PLAN, TIGHT, [replace(SADDLE, creep=Findley(0.2, 0.2, "a test"))])
    assert not of_kind(clamp_time_blocks({"front": measured}), Notice)


def test_the_table_tells_what_was_found():
    found = clamp_with_time(PLAN, TIGHT, [SADDLE])
    (told,) = of_kind(clamp_time_blocks({"front": found}), Table)
    rows = {row[1].text: [cell.text for cell in row] for row in told.rows}
    assert set(rows) == {"as planned", "large washers", "metal sleeve"}
    low, high = (float(text) for text in rows["as planned"][6].split(" to "))
    assert abs(low - found.as_planned.low_N[-1] / 1e3) < 0.01 and abs(high - found.as_planned.high_N[-1] / 1e3) < 0.01
    assert rows["as planned"][-1] == f"{100 * found.kept(2160.0):.0f} %" and rows["metal sleeve"][-1] == "100 %"
    assert "conditioned" in told.caption


def test_the_plot_is_of_the_bolt_that_keeps_least():
    wet = replace(SADDLE, service=load_card("pa6-cf").state("saturated"))
    both = {"rear": clamp_with_time(PLAN, TIGHT, [SADDLE]), "front": clamp_with_time(PLAN, TIGHT, [wet])}
    blocks = clamp_time_blocks(both)
    (figure,) = of_kind(blocks, Figure)
    assert "bolt front" in figure.caption
    assert len(of_kind(blocks, Table)[0].rows) == 6


def test_what_does_not_fit_is_told_and_no_bolts_say_nothing():
    bare = replace(PLAN, washer="none")
    found = clamp_with_time(bare, TIGHT, [SADDLE], built=Built(9.0, outer=20.0))
    (told,) = of_kind(clamp_time_blocks({"front": found}), Items)
    assert told.items[0].startswith("front: large washers left out")
    assert clamp_time_blocks({}) == []
