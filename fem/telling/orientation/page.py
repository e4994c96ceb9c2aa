"""orientation.html, orientation.csv and orientation.png of a scan of build directions."""

from __future__ import annotations

import csv
import io
import math
from pathlib import Path
from typing import Any

from fem.digits import number, reserve_text
from fem.judging.orientation import (
    AXES,
    NEARLY,
    DirectionNumbers,
    Orientation,
    angle_between,
    direction_words,
    meets,
    vector_text,
)
from fem.printing.overhang import STEEP
from fem.telling import words
from fem.telling.environment import template
from fem.telling.files import safe_cell, write_text
from fem.telling.orientation.sphere import QUANTITIES, Disc, disc_of, four_figure, label, one_figure
from fem.telling.vector import inline_svg

COLUMNS = (
    "kind", "direction_x", "direction_y", "direction_z", "in_words", "reserve",
    "reserve_away_from_singularities",
    "case", "mode", "zone", "deflection_mm", "interlayer_tension_MPa", "overhang_mm2", "overhang_opposite_mm2",
    "height_mm", "mass_g", "time_h", "cost", "missed", "mesh", "selected_for", "error",
)  # fmt: skip
PIXELS_PER_INCH = 150


def write_orientation(scan: Orientation, *, folder: Path) -> Path:
    """Write orientation.html, orientation.csv and orientation.png into `folder`; return the page's path."""
    folder.mkdir(parents=True, exist_ok=True)
    write_text(as_csv(scan), folder / "orientation.csv")
    discs = [disc_of(scan, what) for what in QUANTITIES]
    _write_picture(scan, discs, folder / "orientation.png")
    return write_text(as_page(scan, discs), folder / "orientation.html")


def as_csv(scan: Orientation) -> str:
    """Every direction on the scan's mesh, then the picks on the study's own; "unlimited" stands for infinity."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    why = {p.scanned.direction: "; ".join(p.why) for p in scan.picks}
    for d in scan.directions:
        writer.writerow(_row(d, "scan", why.get(d.direction, "")))
    for p in scan.picks:
        if p.own is not None:
            writer.writerow(_row(p.own, "study's own", "; ".join(p.why)))
    return out.getvalue()


def _row(d: DirectionNumbers, mesh: str, why: str) -> list[Any]:
    place = [f"{v:.6f}" for v in d.direction]
    start = [d.kind, *place, direction_words(d.direction)]
    if d.error:
        return list(map(safe_cell, [*start, *[""] * (len(COLUMNS) - len(start) - 3), mesh, why, d.error]))
    reserves = ["unlimited" if math.isinf(v) else f"{v:.6g}" for v in (d.reserve, d.reserve_away)]
    numbers = (
        d.deflection_mm, d.interlayer_MPa, d.overhang_mm2, d.overhang_opposite_mm2, d.height_mm, d.mass_g, d.time_h,
        d.cost,
    )  # fmt: skip
    told = [*reserves, d.reserve_case, d.mode, d.zone, *(f"{v:.6g}" for v in numbers), "; ".join(d.missed)]
    return list(map(safe_cell, [*start, *told, mesh, why, ""]))


def _write_picture(scan: Orientation, discs: list[Disc], path: Path) -> None:
    beside = path.with_name("." + path.name)
    four_figure(scan, discs).savefig(beside, dpi=PIXELS_PER_INCH)
    beside.replace(path)


def as_page(scan: Orientation, discs: list[Disc]) -> str:
    """The page as text: self-contained, asks for nothing outside itself."""
    from markupsafe import Markup

    page = template(
        "orientation.html", scripts=("tables.js",), number=number, reserve=reserve_text, place=words.place
    )
    plots = []
    for disc in discs:
        figure, tips = one_figure(scan, disc)
        told = label(scan, disc.what)
        plots.append({"svg": Markup(inline_svg(figure, prefix=disc.what.key, label=told, tips=tips)), "label": told})
    ok = any(meets(p.numbers, required=scan.required_reserve, asked=scan.reserve_asked) for p in scan.picks)
    text: str = page.render(
        s=scan,
        verdict="holds" if ok else "short",
        picks=[_pick_row(scan, k, p.numbers, p.why, p.own is not None) for k, p in enumerate(scan.picks, 1)],
        plots=plots,
        rows=[_direction_row(scan, d) for d in scan.directions],
        watched=list(scan.answered[0].rotation_deg) if scan.answered else [],
        axis=AXES[scan.axis],
        steep=STEEP,
        nearly=NEARLY,
        singular=any(d.advised > 1.001 * d.reserve for d in scan.answered),
    )
    return text


def _pick_row(scan: Orientation, k: int, d: DirectionNumbers, why: tuple[str, ...], own: bool) -> dict[str, Any]:
    study = d.kind == "study"
    way = d.direction if study else d.build_direction
    over = d.overhang_mm2 if study else d.support_mm2
    row = {"n": k, "why": "; ".join(why), "words": direction_words(way), "vector": vector_text(way), "d": d}
    mesh = "study's own" if own or not scan.coarser else "scan's"
    return {**row, "overhang": over, "mesh": mesh}


def _direction_row(scan: Orientation, d: DirectionNumbers) -> dict[str, Any]:
    best = next((k for k, p in enumerate(scan.picks, 1) if p.scanned.direction == d.direction), None)
    tilt = angle_between(d.direction, [float(i == scan.axis) for i in range(3)])
    return {
        "d": d,
        "pick": best,
        "words": direction_words(d.direction),
        "vector": vector_text(d.direction),
        "tilt": tilt,
        "meets": meets(d, required=scan.required_reserve, asked=scan.reserve_asked),
    }
