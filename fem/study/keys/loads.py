"""Keys of `[loads.NAME]`: what pushes, pulls and warms the part."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Discriminator, Field, Tag, model_validator

from fem.loading.kinds import KINDS
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
    PressureGradient,
    Share,
    TemperatureDifference,
    Three,
    fault,
)

LOAD_KINDS = tuple(KINDS)
ON_A_SPOT = ("force", "pressure")
"""The kinds of load that may work on a spot of their face alone."""


class SpotForm(Form):
    at: Point = Field(description="Middle of the spot. It is first projected on the face.")
    radius: Extent = Field(description="Only what lies within this distance of the middle is loaded.")


class DepthForm(Form):
    at_zero: Point = Field(description="A point where the pressure is zero, such as one on the waterline.")
    gradient: PressureGradient = Field(
        description="Growth of the pressure along `direction`; before the point there is none."
    )
    direction: Direction = Field(description="Direction in which the pressure grows.")


def _form_of_pressure(value: Any) -> str:
    return "[growing]" if isinstance(value, dict | DepthForm) else "[even]"


SomePressure = Annotated[
    Annotated[Pressure, Tag("[even]")] | Annotated[DepthForm, Tag("[growing]")], Discriminator(_form_of_pressure)
]


class WrenchForm(Form):
    force: Annotated[list[Force], Three] = Field(default=[0.0, 0.0, 0.0], description="The force.")
    moment: Annotated[list[Moment], Three] = Field(default=[0.0, 0.0, 0.0], description="The moment about `at`.")
    at: Point | None = Field(default=None, description="Where the force acts. The centre of the face if left out.")


class WingForm(Form):
    mass: Mass = Field(description="Mass that all wings carry together.")
    weight_fraction: Annotated[float, Field(gt=0, le=1)] = Field(description="Fraction of it that this wing carries.")
    span: Extent = Field(description="Span of the wing.")
    left_fraction: Share = Field(default=0.5, description="Fraction of the lift on its left half.")
    drag_to_lift: Annotated[float, Field(ge=0)] = Field(default=0.0, description="Drag over lift.")
    centre_of_pressure: Point = Field(description="Where lift and drag act.")
    up: Direction = Field(default=[0.0, 0.0, 1.0], description="Direction of the lift.")
    forward: Direction = Field(default=[1.0, 0.0, 0.0], description="Direction of travel; drag acts against it.")


class PreloadForm(Form):
    holes: Name = Field(description="The face of the bolts' holes.")
    against: Name = Field(description="The face that is pressed on the other part.")
    force: Preload = Field(description="Force of each bolt.")
    washer: Extent = Field(description="Outer diameter of the washer.")
    head: Name | None = Field(
        default=None, description="The face under the washers. Found beside the holes if left out."
    )


class DisplacementForm(Form):
    x: Length | None = Field(default=None, description="Displacement along x. Free if left out.")
    y: Length | None = Field(default=None, description="Displacement along y. Free if left out.")
    z: Length | None = Field(default=None, description="Displacement along z. Free if left out.")

    @model_validator(mode="after")
    def _moves(self) -> DisplacementForm:
        if self.x is None and self.y is None and self.z is None:
            raise fault("no direction is given.", 'Write displacement = { z = "0.1 mm" }.')
        return self


class TemperatureChangeForm(Form):
    by: TemperatureDifference = Field(description="Change of temperature from the free state.")
    bodies: Annotated[list[Name] | None, Field(min_length=1)] = Field(
        default=None, description="The bodies that are warmed or cooled. All if left out."
    )


class LoadForm(Form):
    face: Name | None = Field(
        default=None,
        description="The face that is loaded. `preload`, `acceleration` and `temperature_change` take none.",
    )
    permanent: bool | None = Field(
        default=None,
        description="Whether it keeps its size while the reserve factor is sought. Only a `preload` does by default.",
        examples=['[loads.ballast]\nface = "pad"\nforce = ["0 N", "0 N", "-10 N"]\npermanent = true'],
    )
    scatter: Annotated[float, Field(ge=0, lt=1)] = Field(
        default=0.0,
        description="Coefficient of variation of its size: standard deviation over mean, of a normal distribution. "
        "Counts for the chance that the reserve factor is there; nothing else changes.",
        examples=['[loads.gusts]\nface = "pad"\nforce = ["0 N", "0 N", "-40 N"]\nscatter = 0.2'],
    )
    force: Annotated[list[Force] | None, Three] = Field(
        default=None,
        description="A force, spread evenly over the face.",
        examples=['[loads.hook]\nface = "pad"\nforce = ["0 N", "0 N", "-60 N"]'],
    )
    pressure: SomePressure | None = Field(
        default=None,
        description="A pressure on the face, even or growing along a direction; positive pushes into the material.",
        examples=[
            '[loads.wind]\nface = "pad"\npressure = "0.02 MPa"',
            '[loads.water]\nface = "pad"\n'
            'pressure = { at_zero = ["0 mm", "0 mm", "1 m"], gradient = "10.05 kPa/m", direction = [0, 0, -1] }',
        ],
    )
    bearing: Annotated[list[Force] | None, Three] = Field(
        default=None,
        description="The force of a closely fitting pin or shaft: cosine pressure on the half of the bore that it "
        "pushes, through its middle and none along its axis.",
        examples=[
            '[supports.bolts]\nface = "back"   # so that nothing else holds the bore\n'
            '[faces]\none_hole = { cylinder = { radius = "3.3 mm" }, near = ["5 mm", "8 mm", "45 mm"] }\n'
            '[loads.pin]\nface = "one_hole"\nbearing = ["0 N", "0 N", "-100 N"]'
        ],
    )
    spot: SpotForm | None = Field(
        default=None,
        description="Beside `force` or `pressure`: only a round spot of the face is loaded.",
        examples=[
            '[loads.thumb]\nface = "pad"\nforce = ["0 N", "0 N", "-30 N"]\n'
            'spot = { at = ["72 mm", "0 mm", "13 mm"], radius = "6 mm" }'
        ],
    )
    wrench: WrenchForm | None = Field(
        default=None,
        description="A force and a moment, spread linearly over the face, which stays free to deform.",
        examples=[
            '[loads.lever]\nface = "pad"\n'
            'wrench = { moment = ["0 N*m", "0 N*m", "2 N*m"], at = ["72 mm", "0 mm", "13 mm"] }'
        ],
    )
    wing: WingForm | None = Field(
        default=None,
        description="Lift and drag of a wing that is bolted to the face, from the mass that it carries.",
        examples=[
            '[loads.lift]\nface = "pad"\n[loads.lift.wing]\nmass = "8 kg"\nweight_fraction = 0.7\nspan = "0.4 m"\n'
            'drag_to_lift = 0.08\ncentre_of_pressure = ["72 mm", "0 mm", "20 mm"]'
        ],
    )
    preload: PreloadForm | None = Field(
        default=None,
        description="Tightened bolts, which press the part between washer and seat.",
        examples=[
            "[loads.tightened]\n"
            'preload = { holes = "bolt_holes", against = "back", force = "0.5 kN", washer = "12 mm" }'
        ],
    )
    displacement: DisplacementForm | None = Field(
        default=None,
        description="The face is moved by a given amount. It is free in cases that do not name the load.",
        examples=['[loads.settle]\nface = "pad"\ndisplacement = { z = "-0.1 mm" }'],
    )
    acceleration: Annotated[list[Acceleration] | None, Three] = Field(
        default=None,
        description="The field that pulls on the mass of all bodies, such as gravity.",
        examples=['[loads.weight]\nacceleration = ["0 m/s^2", "0 m/s^2", "-9.81 m/s^2"]'],
    )
    temperature_change: TemperatureChangeForm | None = Field(
        default=None,
        description="Bodies become warmer or colder, and expand by the `expansion` of their card.",
        examples=['[loads.sun]\ntemperature_change = { by = "20 K" }'],
    )

    @property
    def kind(self) -> str:
        return next(kind for kind in LOAD_KINDS if getattr(self, kind) is not None)

    @model_validator(mode="after")
    def _one_kind(self) -> LoadForm:
        kinds = [kind for kind in LOAD_KINDS if getattr(self, kind) is not None]
        if len(kinds) != 1:
            what = f"both {kinds[0]} and {kinds[1]} are given." if kinds else "it says no load."
            raise fault(what, f"Give exactly one of {', '.join(LOAD_KINDS)}.")
        if KINDS[kinds[0]].on_a_face and self.face is None:
            raise fault(f"{kinds[0]} needs a face to act on.", 'Add face = "NAME".')
        if not KINDS[kinds[0]].on_a_face and self.face is not None:
            raise fault(f"{kinds[0]} does not take the key face.", "Remove it.")
        if self.spot is not None and kinds[0] not in ON_A_SPOT:
            raise fault(f"{kinds[0]} does not take the key spot.", f"A spot stands beside {' or '.join(ON_A_SPOT)}.")
        return self
