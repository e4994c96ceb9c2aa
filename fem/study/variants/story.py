"""The whole story of a comparison, one line a step.

All variants are solved homogenised, in seconds each; then the leaders are solved bead by bead, and one is named.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from fem.cores import cores
from fem.errors import InputError
from fem.judging.choice import Comparison, VariantNumbers, compare
from fem.judging.choice_file import write_choice
from fem.study.change import homogenised, own_value
from fem.study.clock import Progress, clock_say
from fem.study.file import read_study
from fem.study.fingerprint import fingerprint_of_all
from fem.study.folder import open_folder
from fem.study.machine import program_version
from fem.study.plans import Study
from fem.study.shared_mesh import SharedMesh, expected_unknowns, own_sizes, read_bodies
from fem.study.variants.asked import results_folder
from fem.study.variants.cluster import LOCAL, open_cluster
from fem.study.variants.expand import MOST, Variant, count_variants, expand
from fem.study.variants.leaders import look_at_leaders
from fem.study.variants.names import as_written
from fem.study.variants.numbers import numbers_of_variant, write_table
from fem.study.variants.portraits import draw_portraits
from fem.study.variants.series import Worker, answer_series, time_text
from fem.study.variants.store import VariantStore

MANY = 500
"""More variants than this are computed only when asked for twice."""
SHARE_OF_VARIANTS = 0.6
"""How far the bar is when all variants are solved and leaders are still to be looked at."""
SECONDS_PER_UNKNOWN = 2.0e-4
"""About what one core takes for a variant of the demonstration; see studies/speed."""


@dataclass(frozen=True)
class Compared:
    """A comparison and where it lies: `page` the page that draws it; `notes` what the user should hear of the run."""

    comparison: Comparison
    page: Path
    notes: tuple[str, ...]


def compare_study(
    path: Path | str,
    *,
    out: Path | None = None,
    jobs: int | None = None,
    resume: bool = False,
    yes: bool = False,
    cluster: str | None = None,
    changes: Mapping[str, Any] | None = None,
    pictures: bool = True,
    progress: Progress | None = None,
) -> Compared:
    """Answer all variants of a study file and write their comparison into results/<study>/ (or `out`).

    Variants are solved homogenised, whatever [judge] says; the worst places of the leaders (`leaders.py`) are then
    solved bead by bead as its `zoom` asks, 0 for none. `changes` are values at paths of keys that count in place of
    the file's ({"judge.zoom": 3}).
    A variant that was finished before with the same inputs is taken as it was; with `resume` the notes say how many
    even when there were none. `jobs` processes of this machine work (None: as many as there are cores and memory
    for), or a `cluster`: the address of a Dask scheduler, or "local". Without `pictures` no variant is drawn.
    Errors: InputError, among them more variants than `MANY` unless `yes`.
    """
    study = read_study(path).with_(changes) if changes else read_study(path)
    if jobs is not None and jobs < 1:
        raise InputError(f"{jobs} processes are asked for; at least one is needed.", where="--jobs")
    if jobs is not None and cluster not in (None, LOCAL):
        raise InputError(
            f"the cluster at {cluster} has processes of its own.", where="--jobs", advice="Leave it out."
        )
    if not yes:
        refuse_many(study, jobs=jobs)
    clock_say(progress, "spell out the variants", 0.01)
    variants = expand(homogenised(study))
    place = results_folder(study, out)
    with open_folder(place) as folder, worker_of(cluster, jobs=jobs) as worker:
        return _compared(
            study, variants, folder, jobs=jobs, resume=resume, worker=worker, pictures=pictures, progress=progress
        )


def _compared(
    study: Study,
    variants: Sequence[Variant],
    folder: Path,
    *,
    jobs: int | None,
    resume: bool,
    worker: Worker | None,
    pictures: bool,
    progress: Progress | None,
) -> Compared:
    store = VariantStore(folder)
    notes = []
    if worker is not None and jobs is not None and jobs > cores():
        notes.append(f"{jobs:,} processes were asked for; there are {cores()} cores for as many.")
    notes += [
        f"{count} kept {'variant is' if count == 1 else 'variants are'} of {maker} and not taken; the old "
        f"{'file stays' if count == 1 else 'files stay'}."
        for maker, count in store.not_taken().items()
    ]
    taken = store.count(v.study for v in variants if v.study is not None)
    if taken or resume:
        notes.append(f"{taken} of {len(variants)} variants were finished before and are taken as they were.")
    share = 1.0 if study.judge.zoom == 0 else SHARE_OF_VARIANTS
    shared_meshes: list[SharedMesh] = []
    told = answer_series(
        variants,
        store=store,
        jobs=jobs,
        worker=worker,
        progress=lambda text, done: clock_say(progress, text, share * done),
        remark=notes.append,
        laid=lambda shared_mesh: shared_meshes.__setitem__(slice(None), [shared_mesh]),
    )
    if not any(each.findings for each in told):
        raise InputError(f"no variant could be solved; the first one: {told[0].error}", where=str(study.path))
    numbers = [numbers_of_variant(each) for each in told]
    led = look_at_leaders(
        study,
        variants,
        numbers,
        choose_from=lambda own: put_side_by_side(study, own),
        store=store,
        worker=worker,
        progress=lambda text, done: clock_say(progress, text, share + (0.94 - share) * done),
    )
    notes += led.notes
    comparison = put_side_by_side(study, led.numbers)
    comparison = replace(
        comparison,
        leaders=led.names,
        cautions=(*led.notes, *comparison.cautions),
        fingerprint=fingerprint_of_all(study, {v.name: v.study for v in variants}),
    )
    if pictures:
        draw_portraits(
            comparison,
            variants,
            folder=folder,
            shared_mesh=shared_meshes[0] if shared_meshes else None,
            remark=notes.append,
            progress=lambda text, done: clock_say(progress, text, 0.94 + 0.04 * done),
        )
    clock_say(progress, "table and page", 0.98)
    page = write_all(comparison, folder, pictures=pictures)
    clock_say(progress, "done", 1.0)
    return Compared(comparison, page, tuple(dict.fromkeys(notes)))


def refuse_many(study: Study, *, jobs: int | None) -> None:
    """Errors: InputError for more variants than `MANY`, with what they would cost."""
    count = count_variants(study)
    if not MANY < count <= MOST:
        return  # more than that are refused before they are spelled out
    solids = read_bodies(study)
    each = SECONDS_PER_UNKNOWN * sum(expected_unknowns(solids, own_sizes(study)).values())
    processes = jobs or cores()
    raise InputError(
        f"{count:,} variants at about {each / 60:.2g} min each take {time_text(count * each / processes)} "
        f"on {processes} {'core' if processes == 1 else 'cores'}.",
        where=f"{study.path}: sweep",
        advice="Ask for fewer, or say --yes.",
    )


def put_side_by_side(study: Study, numbers: Sequence[VariantNumbers]) -> Comparison:
    """The comparison of a study's variants."""
    from fem.judging.verdict import goal_of

    required, asked = goal_of(study.requirements.reserve, study.requirements.reserve_away)
    found = compare(
        numbers,
        title=study.title,
        question=study.question,
        required_reserve=required,
        reserve_asked=asked,
        sweep={path: tuple(map(as_written, values)) for path, values in study.sweep.items()},
        cautions=shared_cautions(numbers),
        beadwork=program_version(),
        base={path: text for v in numbers for path in v.settings if (text := own_value(study, path)) is not None},
    )
    return replace(found, currency=study.currency)


