"""The form of a study file: which keys there are, what each may hold, and what is assumed where one is left out.

This module needs pydantic and is loaded only when a study is read. A quantity is text with a unit in the file and
a plain number (mm, N, MPa, tonne, s, K) once read.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator
from pydantic_core import PydanticCustomError

from fem.errors import InputError
from fem.units import quantity, unit_size

LATER = {
    "joints": "joints between bodies",
}
"""Tables that a study may not hold yet, and what they would bring."""
LOAD_KINDS = ("force", "pressure", "wrench", "wing", "clamp", "shift", "acceleration", "warming")
ON_A_FACE = ("force", "pressure", "wrench", "wing", "shift")
"""The kinds of load that name their face by the key `face`."""
SHAPES = ("plane", "cylinder", "cone", "sphere")


def fault(message: str, advice: str = "") -> PydanticCustomError:
    """An error whose words are final: `file.py` only adds the file and the key."""
    return PydanticCustomError("beadwork", "{message}", {"message": message, "advice": advice})


def _number(kind: str, *, least: str = "any") -> Callable[[Any], float]:
    def read(text: Any) -> float:
        try:
            value = quantity(text, kind)
        except InputError as error:
            raise fault(error.message, error.advice) from None
        if least == "positive" and not value > 0:
            raise fault(f'"{text}" must be more than zero.')
        if least == "zero" and value < 0:
            raise fault(f'"{text}" must not be negative.')
        return value

    return read


Length = Annotated[float, BeforeValidator(_number("length"))]
Extent = Annotated[float, BeforeValidator(_number("length", least="positive"))]
Force = Annotated[float, BeforeValidator(_number("force"))]
Preload = Annotated[float, BeforeValidator(_number("force", least="positive"))]
Moment = Annotated[float, BeforeValidator(_number("moment"))]
Pressure = Annotated[float, BeforeValidator(_number("pressure"))]
Mass = Annotated[float, BeforeValidator(_number("mass", least="positive"))]
Acceleration = Annotated[float, BeforeValidator(_number("acceleration"))]
Angle = Annotated[float, BeforeValidator(_number("angle", least="positive"))]
Temperature = Annotated[float, BeforeValidator(_number("temperature"))]
Speed = Annotated[float, BeforeValidator(_number("speed", least="positive"))]
Warming = Annotated[float, BeforeValidator(_number("temperature difference"))]
Bed = Annotated[float, BeforeValidator(_number("foundation stiffness", least="zero"))]

Three = Field(min_length=3, max_length=3)
Name = Annotated[str, Field(min_length=1)]
Share = Annotated[float, Field(ge=0, le=1)]
Positive = Annotated[float, Field(gt=0)]


def _direction(value: Any) -> Any:
    numbers = isinstance(value, list) and all(type(v) in (int, float) for v in value)
    if numbers and len(value) == 3 and not any(value):
        raise fault("a direction of zero length.", "Give three numbers that are not all zero, like [0, 0, 1].")
    return value


def _place(value: Any) -> Any:
    if isinstance(value, str) and value in ("min", "max"):
        return value
    try:
        return quantity(value, "length")
    except InputError as error:
        raise fault(error.message, 'Write "min", "max" or a length like "4 mm".') from None


def _one_or_more(value: Any) -> Any:
    return value if isinstance(value, list) else [value]


def _held(value: Any) -> Any:
    if value == "normal":
        return [value]
    if isinstance(value, list) and value and all(v in ("x", "y", "z") for v in value):
        if len(set(value)) < len(value):
            raise fault("an axis is named twice.")
        return value
    raise fault('must be "normal" or a list of "x", "y", "z".', 'Write hold = ["x", "y", "z"].')


def _unit(value: Any) -> Any:
    if isinstance(value, str):
        try:
            unit_size(value, "length")
        except InputError:
            raise fault(f'"{value}" is not a unit of length.', 'Write unit = "mm".') from None
    return value


def _infill(value: Any) -> Any:
    return {"pattern": value} if isinstance(value, str) else value


Direction = Annotated[list[float], Three, BeforeValidator(_direction)]
Point = Annotated[list[Length], Three]


class Form(BaseModel):
    """A table of the file: unknown keys and values of another type are errors."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, frozen=True)


