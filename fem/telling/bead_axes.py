"""The figure that names the bead axes 1-2-3: two layers of beads in an oblique view, with an arrow for each axis."""

from __future__ import annotations

from typing import Any

import numpy as np

from fem.telling.vector import INK, LINE, SOFT
from fem.tensors import Array

CAPTION = "Bead axes: 1 along the bead, 2 across the bead in the layer, 3 build direction, normal to the layers."
ALT = (
    "Two layers of parallel beads. Axis 1 runs along a bead, axis 2 across the beads within the layer, axis 3 in the "
    "build direction from layer to layer. Stress components carry these numbers: σ11 acts along the bead; σ33, τ23 "
    "and τ13 act on the interface between two layers."
)
WIDE, HIGH, LONG = 1.0, 0.55, 3.4
"""Width, height and length of a drawn bead, in its own width."""
BEADS, LAYERS = 4, 2
LIMITS = (-4.9, 10.7), (-0.3, 3.7)
RATIO = (LIMITS[1][1] - LIMITS[1][0]) / (LIMITS[0][1] - LIMITS[0][0])
"""Height of the figure over its width."""
DEPTH = np.array([0.62, 0.40])
"""Where a unit length along the bead points in the drawing: to the right and up, so that the end faces stay true."""
AXES = (
    ("1", "along the bead", np.array([0.0, 1.5, 0.0])),
    ("2", "across, in the layer", np.array([1.35, 0.0, 0.0])),
    ("3", "build direction", np.array([0.0, 0.0, 1.2])),
)
"""Number, name and arrow (across, along, up) of each axis."""


def flat(points: Any) -> Array:
    """Points (n, 3) as across, along, up on the drawing (n, 2)."""
    p = np.atleast_2d(np.asarray(points, dtype=float))
    return np.column_stack([p[:, 0], p[:, 2]]) + p[:, 1:2] * DEPTH


def axes_figure(figure: Any) -> Any:
    """Draw into an empty matplotlib figure, best in the proportions of LIMITS, and return it."""
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_axis_off()
    axes.set_aspect("equal")
    for layer in range(LAYERS):
        for bead in range(BEADS):
            _bead(axes, bead * WIDE, layer * HIGH)
    top = LAYERS * HIGH
    start = {
        "1": np.array([(BEADS - 0.5) * WIDE, LONG, top]),
        "2": np.array([BEADS * WIDE, 0.0, 0.5 * HIGH]),
        "3": np.array([0.5 * WIDE, 0.0, top]),
    }
    beside = {"1": ((6, 0), "left", "center"), "2": ((5, 0), "left", "center"), "3": ((0, 4), "center", "bottom")}
    for number, name, arrow in AXES:
        tail, tip = flat(start[number])[0], flat(start[number] + arrow)[0]
        look = {"arrowstyle": "-|>", "color": INK, "lw": 1.8, "mutation_scale": 14, "shrinkA": 0, "shrinkB": 0}
        axes.annotate("", tip, tail, arrowprops=look)
        off, ha, va = beside[number]
        axes.annotate(
            f"{number}  {name}", tip, off, textcoords="offset points", ha=ha, va=va, weight="bold", color=INK
        )  # fmt: skip
    middle = flat([[0.0, 0.0, HIGH]])[0]
    axes.annotate(
        "interlayer stresses\nσ33, τ23, τ13", middle, (-0.7, middle[1]), ha="right", va="center",
        color=SOFT, arrowprops={"arrowstyle": "-", "color": SOFT, "lw": 0.9, "shrinkB": 0},
    )  # fmt: skip
    axes.set_xlim(*LIMITS[0])
    axes.set_ylim(*LIMITS[1])
    return figure


def _bead(axes: Any, left: float, low: float) -> None:
    """One bead: its long side, its top, and its rounded end face."""
    from matplotlib.patches import FancyBboxPatch, Polygon

    def side(corners: list[tuple[float, float, float]], colour: str) -> None:
        axes.add_patch(Polygon(flat(corners), closed=True, facecolor=colour, edgecolor=INK, linewidth=0.8))

    right, high, bow = left + WIDE, low + HIGH, 0.16
    side([(right, 0, low + bow), (right, LONG, low + bow), (right, LONG, high - bow), (right, 0, high - bow)], LINE)
    side(
        [(left + bow, 0, high), (left + bow, LONG, high), (right - bow, LONG, high), (right - bow, 0, high)],
        "#f1f4f2",
    )
    side(
        [(right - bow, 0, high), (right - bow, LONG, high), (right, LONG, high - bow), (right, 0, high - bow)],
        "#dde4e1",
    )
    face = FancyBboxPatch(
        (left + bow, low + bow), WIDE - 2 * bow, HIGH - 2 * bow, boxstyle=f"round,pad={bow},rounding_size={bow}",
        facecolor="#b9c6c1", edgecolor=INK, linewidth=1.0,
    )  # fmt: skip
    axes.add_patch(face)
