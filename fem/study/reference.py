"""The reference page: every key of a study, read from the forms that check it, so that none can be left out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from textwrap import fill
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin

from fem.study.variants.names import as_written
from fem.units import EXAMPLES, KINDS

HEAD = """# Every key of a study

Written by `python studies/write_reference.py` from the forms that check a study; change their descriptions, not
this page. The [README](../README.md) shows the way through a study.

{quantities}
- "needed": the key may not be left out. A default counts where the key is left out.
- NAME is a name of your own. Points, directions and components lie along the x, y and z of the drawing.
- Each example may be added to [cantilever_bracket.toml](cantilever_bracket.toml); where both give a key, that of the
  example counts. `case.step` stands for a file with two solids.
"""


@dataclass(frozen=True)
class Key:
    """One key: `path` from its table on, `value` what may stand there, `default` what counts where it is left out."""

    path: str
    value: str
    default: str
    description: str
    examples: tuple[str, ...]


def reference_page() -> str:
    """The page, as Markdown."""
    found = list(sections())
    taken = " ".join(key.value for _, _, keys in found for key in keys)
    quantities = ", ".join(f'"{EXAMPLES[kind]}" ({kind})' for kind in KINDS if kind in taken)
    lines = fill(f"- A quantity is text of one number and one unit, any of its kind: {quantities}.", 118)
    parts = [HEAD.format(quantities=lines.replace("\n", "\n  "))]
    for heading, key, keys in found:
        parts += [f"## {heading}\n", *([f"{key.description}\n"] if key else []), *_table(keys)]
        for told in [key, *keys] if key else keys:
            parts += [_examples(told)] if told.examples else []
    return "\n".join(parts)


def sections() -> Iterator[tuple[str, Key | None, list[Key]]]:
    """Heading, key of the table and the keys inside it, for the top of the file and then for each of its tables."""
    from fem.study.keys import StudyForm, inside

    top = {name: inside(field.annotation) for name, field in StudyForm.model_fields.items()}
    tables = {name: form for name, form in top.items() if _is_form(form) or get_origin(form) is dict}
    yield "At the top of the file", None, [_key(StudyForm, name) for name in top if name not in tables]
    for name, form in tables.items():
        value = inside(get_args(form)[-1]) if get_origin(form) is dict else form
        heading = f"[{name}.NAME]" if value is not form and _is_form(value) else f"[{name}]"
        yield heading, _key(StudyForm, name), list(_keys(value, "")) if _is_form(value) else []


def _keys(form: Any, above: str) -> Iterator[Key]:
    """The keys of a form, each before those of the table that it may hold."""
    from fem.study.keys import inside

    for name, field in form.model_fields.items():
        yield _key(form, name, above)
        inner = inside(field.annotation)
        if _is_form(inner):
            yield from _keys(inner, f"{above}{name}.")


def _key(form: Any, name: str, above: str = "") -> Key:
    field = form.model_fields[name]
    default = "needed" if field.is_required() else _default(field)
    value = _words(field.annotation, field.metadata)
    return Key(above + name, value, default, field.description or "", tuple(field.examples or ()))


def _is_form(kind: Any) -> bool:
    return hasattr(kind, "model_fields")


# ---- in words


def _words(kind: Any, about: Sequence[Any] = ()) -> str:
    """What a type of the forms takes, as in "a length above 0"; `about` holds what an Annotated says of it."""
    from fem.study.keys.values import Says

    about = [each for item in about for each in getattr(item, "metadata", [item])]
    said = next((item.words for item in about if isinstance(item, Says)), None)
    quantity, origin = _quantity(about), get_origin(kind)
    if hasattr(kind, "__metadata__"):
        return _words(kind.__origin__, [*about, *kind.__metadata__])
    if said is not None:
        return said
    if quantity is not None:
        return _a(quantity.kind) + {"any": "", "positive": " above 0", "zero": ", at least 0"}[quantity.least]
    if origin in (Union, UnionType):
        return " or ".join(dict.fromkeys(_words(k, about) for k in get_args(kind) if k is not NoneType))
    if origin is Literal:
        return ", ".join(f'`"{value}"`' for value in get_args(kind))
    if origin is dict:
        return f"{_several(_words(get_args(kind)[1]))} by name"
    if origin is list:
        three = any(getattr(item, "max_length", None) == 3 for item in about)
        return ("three " if three else "a list of ") + _several(_words(get_args(kind)[0]))
    if _is_form(kind):
        return "a table"
    plain = {str: "text", bool: "true or false", int: "a whole number", float: "a number"}
    return plain.get(kind, "a value") + _bounds(about)


def _bounds(about: Sequence[Any]) -> str:
    words = {"gt": "above", "ge": "at least", "lt": "below", "le": "at most"}
    told = [f"{word} {getattr(item, key):g}" for key, word in words.items() for item in about if hasattr(item, key)]
    return f", {' and '.join(told)}" if told else ""


def _quantity(about: Sequence[Any]) -> Any:
    """The quantity that a validator among these reads, or None."""
    from fem.study.keys.values import Quantity

    return next((f for f in (getattr(item, "func", None) for item in about) if isinstance(f, Quantity)), None)


def _default(field: Any) -> str:
    """What counts where the key is left out, as a study would say it; "" where that is nothing."""
    value = field.default
    if _is_form(type(value)):
        value = value.model_dump(exclude_unset=True)
    if value in (None, "", [], {}):
        return ""
    items = [about for kind in get_args(field.annotation) for about in getattr(kind, "__metadata__", ())]
    quantity = _quantity([*field.metadata, *items])
    if quantity is not None:
        each = [f"{v:g} {KINDS[quantity.kind]}" for v in (value if isinstance(value, list) else [value])]
        value = each if isinstance(value, list) else each[0]
    told = f'"{value}"' if isinstance(value, str) else as_written(value)
    return f"`{told}`"


def _a(noun: str) -> str:
    return ("an " if noun[0] in "aeiou" else "a ") + noun


def _several(words: str) -> str:
    """Several of what one is called: "a length above 0" -> "lengths above 0"."""
    noun, *rest = words.removeprefix("a ").removeprefix("an ").replace(", ", " , ").split(" above ", 1)
    return f"{noun}s above {rest[0]}" if rest else f"{noun}s"


# ---- on the page


def _table(keys: Sequence[Key]) -> list[str]:
    lines = ["| key | value | if left out | |", "| --- | --- | --- | --- |"]
    for key in keys:
        cells = (f"`{key.path}`", key.value, key.default, key.description)
        lines.append("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |")
    return ["\n".join(lines) + "\n"] if keys else []


def _examples(key: Key) -> str:
    return "\n".join([f"`{key.path}`\n", *(f"```toml\n{example}\n```\n" for example in key.examples)])
