"""The curves of a batch: to failure, at their start with the fitted line, and how far readings lie off it."""

from __future__ import annotations

from typing import Any

import numpy as np

from fem.coupons.batches import BatchFit
from fem.coupons.line import SHEAR_WINDOW, TENSION_WINDOW
from fem.coupons.nouns import DIAGONAL
from fem.digits import number
from fem.telling.blocks import Figure
from fem.telling.review.plots import COLOURS, INK, SOFT, drawing, svg_of

MOST_POINTS = 400
"""A curve of more readings is drawn through every so many of them."""
HEIGHT = 74.0
"""Height of a figure [mm]."""


def curves_figure(fit: BatchFit) -> Figure:
    """The three drawings of a batch side by side; of one without a path, its loads by coupon."""
    lined = [f for f in fit.fits if f.line is not None]
    with drawing(height=HEIGHT) as figure:
        if lined:
            whole, start, off = figure.subplots(1, 3, width_ratios=(1.2, 1.2, 0.9))
            _to_failure(whole, fit)
            _at_the_start(start, fit)
            _residuals(off, fit)
        else:
            _peaks(figure.add_subplot(), fit)
        figure.legend(
            *_named(figure, fit),
            loc="outside lower center",
            ncols=min(8, len(fit.fits)),
            handlelength=1.2,
            fontsize=7,
        )
        svg = svg_of(figure)
    return Figure(_spoken(fit), _caption(fit, bool(lined)), svg=svg)


def _caption(fit: BatchFit, lined: bool) -> str:
    name = f"Batch {fit.batch.name}"
    if not lined:
        return f"{name}: greatest stress of each coupon."
    return (
        f"{name}. Left: all curves, toe and machine taken off. Middle: their start with the window of the modulus "
        "shaded and the fitted lines dashed; grey is what was read. Right: readings in the window, off their line."
    )


def _to_failure(axes: Any, fit: BatchFit) -> None:
    for k, one in enumerate(fit.fits):
        step = max(1, len(one.strain) // MOST_POINTS)
        axes.plot(100 * one.strain[::step], one.stress[::step], color=COLOURS[k % len(COLOURS)], linewidth=0.9)
    axes.set_xlabel(_strain_name(fit))
    axes.set_ylabel(_stress_name(fit))
    axes.set_xlim(left=0)
    axes.set_ylim(bottom=0)


def _at_the_start(axes: Any, fit: BatchFit) -> None:
    low, high = (100 * v for v in _window(fit))
    reach = 1.6 * high
    axes.axvspan(low, high, color=SOFT, alpha=0.12, linewidth=0)
    top = 0.0
    for k, one in enumerate(fit.fits):
        if one.line is None:
            continue
        colour = COLOURS[k % len(COLOURS)]
        near = 100 * one.strain <= reach
        read = 100 * (one.as_read - one.as_read[0])
        axes.plot(read[read <= 1.6 * reach], one.stress[read <= 1.6 * reach], color=SOFT, linewidth=0.5, alpha=0.5)
        axes.plot(100 * one.strain[near], one.stress[near], ".", color=colour, markersize=2)
        axes.plot([0, reach], [0, one.line.slope * reach / 100], "--", color=INK, linewidth=0.6)
        top = max(top, one.line.slope * reach / 100)
    axes.set_xlim(-0.15 * reach, 1.6 * reach)
    axes.set_ylim(-0.03 * top, 1.05 * top)
    axes.set_xlabel(_strain_name(fit))


def _residuals(axes: Any, fit: BatchFit) -> None:
    for k, one in enumerate(fit.fits):
        if one.line is None:
            continue
        axes.plot(
            100 * one.strain[np.flatnonzero(one.line.inside)],
            one.line.residual,
            ".-",
            color=COLOURS[k % len(COLOURS)],
            markersize=2,
            linewidth=0.4,
        )
    axes.axhline(0, color=INK, linewidth=0.6)
    axes.set_xlabel(_strain_name(fit))
    axes.set_ylabel("off the line [MPa]")


def _peaks(axes: Any, fit: BatchFit) -> None:
    for k, one in enumerate(fit.fits):
        axes.plot([one.stress.max()], [k], "o", color=COLOURS[k % len(COLOURS)], markersize=5)
    axes.set_yticks([])
    axes.set_ylim(len(fit.fits) - 0.4, -0.6)
    axes.set_xlim(left=0)
    axes.set_xlabel("greatest stress [MPa]")


def _named(figure: Any, fit: BatchFit) -> tuple[list[Any], list[str]]:
    """What the legend shows: a line in each coupon's colour, and its name."""
    from matplotlib.lines import Line2D

    marks = [Line2D([], [], color=COLOURS[k % len(COLOURS)]) for k in range(len(fit.fits))]
    return marks, [one.coupon.name for one in fit.fits]


def _sheared(fit: BatchFit) -> bool:
    return fit.batch.direction == DIAGONAL and "G" in fit.samples


def _window(fit: BatchFit) -> tuple[float, float]:
    return SHEAR_WINDOW if _sheared(fit) else TENSION_WINDOW


def _strain_name(fit: BatchFit) -> str:
    return "shear strain [%]" if _sheared(fit) else "strain [%]"


def _stress_name(fit: BatchFit) -> str:
    if _sheared(fit):
        return "shear stress [MPa]"
    return "stress of the outer fibre [MPa]" if fit.batch.test == "bending" else "stress [MPa]"


def _spoken(fit: BatchFit) -> str:
    """The drawing in words."""
    each = []
    for one in fit.fits:
        slope = "" if one.line is None else f" slope {number(one.line.slope)} MPa,"
        each.append(f"{one.coupon.name}:{slope} greatest stress {number(float(one.stress.max()))} MPa")
    return f"Curves of batch {fit.batch.name} ({fit.batch.words}). {'; '.join(each)}."
