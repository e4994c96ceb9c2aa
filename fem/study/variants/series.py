"""Many variants answered: one shared mesh for all that keep the geometry, each kept as soon as it is finished."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from fem.errors import NoTrustworthyAnswer
from fem.fault import failure_line
from fem.judging.findings import Findings
from fem.processes import Lost, work_through
from fem.study.clock import Clock, Progress, clock_say
from fem.study.fingerprint import fingerprint, mesh_key
from fem.study.jobs import allowed_jobs, sensible_jobs
from fem.study.passes import solve_as_asked
from fem.study.plans import Study
from fem.study.run import answer, prepare
from fem.study.shared_mesh import SharedMesh, make_shared_mesh
from fem.study.variants.expand import Variant
from fem.study.variants.store import VariantStore

LOST = "its process was ended from outside each time, perhaps for want of memory; try --jobs 1 or a larger mesh size."
FEW_UNKNOWNS = 200_000
"""Less than this, over all variants, is solved sooner than a process with its libraries has come up."""
Worker = Callable[[SharedMesh, Sequence[Study]], Iterator[tuple[int, Any]]]
"""Answers studies on one shared mesh, in any order: the number of each and what `answer_variant` gave."""


@dataclass(frozen=True)
class VariantResult:
    """What became of a variant: its findings, or the `error` for which it has none."""

    variant: Variant
    findings: Findings | None
    error: str = ""
    file: str = ""


def answer_variant(shared_mesh: SharedMesh, study: Study, *, progress: Progress | None = None) -> Findings | str:
    """One variant's findings without pictures, or the line that says why there are none."""
    try:
        return answer(prepare(study, shared_mesh=shared_mesh), progress=progress, whole_paths=False).findings
    except Exception as error:
        return failure_line(error)


def answer_series(
    variants: Sequence[Variant],
    *,
    store: VariantStore,
    jobs: int | None = None,
    worker: Worker | None = None,
    progress: Progress | None = None,
    remark: Callable[[str], Any] = lambda _: None,
    laid: Callable[[SharedMesh], Any] = lambda _: None,
) -> tuple[VariantResult, ...]:
    """All variants answered, in their order; those that were kept are taken as they are.

    `worker` answers them elsewhere than in `jobs` processes of this machine (None: as many as fit). A variant that
    fails, for whatever reason, carries it and ends nothing else; `remark` hears what the user should know of the run,
    `laid` each shared mesh that variants were solved on.
    Errors: InputError (the disk does not take a finished one).
    """
    out: dict[int, VariantResult] = {
        i: VariantResult(v, None, v.error) for i, v in enumerate(variants) if v.study is None
    }
    keys: dict[int, str] = {}
    for i, variant in enumerate(variants):
        if variant.study is not None:
            keys[i] = fingerprint(variant.study)
            found = store.find(variant.study)
            if found is not None:
                out[i] = _result(variant, found, store)
    todo = [i for i in range(len(variants)) if i not in out]
    tally = Countdown(progress, total=len(variants), known=len(out))
    for same in _by_mesh(variants, todo):
        study = _study(variants[same[0]])
        key = mesh_key(study)
        alike = [s for v in variants if (s := v.study) is not None and mesh_key(s) == key]
        shared_mesh = _shared_mesh_of(study) if study.accuracy is None else _mesh_refined_for_one(alike)
        if isinstance(shared_mesh, str):
            out |= {i: VariantResult(variants[i], None, shared_mesh) for i in same}
            tally(len(same), "")
            continue
        laid(shared_mesh)
        # Variants of equal numbers are solved once
        first: dict[str, int] = {}
        for i in same:
            first.setdefault(keys[i], i)
        order = in_turn([_study(variants[i]) for i in first.values()])
        numbers = [list(first.values())[k] for k in order]
        studies = [_study(variants[i]) for i in numbers]
        count, why = allowed_jobs(jobs, unknowns=shared_mesh.mesh.unknowns)
        if jobs is None:
            count = _process_count(shared_mesh, len(studies))
        elif why and worker is None:
            remark(why)
        answers = (
            worker(shared_mesh, studies)
            if worker is not None
            else work_through(studies, work=answer_variant, shared=shared_mesh, jobs=count)
        )
        for k, result in answers:
            twins = [i for i in same if keys[i] == keys[numbers[k]]]
            for i in twins:
                out[i] = _finished(variants[i], result, store)
            tally(len(twins), variants[numbers[k]].name)
    return tuple(out[i] for i in range(len(variants)))