class MeshForm(Form):
    size: Extent | None = None
    finest: Extent | None = None

    @model_validator(mode="after")
    def _ordered(self) -> MeshForm:
        if self.size is not None and self.finest is not None and self.finest > self.size:
            raise fault(f"finest ({self.finest:g} mm) is larger than size ({self.size:g} mm).")
        return self


class BeadForm(Form):
    width: Extent = 0.45
    height: Extent = 0.20


class InfillForm(Form):
    pattern: Name
    density: Annotated[float | None, Field(gt=0, le=1)] = None
    angle: float | None = None

    @model_validator(mode="after")
    def _dense(self) -> InfillForm:
        if self.pattern != "solid" and self.density is None:
            raise fault(
                f'"{self.pattern}" needs a density.',
                f'Write infill = {{ pattern = "{self.pattern}", density = 0.3 }}.',
            )
        return self


class PrintForm(Form):
    polymer: Name
    state: Name | None = None
    build_direction: Direction = [0.0, 0.0, 1.0]
    raster_zero: Direction | None = None
    bead: BeadForm = BeadForm()
    walls: Annotated[int, Field(ge=0)] = 3
    skins: Annotated[int, Field(ge=0)] = 4
    raster: Annotated[list[float], Field(min_length=1)] = [45.0, -45.0]
    infill: Annotated[InfillForm, BeforeValidator(_infill)] = InfillForm(pattern="solid")
    temperature: Temperature | None = None
    speed: Speed | None = None
    filament_diameter: Extent | None = None
    price_per_kg: Positive | None = None


class BodyForm(Form):
    solid: Name
    unit: Annotated[str | None, BeforeValidator(_unit)] = None
    any_size: bool = False
    mesh: MeshForm = MeshForm()
    print: PrintForm | None = None
    metal: Name | None = None
    state: Name | None = None

    @model_validator(mode="after")
    def _one_material(self) -> BodyForm:
        if (self.print is None) == (self.metal is None):
            both = "both print and metal are" if self.print else "neither print nor metal is"
            raise fault(f"{both} given.", "A body has exactly one of them.")
        if self.print is not None and self.state is not None:
            raise fault("state stands beside print.", "Move it into the print table.")
        return self


class PlaneForm(Form):
    normal: Direction
    at: Annotated[str | float | None, BeforeValidator(_place)] = None


class CylinderForm(Form):
    radius: Extent
    axis: Direction | None = None


class SphereForm(Form):
    radius: Extent | None = None


class ConeForm(Form):
    axis: Direction | None = None


class BoxForm(Form):
    low: Point
    high: Point

    @model_validator(mode="after")
    def _ordered(self) -> BoxForm:
        if any(low >= high for low, high in zip(self.low, self.high, strict=True)):
            raise fault("low is not below high in every direction.")
        return self


class FaceForm(Form):
    body: Name | None = None
    plane: PlaneForm | None = None
    cylinder: CylinderForm | None = None
    cone: ConeForm | None = None
    sphere: SphereForm | None = None
    near: Point | None = None
    id: Annotated[list[int] | None, BeforeValidator(_one_or_more), Field(min_length=1)] = None
    within: BoxForm | None = None

    @model_validator(mode="after")
    def _asks(self) -> FaceForm:
        shapes = [name for name in SHAPES if getattr(self, name) is not None]
        if len(shapes) > 1:
            raise fault(f"both {shapes[0]} and {shapes[1]} are asked for.", "A face is only one of them.")
        if not shapes and self.near is None and self.id is None and self.within is None:
            raise fault("nothing is asked of the face.", f"Give {', '.join(SHAPES)}, near, id or within.")
        return self


class BedForm(Form):
    normal: Bed
    tangential: Bed = 0.0

    @model_validator(mode="after")
    def _resists(self) -> BedForm:
        if self.normal == 0 and self.tangential == 0:
            raise fault("a bed without any stiffness holds nothing.")
        return self


class SupportForm(Form):
    face: Name
    hold: Annotated[list[str] | None, BeforeValidator(_held)] = None
    bed: BedForm | None = None

    @model_validator(mode="after")
    def _one_way(self) -> SupportForm:
        if (self.hold is None) == (self.bed is None):
            raise fault(f"{'neither' if self.hold is None else 'both'} of hold and bed given.", "Give exactly one.")
        return self


