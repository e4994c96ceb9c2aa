"""Keys of `[supports.NAME]`: what holds a face."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BeforeValidator, model_validator

from fem.study.keys.values import Form, Foundation, Name, Spring, fault


def _held(value: Any) -> Any:
    if value == "normal":
        return [value]
    if isinstance(value, list) and value and all(v in ("x", "y", "z") for v in value):
        if len(set(value)) < len(value):
            raise fault("an axis is named twice.")
        return value
    raise fault('must be "normal" or a list of "x", "y", "z".', 'Write fixed = ["x", "y", "z"].')


class FoundationForm(Form):
    normal: Foundation
    tangential: Foundation = 0.0
    push_only: bool = False

    @model_validator(mode="after")
    def _resists(self) -> FoundationForm:
        if self.normal == 0 and self.tangential == 0:
            raise fault("a foundation without any stiffness holds nothing.")
        if self.push_only and self.normal == 0:
            raise fault("a foundation that only pushes needs a normal stiffness.")
        return self


class SpringForm(Form):
    x: Spring | None = None
    y: Spring | None = None
    z: Spring | None = None

    @model_validator(mode="after")
    def _resists(self) -> SpringForm:
        if self.x is None and self.y is None and self.z is None:
            raise fault("no direction is given.", 'Write spring = { z = "200 N/mm" }.')
        return self


def _each_way(value: Any) -> Any:
    """A spring that is one text has that stiffness along each axis."""
    return dict.fromkeys("xyz", value) if isinstance(value, str) else value


class SupportForm(Form):
    face: Name
    fixed: Annotated[list[str] | None, BeforeValidator(_held)] = None
    foundation: FoundationForm | None = None
    spring: Annotated[SpringForm | None, BeforeValidator(_each_way)] = None

    @model_validator(mode="after")
    def _one_way(self) -> SupportForm:
        ways = [way for way in ("fixed", "foundation", "spring") if getattr(self, way) is not None]
        if len(ways) != 1:
            given = f"both {ways[0]} and {ways[1]} are given." if ways else "it says no way of holding the face."
            raise fault(given, "Give exactly one of fixed, foundation, spring.")
        return self
