"""Pictures of stresses on the surface in MPa: the largest principal stress, and what shears layers or yields."""

from __future__ import annotations

import numpy as np

from fem.telling.album import LINE, Album, Picture
from fem.telling.canvas import Canvas, Label
from fem.telling.quantity_picture import quantity_of
from fem.telling.reserve_picture import corner_facing
from fem.telling.stage import fit
from fem.telling.surface import lines
from fem.telling.words import number, place, plain_name

BEADS = {
    "principal": "; of the zone as a whole, its beads and the air between them",
    "interlayer shear": "; of the beads nearest to failure at each place; beside it may lie another zone's",
}
"""Whose stress it is, in a printed part."""


def stresses_shown(*, printed: bool) -> tuple[str, ...]:
    """Which stresses are drawn of a part: the interlayer shear, which most often decides a printed one, or von
    Mises' stress, and the principal stress.
    """
    return "principal", "interlayer shear" if printed else "von mises"


def draw_stress(run: Album, *, case: str, quantity: str) -> Picture:
    """A stress of a case on the surface."""
    told = quantity_of(run.scene.cases[case], quantity)
    at = int(run.skin[np.abs(told.values[run.skin]).argmax()])
    view = fit(run.nodes[run.skin], towards=corner_facing(run.normals[at]))
    run.stage.clear()
    surface = run.coat(run.nodes, told.values, "stress")
    run.stage.add(surface, scalars="stress", colours=told.colours, limits=(told.low, told.high))
    run.stage.add(lines(run.nodes, run.rims), colour=LINE, width=1.5, lighting=False)
    name = told.title.removesuffix(" [MPa]")
    largest = f"{number(float(told.values[at]))} MPa"
    title = f"{name[0].upper()}{name[1:]}, case {case}"
    sides = "; tension above 0, compression below" if quantity == "principal" else ""
    note = f"Largest on the surface {largest}{sides}"
    canvas = Canvas(run.stage.show(view), title=title, note=note, view=view)
    canvas.bar(told.colours, low=told.low, high=told.high, title=told.title)
    x, y = view.pixels(run.nodes[at])[0]
    canvas.labels([Label(largest, float(x), float(y))])
    printed = BEADS.get(quantity, "") if any(body.print for body in run.findings.bodies.values()) else ""
    return run.finish(
        canvas,
        file=f"stress_{quantity.replace(' ', '_')}_{plain_name(case)}.png",
        kind="stress",
        case=case,
        title=title,
        caption=f"{note}, at {place(run.nodes[at])}{printed}.",
        alt=f"{title}, on the surface, from {number(told.low)} to {number(told.high)} MPa; "
        f"the largest is {largest} at {place(run.nodes[at])}.",
        unit="MPa",
        low=told.low,
        high=told.high,
        view=view,
    )