def shared_cautions(numbers: Sequence[VariantNumbers]) -> tuple[str, ...]:
    """Cautions that every answered variant carries, less those that can turn the verdict: they are told apart."""
    answered = [v for v in numbers if v.answered]
    first = answered[0].cautions if answered else ()
    return tuple(c for c in first if all(c in v.cautions and c not in v.decisive.values() for v in answered))


def write_all(comparison: Comparison, folder: Path, *, pictures: bool = True) -> Path:
    """Write comparison.csv, comparison.json and the page. Errors: InputError when the disk does not take them."""
    from fem.telling.comparison import write_comparison

    try:
        write_table(comparison, folder / "comparison.csv")
        write_choice(comparison, folder / "comparison.json")
        return write_comparison(comparison, folder=folder, pictures=pictures)
    except OSError as error:
        raise InputError(
            f"the comparison cannot be written ({error.strerror}).",
            where=str(folder),
            advice="Make room and run again: the finished variants are kept.",
        ) from None


@contextmanager
def worker_of(cluster: str | None, *, jobs: int | None) -> Iterator[Worker | None]:
    """What answers the variants: the cluster asked for, or None for processes of this machine."""
    if cluster is None:
        yield None
        return
    with open_cluster(cluster, jobs=jobs) as worker:
        yield worker
