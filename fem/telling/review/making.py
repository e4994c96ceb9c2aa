"""How the part is made, and what that takes: zones, plan, mass, time and cost."""

from __future__ import annotations

import re

from fem.digits import number
from fem.judging.findings import BodyFindings
from fem.telling.blocks import Block, Cell, Figure, Heading, Section, Table, Text, table
from fem.telling.printed import ASSUMED, FROM_ASSUMED, clock, plan_rows, zone_rows
from fem.telling.review.material import Material
from fem.telling.review.numbers import ratio
from fem.telling.words import money, place, plain_name

KINDS = {"layer": "Layer", "vertical": "Vertical section"}
"""What the pictures of zones show, by their names."""


def making(material: Material) -> Section:
    """A row a body, then each printed body's zones and plan."""
    f = material.findings
    blocks: list[Block] = [_bodies(material)]
    if material.reference:
        blocks.append(_against(material))
    for name, body in f.bodies.items():
        if body.print is None:
            continue
        blocks.append(Heading(f"Body {name}, as printed"))
        zones = "; ".join(z.text for z in zone_rows(body))
        for picture, file in material.pictures.items():
            found = re.fullmatch(rf"zones_{re.escape(plain_name(name))}_(layer|vertical)(_\d+)?\.png", picture)
            if found:
                told = KINDS[found[1]]
                caption = material.captions.get(picture, f"{told} of {name}: zones and bead directions.")
                blocks.append(Figure(f"{told} of {name} with its zones: {zones}.", caption, 130, file))
        blocks += [_zones(name, body), _plan(name, body, f.currency)]
    if any(b.print for b in f.bodies.values()):
        text = (
            "Masses, lengths, times and costs are estimates from the geometry: weigh and time a print to check them."
        )
        blocks.append(Text(text, "soft"))
    return Section("making", "Mass, time and cost", tuple(blocks))


def _bodies(material: Material) -> Table:
    rows = []
    for name, b in material.findings.bodies.items():
        p = b.print
        cost = "–" if p is None else number(p.cost) if p.price_per_kg > 0 else "no price"
        rows.append(
            [
                name,
                f"{b.material} ({b.state})",
                number(b.volume_mm3 / 1000),
                number(b.mass_g),
                "–" if p is None else clock(p.time_h),
                "–" if p is None else number(p.filament_m),
                cost,
                f"{place(b.box_mm[0])} to {place(b.box_mm[1])}",
            ]
        )
    cost_in = f"Cost [{money(material.findings.currency)}]"
    head = ("Body", "Material", "Volume [cm³]", "Mass [g]", "Print time", "Filament [m]", cost_in, "Box")
    return table(
        head, rows, align="llrrrrrl", caption="Material, mass, print time and cost of each body.", small=True
    )


def _against(material: Material) -> Table:
    assert material.reference
    own, ref = material.findings.bodies.values(), material.reference.findings.bodies.values()

    def time(bodies: list[BodyFindings]) -> float | None:
        plans = [b.print for b in bodies if b.print]
        return sum(p.time_h for p in plans) if plans else None

    def cost(bodies: list[BodyFindings]) -> float | None:
        plans = [b.print for b in bodies if b.print and b.print.price_per_kg > 0]
        return sum(p.cost for p in plans) if plans else None

    mass = (sum(b.mass_g for b in own), sum(b.mass_g for b in ref))
    pairs = {"Mass [g]": mass, "Print time [h]": (time([*own]), time([*ref]))}
    told = material.comparison.reference if material.comparison else None
    pairs[f"Cost [{money(material.findings.currency)}]"] = (cost([*own]), told.cost if told else cost([*ref]))
    rows = [[k, *("–" if v is None else number(v) for v in pair), ratio(*pair)] for k, pair in pairs.items()]
    head = ("", "this part", f"reference, {material.reference.name}", "ratio")
    return table(head, rows, caption="Comparison with the reference part; a dash: not known.")


def _zones(name: str, body: BodyFindings) -> Table:
    rows = []
    for z in zone_rows(body):
        mass = "not known" if z.mass is None else number(z.mass)
        part = "not known" if z.mass_share is None else f"{number(100 * z.mass_share)} %"
        rows.append([z.name, f"{number(100 * z.share)} %", number(z.share * body.volume_mm3 / 1000), mass, part])
    rows.append(["whole body", "100 %", number(body.volume_mm3 / 1000), number(body.mass_g), "100 %"])
    head = ("Zone", "Share of the volume", "Volume [cm³]", "Mass [g]", "Share of the mass")
    return table(head, rows, caption=f"Zones of {name}.")


def _plan(name: str, body: BodyFindings, currency: str) -> Table:
    rows = [
        [Cell(r.name), Cell(r.text), Cell(r.basis, "warn" if r.basis in (ASSUMED, FROM_ASSUMED) else "")]
        for r in plan_rows(body, currency=currency)
    ]
    head = ("Parameter", "Value", "Source")
    return table(head, rows, align="lll", caption=f"Print plan of {name}, with material and time.", small=True)
