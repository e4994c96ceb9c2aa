"""On the bench: each measured curve of the part drawn beside its prediction, and what would make both agree."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from fem.digits import number
from fem.judging.bench_findings import BenchFindings, BenchFit
from fem.telling.blocks import Block, Cell, Figure, Heading, Items, Section, Table, Text, table
from fem.telling.review.material import Material
from fem.telling.review.plots import BLUE, GREEN, INK, ORANGE, SOFT, drawing, svg_of

HIGH_MM = 92.0


def bench(material: Material) -> Section | None:
    """Every test with its curve, the ratios, and the scales that would make tests and predictions agree."""
    f = material.findings
    if not f.bench:
        return None
    blocks: list[Block] = [
        Text(
            "The printed part itself was loaded and its deflection read. Ratios are measured over predicted: below 1 "
            "the part is softer, or fails earlier, than computed. The predicted stiffness bears the mesh's band and "
            "twice the card's scatter, the predicted failure is that of the first bead."
        )
    ]
    for name, test in f.bench.items():
        blocks += [Heading(f"Test {name}"), _figure(name, test)]
    blocks += [Heading("Measured over predicted"), _table(f.bench)]
    notes = [f"{name}: {note}" for name, test in f.bench.items() for note in test.notes]
    blocks += [Items(tuple(notes))] if notes else []
    for fit in f.bench_fit:
        blocks += _fit(fit)
    return Section("bench", "On the bench", tuple(blocks))


HEAD = ("test", "quantity", "measured", "predicted", "measured over predicted")


def bench_rows(tests: Mapping[str, BenchFindings]) -> list[list[Cell]]:
    """Measured, predicted and their ratio, a row a quantity of each test, under HEAD."""
    rows = []
    for name, t in tests.items():
        low, high = t.predicted_stiffness_band_N_per_mm
        inside = low <= t.stiffness_N_per_mm <= high
        rows.append(_row(name, "stiffness [N/mm]", t.stiffness_N_per_mm, t.predicted_stiffness_N_per_mm, (low, high)))
        rows[-1][-1] = Cell(rows[-1][-1].text, "" if inside else "warn")
        knee = "first knee [N]" + (" (stated)" if "first knee" in t.stated else "")
        rows.append(_row("", knee, t.first_knee_N, t.predicted_failure_N, t.predicted_failure_band_N))
        failure = "failure [N]" + (" (stated)" if "failure" in t.stated else "" if t.failure_seen else " (at least)")
        rows.append(_row("", failure, t.failure_N, t.predicted_failure_N, t.predicted_failure_band_N))
        if t.mass_g is not None:
            rows.append(_row("", "mass [g]", t.mass_g, t.predicted_mass_g, ()))
        if t.print_time_h is not None:
            rows.append(_row("", "print time [h]", t.print_time_h, t.predicted_print_time_h, ()))
    return rows


def _table(tests: Mapping[str, BenchFindings]) -> Table:
    caption = "Tests beside their predictions; the band in brackets. First knee and failure stand beside the load at "
    caption += "which the first bead is predicted to fail."
    return table(HEAD, bench_rows(tests), align="llrrr", caption=caption)


def _row(
    name: str, what: str, measured: float | None, predicted: float | None, band: tuple[float, ...]
) -> list[Cell]:
    told = "none" if predicted is None else number(predicted)
    told += f" [{number(band[0])}, {number(band[1])}]" if band else ""
    ratio = number(measured / predicted) if measured is not None and predicted else "–"
    return [
        Cell(name),
        Cell(what),
        Cell("none seen" if measured is None else number(measured)),
        Cell(told),
        Cell(ratio),
    ]


def fit_lines(fit: BenchFit) -> list[str]:
    """What the card would have to become for the tests to agree."""
    scales = []
    for what, scale, band in (
        ("stiffness (E and G)", fit.stiffness_scale, fit.stiffness_scale_band),
        ("strength between layers (tension in the build direction, shear 23 and 13)", fit.interlayer_scale,
         fit.interlayer_scale_band),
    ):  # fmt: skip
        if scale is not None:
            told = f" [{number(band[0])}, {number(band[1])}]" if band else ""
            scales.append(f"{what}: times {number(scale)}{told}")
    lines = [*scales, *(f"would become: {value}" for value in fit.values)]
    lines += [f"provided: {condition}" for condition in fit.provided]
    return lines + [f"cannot be told: {why}" for why in fit.untold]


def _fit(fit: BenchFit) -> list[Block]:
    """The same, with how it came about; nothing of it was applied."""
    whose = ", ".join(fit.tests)
    return [
        Heading(f"What would make body {fit.body} agree"),
        Text(
            f"By least squares over {whose}, with a band of two standard errors. Nothing was changed: to take values "
            f"over, write them under [bodies.{fit.body}.print.card] and run again."
        ),
        Items(tuple(fit_lines(fit))),
    ]


def _figure(name: str, test: BenchFindings) -> Figure:
    """Load against deflection: the measured curve, the predicted line with its band, and the loads of failure."""
    caption = (
        f"Test {name}, case {test.case}: measured load against the deflection of {test.place}, beside the predicted "
        f"line with its band. A toe of {number(test.toe_mm)} mm was taken off"
    )
    if test.compliance_mm_per_N:
        caption += f", and {number(1000 * test.compliance_mm_per_N)} mm/kN that the machine gives"
    caption += "."
    with drawing(height=HIGH_MM) as figure:
        axes = figure.add_subplot()
        _draw(axes, test)
        figure.legend(loc="outside right upper", handlelength=1.8)
        svg = svg_of(figure)
    knee = "no knee" if test.first_knee_N is None else f"first knee at {number(test.first_knee_N)} N"
    alt = (
        f"{caption} Measured {number(test.stiffness_N_per_mm)} N/mm, {knee}, failure at {number(test.failure_N)} N; "
        f"predicted {number(test.predicted_stiffness_N_per_mm)} N/mm"
    )
    if test.predicted_failure_N is not None:
        alt += f", first bead fails at {number(test.predicted_failure_N)} N"
    return Figure(f"{alt}.", caption, svg=svg)


def _draw(axes: Any, test: BenchFindings) -> None:
    x, y = np.array(test.deflection_mm), np.array(test.load_N)
    predicted = test.predicted_failure_N
    shown = predicted if predicted is not None and predicted < 2.5 * float(y.max()) else None
    top = 1.12 * max(float(y.max()), test.failure_N, shown or 0.0)
    wide = 1.06 * float(x.max())
    line = np.array([0.0, shown or top / 1.12])
    low, high = test.predicted_stiffness_band_N_per_mm
    axes.fill_betweenx(
        line, line / high, line / low, color=BLUE, alpha=0.16, linewidth=0, label="predicted stiffness, band"
    )
    axes.plot(line / test.predicted_stiffness_N_per_mm, line, color=BLUE, lw=1.4, label="predicted stiffness")
    if shown is not None:
        axes.plot([shown / test.predicted_stiffness_N_per_mm], [shown], "X", color=BLUE, ms=8, ls="",
                  label="predicted failure:\nfirst bead")  # fmt: skip
        if test.predicted_failure_band_N:
            axes.axhspan(
                *test.predicted_failure_band_N, color=ORANGE, alpha=0.10, lw=0, label="predicted failure, band"
            )
    axes.plot(x, y, color=INK, lw=1.2, label="measured", zorder=4)
    straight = np.array(test.straight_N)
    axes.plot(straight / test.stiffness_N_per_mm, straight, color=GREEN, lw=3.4, alpha=0.55, zorder=3,
              label="measured, straight part")  # fmt: skip
    axes.plot([0, straight[0] / test.stiffness_N_per_mm], [0, straight[0]], color=GREEN, lw=1.2, ls=":", zorder=3)
    before = int(y.argmax()) + 1
    ends = ((test.first_knee_N, "v", "measured first knee"), (test.failure_N, "s", "measured failure"))
    for load, mark, what in ends:
        if load is not None:
            at = float(np.interp(load, np.maximum.accumulate(y[:before]), x[:before]))
            label = what if mark == "v" or test.failure_seen else "largest load, no failure"
            axes.plot([at], [load], mark, color=ORANGE, ms=6, ls="", zorder=5, label=label)
    axes.set_xlim(min(0.0, float(x.min())), max(wide, float(np.max(line)) / low * 1.04))
    axes.set_ylim(0, top)
    axes.axvline(0.0, color=SOFT, lw=0.6)
    axes.set_xlabel("deflection from the toe [mm]")
    axes.set_ylabel("load [N]")
