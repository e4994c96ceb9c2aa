"""Keys of `[faces]`: by what a face is found."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BeforeValidator, Field, model_validator

from fem.errors import InputError
from fem.study.keys.values import Direction, Extent, Form, Name, Point, fault, one_or_more
from fem.units import quantity

SHAPES = ("plane", "cylinder", "cone", "sphere")


def _place(value: Any) -> Any:
    if isinstance(value, str) and value in ("min", "max"):
        return value
    try:
        return quantity(value, "length")
    except InputError as error:
        raise fault(error.message, 'Write "min", "max" or a length like "4 mm".') from None


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
    id: Annotated[list[int] | None, BeforeValidator(one_or_more), Field(min_length=1)] = None
    within: BoxForm | None = None

    @model_validator(mode="after")
    def _asks(self) -> FaceForm:
        shapes = [name for name in SHAPES if getattr(self, name) is not None]
        if len(shapes) > 1:
            raise fault(f"both {shapes[0]} and {shapes[1]} are asked for.", "A face is only one of them.")
        if not shapes and self.near is None and self.id is None and self.within is None:
            raise fault("nothing is asked of the face.", f"Give {', '.join(SHAPES)}, near, id or within.")
        return self
