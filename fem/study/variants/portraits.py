"""Pictures of the few variants that a comparison is about: solved once more, on the mesh they were solved on."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from fem.errors import BeadworkError
from fem.judging.choice import Comparison
from fem.study.clock import Progress, clock_say
from fem.study.fingerprint import mesh_key
from fem.study.run import answer, prepare
from fem.study.shared_mesh import SharedMesh
from fem.study.variants.expand import Variant


def draw_portraits(
    comparison: Comparison,
    variants: Sequence[Variant],
    *,
    folder: Path,
    shared_mesh: SharedMesh | None,
    remark: Callable[[str], Any],
    progress: Progress | None = None,
) -> None:
    """Draw the variants that the page shows and that have no picture yet, beside their findings in `folder`.

    Those of another mesh than the `shared_mesh` (None: all were kept) are solved on one of their own where their
    sizes are given, and left out where it would have to be refined first. One that cannot be drawn is told to
    `remark`.
    """
    from fem.telling.comparison.portraits import draw_portrait, portrait_of, room_for, to_draw

    studies = {variant.name: variant.study for variant in variants}
    names = to_draw(comparison)
    for i, name in enumerate(names):
        clock_say(progress, f"pictures: {name}", i / len(names))
        study, file = studies[name], folder / portrait_of(comparison, name)
        if study is None or file.is_file():
            continue
        shared = shared_mesh if shared_mesh is not None and shared_mesh.key == mesh_key(study) else None
        if shared is None and study.accuracy is not None:
            continue
        try:
            outcome = answer(prepare(study, shared_mesh=shared), whole_paths=False)
            draw_portrait(outcome.findings, outcome.scene, file=file, most_bytes=room_for(comparison, name))
        except (BeadworkError, MemoryError, OSError) as error:
            remark(f"There is no picture of the variant {name}: {error}")
