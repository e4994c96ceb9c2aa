"""How a body is printed and what that takes, as the rows that the report and the pictures show."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fem.digits import number
from fem.judging.findings import BodyFindings, PrintFindings
from fem.telling.words import vector

STUDY, ASSUMED, COMPUTED, FROM_ASSUMED = "the study", "assumed", "computed", "computed from an assumed value"


@dataclass(frozen=True)
class ZoneRow:
    """A zone of a body: its `share` of the volume, `mass` [g] and `mass_share` (None where it was not weighed)."""

    name: str
    share: float
    mass: float | None
    mass_share: float | None

    @property
    def text(self) -> str:
        """The row in one line, as keys and alternative texts carry it."""
        words = f"{self.name} {number(100 * self.share)} % of the volume"
        if self.mass is None or self.mass_share is None:
            return words
        return f"{words}, {number(self.mass)} g ({number(100 * self.mass_share)} % of the mass)"


@dataclass(frozen=True)
class PlanRow:
    """One line of the plan: `basis` says whether the study gives the value, it was assumed, or it was computed."""

    name: str
    text: str
    basis: str


def zone_rows(body: BodyFindings) -> tuple[ZoneRow, ...]:
    """The zones that take part of the volume, in the order of the findings."""
    total = sum(body.zone_mass_g.values())
    out = []
    for name, share in body.zones.items():
        mass = body.zone_mass_g.get(name)
        if share > 0 or mass:
            out.append(ZoneRow(name, share, mass, mass / total if mass is not None and total > 0 else None))
    return tuple(out)


def plan_line(plan: PrintFindings) -> str:
    """The plan in one line, for the head of a picture."""
    infill = (
        "printed solid"
        if plan.pattern == "solid"
        else f"{plan.pattern} infill {100 * plan.infill_density:.3g} % dense"
    )
    return (
        f"{_count(plan.walls, 'wall')}, {_count(plan.covers, 'cover')}, {infill}, "
        f"bead {plan.bead_width_mm:g} x {plan.bead_height_mm:g} mm"
    )


def plan_rows(body: BodyFindings, *, currency: str = "") -> tuple[PlanRow, ...]:
    """The print plan of a body and what it takes, costs in `currency`; empty for a metal."""
    plan = body.print
    if plan is None:
        return ()
    assumed = _assumed(plan.assumed)

    def given(name: str, text: str) -> PlanRow:
        return PlanRow(name, text, ASSUMED if name in assumed else STUDY)

    def follows(name: str, text: str, *, of: str) -> PlanRow:
        return PlanRow(name, text, FROM_ASSUMED if of in assumed else COMPUTED)

    solid = plan.pattern == "solid"
    angles = ", ".join(f"{a:g}" for a in plan.raster_deg)
    rows = [
        given("Build direction", vector(plan.build_direction)),
        given("Bead", f"{plan.bead_width_mm:g} mm wide, {plan.bead_height_mm:g} mm high"),
        given("Walls", f"{plan.walls}, {number(plan.walls * plan.bead_width_mm)} mm in all"),
        given(
            "Covers",
            f"{plan.covers} at the bottom and at the top, {number(plan.covers * plan.bead_height_mm)} mm each",
        ),
        given("Raster", f"{angles} deg, layer by layer"),
        given("Infill pattern", plan.pattern),
    ]
    if not solid:
        rows += [
            given("Infill density", f"{100 * plan.infill_density:.3g} %"),
            given("Infill angle", f"{plan.infill_angle_deg:g} deg"),
            PlanRow("Infill quality", _quality(plan.infill_quality), ASSUMED if plan.infill_quality == 1 else STUDY),
        ]
    if plan.cell_mm is not None:
        size = " x ".join(number(v) for v in plan.cell_mm)
        moves = (
            ""
            if plan.cell_stiffness_mesh_change is None
            else f"; its stiffness changed by {number(100 * plan.cell_stiffness_mesh_change, digits=2)} % and "
            f"its strength by {number(100 * (plan.cell_strength_mesh_change or 0.0), digits=2)} % when its "
            "mesh was refined"
        )
        rows.append(PlanRow("Infill cell", f"{size} mm{moves}", COMPUTED))
    money = currency or "(currency not stated)"
    cost = f"{number(plan.cost)} {money}" if plan.price_per_kg > 0 else "no price is given"
    rows += [
        PlanRow("Thinner than two beads", _thin(plan.thin_share), COMPUTED),
        PlanRow("Mass", f"{number(body.mass_g)} g", COMPUTED),
        PlanRow("Layers", f"{plan.layers:,}", COMPUTED),
        PlanRow("Bead length", f"{number(plan.bead_length_m)} m", COMPUTED),
        given("Print speed", f"{plan.speed_mm_per_s:g} mm/s"),
        follows("Print time", clock(plan.time_h), of="Print speed"),
        given("Filament diameter", f"{plan.filament_diameter_mm:g} mm"),
        follows("Filament length", f"{number(plan.filament_m)} m", of="Filament diameter"),
        given("Price of filament", f"{plan.price_per_kg:g} {money} per kg" if plan.price_per_kg > 0 else "not given"),
        follows("Cost", cost, of="Price of filament"),
    ]
    return tuple(rows)


def _quality(share: float) -> str:
    """What the infill's beads are worth, as words."""
    return "as sound as walls" if share == 1 else f"{100 * share:.3g} % of the computed stiffness and strength"


def _thin(share: float) -> str:
    """The share of the volume that is thinner than two beads, as words."""
    return "none of the volume" if share < 5e-5 else f"{number(100 * share)} % of the volume, solid there"


def clock(hours: float) -> str:
    """A time in hours, and as hours and minutes."""
    if not math.isfinite(hours):
        return "not known"
    minutes = round(60 * hours)
    return f"{number(hours)} h ({minutes // 60} h {minutes % 60:02d} min)"


def _count(count: int, noun: str) -> str:
    return f"{count} {noun}" + ("" if count == 1 else "s")


_NAMES = {
    "build direction": "Build direction",
    "bead": "Bead",
    "bead width": "Bead",
    "bead height": "Bead",
    "walls": "Walls",
    "covers": "Covers",
    "raster": "Raster",
    "raster zero": "",
    "infill": "Infill pattern",
    "infill pattern": "Infill pattern",
    "pattern": "Infill pattern",
    "infill density": "Infill density",
    "density": "Infill density",
    "infill angle": "Infill angle",
    "angle": "Infill angle",
    "speed": "Print speed",
    "print speed": "Print speed",
    "filament": "Filament diameter",
    "filament diameter": "Filament diameter",
    "price": "Price of filament",
    "price per kg": "Price of filament",
    "filament price": "Price of filament",
}
"""What a study calls a value (its key, dots and underscores read as spaces), and the row that shows it."""


def _assumed(names: tuple[str, ...]) -> set[str]:
    """The rows that show values which the study left to their defaults; the longest name that fits decides."""
    out = set()
    for name in names:
        plain = name.lower().replace("_", " ").replace(".", " ")
        fits = [key for key in _NAMES if plain == key or plain.startswith(key + " ")]
        out.add(_NAMES[max(fits, key=len)] if fits else "")
    return out - {""}
