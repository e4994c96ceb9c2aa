"""Which place solved bead by bead is drawn in which case, and what its pictures are called.

A place is drawn once, in the case in which it bears least; the other cases refer to that picture.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from fem.judging.findings import Findings
from fem.judging.zoomed import ZoomFindings
from fem.telling.words import plain_name
from fem.zooming.nouns import ZoomView


def bead_files(case: str, rank: int) -> tuple[str, str]:
    """The files of the two pictures of a place drawn in a case, counted from one: beads cut open, and their layer."""
    return f"beads_{plain_name(case)}_{rank}.png", f"bead_layer_{plain_name(case)}_{rank}.png"


def files_of(views: Sequence[ZoomView]) -> list[tuple[str, str]]:
    """The two files of each view, counted within its case."""
    ranks = Counter[str]()
    out = []
    for view in views:
        ranks[view.case] += 1
        out.append(bead_files(view.case, ranks[view.case]))
    return out


def with_pictures(findings: Findings, views: Sequence[ZoomView]) -> Findings:
    """The findings in which each place names the picture that is drawn of it from one of the `views`."""
    drawn = {_place(v.findings): files[0] for v, files in zip(views, files_of(views), strict=True)}
    cases = {
        name: replace(case, zooms=tuple(replace(z, picture=drawn.get(_place(z), "")) for z in case.zooms))
        for name, case in findings.cases.items()
    }
    return replace(findings, cases=cases)


def drawn_in(findings: Findings, zoom: ZoomFindings) -> str:
    """The case in which a place is drawn: that in which it bears least; "" where there is no picture."""
    told = {
        name: z.least
        for name, case in findings.cases.items()
        for z in case.zooms
        if zoom.picture and z.picture == zoom.picture
    }
    return min(told, key=lambda name: told[name], default="")


def pictures_of(zoom: ZoomFindings) -> tuple[str, ...]:
    """The two files of a place that is drawn."""
    if not zoom.picture:
        return ()
    return zoom.picture, f"bead_layer_{zoom.picture.removeprefix('beads_')}"


def is_told_in(findings: Findings, case: str, zoom: ZoomFindings) -> bool:
    """Whether a place has a table of its own in a case: where it is drawn, or would be."""
    return not zoom.scan and drawn_in(findings, zoom) in ("", case)


def _place(zoom: ZoomFindings) -> tuple[str, tuple[float, ...]]:
    return zoom.body, zoom.at_mm
