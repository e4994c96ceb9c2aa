"""The form of a noun of loads or supports, made from the noun's own annotations.

`values.py` holds the check of each name in `fem/loading/values.py`. What a noun refuses as it is made is an error of
its table, and a form is read into its noun.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import MISSING, fields, is_dataclass
from typing import Annotated, Any, Union, get_args, get_origin, get_type_hints

from pydantic import AfterValidator, BaseModel, Discriminator, Field, Tag, create_model

from fem.errors import InputError
from fem.study.keys import values
from fem.study.keys.values import Form, fault

PLAIN, TABLE = "[plain]", "[table]"
"""Steps in an error's place that tell a value from a table which may stand there instead; no keys of the file."""


def form_of(noun: type) -> type[Form]:
    """The table that holds all fields of a noun."""
    keys: dict[str, Any] = keys_of(noun)
    return create_model(noun.__name__.removesuffix("Keys") + "Form", __base__=Form, **keys)


def keys_of(noun: type) -> dict[str, tuple[Any, Any]]:
    """Name -> what may stand there and what is said of it, of each field of a noun."""
    own = vars(sys.modules[noun.__module__])
    hints = get_type_hints(noun, globalns=dict(own), localns=dict(vars(values)), include_extras=True)
    out = {}
    for field in fields(noun):
        texts = [text for text in getattr(hints[field.name], "__metadata__", ()) if isinstance(text, str)]
        more: dict[str, Any] = {"description": texts[0], "examples": texts[1:] or None} if texts else {}
        if field.default is not MISSING:
            more["default"] = list(field.default) if isinstance(field.default, tuple) else field.default
        out[field.name] = (_checked(hints[field.name]), Field(**more))
    return out


def key_of(noun: type, word: str) -> Any:
    """What may stand behind the key of a kind: the field of its noun that bears the kind's word, else the table."""
    own = keys_of(noun).get(word)
    return own[0] if own else _checked(noun)


def beside(noun: type, word: str) -> dict[str, tuple[Any, Any]]:
    """The keys that stand beside that of a kind: the other fields of a noun that bears the kind's word."""
    keys = keys_of(noun)
    return {name: key for name, key in keys.items() if name != word} if word in keys else {}


def made(noun: type, given: Mapping[str, Any]) -> Any:
    """The noun of what was given, which never changes. Errors: what it refuses, as an error of the form."""
    try:
        return noun(**{key: tuple(value) if isinstance(value, list) else value for key, value in given.items()})
    except InputError as error:
        raise fault(error.message, error.advice) from None


def _checked(hint: Any) -> Any:
    """A type with a form in the place of each noun."""
    if is_dataclass(hint):
        noun: Any = hint
        return Annotated[form_of(noun), AfterValidator(lambda form: made(noun, dict(form)))]
    if hasattr(hint, "__metadata__"):
        about = tuple(each for each in hint.__metadata__ if not isinstance(each, str))
        return Annotated[(_checked(hint.__origin__), *about)] if about else _checked(hint.__origin__)
    options = get_args(hint)
    if options and get_origin(hint) not in (list, dict):
        plain = [option for option in options if not is_dataclass(option)]
        tables = [option for option in options if is_dataclass(option)]
        if tables and plain != [type(None)]:
            either = (Annotated[_checked(plain[0]), Tag(PLAIN)], Annotated[_checked(tables[0]), Tag(TABLE)])
            return Annotated[Union[either], Discriminator(_plain_or_table)]  # noqa: UP007
        return Union[tuple(map(_checked, options))]  # noqa: UP007
    return hint


def _plain_or_table(value: Any) -> str:
    return TABLE if isinstance(value, dict | BaseModel) else PLAIN
