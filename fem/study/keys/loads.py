"""Keys of `[loads.NAME]`: what pushes, pulls and warms the part."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from fem.study.keys.values import (
    Acceleration,
    Direction,
    Extent,
    Force,
    Form,
    Length,
    Mass,
    Moment,
    Name,
    Point,
    Preload,
    Pressure,
    Share,
    TemperatureDifference,
    Three,
    fault,
)

LOAD_KINDS = ("force", "pressure", "wrench", "wing", "preload", "displacement", "acceleration", "temperature_change")
ON_A_FACE = ("force", "pressure", "wrench", "wing", "displacement")
"""The kinds of load that name their face by the key `face`."""


class WrenchForm(Form):
    force: Annotated[list[Force], Three] = [0.0, 0.0, 0.0]
    moment: Annotated[list[Moment], Three] = [0.0, 0.0, 0.0]
    at: Point | None = None


class WingForm(Form):
    mass: Mass
    weight_fraction: Annotated[float, Field(gt=0, le=1)]
    span: Extent
    left_fraction: Share = 0.5
    drag_to_lift: Annotated[float, Field(ge=0)] = 0.0
    centre_of_pressure: Point
    up: Direction = [0.0, 0.0, 1.0]
    forward: Direction = [1.0, 0.0, 0.0]


class PreloadForm(Form):
    holes: Name
    against: Name
    force: Preload
    washer: Extent
    head: Name | None = None


class DisplacementForm(Form):
    x: Length | None = None
    y: Length | None = None
    z: Length | None = None

    @model_validator(mode="after")
    def _moves(self) -> DisplacementForm:
        if self.x is None and self.y is None and self.z is None:
            raise fault("no direction is given.", 'Write displacement = { z = "0.1 mm" }.')
        return self


class TemperatureChangeForm(Form):
    by: TemperatureDifference
    bodies: Annotated[list[Name] | None, Field(min_length=1)] = None


class LoadForm(Form):
    face: Name | None = None
    permanent: bool | None = None
    force: Annotated[list[Force] | None, Three] = None
    pressure: Pressure | None = None
    wrench: WrenchForm | None = None
    wing: WingForm | None = None
    preload: PreloadForm | None = None
    displacement: DisplacementForm | None = None
    acceleration: Annotated[list[Acceleration] | None, Three] = None
    temperature_change: TemperatureChangeForm | None = None

    @property
    def kind(self) -> str:
        return next(kind for kind in LOAD_KINDS if getattr(self, kind) is not None)

    @model_validator(mode="after")
    def _one_kind(self) -> LoadForm:
        kinds = [kind for kind in LOAD_KINDS if getattr(self, kind) is not None]
        if len(kinds) != 1:
            what = f"both {kinds[0]} and {kinds[1]} are given." if kinds else "it says no load."
            raise fault(what, f"Give exactly one of {', '.join(LOAD_KINDS)}.")
        if kinds[0] in ON_A_FACE and self.face is None:
            raise fault(f"{kinds[0]} needs a face to act on.", 'Add face = "NAME".')
        if kinds[0] not in ON_A_FACE and self.face is not None:
            raise fault(f"{kinds[0]} does not take the key face.", "Remove it.")
        return self
