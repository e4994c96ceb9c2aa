"""The leaders of a comparison solved again, now bead by bead, before the one to print is named.

Which they are says `judging/leading.py`. Each is kept as soon as it is finished, under a fingerprint of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from fem.errors import InputError
from fem.judging.choice import Comparison, VariantNumbers
from fem.judging.leading import MOST_LEADERS, next_leader
from fem.study.change import zoomed_as
from fem.study.clock import Progress, clock_say
from fem.study.plans import Study
from fem.study.shared_mesh import SharedMesh
from fem.study.variants.expand import Variant
from fem.study.variants.numbers import numbers_of_variant
from fem.study.variants.series import VariantResult, Worker, answer_series, answer_variant
from fem.study.variants.store import VariantStore


@dataclass(frozen=True)
class Led:
    """The numbers of all variants, the leaders' by their beads; the leaders by `names`, and what must be said."""

    numbers: tuple[VariantNumbers, ...]
    names: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def look_at_leaders(
    study: Study,
    variants: Sequence[Variant],
    numbers: Sequence[VariantNumbers],
    *,
    choose_from: Callable[[Sequence[VariantNumbers]], Comparison],
    store: VariantStore,
    worker: Worker | None = None,
    progress: Progress | None = None,
) -> Led:
    """Solve leaders bead by bead until the variant that `choose_from` names is one of them; none where the study's
    [judge] says zoom = 0.

    A leader that fails keeps its homogenised numbers, and the notes say why.
    Errors: InputError (the disk does not take a finished one).
    """
    known, notes = {v.name: v for v in numbers}, []
    looked: list[str] = []
    while study.judge.zoom != 0:
        found = choose_from(tuple(known.values()))
        name = next_leader(
            found.variants,
            required_reserve=found.required_reserve,
            reserve_asked=found.reserve_asked,
            base=found.base,
            looked=looked,
        )
        if name is None:
            notes += _not_looked_at(found, looked)
            break
        variant = next(v for v in variants if v.name == name)
        say = _voice(progress, name, turn=len(looked))
        told = _bead_by_bead(variant, study, store=store, worker=worker, progress=say)
        looked.append(name)
        if trouble := _trouble(told):
            notes.append(f"{name} could not be solved bead by bead, its numbers are homogenised: {trouble}")
        else:
            known[name] = numbers_of_variant(told)
    names = tuple(name for name in looked if known[name].zoomed is not None)
    return Led(tuple(known.values()), names, tuple(notes))


def _bead_by_bead(
    variant: Variant, study: Study, *, store: VariantStore, worker: Worker | None, progress: Progress
) -> VariantResult:
    assert variant.study is not None
    try:
        leader = replace(variant, study=zoomed_as(variant.study, study))
    except InputError as error:
        return VariantResult(variant, None, str(error))

    def here(shared_mesh: SharedMesh, studies: Sequence[Study]) -> Iterator[tuple[int, Any]]:
        yield from ((i, answer_variant(shared_mesh, each, progress=progress)) for i, each in enumerate(studies))

    (told,) = answer_series([leader], store=store, worker=worker or here)
    return told


def _trouble(told: VariantResult) -> str:
    """Why the beads of a leader say nothing, "" where they do or where none had to be asked."""
    if told.findings is None:
        return told.error
    failed = [c.text for c in told.findings.cautions if c.kind == "no_zoom"]
    return failed[0] if failed and not any(case.zooms for case in told.findings.cases.values()) else ""


def _not_looked_at(found: Comparison, looked: Sequence[str]) -> list[str]:
    """What must be said where the named variant was not looked at, since enough others were."""
    if found.best is None or len(looked) < MOST_LEADERS or found[found.best].zoomed is not None:
        return []
    return [
        f"{found.best} was not solved bead by bead, since {MOST_LEADERS} others were: its reserve factor is the "
        "homogenised one. beadwork run with its settings solves it."
    ]


def _voice(progress: Progress | None, name: str, *, turn: int) -> Progress:
    """Says which leader is being solved; nobody knows how many there will be."""
    low, high = turn / MOST_LEADERS, (turn + 1) / MOST_LEADERS
    return lambda text, share: clock_say(progress, f"leader {name}: {text}", low + (high - low) * share)
