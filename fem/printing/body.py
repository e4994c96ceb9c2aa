"""What one body is made of, zone by zone: walls, covers and core of a print, or a metal or a laminate through
and through."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fem.printing.field import Phase, PrintedMaterial
from fem.printing.keys import LaminateKeys
from fem.printing.layers import laminate_material, metal_material, raster_material, wall_material
from fem.printing.plan import PrintPlan, print_axes, raster_axes
from fem.printing.polymer import Card, CardState
from fem.tensors import rotate_stiffness, strain_rotation, stress_rotation

if TYPE_CHECKING:
    from fem.printing.infill import InfillCell


@dataclass(frozen=True)
class PrintedBody:
    """Materials of a body's zones. `wall` and `cover` are None where the plan has none, `plan` where
    the body is not printed; `solid`
    [tonne/mm^3] is the density of the beads themselves, `values` what the card says of them; `cell` the infill's
    cell, None when the core is solid.
    """

    core: PrintedMaterial
    solid: float
    plan: PrintPlan | None = None
    wall: PrintedMaterial | None = None
    cover: PrintedMaterial | None = None
    cell: InfillCell | None = None
    values: CardState | None = None

    @property
    def zones(self) -> tuple[PrintedMaterial | None, PrintedMaterial | None, PrintedMaterial]:
        """Wall, cover, core."""
        return self.wall, self.cover, self.core


def printed_body(plan: PrintPlan, *, card: Card, state: str, temperature: float | None = None) -> PrintedBody:
    """The zones of a print by its plan, of a card's state at a service temperature [deg C].

    A solid core is the raster of the covers, so that covers are not told apart. The beads of an infill have the
    plan's `core_quality` of the card's stiffness and strength; all others are sound. Errors: CardError (a metal's
    card, a state or temperature that the card does not cover), InputError (an infill that the bead cannot make).
    """
    values = card.state(state, temperature=temperature)
    wall = wall_material(plan, card=card, values=values) if plan.walls else None
    if plan.infill_pattern == "solid":
        return PrintedBody(raster_material(plan, card=card, values=values), card.density, plan, wall, values=values)
    from fem.printing.infill import infill_cell

    cover = raster_material(plan, card=card, values=values, zone="cover") if plan.covers else None
    infill = values.scaled(stiffness=plan.core_quality, strength=plan.core_quality)
    cell = infill_cell(
        plan.infill_pattern,
        density=plan.infill_density,
        bead_width=plan.bead_width,
        bead_height=plan.bead_height,
        E=infill.E,
        nu=infill.nu,
        G=infill.G,
        strength=infill.strength,
        expansion=infill.expansion,
    )
    core = infill_material(plan, cell=cell, card=card, values=infill)
    return PrintedBody(core, card.density, plan, wall, cover, cell, values)


def metal_body(card: Card, *, state: str | None = None, temperature: float | None = None) -> PrintedBody:
    """A body of one metal in a state of its card, the first if None. Errors: CardError for a polymer's card."""
    values = card.state(next(iter(card.states)) if state is None else state, temperature=temperature)
    return PrintedBody(metal_material(card, values=values), card.density, values=values)


def laminate_body(keys: LaminateKeys, *, card: Card) -> PrintedBody:
    """A body of plies as a study's keys say it, in a state of their card. Errors: CardError for any other card."""
    values = card.state(keys.state or next(iter(card.states)), temperature=keys.temperature)
    return PrintedBody(laminate_material(keys, card=card, values=values), card.density, values=values)


def infill_material(plan: PrintPlan, *, cell: InfillCell, card: Card, values: CardState) -> PrintedMaterial:
    """The homogenised infill, in part axes: a phase for each critical place in the beads of its cell, and for each
    family of thin walls that may buckle.
    """
    axes = raster_axes(plan, plan.infill_angle)
    into_cell = stress_rotation(axes)
    stiffness = rotate_stiffness(cell.stiffness, axes)
    beads = tuple(
        Phase("core", p.label, p.to_bead @ into_cell, p.thermal_stress, values.strength) for p in cell.points
    )
    walls = tuple(Phase("core", w.label, w.to_wall @ into_cell, np.zeros(6), w.limits) for w in cell.walls)
    return PrintedMaterial(
        name=card.name,
        state=values.name,
        stiffness=(stiffness + stiffness.T) / 2,
        print_axes=print_axes(plan),
        density=card.density * cell.density,
        phases=beads + walls,
        zone="core",
        expansion=None if cell.expansion is None else strain_rotation(axes.T) @ cell.expansion,
        estimates=values.doubtful,
        length=float(np.max(cell.size)),
    )