class WrenchForm(Form):
    force: Annotated[list[Force], Three] = [0.0, 0.0, 0.0]
    moment: Annotated[list[Moment], Three] = [0.0, 0.0, 0.0]
    at: Point | None = None


class WingForm(Form):
    mass: Mass
    share: Annotated[float, Field(gt=0, le=1)]
    span: Extent
    left_share: Share = 0.5
    drag_ratio: Annotated[float, Field(ge=0)] = 0.0
    centre: Point
    up: Direction = [0.0, 0.0, 1.0]
    forward: Direction = [1.0, 0.0, 0.0]


class ClampForm(Form):
    holes: Name
    against: Name
    force: Preload
    ring: Extent
    head: Name | None = None


class ShiftForm(Form):
    x: Length | None = None
    y: Length | None = None
    z: Length | None = None

    @model_validator(mode="after")
    def _moves(self) -> ShiftForm:
        if self.x is None and self.y is None and self.z is None:
            raise fault("no direction is given.", 'Write shift = { z = "0.1 mm" }.')
        return self


class WarmingForm(Form):
    by: Warming
    bodies: Annotated[list[Name] | None, Field(min_length=1)] = None


class LoadForm(Form):
    face: Name | None = None
    permanent: bool | None = None
    force: Annotated[list[Force] | None, Three] = None
    pressure: Pressure | None = None
    wrench: WrenchForm | None = None
    wing: WingForm | None = None
    clamp: ClampForm | None = None
    shift: ShiftForm | None = None
    acceleration: Annotated[list[Acceleration] | None, Three] = None
    warming: WarmingForm | None = None

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


class WatchForm(Form):
    faces: list[Name] = []


class RequirementsForm(Form):
    reserve: Positive | None = None
    turn: dict[Name, Angle] = {}
    shift: dict[Name, Extent] = {}
    mass: Mass | None = None
    deflection: Extent | None = None


class StudyForm(Form):
    title: Name
    question: Name
    bodies: Annotated[dict[Name, BodyForm], Field(min_length=1)]
    faces: dict[Name, FaceForm] = {}
    supports: dict[Name, SupportForm] = {}
    loads: Annotated[dict[Name, LoadForm], Field(min_length=1)]
    cases: dict[Name, Annotated[dict[Name, float], Field(min_length=1)]] = {}
    points: dict[Name, Point] = {}
    watch: WatchForm = WatchForm()
    requirements: RequirementsForm = RequirementsForm()
    solver: Literal["auto", "multigrid", "direct", "distributed"] = "auto"
    variants: dict[Name, dict[Name, Any]] = {}
    sweep: dict[Name, Annotated[list[Any], Field(min_length=1)]] = {}

    @model_validator(mode="before")
    @classmethod
    def _nothing_of_later(cls, data: Any) -> Any:
        for key in LATER:
            if isinstance(data, dict) and key in data:
                raise fault(f"[{key}] is not accepted yet: {LATER[key]} cannot be computed.", "Remove the table.")
        return data


def known_keys(place: tuple[Any, ...]) -> list[str]:
    """The keys that the table at this place of the file may hold; empty where it holds names of the user's own."""
    return list(getattr(form_at(place), "model_fields", {}))


def form_at(place: tuple[Any, ...]) -> Any:
    """What may stand at this place of the file: a form, `dict[...]`, `list[...]`, a plain type; None: no key."""
    form: Any = StudyForm
    for step in place:
        fields = getattr(form, "model_fields", None)
        if fields is not None:
            if step not in fields:
                return None
            form = _inside(fields[step].annotation)
        elif getattr(form, "__origin__", None) in (dict, list):
            form = _inside(form.__args__[-1])
    return form


def _inside(annotation: Any) -> Any:
    """The type itself, without Annotated and `| None`."""
    while True:
        origin = getattr(annotation, "__origin__", None)
        options = [a for a in getattr(annotation, "__args__", ()) if a is not type(None)]
        if hasattr(annotation, "__metadata__"):
            annotation = origin
        elif origin not in (dict, list) and len(options) == 1:
            annotation = options[0]
        else:
            return annotation
