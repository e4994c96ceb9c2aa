"""`[variants]` and `[sweep]` spelled out: each variant is the study with some of its keys changed.

A change is a dotted path in quotes, as the file itself would nest it, and the value that stands there instead. What
comes out is read as a study of its own, so that a variant is checked as strictly as a file.
"""

from __future__ import annotations

import copy
import itertools
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from fem.errors import InputError, nearest
from fem.fault import fault_line
from fem.study.file import key_path, study_of
from fem.study.plans import Study
from fem.study.variants.names import as_written, sweep_name

MARK = "reference"
"""The key that marks a variant as the part that the others are measured against."""
COST = "cost"
"""The key that says what a variant costs, in the user's own money, where the estimate of a print does not."""
NOT_TO_CHANGE = ("variants", "sweep")
MOST = 20_000
"""More variants than this are refused: to spell one out takes some milliseconds and kilobytes."""


@dataclass(frozen=True)
class Variant:
    """One variant: `settings` the changed paths and their values in the file's own words, `study` what comes of it,
    or None with the reason in `error`. `cost` in the user's own money is None where nothing is said.
    """

    name: str
    settings: dict[str, str]
    study: Study | None
    error: str = ""
    reference: bool = False
    cost: float | None = None


def count_variants(study: Study) -> int:
    """How many variants a study holds, without making them."""
    return len(study.variants) + (math.prod(len(values) for values in study.sweep.values()) if study.sweep else 0)


def expand(study: Study) -> tuple[Variant, ...]:
    """The named variants, then the full product of the sweep.

    A variant that makes no valid study is kept with the reason. Errors: InputError for a path that no key has, a
    value that stands twice in a sweep, two references, a study without variants or with more than `MOST`.
    """
    where = str(study.path)
    count = count_variants(study)
    if count > MOST:
        told = f"{count:,}" if count < 10**15 else f"more than {10**15:,}"
        raise InputError(
            f"it holds {told} variants; {MOST:,} can be compared.",
            where=f"{where}: sweep",
            advice="Sweep fewer keys at once, or fewer values.",
        )
    if not count:
        raise InputError(
            "it holds nothing to compare.", where=where, advice="Add [variants] or [sweep]; the README shows how."
        )
    named = [_named(study, name, changes) for name, changes in study.variants.items()]
    marked = [v.name for v in named if v.reference]
    if len(marked) > 1:
        raise InputError(
            f"{marked[0]} and {marked[1]} are both marked as the reference part.",
            where=f"{where}: variants",
            advice="There can be only one.",
        )
    swept = _swept(study)
    twice = {v.name for v in named} & {v.name for v in swept}
    if twice:
        name = min(twice)
        raise InputError(
            f'the sweep makes a variant of the name "{name}" too.', where=f"{where}: variants", advice="Rename it."
        )
    return (*named, *swept)


def _named(study: Study, name: str, changes: Mapping[str, Any]) -> Variant:
    place = f"{study.path}: {key_path(('variants', name))}"
    mark = changes.get(MARK, False)
    if not isinstance(mark, bool):
        raise InputError(f"{MARK} must be true or false.", where=f"{place}.{MARK}")
    cost = changes.get(COST)
    if cost is not None and (isinstance(cost, bool) or not isinstance(cost, int | float) or not 0 < cost < math.inf):
        raise InputError(f"{COST} must be a number above 0, in your own money.", where=f"{place}.{COST}")
    wanted = {}
    for path, value in changes.items():
        if path not in (MARK, COST):
            if isinstance(value, Mapping) and "." not in path and path in study.tree:
                raise InputError(
                    f"{path} would be replaced as a whole.",
                    where=place,
                    advice=f'Put the whole path in quotes, such as "{path}.{next(iter(value), "NAME")}" = ...',
                )
            wanted[path] = (checked_path(study, path, where=place), value)
    return replace(_made(study, name, wanted), reference=mark, cost=None if cost is None else float(cost))


def _swept(study: Study) -> list[Variant]:
    if not study.sweep:
        return []
    where = f"{study.path}: sweep"
    steps = {path: checked_path(study, path, where=where) for path in study.sweep}
    for path, values in study.sweep.items():
        texts = [as_written(v) for v in values]
        again = next((t for i, t in enumerate(texts) if t in texts[:i]), None)
        if again is not None:
            raise InputError(f"{again} stands there twice.", where=f"{where}.{path}", advice="Keep one of them.")
    out = []
    for values in itertools.product(*study.sweep.values()):
        chosen = dict(zip(study.sweep, values, strict=True))
        name = sweep_name(steps, chosen)
        out.append(_made(study, name, {path: (steps[path], value) for path, value in chosen.items()}))
    return out


def _made(study: Study, name: str, wanted: Mapping[str, tuple[tuple[str, ...], Any]]) -> Variant:
    settings = {path: as_written(value) for path, (_, value) in wanted.items()}
    tree = {k: copy.deepcopy(v) for k, v in study.tree.items() if k not in NOT_TO_CHANGE}
    touched = {steps for steps, _ in wanted.values()}
    for steps, value in wanted.values():
        put(tree, steps, value, touched=touched)
    try:
        made = study_of(tree, file=study.path, text=study.text, variant=name, changes=settings)
    except InputError as error:
        return Variant(name, settings, None, str(error))
    except Exception as error:
        return Variant(name, settings, None, fault_line(error))
    return Variant(name, settings, made)


# ---- paths


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

    A metal takes the place of a print plan and the other way round, unless the variant `touched` both itself; a word
    that stands for a table (infill = "solid") becomes that table before one of its keys is changed.
    """
    here = tree
    for step in steps[:-1]:
        inner = here.get(step)
        if isinstance(inner, str):
            inner = {"pattern": inner}
        here[step] = inner if isinstance(inner, dict) else {}
        here = here[step]
    here[steps[-1]] = copy.deepcopy(value)
    if len(steps) >= 3 and steps[0] == "bodies" and steps[2] in ("metal", "print"):
        body = tree["bodies"][steps[1]]
        ways = {s[2] for s in touched or () if s[:2] == steps[:2] and len(s) >= 3}
        if steps[2] == "metal" and "print" not in ways:
            body.pop("print", None)
        if steps[2] == "print" and "metal" not in ways and "metal" in body:
            del body["metal"]
            body.pop("state", None)


def own_value(study: Study, path: str) -> str | None:
    """What the study file itself says at a path, in its own words; None where it says nothing."""
    here: Any = study.tree
    for step in split_path(path):
        if not isinstance(here, Mapping) or step not in here:
            return None
        here = here[step]
    return as_written(here)
