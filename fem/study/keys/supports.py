"""Keys of `[supports.NAME]`: what holds a face."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BeforeValidator, model_validator

from fem.study.keys.values import Form, Foundation, Name, fault


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

    @model_validator(mode="after")
    def _resists(self) -> FoundationForm:
        if self.normal == 0 and self.tangential == 0:
            raise fault("a foundation without any stiffness holds nothing.")
        return self


class SupportForm(Form):
    face: Name
    fixed: Annotated[list[str] | None, BeforeValidator(_held)] = None
    foundation: FoundationForm | None = None

    @model_validator(mode="after")
    def _one_way(self) -> SupportForm:
        if (self.fixed is None) == (self.foundation is None):
            raise fault(
                f"{'neither' if self.fixed is None else 'both'} of fixed and foundation given.", "Give exactly one."
            )
        return self
