"""What may stand behind a key: quantities, directions, points; plain numbers once read."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field
from pydantic_core import PydanticCustomError

from fem.errors import InputError
from fem.tensors import checked_direction
from fem.units import quantity


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
TemperatureDifference = Annotated[float, BeforeValidator(_number("temperature difference"))]
Foundation = Annotated[float, BeforeValidator(_number("foundation stiffness", least="zero"))]
Spring = Annotated[float, BeforeValidator(_number("spring stiffness", least="positive"))]

Three = Field(min_length=3, max_length=3)
Name = Annotated[str, Field(min_length=1)]
Share = Annotated[float, Field(ge=0, le=1)]
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


Direction = Annotated[list[float], Three, BeforeValidator(_direction)]
Point = Annotated[list[Length], Three]


class Form(BaseModel):
    """A table of the file: unknown keys and values of another type are errors."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, frozen=True)
