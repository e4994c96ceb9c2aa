"""Prediction beside measurement: printed coupons that others tested, and what the cards that ship make of them.

Comparisons, not gates: another machine, spool and layer height stand behind each number, and where a card's value was
set by the very measurement the row says so. Nothing is left out for lying far off.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fem.criteria.reserve import phase_reserve
from fem.evidence.nouns import FROM_MEMORY, Row
from fem.printing.body import printed_body
from fem.printing.field import PrintedMaterial
from fem.printing.plan import PrintPlan
from fem.printing.polymer import load_card

ABOELELLA = "Aboelella et al., Sci. Rep. 15 (2025) 11759, table 4"
DELBART = "Delbart et al., raw data of tensile bars of PLA"
UPRIGHT = "3D Print. Addit. Manuf., doi 10.1089/3dp.2020.0109"
FERREIRA = "Ferreira et al., Rapid Prototyp. J. 23 (2017)"
FISHER = "Fisher et al., Polymers 15 (2023) 1708, abstract"
BELEI = "Belei et al., Polymers 14 (2022) 1292"
BABIS = "Babis et al., Technologies 13 (2025) 456"

SET_BY_IT = (
    "the card's shear in the layer was set by this ratio: the row shows that it is met, and tests nothing else"
)
PRISMS = {
    "grid": ((0.2, 13.69), (0.5, 36.64)),
    "honeycomb": ((0.2, 16.97), (0.5, 36.39)),
    "triangle": ((0.2, 16.52), (0.5, 36.94)),
}
"""Pattern -> density and strength [MPa] of PLA prisms pressed up the build."""
WIDTH, HEIGHT = 0.45, 0.2
"""Bead [mm], common practice: the papers do not state it throughout."""


def prisms() -> Iterator[Row]:
    """Prisms of infill pressed up the build: first bead, or buckling of a wall before."""
    from fem.printing.infill import infill_cell

    dry = load_card("pla").state("dry")
    note = "walls, covers and the strength of the solid are not stated there; walls make a prism stronger"
    for pattern, tested in PRISMS.items():
        for density, published in tested:
            constants = {"E": dry.E, "nu": dry.nu, "G": dry.G, "strength": dry.strength}
            shape = {"density": density, "bead_width": WIDTH, "bead_height": HEIGHT}
            bears = infill_cell(pattern, **shape, **constants).strength_MPa  # type: ignore[arg-type]
            buckles = bears["buckling"].get("compression 3", {}).get("MPa", np.inf)
            computed = min(float(bears["compression"][2]), float(buckles))
            problem = f"PLA prism of {100 * density:.0f} % {pattern} pressed up the build: strength"
            problem += ", by buckling" if np.isfinite(buckles) else ""
            how = f"card pla, cell of beads {WIDTH} by {HEIGHT} mm without outer walls"
            yield Row(problem, ABOELELLA, published, computed, "MPa", how, None, note)


def rasters() -> Iterator[Row]:
    """PLA bars: rasters at 45 degrees over along, across and upright."""
    along, across, turned = (_solid("pla", raster) for raster in ((0.0,), (90.0,), (45.0, -45.0)))
    how = "card pla, layers that share one strain, first bead"
    ratio = first_bead(turned) / first_bead(along)
    for layer, published in ((0.2, 0.66), (0.1, 0.69)):
        problem = f"PLA bar at ±45 degrees over one along its beads, layers of {layer} mm: strength"
        yield Row(problem, DELBART, published, ratio, "1", how, None, f"{FROM_MEMORY}; {SET_BY_IT}")
    near = f"{FROM_MEMORY}; the card is kept near it"
    yield Row("PLA bar along its beads: strength", FERREIRA, 54.7, first_bead(along), "MPa", how, None, near)
    yield Row("PLA bar across its beads: strength", FERREIRA, 37.1, first_bead(across), "MPa", how, None, near)
    shear = float(load_card("pla").state("dry").strength.limits[8])
    yield Row("PLA in shear in the layer: strength", FERREIRA, 18.0, shear, "MPa", "card pla", None, FROM_MEMORY)
    yield Row("PLA bar, upright: strength", UPRIGHT, 22.8, first_bead(along, axis=2), "MPa", how, None, near)
    modulus = 1 / float(np.linalg.inv(along.stiffness)[2, 2])
    yield Row("PLA bar, upright: modulus", UPRIGHT, 2400.0, modulus, "MPa", how, None, near)


def nylons() -> Iterator[Row]:
    """Short carbon fibres in nylon: what it is worth to print along the load."""
    how = "layers that share one strain, first bead"
    for card in ("pa12-cf", "pa6-cf"):
        along, turned = _solid(card, (0.0,)), _solid(card, (45.0, -45.0))
        ratio = first_bead(along) / first_bead(turned)
        name = f"Short-fibre nylon ({card}) along its beads over ±45 degrees"
        yield Row(f"{name}: strength", FISHER, 2.0, ratio, "1", f"card {card}, {how}", None, SET_BY_IT)
        pressed = first_bead(along, sign=-1) / first_bead(turned, sign=-1)
        note = "told there as an increase of up to 130 % by printing along the load"
        yield Row(f"{name}: strength in compression", FISHER, 2.3, pressed, "1", f"card {card}, {how}", None, note)
    best = first_bead(_solid("pa6-cf", (0.0,)))
    note = "the best raster and setting that were tried there"
    name = "Short-fibre nylon (pa6-cf) along its beads: strength"
    yield Row(name, BELEI, 117.1, best, "MPa", f"card pa6-cf, {how}", None, note)
    bar = _solid("pa12-cf", (0.0,))
    for axis, published, words in ((0, 27.7, "along its beads"), (2, 8.8, "upright")):
        name = f"Short-fibre nylon (pa12-cf), annealed, {words}: strength"
        yield Row(name, BABIS, published, first_bead(bar, axis=axis), "MPa", f"card pa12-cf, {how}", None)


def _solid(card: str, raster: tuple[float, ...]) -> PrintedMaterial:
    """A solid print of a raster, built along z, in the card's first state."""
    found = load_card(card)
    plan = PrintPlan((0.0, 0.0, 1.0), walls=0, raster=raster)
    return printed_body(plan, card=found, state=next(iter(found.states))).core


def first_bead(material: PrintedMaterial, *, axis: int = 0, sign: int = 1) -> float:
    """Mean stress [MPa] along an axis, pulled or (`sign` -1) pressed, at which the first bead fails."""
    mean = np.zeros((1, 6))
    mean[0, axis] = sign
    each = (phase_reserve(0 * mean, mean @ p.to_bead.T, p.strength).reserve[0] for p in material.phases)
    return float(min(each))
