"""`[variants]` and `[sweep]` spelled out: each variant is the study with some of its keys changed.

Each is read as a study of its own (`change.py`), so that a variant is checked as strictly as a file.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from fem.errors import InputError, nearest, shown
from fem.fault import fault_line
from fem.study.change import changed, checked_path
from fem.study.form import key_path
from fem.study.plans import Study
from fem.study.variants.names import as_written, sweep_name

MARK = "reference"
"""The key that marks a variant as the part that the others are measured against."""
COST = "cost"
"""The key that says what a variant costs, in the user's own money, where the estimate of a print does not."""
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
            checked_path(study, path, where=place)
            wanted[path] = value
    return replace(_made(study, name, wanted), reference=mark, cost=None if cost is None else float(cost))


def variant_of(study: Study, name: str) -> Study:
    """The one variant of that name, as a study of its own.

    Errors: InputError, with names near it, for a name that no variant bears; as for the study that comes of it.
    """
    if name in study.variants:
        found: Variant | None = _named(study, name, study.variants[name])
    else:
        found = next((_made(study, own, chosen) for own, chosen in _combinations(study) if own == name), None)
    if found is None:
        known = [*study.variants, *(own for own, _ in _combinations(study))]
        told = f"no variant is called {shown(name)}." if known else "the study has no variants."
        raise InputError(
            told, where=str(study.path), advice=nearest(name, known) if known else "Leave --variant out."
        )
    if found.study is None:
        raise InputError(f"the variant {shown(name)} cannot be solved: {found.error}", where=str(study.path))
    return found.study


def _swept(study: Study) -> list[Variant]:
    return [_made(study, name, chosen) for name, chosen in _combinations(study)]


def _combinations(study: Study) -> Iterator[tuple[str, dict[str, Any]]]:
    """The names of the sweep's variants, each with the value at every swept path. Errors: InputError."""
    if not study.sweep:
        return
    where = f"{study.path}: sweep"
    steps = {path: checked_path(study, path, where=where) for path in study.sweep}
    for path, values in study.sweep.items():
        texts = [as_written(v) for v in values]
        again = next((t for i, t in enumerate(texts) if t in texts[:i]), None)
        if again is not None:
            raise InputError(f"{again} stands there twice.", where=f"{where}.{path}", advice="Keep one of them.")
    for values in itertools.product(*study.sweep.values()):
        chosen = dict(zip(study.sweep, values, strict=True))
        yield sweep_name(steps, chosen), chosen


def _made(study: Study, name: str, wanted: Mapping[str, Any]) -> Variant:
    settings = {path: as_written(value) for path, value in wanted.items()}
    try:
        return Variant(name, settings, changed(study, wanted, where=str(study.path), variant=name))
    except InputError as error:
        return Variant(name, settings, None, str(error))
    except Exception as error:
        return Variant(name, settings, None, fault_line(error))
