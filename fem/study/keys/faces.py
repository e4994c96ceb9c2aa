"""Keys of `[faces]`: by what a face is found."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BeforeValidator, Field, model_validator

from fem.errors import InputError
from fem.study.keys.values import Direction, Extent, Form, Name, Point, Says, fault, one_or_more
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
    normal: Direction = Field(description="Outward normal of the plane.")
    at: Annotated[str | float | None, BeforeValidator(_place), Says('"min", "max" or a length')] = Field(
        default=None,
        description="Where the centre of the plane lies along its normal, the largest component of the normal taken "
        "as positive: square to z, `4 mm` is z = 4 mm on either side. `min` and `max` are the ends of the part.",
    )


class CylinderForm(Form):
    radius: Extent = Field(description="Radius of the cylinder.")
    axis: Direction | None = Field(default=None, description="Direction of its axis, either way. Any if left out.")


class SphereForm(Form):
    radius: Extent | None = Field(default=None, description="Radius of the sphere. Any if left out.")


class ConeForm(Form):
    axis: Direction | None = Field(default=None, description="Direction of its axis, either way. Any if left out.")


class BoxForm(Form):
    low: Point = Field(description="Corner of the box with the smallest coordinates.")
    high: Point = Field(description="Corner of the box with the largest coordinates.")

    @model_validator(mode="after")
    def _ordered(self) -> BoxForm:
        if any(low >= high for low, high in zip(self.low, self.high, strict=True)):
            raise fault("low is not below high in every direction.")
        return self


class FaceForm(Form):
    body: Name | None = Field(default=None, description="Whose face it is. Needed where a study has several bodies.")
    plane: PlaneForm | None = Field(
        default=None,
        description="Plane faces that look along a normal.",
        examples=['[faces]\nend = { plane = { normal = [1, 0, 0], at = "max" } }'],
    )
    cylinder: CylinderForm | None = Field(
        default=None,
        description="Cylindrical faces, holes and pins alike.",
        examples=['[faces]\nholes = { cylinder = { radius = "3.3 mm", axis = [1, 0, 0] } }'],
    )
    cone: ConeForm | None = Field(
        default=None,
        description="Conical faces.",
        examples=["[faces]\nany_cone = { cone = {} }   # the bracket has none"],
    )
    sphere: SphereForm | None = Field(
        default=None,
        description="Spherical faces.",
        examples=['[faces]\nball = { sphere = { radius = "6 mm" } }   # the bracket has none'],
    )
    near: Point | None = Field(
        default=None,
        description="The one face that is nearest to a point.",
        examples=['[faces]\none_hole = { cylinder = { radius = "3.3 mm" }, near = ["5 mm", "8 mm", "45 mm"] }'],
    )
    id: Annotated[
        list[int] | None, BeforeValidator(one_or_more), Field(min_length=1), Says("a whole number, or a list of them")
    ] = Field(
        default=None,
        description="Numbers of faces in `beadwork faces FILE`. They change when the part is drawn anew.",
        examples=["[faces]\nsome = { id = [1, 2] }"],
    )
    within: BoxForm | None = Field(
        default=None,
        description="Faces that lie wholly inside a box.",
        examples=[
            '[faces]\ntip = { within = { low = ["79 mm", "-16 mm", "-1 mm"], high = ["81 mm", "16 mm", "14 mm"] } }'
        ],
    )
    cut: BoxForm | None = Field(
        default=None,
        description="Beside another key: only the part of the face inside a box. The mesh follows its border.",
        examples=[
            "[faces.patch]\n"
            'plane = { normal = [0, 0, 1], at = "13 mm" }\n'
            'cut = { low = ["66 mm", "-5 mm", "12 mm"], high = ["78 mm", "5 mm", "14 mm"] }'
        ],
    )

    @model_validator(mode="after")
    def _asks(self) -> FaceForm:
        shapes = [name for name in SHAPES if getattr(self, name) is not None]
        if len(shapes) > 1:
            raise fault(f"both {shapes[0]} and {shapes[1]} are asked for.", "A face is only one of them.")
        if not shapes and self.cut is not None and self.near is None and self.id is None and self.within is None:
            raise fault(
                "cut says which part of a face, but no face is asked for.", "Add plane, near, id or the like."
            )
        if not shapes and self.near is None and self.id is None and self.within is None:
            raise fault("nothing is asked of the face.", f"Give {', '.join(SHAPES)}, near, id or within.")
        return self
