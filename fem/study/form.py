"""From the tables of a study file to its checked form; all that is wrong with them is told at once.

A line has the form `file: key.path: what is wrong. What to do.`
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from difflib import get_close_matches
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fem.errors import InputError, nearest, together

if TYPE_CHECKING:
    from fem.study.keys import StudyForm

MOST_TOLD = 30
"""More faults of one file than this are counted, not told."""


def checked_form(tree: dict[str, Any], file: Path) -> StudyForm:
    """The form that a parsed file's tables make.

    Errors: InputError that tells every misspelt, missing and misshapen key, then every name that stands for nothing.
    """
    from pydantic import ValidationError

    from fem.study.keys import StudyForm
    from fem.study.names import wrong_names

    form, faults = None, list[Mapping[str, Any]]()
    try:
        form = StudyForm.model_validate(tree)
    except ValidationError as error:
        faults = _misspelt_first(error.errors(include_url=False))
    # One fault a place: what a name should stand for says more than that its key or value is misshapen
    told: dict[str, Callable[[], tuple[str, str]]] = {}
    for fault in faults:
        told.setdefault(key_path(fault["loc"]), partial(_in_words, fault))
    told |= {key_path(place): words for place, words in wrong_names(tree).items()}
    if form is not None and not told:
        return form
    errors = []
    for place, in_words in list(told.items())[:MOST_TOLD]:
        what, advice = in_words()
        errors.append(InputError(what, where=f"{file}: {place}".removesuffix(": "), advice=advice))
    raise together(errors, where=str(file), more=len(told) - len(errors))


def _misspelt_first(faults: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Misspelt keys first, without the missing keys that they were meant to be."""
    from fem.study.keys import RENAMED

    misspelt = [fault for fault in faults if fault["type"] == "extra_forbidden"]
    beside: dict[tuple[Any, ...], list[str]] = {}
    for fault in misspelt:
        beside.setdefault(fault["loc"][:-1], []).append(str(fault["loc"][-1]))

    def meant(fault: Mapping[str, Any]) -> bool:
        *place, key = fault["loc"]
        words = beside.get(tuple(place), [])[:MOST_TOLD] if fault["type"] == "missing" else []
        return any(RENAMED.get(word) == key for word in words) or bool(get_close_matches(str(key), words, cutoff=0.5))

    return [*misspelt, *(f for f in faults if f["type"] != "extra_forbidden" and not meant(f))]


SILENT = ("[key]", "[plain]", "[table]")
"""Steps that tell forms apart and are no keys of the file."""


def key_path(steps: Iterable[Any]) -> str:
    """The place in the file as the user would write it: `loads.lift.force[1]`."""
    out = ""
    for step in steps:
        if isinstance(step, int):
            out += f"[{step + 1}]"
        elif step not in SILENT:
            plain = step if re.fullmatch(r"[A-Za-z0-9_-]+", step) else json.dumps(step, ensure_ascii=False)
            out += f".{plain}" if out else plain
    return out


WANTED = {
    "string_type": "must be text in quotes",
    "int_type": "must be a whole number",
    "int_from_float": "must be a whole number",
    "float_type": "must be a number without a unit",
    "finite_number": "must be a finite number",
    "bool_type": "must be true or false",
    "list_type": "must be a list in square brackets",
    "dict_type": "must be a table",
    "model_type": "must be a table",
    "model_attributes_type": "must be a table",
}
"""Kinds of a misshapen value -> what it must be."""


def _in_words(error: Mapping[str, Any]) -> tuple[str, str]:
    """What is wrong and what to do, for one error of the form's check."""
    from fem.study.keys import known_keys, renamed

    kind, value, context = error["type"], _shown(error["input"]), error.get("ctx", {})
    if kind == "beadwork":
        return context["message"], context["advice"]
    if kind == "extra_forbidden" and (new := renamed(error["loc"])):
        return f'this key is called "{new}" now.', "Rename it."
    if kind == "extra_forbidden":
        return "unknown key.", nearest(str(error["loc"][-1]), known_keys(error["loc"][:-1]))
    if kind == "missing":
        return "this key is missing.", "Add it."
    if kind in WANTED:
        return f"{WANTED[kind]}, not {value}.", ""
    if kind in ("too_short", "too_long"):
        bound = context["min_length"] if kind == "too_short" else context["max_length"]
        if bound == 3:
            return f"needs three entries, not {context['actual_length']}.", "One for each of x, y, z."
        return "must not be empty.", ""
    if kind == "string_too_short":
        return "must not be empty.", ""
    bounds = {
        "greater_than": ("gt", "more than"),
        "greater_than_equal": ("ge", "at least"),
        "less_than": ("lt", "less than"),
        "less_than_equal": ("le", "at most"),
    }
    if kind in bounds:
        key, word = bounds[kind]
        return f"must be {word} {context[key]:g}, not {value}.", ""
    if kind == "literal_error":
        return f"{value} is not accepted.", f"Write {context['expected']}."
    return f"{value} is not accepted: {error['msg']}.", ""


def _shown(value: Any) -> str:
    try:
        text = json.dumps(value, ensure_ascii=False, default=str)
    except (TypeError, ValueError):
        text = str(value)
    return text if len(text) <= 60 else text[:57] + "..."
