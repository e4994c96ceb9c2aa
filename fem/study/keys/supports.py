"""Keys of `[supports.NAME]`: what holds a face. Those of a kind are its noun's (`fem/loading/`)."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pydantic import Field, create_model, model_validator

from fem.loading.kinds import SUPPORT_KINDS
from fem.study.keys.forms import key_of, made
from fem.study.keys.values import Form, Name, fault

_KINDS = ", ".join(SUPPORT_KINDS)


class _AnySupport(Form):
    """What all supports say."""

    face: Name = Field(description="The face that is held.")

    @property
    def kind(self) -> str:
        """The one way of holding the face that is given."""
        return next(word for word in SUPPORT_KINDS if getattr(self, word) is not None)

    @property
    def what(self) -> Any:
        """The kind's noun."""
        given, noun = getattr(self, self.kind), SUPPORT_KINDS[self.kind].noun
        return given if isinstance(given, noun) else made(noun, {self.kind: given})

    @model_validator(mode="before")
    @classmethod
    def _without_kind(cls, given: Any) -> Any:
        if isinstance(given, dict) and "kind" in given:
            word = 'bearing = { friction = 0.25, clearance = "0.15 mm" }'
            advice = f"Write {word}." if given["kind"] == "bearing" else f"Give exactly one of {_KINDS}."
            raise fault('a support has no key "kind": the way of holding is a key itself.', advice)
        return given

    @model_validator(mode="after")
    def _one_way(self) -> _AnySupport:
        words = [word for word in SUPPORT_KINDS if getattr(self, word) is not None]
        if len(words) != 1:
            given = f"both {words[0]} and {words[1]} are given." if words else "it says no way of holding the face."
            raise fault(given, f"Give exactly one of {_KINDS}.")
        return self


def _keys() -> dict[str, Any]:
    return {
        word: (
            key_of(kind.noun, word) | None,
            Field(default=None, description=kind.says, examples=list(kind.examples)),
        )
        for word, kind in SUPPORT_KINDS.items()
    }


if TYPE_CHECKING:
    SupportForm = _AnySupport
else:
    SupportForm = create_model("SupportForm", __base__=_AnySupport, **_keys())
