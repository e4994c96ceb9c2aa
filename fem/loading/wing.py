"""The lift of a hydrofoil's wing as an exact wrench.

Lift is spread elliptically over the span, l(y) = l0 sqrt(1 - (2 y / b)^2); each half's resultant acts at
4 / (3 pi) of the half span. When the two halves carry unequal shares (a turn, a gust), the wing rolls.
Source: L. Prandtl's lifting line as in I. H. Abbott and A. E. von Doenhoff, Theory of Wing Sections (1959),
section 1.4; the centroid of a half ellipse is elementary.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from fem.errors import InputError
from fem.loading.kind import LoadKind, Site, clean, pushed
from fem.loading.loads import Load, wrench_traction
from fem.loading.values import Direction, Extent, Mass, NotNegative, Point, Share, ShareAboveZero
from fem.tensors import Array, unit
from fem.units import STANDARD_GRAVITY


@dataclass(frozen=True)
class WingKeys:
    """The lift of a wing: masses [tonne], lengths [mm], directions and points (3,) in part axes."""

    mass: Annotated[Mass, "Mass that all wings carry together."]
    weight_fraction: Annotated[ShareAboveZero, "Fraction of it that this wing carries."]
    span: Annotated[Extent, "Span of the wing."]
    centre_of_pressure: Annotated[Point, "Where lift and drag act."]
    left_fraction: Annotated[Share, "Fraction of the lift on its left half."] = 0.5
    drag_to_lift: Annotated[NotNegative, "Drag over lift."] = 0.0
    up: Annotated[Direction, "Direction of the lift."] = (0.0, 0.0, 1.0)
    forward: Annotated[Direction, "Direction of travel; drag acts against it."] = (1.0, 0.0, 0.0)


@dataclass(frozen=True)
class WingLift:
    """What a wing passes to its joint: `force` (3,) [N] at `centre` (3,) [mm] with `moment` (3,) [N mm] about it.

    `lift`, `drag` [N]; `root_moment` [N mm] is the bending moment of the larger half at the wing's root.
    """

    force: Array
    moment: Array
    centre: Array
    lift: float
    drag: float
    root_moment: float


def elliptic_root_moment(lift: float, span: float) -> float:
    """Root bending moment [N mm] of each half of a wing with elliptic lift [N] over a span [mm]: L b / (3 pi)."""
    return lift * span / (3 * np.pi)


def wing_lift(
    *,
    mass: float,
    weight_fraction: float,
    span: float,
    left_fraction: float = 0.5,
    drag_to_lift: float = 0.0,
    centre_of_pressure: Array,
    up: Array = (0.0, 0.0, 1.0),  # type: ignore[assignment]
    forward: Array = (1.0, 0.0, 0.0),  # type: ignore[assignment]
) -> WingLift:
    """The wrench of a wing that carries `weight_fraction` of `mass` [tonne] under standard gravity.

    `span` [mm]; `left_fraction` of the lift is on the left half (left = up x forward); drag = drag_to_lift x lift,
    spread like the lift; `centre_of_pressure` (3,) [mm] is that of the symmetric wing.
    Errors: InputError on a weight_fraction outside 0..1, no span, or `up` along `forward`.
    """
    for name, value in (("weight_fraction", weight_fraction), ("left_fraction", left_fraction)):
        if not 0 <= value <= 1:
            raise InputError(f"{name} = {value:g} must lie between 0 and 1.", where="wing")
    if not (mass > 0 and span > 0):
        raise InputError("mass and span must be positive.", where="wing")
    if not (np.linalg.norm(up) > 0 and np.linalg.norm(forward) > 0):
        raise InputError("up and forward must have a length.", where="wing")
    up, forward = unit(up), np.asarray(forward, dtype=float)
    forward = forward - (forward @ up) * up
    if not np.linalg.norm(forward) > 1e-6:
        raise InputError("up and forward must not be parallel.", where="wing")
    forward = unit(forward)
    left = np.cross(up, forward)
    lift = mass * weight_fraction * STANDARD_GRAVITY
    drag = drag_to_lift * lift
    force = lift * up - drag * forward
    arm = 4 / (3 * np.pi) * span / 2
    moment = np.cross(arm * left, force * left_fraction) + np.cross(-arm * left, force * (1 - left_fraction))
    larger = max(left_fraction, 1 - left_fraction)
    root = 2 * larger * elliptic_root_moment(lift, span)
    return WingLift(force, moment, np.asarray(centre_of_pressure, dtype=float), lift, drag, root)


def wing_of(site: Site) -> Load:
    """The wing's wrench on its face at factor one. Errors: InputError."""
    wing = wing_lift(**vars(site.what))
    spread = wrench_traction(
        site.mesh, site.triangles, force=wing.force, moment=wing.moment, at=wing.centre, name=site.name
    )
    facts = {
        "lift_N": wing.lift,
        "drag_N": wing.drag,
        "root_moment_Nmm": wing.root_moment,
        "moment_about_centre_Nmm": clean(wing.moment),
        "centre_mm": wing.centre.tolist(),
    }
    return pushed(site, spread, facts, wing.centre)


KIND = LoadKind(
    "wing",
    WingKeys,
    wing_of,
    says="Lift and drag of a wing that is bolted to the face, from the mass that it carries.",
    examples=(
        '[loads.lift]\nface = "pad"\n[loads.lift.wing]\nmass = "8 kg"\nweight_fraction = 0.7\nspan = "0.4 m"\n'
        'drag_to_lift = 0.08\ncentre_of_pressure = ["72 mm", "0 mm", "20 mm"]',
    ),
)
