"""A study changed at some of its keys, and read anew, so that it is checked as strictly as a file.

A change is a dotted path, as the file itself would nest it, and the value that stands there instead.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Mapping
from typing import Any

from fem.errors import InputError, nearest
from fem.study.file import study_of
from fem.study.form import key_path
from fem.study.plans import Study
from fem.study.variants.names import as_written

NOT_TO_CHANGE = ("variants", "sweep")
MATERIALS = ("print", "metal", "laminate")
"""What a body is made of: one of these keys."""


def changed(study: Study, values: Mapping[str, Any], *, where: str, variant: str = "") -> Study:
    """The study with `values` at dotted paths; a `variant` bears that name and has no variants of its own.

    Errors: InputError, at the place `where`, for a path that no key has and for a study that stands in no file; as
    for reading a file.
    """
    if not study.text:
        raise InputError(
            "this study was changed by a script, so that no file holds it.",
            where=where,
            advice="Change the study that was read, with its with_.",
        )
    wanted = {checked_path(study, path, where=where): value for path, value in values.items()}
    left_out = NOT_TO_CHANGE if variant else ()
    tree = {key: copy.deepcopy(value) for key, value in study.tree.items() if key not in left_out}
    for steps, value in wanted.items():
        put(tree, steps, value, touched=set(wanted))
    told = {**study.changes, **{key_path(steps): as_written(value) for steps, value in wanted.items()}}
    return study_of(tree, file=study.path, text=study.text, variant=variant, changes=told)


def homogenised(study: Study) -> Study:
    """The study without anything solved bead by bead, whatever its [judge] says."""
    return study.with_({"judge": {"zoom": 0}})


def zoomed_as(variant: Study, study: Study) -> Study:
    """A variant whose worst places are solved bead by bead as the [judge] of `study` asks; not the whole of it.

    Errors: InputError for boxes that do not suit its beads.
    """
    judge = {key: value for key, value in study.tree.get("judge", {}).items() if key != "whole"}
    return changed(variant, {"judge": judge}, where=str(variant.path), variant=variant.variant)


def checked_path(study: Study, path: str, *, where: str) -> tuple[str, ...]:
    """The steps of a dotted path, each a key that the study file has there or a name that this study bears.

    Errors: InputError with the nearest ones.
    """
    from fem.study.keys import form_at, known_keys

    steps = split_path(path)
    if not steps:
        raise InputError(f'"{path}" is no path of keys.', where=where, advice='Write "bodies.NAME.print.walls".')
    if steps[0] in NOT_TO_CHANGE:
        raise InputError(f'"{path}" cannot be changed by a variant.', where=where)
    here: Any = study.tree
    for i, step in enumerate(steps):
        place, above = steps[:i], key_path(steps[:i])
        known = known_keys(place)
        form = form_at(place)
        if known:
            if step not in known:
                known = [k for k in known if k not in NOT_TO_CHANGE]
                raise _no_key(path, above, nearest(step, known), where)
        elif getattr(form, "__origin__", None) is dict:
            names = list(here) if isinstance(here, Mapping) else []
            # A number by name, such as a case's factor, may be new; a table of a name must be there
            if step not in names and known_keys(steps[: i + 1]):
                raise _no_key(path, above, nearest(step, names), where)
        else:
            raise _no_key(path, above, f"{above} is a value of its own: give all of it.", where)
        here = here.get(step) if isinstance(here, Mapping) else None
    return steps


def _no_key(path: str, above: str, advice: str, where: str) -> InputError:
    inside = f" in {above}" if above else ""
    return InputError(
        f'no key has the path "{path}":{inside or " at the top"} there is none so called.', where=where, advice=advice
    )


def split_path(path: str) -> tuple[str, ...]:
    """The steps of a dotted path; a step that holds a dot stands in quotes. Empty when it is no path."""
    step = r"""(?:"([^"]+)"|'([^']+)'|([^."'\s]+))"""
    if not re.fullmatch(rf"\s*{step}(?:\.{step})*\s*", path):
        return ()
    return tuple(next(g for g in found if g) for found in re.findall(step, path))


def put(
    tree: dict[str, Any], steps: tuple[str, ...], value: Any, *, touched: set[tuple[str, ...]] | None = None
) -> None:
    """Put a value at a place of the file's tables, in place.

    Of print, metal and laminate one takes the place of another, unless the variant `touched` both itself; a word that
    stands for a table (infill = "solid") becomes that table before one of its keys is changed.
    """
    here = tree
    for step in steps[:-1]:
        inner = here.get(step)
        if isinstance(inner, str):
            inner = {"card" if step == "laminate" else "pattern": inner}
        here[step] = inner if isinstance(inner, dict) else {}
        here = here[step]
    here[steps[-1]] = copy.deepcopy(value)
    if len(steps) >= 3 and steps[0] == "bodies" and steps[2] in MATERIALS:
        body = tree["bodies"][steps[1]]
        kept = {s[2] for s in touched or () if s[:2] == steps[:2] and len(s) >= 3} | {steps[2]}
        for other in set(MATERIALS) - kept:
            if body.pop(other, None) is not None and other == "metal":
                body.pop("state", None)


def own_value(study: Study, path: str) -> str | None:
    """What the study file itself says at a path, in its own words; None where it says nothing."""
    here: Any = study.tree
    for step in split_path(path):
        if not isinstance(here, Mapping) or step not in here:
            return None
        here = here[step]
    return as_written(here)
