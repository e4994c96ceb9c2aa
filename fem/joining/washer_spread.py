"""How far a washer that bends carries a bolt's pull beyond its head.

The overhang is a strip that the head's rim holds level, on an elastic foundation: M. Hetényi, Beams on Elastic
Foundation (1946). Stiffness around the ring is left out, so the washer spreads somewhat more: the safe side.
"""

from __future__ import annotations

import math

from fem.errors import InputError
from fem.joining.bolt_plan import BoltPlan, Seat, pressing_seat

STEEL, STEEL_NU = 205e3, 0.3
"""Modulus [MPa] and Poisson's ratio of a washer."""


def effective_overhang(overhang: float, *, thickness: float, foundation: float, modulus: float = STEEL) -> float:
    """Width [mm] that presses as hard as at the head's rim, of an `overhang` [mm] of a plate of `thickness` [mm] on a
    `foundation` [N/mm^3]: all of it where the plate is stiff.

    Errors: InputError for sizes that cannot be.
    """
    if not (overhang >= 0 and min(thickness, foundation, modulus) > 0):
        raise InputError("a washer needs a thickness and a foundation above zero.")
    plate = modulus * thickness**3 / (12 * (1 - STEEL_NU**2))
    decay = (foundation / (4 * plate)) ** 0.25
    z = min(decay * overhang, 20.0)  # beyond, the end is not felt any more
    cosh, sinh, cos, sin = math.cosh(z), math.sinh(z), math.cos(z), math.sin(z)
    # Krylov's functions; the shear at the rim is what the whole overhang presses
    k1, k2, k3, k4 = cosh * cos, (cosh * sin + sinh * cos) / 2, sinh * sin / 2, (cosh * sin - sinh * cos) / 4
    return (k1 * k2 + 4 * k3 * k4) / (k1**2 + 4 * k2 * k4) / decay


def spread_seat(plan: BoltPlan, *, stiffness: float, hole: float | None = None) -> Seat:
    """The ring through which a planned bolt's head and washer press evenly on members of a `stiffness` [N/mm] under
    the whole washer, around a `hole` [mm] (None: medium clearance, ISO 273)."""
    whole = pressing_seat(plan, hole)
    if plan.washer == "none":
        return whole
    head = plan.sizes.heads[plan.head_shape].bearing_diameter
    reach = effective_overhang(
        max(whole.outer - head, 0.0) / 2,
        thickness=plan.sizes.washers[plan.washer].thickness,
        foundation=stiffness / whole.area,
    )
    return Seat(min(whole.outer, head + 2 * reach), whole.inner)
