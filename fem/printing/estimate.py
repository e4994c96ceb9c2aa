"""What a print takes: layers, bead length, time, filament and cost, from the material in each zone.

Estimates to be compared with the clock and the scales: the beads' volume is what the zones hold, a bead's section is
its width times its height, and a printer keeps only a part of its set speed through corners, starts and travel.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from fem.errors import InputError
from fem.printing.plan import PrintPlan

SPEED = 60.0
"""Speed along the bead when nothing is said [mm/s] (common practice for short-fibre nylon)."""
FILAMENT_DIAMETER = 1.75
"""Filament when nothing is said [mm] (common practice)."""
PRICE_PER_KG = 60.0
"""Price of a kilogram of filament when nothing is said, in the user's own money (an assumption)."""
SPEED_KEPT = 0.75
"""Share of the set speed that is kept on average through corners, starts and travel (common practice)."""
LAYER_CHANGE = 3.0
"""Time from the end of a layer to the start of the next [s] (common practice)."""


@dataclass(frozen=True)
class PrintEstimate:
    """`layers`; `bead_length` and `filament` [mm]; `time` [s]; `mass` [tonne]; `cost` in the money of the price;
    `speed` [mm/s], `filament_diameter` [mm] and `price_per_kg` it rests on, `assumed` those that were not given.
    """

    layers: int
    bead_length: float
    filament: float
    time: float
    mass: float
    cost: float
    speed: float
    filament_diameter: float
    price_per_kg: float
    assumed: tuple[str, ...]


def estimate_print(
    plan: PrintPlan,
    *,
    mass: float,
    density: float,
    height: float,
    speed: float | None = None,
    filament_diameter: float | None = None,
    price_per_kg: float | None = None,
) -> PrintEstimate:
    """What it takes to print `mass` [tonne] of beads of `density` [tonne/mm^3] to a `height` [mm].

    Supports and brims are not counted. Errors: InputError for a speed, diameter or price that is not positive.
    """
    given = {"speed": speed, "filament diameter": filament_diameter, "price": price_per_kg}
    for name, value in given.items():
        if value is not None and not (math.isfinite(value) and value > 0):
            raise InputError(f"{name} {value:g} must be more than zero.")
        if value is not None and not 1e-3 <= value <= 1e6:
            raise InputError(f"{name} {value:g} is not plausible.", advice="Check its unit.")
    speed = SPEED if speed is None else speed
    diameter = FILAMENT_DIAMETER if filament_diameter is None else filament_diameter
    price = PRICE_PER_KG if price_per_kg is None else price_per_kg
    volume = mass / density
    layers = max(1, math.ceil(height / plan.bead_height - 1e-6))
    length = volume / (plan.bead_width * plan.bead_height)
    return PrintEstimate(
        layers=layers,
        bead_length=length,
        filament=volume / (math.pi / 4 * diameter**2),
        time=length / (speed * SPEED_KEPT) + layers * LAYER_CHANGE,
        mass=mass,
        cost=mass * 1000 * price,
        speed=speed,
        filament_diameter=diameter,
        price_per_kg=price,
        assumed=tuple(name for name, value in given.items() if value is None),
    )