def _shared_mesh_of(study: Study) -> SharedMesh | str:
    """The shared mesh of a study, or the line that says why there is none."""
    try:
        return make_shared_mesh(study, clock=Clock(None))
    except Exception as error:
        return failure_line(error)


def _mesh_refined_for_one(studies: Sequence[Study]) -> SharedMesh | str:
    """The shared mesh whose mesh is refined for the accuracy that all of these studies ask for, by the first that can
    be solved; or the line that says why there is none. Variants on one mesh differ by what they are alone.
    """
    told = ""
    for study in studies:
        shared_mesh = _shared_mesh_of(study)
        if isinstance(shared_mesh, str):
            return shared_mesh
        try:
            ready, _ = solve_as_asked(prepare(study, shared_mesh=shared_mesh))
            return replace(ready.shared_mesh, refined_for=study.variant or study.path.stem)
        except MemoryError as error:
            return failure_line(error)
        except Exception as error:
            told = told or failure_line(error)
    return told


def _process_count(shared_mesh: SharedMesh, count: int) -> int:
    """How many processes are worth starting for so many variants."""
    unknowns = shared_mesh.mesh.unknowns
    return 1 if unknowns * count < FEW_UNKNOWNS else sensible_jobs(unknowns)


def _finished(variant: Variant, result: Any, store: VariantStore) -> VariantResult:
    if isinstance(result, Lost):
        return VariantResult(variant, None, LOST)
    if isinstance(result, str):
        return VariantResult(variant, None, result)
    try:
        return _result(variant, store.keep(_study(variant), result), store)
    except NoTrustworthyAnswer as error:
        return VariantResult(variant, None, str(error))


def _result(variant: Variant, findings: Findings, store: VariantStore) -> VariantResult:
    path = store.path_of(findings, _study(variant).variant)
    return VariantResult(variant, findings, file=f"{path.parent.name}/{path.name}")


def _study(variant: Variant) -> Study:
    assert variant.study is not None
    return variant.study


def _by_mesh(variants: Sequence[Variant], todo: Sequence[int]) -> list[list[int]]:
    groups: dict[Any, list[int]] = {}
    for i in todo:
        groups.setdefault(mesh_key(_study(variants[i])), []).append(i)
    return list(groups.values())


def in_turn(studies: Sequence[Study]) -> list[int]:
    """An order in which equal infill cells come as far from each other as may be.

    A cell is solved by the first variant that holds it and kept on disk for the others; were two of them begun at
    once, it would be solved twice.
    """
    seen: dict[str, int] = {}
    turn = []
    for study in studies:
        cell = repr([_cell(body.print) for body in study.bodies.values()])
        turn.append(seen.get(cell, 0))
        seen[cell] = turn[-1] + 1
    return sorted(range(len(studies)), key=lambda i: turn[i])


def _cell(keys: Any) -> Any:
    if keys is None:
        return None
    bead = keys.bead_width, keys.bead_height
    made = keys.infill_pattern, keys.infill_density, keys.infill_quality
    return keys.polymer, keys.state, keys.temperature, bead, *made


class Countdown:
    """Says which variant is being solved and how long the rest will take, at the pace so far."""

    def __init__(self, progress: Progress | None, *, total: int, known: int) -> None:
        self._progress, self._total = progress, total
        self._done = self._known = known
        self._since = time.perf_counter()
        self(0, "")

    def __call__(self, count: int, name: str) -> None:
        """So many more are done, the last of them of this name."""
        self._done += count
        share = 0.02 + 0.95 * self._done / max(1, self._total)
        if self._done >= self._total:
            return clock_say(self._progress, "all variants done", share)
        text = f"variant {self._done + 1} of {self._total}"
        computed = self._done - self._known
        if computed > 0:
            left = (time.perf_counter() - self._since) / computed * (self._total - self._done)
            text += f", {time_text(left)} left"
        clock_say(self._progress, f"{text}; done: {name}" if name else text, share)


def time_text(seconds: float) -> str:
    """A length of time as one says it."""
    if seconds < 90:
        return f"about {seconds:.0f} s"
    return f"about {seconds / 60:.0f} min" if seconds < 5400 else f"about {seconds / 3600:.1f} h"
