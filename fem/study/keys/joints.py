"""Keys of `[joints.NAME]`: two faces that meet, and what they do to each other."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, model_validator

from fem.joining.joint import BEARING, BONDED
from fem.study.keys.values import Form, Length, Name, NotNegative, Says, fault, one_or_more

Fits = Annotated[
    list[Length], BeforeValidator(one_or_more), Field(min_length=1), Says("a length as text, or a list of them")
]
LID = (
    '[bodies.lid]\nsolid = "case.step"\npart = 2\nmetal = "6082-t6"\n'
    '[faces.rim]\nbody = "lid"\nplane = { normal = [0, 0, -1], at = "min" }\n'
)
"""A second body with a face, for the examples."""


class JointForm(Form):
    faces: Annotated[list[Name], Field(min_length=2, max_length=2)] = Field(
        description="The two faces that meet, of different bodies. Their meshes need not fit each other.",
        examples=[f'{LID}[joints.seat]\nfaces = ["pad", "rim"]\nfriction = 0.25\nclearance = "0.15 mm"'],
    )
    kind: Literal["bearing", "bonded"] = Field(
        default="bearing",
        description="`bearing` faces push, rub and part; `bonded` ones are glued wherever they lie opposite "
        "each other.",
        examples=[f'{LID}[joints.glue]\nfaces = ["pad", "rim"]\nkind = "bonded"'],
    )
    friction: NotNegative = Field(
        default=0.0, description="Coefficient of friction of bearing faces; none if left out."
    )
    clearance: Fits = Field(
        default=[0.0],
        description="Gap added to the faces as drawn, along their normals: of a pin in a bore the radial one. "
        "Negative for a press fit. Of several, the first is the one that everything is told of; a table tells what "
        "each of the others makes of the cases.",
        examples=[f'{LID}[joints.seat]\nfaces = ["pad", "rim"]\nclearance = ["0.15 mm", "0 mm", "0.3 mm"]'],
    )

    @model_validator(mode="after")
    def _as_glued(self) -> JointForm:
        if self.kind == BONDED and (self.friction or any(self.clearance)):
            raise fault(
                f"bonded faces have neither {'friction' if self.friction else 'a clearance'}.",
                f'Remove it, or write kind = "{BEARING}".',
            )
        if self.faces[0] == self.faces[1]:
            raise fault("a face cannot meet itself.", "Name the two faces that meet.")
        return self
