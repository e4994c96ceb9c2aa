"""What may stand behind a key: quantities, directions, points; plain numbers once read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field
from pydantic_core import PydanticCustomError

from fem.errors import InputError
from fem.numerals import number_and_rest
from fem.study.plans import LEAST_ACCURACY, MOST_ACCURACY
from fem.tensors import checked_direction
from fem.units import quantity


def fault(message: str, advice: str = "") -> PydanticCustomError:
    """An error whose words are final: `form.py` only adds the file and the key."""
    return PydanticCustomError("beadwork", "{message}", {"message": message, "advice": advice})


@dataclass(frozen=True)
class Quantity:
    """Reads text with a unit of its `kind` (`fem.units.KINDS`); `least` "positive" or "zero" bounds it from below."""

    kind: str
    least: str = "any"

    def __call__(self, text: Any) -> float:
        try:
            value = quantity(text, self.kind)
        except InputError as error:
            raise fault(error.message, error.advice) from None
        if self.least == "positive" and not value > 0:
            raise fault(f'"{text}" must be more than zero.')
        if self.least == "zero" and value < 0:
            raise fault(f'"{text}" must not be negative.')
        return value


@dataclass(frozen=True)
class Says:
    """What may stand behind a key, in words, where its type does not say it (`reference.py` reads this)."""

    words: str


Length = Annotated[float, BeforeValidator(Quantity("length"))]
Extent = Annotated[float, BeforeValidator(Quantity("length", least="positive"))]
Force = Annotated[float, BeforeValidator(Quantity("force"))]
Preload = Annotated[float, BeforeValidator(Quantity("force", least="positive"))]
Moment = Annotated[float, BeforeValidator(Quantity("moment"))]
Pressure = Annotated[float, BeforeValidator(Quantity("pressure"))]
PressureGradient = Annotated[float, BeforeValidator(Quantity("pressure gradient", least="positive"))]
Mass = Annotated[float, BeforeValidator(Quantity("mass", least="positive"))]
Acceleration = Annotated[float, BeforeValidator(Quantity("acceleration"))]
Angle = Annotated[float, BeforeValidator(Quantity("angle", least="positive"))]
Temperature = Annotated[float, BeforeValidator(Quantity("temperature"))]
Speed = Annotated[float, BeforeValidator(Quantity("speed", least="positive"))]
TemperatureDifference = Annotated[float, BeforeValidator(Quantity("temperature difference"))]
FoundationStiffness = Annotated[float, BeforeValidator(Quantity("foundation stiffness", least="zero"))]
MachineCompliance = Annotated[float, BeforeValidator(Quantity("compliance", least="zero"))]
Time = Annotated[float, BeforeValidator(Quantity("time", least="positive"))]
SpringStiffness = Annotated[float, BeforeValidator(Quantity("spring stiffness", least="positive"))]


def _accuracy(text: Any) -> float:
    try:
        number, rest = number_and_rest(text) if isinstance(text, str) else (None, "")
    except InputError as error:
        raise fault(error.message, error.advice) from None
    if number is None or rest.strip() != "%":
        raise fault("must be a number with a per cent sign, as text.", 'Write "5 %".')
    if not LEAST_ACCURACY <= float(number) / 100 <= MOST_ACCURACY:
        low, high = f"{100 * LEAST_ACCURACY:g} %", f"{100 * MOST_ACCURACY:g} %"
        raise fault(f'"{text}" is not between {low} and {high}.')
    return float(number) / 100


Accuracy = Annotated[
    float,
    BeforeValidator(_accuracy),
    Says(f"a percentage from {100 * LEAST_ACCURACY:g} % to {100 * MOST_ACCURACY:g} %, as text"),
]

Three = Field(min_length=3, max_length=3)
Name = Annotated[str, Field(min_length=1)]
Names = Annotated[list[Name], Field(min_length=1)]
Share = Annotated[float, Field(ge=0, le=1)]
ShareAboveZero = Annotated[float, Field(gt=0, le=1)]
NotNegative = Annotated[float, Field(ge=0)]
Positive = Annotated[float, Field(gt=0)]


def _direction(value: Any) -> Any:
    numbers = isinstance(value, list) and all(type(v) in (int, float) for v in value)
    if not numbers or len(value) != 3:
        return value
    if not any(value):
        raise fault("a direction of zero length.", "Give three numbers that are not all zero, like [0, 0, 1].")
    try:
        return list(checked_direction("the direction", value))
    except InputError as error:
        raise fault(error.message, error.advice) from None


def one_or_more(value: Any) -> Any:
    return value if isinstance(value, list) else [value]


Direction = Annotated[list[float], Three, BeforeValidator(_direction), Says("three numbers, a direction")]
Point = Annotated[list[Length], Three]
Forces = Annotated[list[Force], Three]
Moments = Annotated[list[Moment], Three]
Accelerations = Annotated[list[Acceleration], Three]


def _held(value: Any) -> Any:
    if value == "normal":
        return [value]
    if isinstance(value, list) and value and all(v in ("x", "y", "z") for v in value):
        if len(set(value)) < len(value):
            raise fault("an axis is named twice.")
        return value
    raise fault('must be "normal" or a list of "x", "y", "z".', 'Write fixed = ["x", "y", "z"].')


HeldDirections = Annotated[list[str], BeforeValidator(_held), Says('a list of "x", "y", "z", or "normal"')]


class Form(BaseModel):
    """A table of the file: unknown keys and values of another type are errors."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, frozen=True)
