"""How far a study's own answer moves with its mesh: the evidence that a study gives of itself."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from fem.evidence.nouns import MESHES, Check, Row
from fem.study.change import homogenised
from fem.study.file import read_study
from fem.study.plans import Study
from fem.study.shared_mesh import own_sizes, read_bodies

Progress = Callable[[str, float], None]

FACTORS = (1.33, 1.0, 0.75)
"""Mesh sizes over the study's own, the finest last."""
ALLOWED = 0.05
"""What an answer may move between meshes and still be called settled."""


@dataclass(frozen=True)
class Solved:
    """A study's homogenised answer on one mesh: `reserve` and `displacement` [mm] by case."""

    size: str
    unknowns: int
    reserve: dict[str, float]
    displacement: dict[str, float]


def refined(path: Path | str, *, progress: Progress | None = None) -> Check:
    """The check of a study on three meshes. Errors: those of reading and solving it."""
    study = _on_given_meshes(homogenised(read_study(path)))
    return Check(MESHES, study.title, lambda: _rows(study, progress or (lambda _text, _share: None)))


def _on_given_meshes(study: Study) -> Study:
    """The study without an accuracy for which its meshes would be refined further."""
    return replace(study, bodies={n: replace(b, accuracy=None, most_unknowns=None) for n, b in study.bodies.items()})


def _rows(study: Study, say: Progress) -> Iterator[Row]:
    solids = read_bodies(study)
    own = {}
    for name, (size, finest) in own_sizes(study).items():
        size = solids[name].size / 20 if size is None else size
        own[name] = (size, size / 4 if finest is None else finest)
    solved: list[Solved] = []
    for k, factor in enumerate(FACTORS):
        sizes = {name: (factor * size, factor * finest) for name, (size, finest) in own.items()}

        def part(_text: str, share: float, k: int = k, title: str = _size_text(sizes)) -> None:
            say(f"{study.path.stem}, mesh of {title}", (k + share) / len(FACTORS))

        solved.append(_solve(study, sizes, part))
    finest_one = solved[-1]
    for case in study.cases:
        for words, unit, key in (("reserve factor", "1", "reserve"), ("displacement", "mm", "displacement")):
            published = getattr(finest_one, key)[case]
            for one in solved[:-1]:
                computed = getattr(one, key)[case]
                if not (math.isfinite(published) and math.isfinite(computed)):
                    continue  # loads that cannot fail the part have no number to compare
                yield Row(
                    f"{study.path.stem}, {case}, {one.size}: {words}",
                    f"finest mesh of this study ({finest_one.size})",
                    float(f"{published:.6g}"),
                    computed,
                    unit,
                    f"homogenised; {one.unknowns:,} unknowns, the finest {finest_one.unknowns:,}",
                    ALLOWED,
                    "the program against itself, on meshes of other sizes",
                )


def _size_text(sizes: Mapping[str, tuple[float, float]]) -> str:
    """The mesh size of each body."""
    return ", ".join(dict.fromkeys(f"{size:.3g} mm" for size, _ in sizes.values()))


def _solve(study: Study, sizes: Mapping[str, tuple[float, float]], say: Progress) -> Solved:
    from fem.study.run import answer, prepare

    ready = prepare(study, sizes=sizes, progress=say)
    cases = answer(ready, progress=say).findings.cases
    return Solved(
        _size_text(sizes),
        ready.mesh.unknowns,
        {name: case.reserve.minimum for name, case in cases.items()},
        {name: case.maximum_displacement_mm for name, case in cases.items()},
    )
