"""Keys of `[supports.NAME]`: what holds a face."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BeforeValidator, Field, model_validator

from fem.study.keys.values import STIFFNESS, Form, Foundation, Name, Says, Spring, fault


def _held(value: Any) -> Any:
    if value == "normal":
        return [value]
    if isinstance(value, list) and value and all(v in ("x", "y", "z") for v in value):
        if len(set(value)) < len(value):
            raise fault("an axis is named twice.")
        return value
    raise fault('must be "normal" or a list of "x", "y", "z".', 'Write fixed = ["x", "y", "z"].')


class FoundationForm(Form):
    normal: Foundation = Field(description="Stiffness square to the face, for each area of it.")
    tangential: Foundation = Field(default=0.0, description="Stiffness along the face, for each area of it.")
    push_only: bool = Field(
        default=False,
        description="The face may lift off; no gap at first, no slip. Otherwise the foundation also pulls.",
        examples=['[supports.base]\nface = "back"\nfoundation = { normal = "400 N/mm^3", push_only = true }'],
    )

    bonded: bool = Field(
        default=False,
        description="Glued: it may pull as well as push, and no caution says so. The glue itself is not judged.",
    )

    @model_validator(mode="after")
    def _resists(self) -> FoundationForm:
        if self.normal == 0 and self.tangential == 0:
            raise fault("a foundation without any stiffness holds nothing.")
        if self.push_only and self.normal == 0:
            raise fault("a foundation that only pushes needs a normal stiffness.")
        if self.push_only and self.bonded:
            raise fault("both push_only and bonded are true.", "A glued face pulls too: keep one of them.")
        return self


class SpringForm(Form):
    x: Spring | None = Field(default=None, description="Stiffness of the whole face along x.")
    y: Spring | None = Field(default=None, description="Stiffness of the whole face along y.")
    z: Spring | None = Field(default=None, description="Stiffness of the whole face along z.")

    @model_validator(mode="after")
    def _resists(self) -> SpringForm:
        if self.x is None and self.y is None and self.z is None:
            raise fault("no direction is given.", 'Write spring = { z = "200 N/mm" }.')
        return self


def _each_way(value: Any) -> Any:
    """A spring that is one text has that stiffness along each axis."""
    if not isinstance(value, str):
        return value
    _ = STIFFNESS(value)  # what is wrong with it is told once
    return dict.fromkeys("xyz", value)


class SupportForm(Form):
    face: Name = Field(description="The face that is held.")
    fixed: Annotated[list[str] | None, BeforeValidator(_held), Says('a list of "x", "y", "z", or "normal"')] = Field(
        default=None,
        description="Directions in which the face does not move; `normal` is its own normal.",
        examples=[
            '[supports.bolts]\nface = "bolt_holes"\nfixed = ["x", "y", "z"]',
            '[supports.guide]\nface = "back"\nfixed = "normal"',
        ],
    )
    foundation: FoundationForm | None = Field(
        default=None,
        description="An elastic foundation under the face.",
        examples=[
            '[supports.glue]\nface = "back"\nfoundation = { normal = "4000 N/mm^3", tangential = "1500 N/mm^3" }'
        ],
    )
    spring: Annotated[SpringForm | None, BeforeValidator(_each_way), Says("a spring stiffness or a table")] = Field(
        default=None,
        description="A spring, spread over the face; one stiffness counts along every axis.",
        examples=[
            '[supports.rubber]\nface = "pad"\nspring = "200 N/mm"',
            '[supports.stay]\nface = "pad"\nspring = { z = "20 N/mm" }',
        ],
    )

    @model_validator(mode="after")
    def _one_way(self) -> SupportForm:
        ways = [way for way in ("fixed", "foundation", "spring") if getattr(self, way) is not None]
        if len(ways) != 1:
            given = f"both {ways[0]} and {ways[1]} are given." if ways else "it says no way of holding the face."
            raise fault(given, "Give exactly one of fixed, foundation, spring.")
        return self
