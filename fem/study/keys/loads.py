"""Keys of `[loads.NAME]`: what pushes, pulls and warms the part. Those of a kind are its noun's (`fem/loading/`)."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import Field, create_model, model_validator

from fem.loading.kind import LoadKind
from fem.loading.kinds import LOAD_KINDS
from fem.study.keys.forms import beside, key_of, made
from fem.study.keys.values import Form, Name, fault

BESIDE = {word: beside(kind.noun, word) for word, kind in LOAD_KINDS.items()}
"""The keys that may stand beside that of a kind, such as the spot of a force."""


def _words(chosen: Callable[[LoadKind], bool]) -> str:
    """The kinds of which something holds, as "`one`, `two` and `three`"."""
    words = [f"`{word}`" for word, kind in LOAD_KINDS.items() if chosen(kind)]
    return " and ".join([*([", ".join(words[:-1])] if words[1:] else []), *words[-1:]])


class _AnyLoad(Form):
    """What all loads may say."""

    face: Name | None = Field(
        default=None,
        description=f"The face that is loaded. {_words(lambda kind: not kind.on_a_face)} take none.",
    )
    permanent: bool | None = Field(
        default=None,
        description="Whether it keeps its size while the reserve factor is sought. "
        f"Only a {_words(lambda kind: kind.permanent)} does by default.",
        examples=['[loads.ballast]\nface = "pad"\nforce = ["0 N", "0 N", "-10 N"]\npermanent = true'],
    )
    scatter: Annotated[float, Field(ge=0, lt=1)] = Field(
        default=0.0,
        description="Coefficient of variation of its size: standard deviation over mean, of a normal distribution. "
        "Counts for the chance that the reserve factor is there; nothing else changes.",
        examples=['[loads.gusts]\nface = "pad"\nforce = ["0 N", "0 N", "-40 N"]\nscatter = 0.2'],
    )

    @property
    def kind(self) -> str:
        """The one kind of load that is given."""
        return next(word for word in LOAD_KINDS if getattr(self, word) is not None)

    @property
    def what(self) -> Any:
        """The kind's noun."""
        given = getattr(self, self.kind)
        noun = LOAD_KINDS[self.kind].noun
        if isinstance(given, noun):
            return given
        return made(noun, {self.kind: given, **{key: getattr(self, key) for key in BESIDE[self.kind]}})

    @model_validator(mode="after")
    def _one_kind(self) -> _AnyLoad:
        words = [word for word in LOAD_KINDS if getattr(self, word) is not None]
        if len(words) != 1:
            what = f"both {words[0]} and {words[1]} are given." if words else "it says no load."
            raise fault(what, f"Give exactly one of {', '.join(LOAD_KINDS)}.")
        (word,) = words
        if LOAD_KINDS[word].on_a_face and self.face is None:
            raise fault(f"{word} needs a face to act on.", 'Add face = "NAME".')
        if not LOAD_KINDS[word].on_a_face and self.face is not None:
            raise fault(f"{word} does not take the key face.", "Remove it.")
        for key in {key for keys in BESIDE.values() for key in keys} - set(BESIDE[word]):
            if getattr(self, key) is not None:
                takes = " or ".join(other for other, keys in BESIDE.items() if key in keys)
                raise fault(f"{word} does not take the key {key}.", f"A {key} stands beside {takes}.")
        return self


def _keys() -> dict[str, Any]:
    """The keys of all kinds, each with those that may stand beside it."""
    keys: dict[str, Any] = {}
    for word, kind in LOAD_KINDS.items():
        said = Field(default=None, description=kind.says, examples=list(kind.examples))
        keys |= {word: (key_of(kind.noun, word) | None, said), **BESIDE[word]}
    return keys


if TYPE_CHECKING:
    LoadForm = _AnyLoad
else:
    LoadForm = create_model("LoadForm", __base__=_AnyLoad, **_keys())
