"""The outlines of coupons, in mm: how large they are, what they hold, how far they give between grips."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fem.part.extruded import Edge


@dataclass(frozen=True)
class Shape:
    """A coupon as drawn: a bar, or a bar that is narrow between two wider ends.

    `length`, `width` and `thickness` over all [mm]; `narrow` the width between the ends and `parallel` how long it is
    so narrow, with the shoulders' `radius`; `apart` how far from each other the grips stand, `gauge` between which
    marks strain is read; `notch` how deep a slot is cut into the middle of an edge [mm], 0 for none.
    """

    name: str
    source: str
    length: float
    width: float
    thickness: float
    narrow: float = 0.0
    parallel: float = 0.0
    radius: float = 0.0
    apart: float = 0.0
    gauge: float = 0.0
    notch: float = 0.0

    @property
    def tested_width(self) -> float:
        """The width [mm] across which it is tested."""
        return self.narrow or self.width

    @property
    def shoulder(self) -> float:
        """How long each shoulder is [mm]: a circle that leaves the narrow part without a corner."""
        if not self.narrow:
            return 0.0
        rise = (self.width - self.narrow) / 2
        return math.sqrt(self.radius**2 - (self.radius - rise) ** 2)

    @property
    def volume(self) -> float:
        """Its volume [mm^3]; the shoulders are parts of a circle's segment."""
        if not self.narrow:
            return (self.length * self.width - self.notch * SLOT) * self.thickness
        x, r = self.shoulder, self.radius
        under_the_arc = (x * math.sqrt(r**2 - x**2) + r**2 * math.asin(x / r)) / 2
        shoulder = self.narrow * x + 2 * (r * x - under_the_arc)
        ends = self.width * (self.length - self.parallel - 2 * x)
        return (self.narrow * self.parallel + 2 * shoulder + ends) * self.thickness

    def between_grips(self, apart: float) -> float:
        """The length [mm] of a bar as wide as the narrow part that stretches as much as this one between grips that
        stand `apart` [mm]: the wider shoulders and ends count by what they give, width over width.

        Uniform stress over each section, which makes it longer by some parts in a thousand than it is.
        """
        if not self.narrow:
            return apart
        x = min(self.shoulder, max(0.0, (apart - self.parallel) / 2))
        steps = 400
        step = x / steps
        arc = sum(step * self.narrow / self._width_at((k + 0.5) * step) for k in range(steps))
        rest = max(0.0, apart - self.parallel - 2 * self.shoulder) * self.narrow / self.width
        return min(apart, self.parallel) + 2 * arc + rest

    @property
    def outline(self) -> list[Edge]:
        """Its outline from the corner at x = y = 0 on, counter-clockwise: where each edge ends, and its arc's
        centre."""
        L, b = self.length, self.width
        if self.notch:
            left, right = L / 2 - SLOT / 2, L / 2 + SLOT / 2
            slot: list[Edge] = [((left, 0), None), ((left, self.notch), None), ((right, self.notch), None)]
            return [((0, 0), None), *slot, ((right, 0), None), ((L, 0), None), ((L, b), None), ((0, b), None)]
        if not self.narrow:
            return [((0, 0), None), ((L, 0), None), ((L, b), None), ((0, b), None)]
        end = (L - self.parallel) / 2 - self.shoulder
        x = (end, end + self.shoulder, L - end - self.shoulder, L - end)
        low, deep = (b - self.narrow) / 2, (b - self.narrow) / 2 - self.radius
        below: list[Edge] = [
            *(((x[0], 0), None), ((x[1], low), (x[1], deep))),
            *(((x[2], low), None), ((x[3], 0), (x[2], deep)), ((L, 0), None)),
        ]
        above: list[Edge] = [
            *(((L, b), None), ((x[3], b), None), ((x[2], b - low), (x[2], b - deep))),
            *(((x[1], b - low), None), ((x[0], b), (x[1], b - deep)), ((0, b), None)),
        ]
        return [((0, 0), None), *below, *above]

    def _width_at(self, x: float) -> float:
        """The width [mm] of a shoulder, so far from the narrow part."""
        return self.narrow + 2 * (self.radius - math.sqrt(self.radius**2 - x**2))


SLOT = 1.0
"""How wide the slot of a notched coupon is drawn [mm]; a razor blade sharpens its end."""

_ISO_527 = "ISO 527-2:2012, table 1"
SHAPES = {
    shape.name: shape
    for shape in (
        Shape(
            "1A",
            f"{_ISO_527} (radius and 109.3 mm between the broad parts from memory)",
            length=170.0,
            width=20.0,
            thickness=4.0,
            narrow=10.0,
            parallel=80.0,
            radius=24.0,
            apart=115.0,
            gauge=75.0,
        ),
        Shape(
            "1BA",
            "ISO 527-2:2012, annex A (radius from the 58 mm between the broad parts; at least 30 mm from memory)",
            length=75.0,
            width=10.0,
            thickness=2.0,
            narrow=5.0,
            parallel=30.0,
            radius=40.45,
            apart=60.0,
            gauge=25.0,
        ),
        Shape("strip", "ISO 178:2019, preferred specimen", length=80.0, width=10.0, thickness=4.0, gauge=64.0),
        Shape(
            "block",
            "ISO 604:2002, type B has 10 x 10 x 4 mm; a prism twice as tall as wide, so that plates press evenly",
            length=20.0,
            width=10.0,
            thickness=10.0,
            gauge=20.0,
        ),
        Shape(
            "infill-block",
            "a prism within ISO 604:2002, several cells wide",
            length=30.0,
            width=30.0,
            thickness=30.0,
            gauge=30.0,
        ),
        Shape(
            "notched",
            "ISO 13586:2018, bending specimen: width twice the thickness, span four widths (from memory)",
            length=80.0,
            width=16.0,
            thickness=8.0,
            gauge=64.0,
            notch=7.0,
        ),
    )
}
"""The coupons by name: where each one's dimensions come from stands in its source."""
