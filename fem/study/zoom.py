"""A place of one's own choice, bead by bead: `beadwork zoom`, and the same for scripts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from fem.caution import Caution
from fem.errors import InputError, nearest
from fem.judging.verdict import TARGET_RESERVE
from fem.judging.zoomed import ZoomFindings
from fem.study.beads import surroundings
from fem.study.clock import Progress, clock_say
from fem.study.file import read_study
from fem.study.folder import added_together, checked_place
from fem.study.passes import solve_as_asked
from fem.study.plans import Study
from fem.study.remarks import drafted
from fem.study.run import prepare
from fem.study.variants.asked import results_folder
from fem.zooming.decided import views_at
from fem.zooming.nouns import ZoomView
from fem.zooming.place import fine_voxels, zoom_place
from fem.zooming.worst import Surroundings, place_text

SIZES = (2.0, 100.0)
"""Smallest and largest cube that may be asked for, in bead widths."""


@dataclass(frozen=True)
class Zoomed:
    """What a place bears by case, what its pictures are drawn from, where they lie, and what a reader must know."""

    findings: dict[str, ZoomFindings]
    views: tuple[ZoomView, ...]
    folder: Path
    picture: Path
    fields: Path
    cautions: tuple[Caution, ...] = ()


def zoom(
    study: Study | Path | str,
    at: Sequence[float],
    *,
    case: str | None = None,
    size: float | None = None,
    voxel: float | None = None,
    progress: Progress | None = None,
) -> tuple[ZoomView, ...]:
    """Solve a study's part, then a cube of its beads of `size` [mm] around the place `at` (3,) [mm, part axes], in
    boxes of side `voxel` [mm] in the layer; one view a case, with the arrays of its beads in `judged`.

    Errors: InputError for a place without beads, an unknown case, or a size that makes no sense; those of a run.
    """
    known = study if isinstance(study, Study) else read_study(study)
    known = known.with_({"judge.zoom": 0, "judge.whole": False})
    if case is not None:
        if case not in known.cases:
            raise InputError(f'there is no case "{case}".', advice=nearest(case, tuple(known.cases)))
        known = known.with_({"cases": {case: dict(known.tree["cases"][case])}})
    if not any(each.print for each in known.bodies.values()):
        raise InputError("no body of the study is printed: there are no beads.")
    ready = prepare(known, progress=lambda text, share: clock_say(progress, text, share))
    around, place = surroundings(ready), np.asarray(at, dtype=float)
    body = around.bodies[_body_at(around, place)]
    width = body.plan.bead_width
    if size is not None and not SIZES[0] * width <= size <= SIZES[1] * width:
        low, high = (f"{s * width:.3g}" for s in SIZES)
        raise InputError(f"a cube of {size:g} mm is not between {low} and {high} mm.", where="--size")
    if voxel is not None and not width / 12 <= voxel <= width:
        raise InputError(
            f"boxes of {voxel:.3g} mm are not between {width / 12:.3g} and {width:.3g} mm.", where="--voxel"
        )
    ready, judged = solve_as_asked(ready, progress=lambda text, share: clock_say(progress, text, share))
    if ready.shared_mesh.refined_for:
        around = surroundings(ready)
        body = around.bodies[body.name]
    found = zoom_place(
        body,
        place,
        parts=judged.parts,
        size=size,
        voxels=None if voxel is None else fine_voxels(body, voxel),
        progress=lambda share: clock_say(progress, "bead by bead", 0.6 + 0.35 * share),
    )
    return views_at(around, found, {name: answer.field for name, answer in judged.answers.items()})


def zoom_study(
    path: Any,
    *,
    at: Sequence[float],
    case: str | None = None,
    size: float | None = None,
    voxel: float | None = None,
    out: Path | None = None,
    progress: Progress | None = None,
) -> Zoomed:
    """`zoom`, written into results/<study>/ (or `out`): pictures and beads.vtu of the case in which the place bears
    least.

    Errors: those of `zoom`; InputError when the folder does not take the files.
    """
    from fem.telling.bead_file import write_beads
    from fem.telling.bead_picture import draw_zooms

    study = read_study(path)
    folder = results_folder(study, out)
    checked_place(folder)
    views = zoom(study, at, case=case, size=size, voxel=voxel, progress=progress)
    required = study.requirements.reserve
    worst = min(views, key=lambda v: v.findings.least)
    with added_together(folder) as beside:
        first, *_ = draw_zooms(
            (worst,), required=required or TARGET_RESERVE, asked=required is not None, folder=beside
        )
        write_beads(worst.judged, beside / "beads.vtu")
    clock_say(progress, "done", 1.0)
    findings = {view.case: replace(view.findings, picture=first.file) for view in views}
    return Zoomed(findings, views, folder, folder / first.file, folder / "beads.vtu", tuple(drafted(study)))


def _body_at(around: Surroundings, place: Any) -> str:
    """The printed body in which a place lies, or to which it is nearest."""
    away: Mapping[str, float] = {
        name: float(body.locator.find(place[None]).away[0]) for name, body in around.bodies.items()
    }
    name = min(away, key=lambda n: away[n])
    width = around.bodies[name].plan.bead_width
    if away[name] > width:
        raise InputError(
            f"the place {place_text(place)} lies {away[name]:.3g} mm outside the nearest printed body, {name}.",
            where="--at",
            advice="Give a place in the part, in part axes.",
        )
    return name
