"""The colours that numbers are shown in: perceptually even maps, and one fixed scale for the reserve factor.

The reserve scale is made of flat bands whose edges are the same in every picture of a study. It is applied to
1 / reserve, which grows like the stress does, so that interpolation between nodes does not smear a peak that
sits beside an unlimited node.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.telling.colour_maps import colour_map
from fem.tensors import Array

Colour = tuple[float, float, float]

TABLE = 8000
UTILISATION_TOP = 4.0
"""1 / reserve at the upper end of the colour table: well beyond the last edge, at a reserve of 0.5."""
DEEPEST: Colour = (0.410, 0.012, 0.078)
"""Below half of the load: darker than the map's own end, and light enough for dark lines to be seen on it."""

ZONES: dict[str, Colour] = {
    "wall": (0.078, 0.471, 0.882),
    "cover": (1.000, 0.580, 0.333),
    "core": (0.820, 0.600, 0.855),
    "solid": (0.431, 0.435, 0.443),
    "air": (0.902, 0.922, 0.902),
    "outside": (1.0, 1.0, 1.0),
}
"""Colours of the zones of a print, chosen so that any two stay apart for readers who lack one kind of cone, and dark
ink stays readable on all of them; air and outside differ by a hair, as an outline runs between them.
"""


@dataclass(frozen=True)
class ReserveScale:
    """Bands of the reserve factor: `edges` (b + 1,) ascending from 0, `colours` b of them, the last for "and more".

    Band i holds edges[i] <= reserve < edges[i + 1]; the last edge is infinite.
    """

    required: float
    edges: tuple[float, ...]
    colours: tuple[Colour, ...]

    def band(self, reserve: Array) -> Array:
        """Index of the band that each reserve factor lies in."""
        return np.clip(np.searchsorted(self.edges, reserve, side="right") - 1, 0, len(self.colours) - 1)

    def position(self, reserve: Array) -> Array:
        """Continuous place on a bar of equally wide bands: i at edges[i], rising evenly in 1 / reserve."""
        finite = np.array(self.edges[1:-1])
        u = utilisation(reserve)
        knots = np.concatenate([[0.0], 1 / finite[::-1], [1 / finite[0] * 2]])
        places = np.concatenate([[len(self.colours)], np.arange(len(finite), 0, -1), [0]])
        return np.interp(u, knots, places)

    def table(self) -> Array:
        """Colours (TABLE, 3) for 1 / reserve from 0 to UTILISATION_TOP, 0 to 1 each."""
        u = (np.arange(TABLE) + 0.5) * UTILISATION_TOP / TABLE
        return np.array(self.colours)[self.band(1 / u)]

    def labels(self) -> tuple[str, ...]:
        """Text at the inner edges."""
        return tuple(f"{e:g}" for e in self.edges[1:-1])


def utilisation(reserve: Array) -> Array:
    """1 / reserve, 0 where the reserve is unlimited and at most 1e6."""
    return 1 / np.maximum(np.asarray(reserve, dtype=float), 1e-6)


def painted(reserve: Array) -> Array:
    """1 / reserve as surfaces are painted by it: no more than the table holds, so that a node with no reserve at all
    does not colour its neighbours.
    """
    return np.minimum(utilisation(reserve), UTILISATION_TOP)


def reserve_scale(required: float) -> ReserveScale:
    """The scale with hard steps at 1 and at `required`, graded evenly up to 10 or 3 times a higher demand."""
    top = max(10.0, 3 * required)
    low, middle = [0.0, 0.5], ([] if required <= 1.05 else _graded(1.0, required, 3))
    start = 1.0 if required <= 1.05 else required
    high = _graded(start, top, 4)
    edges = low + middle + high + [top, np.inf]
    counts = len(low), len(middle), len(high) + 1
    spans = ((0.03, 0.09), (0.24, 0.42), (0.62, 1.0))
    colours = [
        colour_map("roma")(float(v))[:3]
        for n, span in zip(counts, spans, strict=True)
        for v in np.linspace(*span, max(n, 1))[:n]
    ]
    colours[0] = DEEPEST
    return ReserveScale(required, tuple(edges), tuple((float(r), float(g), float(b)) for r, g, b in colours))


def _graded(low: float, high: float, count: int) -> list[float]:
    """`count` edges from `low` in even ratios towards `high`, inner ones rounded to two digits."""
    inner = [float(f"{v:.2g}") for v in np.geomspace(low, high, count + 1)[1:-1]]
    return [low, *[v for v in inner if low < v < high]]


def displacement_map() -> Any:
    """The matplotlib map of displacements: light is still, dark has moved."""
    return colour_map("lapaz_r")


def use_map() -> Any:
    """The matplotlib map of how much of a strength is used: light is idle, dark is used up.

    It ends before the map's own black, on which no edge could be seen.
    """
    from matplotlib.colors import ListedColormap

    return ListedColormap(colour_map("lajolla_r")(np.linspace(0.0, 0.82, 256)), name="use")


def categorical(count: int) -> list[Colour]:
    """Colours that differ from each other, for patches and faces, light enough for a dark label."""
    picked = [colour_map("batlowS")(i % 100)[:3] for i in range(3, 3 + max(count, 1))]
    return [(float(r), float(g), float(b)) for r, g, b in picked]


def pale(colour: Colour, *, share: float = 0.55) -> Colour:
    """`colour` mixed with white."""
    r, g, b = (c + (1 - c) * share for c in colour)
    return (r, g, b)
