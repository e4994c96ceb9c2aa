"""What a study says of its loads, as plain numbers in mm, N, MPa, tonne, s, K. What they do is in `kinds.py`."""

from __future__ import annotations

from dataclasses import dataclass

from fem.loading.pressure import DepthPressure
from fem.loading.spot import Spot

Vector = tuple[float, float, float]


@dataclass(frozen=True)
class ForceKeys:
    """A force (3,) [N] spread evenly over a face, or over a spot of it."""

    force: Vector
    spot: Spot | None = None


@dataclass(frozen=True)
class PressureKeys:
    """A pressure [MPa] on a face or a spot of it; positive pushes into the material. It may grow with depth."""

    pressure: float | DepthPressure
    spot: Spot | None = None


@dataclass(frozen=True)
class BearingKeys:
    """The force (3,) [N] of a pin or shaft on the half of its bore that it pushes."""

    bearing: Vector


@dataclass(frozen=True)
class WrenchKeys:
    """A force (3,) [N] and a moment (3,) [N mm] about the point `at` (3,) [mm], None: the face's centre."""

    force: Vector
    moment: Vector
    at: Vector | None


@dataclass(frozen=True)
class WingKeys:
    """The lift of a wing: `mass` [tonne] carried by all wings, `weight_fraction` of it on this one, `span` [mm],
    `left_fraction` of the lift on the left half, `drag_to_lift` drag over lift, `centre_of_pressure` (3,) [mm],
    `up` and `forward` directions in part axes.
    """

    mass: float
    weight_fraction: float
    span: float
    left_fraction: float
    drag_to_lift: float
    centre_of_pressure: Vector
    up: Vector
    forward: Vector


@dataclass(frozen=True)
class PreloadKeys:
    """Tightened bolts: `force` [N] for each hole of the face `holes`, `washer` the washer's outer diameter [mm],
    `against` the face they are clamped to, `head` the face under the washers (None: found next to the holes).
    """

    holes: str
    against: str
    force: float
    washer: float
    head: str | None


@dataclass(frozen=True)
class DisplacementKeys:
    """Prescribed displacement of a face [mm]; None leaves that direction free."""

    x: float | None
    y: float | None
    z: float | None


@dataclass(frozen=True)
class AccelerationKeys:
    """A field of acceleration (3,) [mm/s^2] that pulls on the mass of all bodies; gravity is (0, 0, -9806.65)."""

    acceleration: Vector


@dataclass(frozen=True)
class TemperatureChangeKeys:
    """Temperature difference [K] of the named bodies; None: of all."""

    by: float
    bodies: tuple[str, ...] | None


LoadKeys = (
    ForceKeys
    | PressureKeys
    | BearingKeys
    | WrenchKeys
    | WingKeys
    | PreloadKeys
    | DisplacementKeys
    | AccelerationKeys
    | TemperatureChangeKeys
)


@dataclass(frozen=True)
class LoadPlan:
    """One load: `kind` is the study's word for it, `what` its numbers, `face` where it acts (None: by its kind).

    A `permanent` load stays as it is while a reserve factor is sought; `scatter` is its coefficient of variation.
    """

    name: str
    kind: str
    what: LoadKeys
    face: str | None
    permanent: bool
    scatter: float = 0.0
