"""What the vector drawings of a review share: one style, colours that any eye tells apart, SVG as text."""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from fem.telling.blocks import FULL_MM
from fem.telling.vector import INK as INK
from fem.telling.vector import SOFT as SOFT
from fem.telling.vector import STYLE

BLUE, ORANGE, GREEN, PURPLE, SKY, BLACK = "#0072b2", "#d55e00", "#007a5a", "#8f3f71", "#3b8fc2", "#222222"
COLOURS = (BLUE, ORANGE, GREEN, PURPLE, BLACK, SKY)
"""Blue, vermilion and their like differ in lightness too (after M. Okabe and K. Ito's set for all kinds of sight)."""
MARKS = ("o", "s", "^", "D", "v", "P")
"""Shapes beside the colours, for print in grey."""


@contextmanager
def drawing(*, width: float = FULL_MM, height: float) -> Iterator[Any]:
    """A matplotlib figure of so many mm in the review's style; close it with `svg_of` inside the block."""
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    style: Any = {
        **STYLE,
        "font.size": 8,
        "axes.linewidth": 0.7,
        "legend.frameon": False,
        "legend.fontsize": 8,
        "svg.hashsalt": "review",
        "text.usetex": False,
        "text.parse_math": False,
    }
    with rc_context(style):
        yield Figure(figsize=(width / 25.4, height / 25.4), layout="constrained")


def svg_of(figure: Any) -> str:
    """The figure as SVG text with letters as outlines, so that it looks the same wherever it is opened."""
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    out = io.StringIO()
    with warnings.catch_warnings():
        # A letter that the face lacks is drawn as a box; the same name stands as text in the table beside
        warnings.filterwarnings("ignore", message="Glyph")
        FigureCanvasSVG(figure).print_svg(out, metadata={"Date": None, "Creator": None})
    return out.getvalue()
