"""The design review of a study: its run, reused where it still holds, and its comparison, made into a report."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from fem.errors import InputError
from fem.judging.choice import Comparison
from fem.judging.choice_file import read_choice
from fem.judging.findings import Findings, read_findings
from fem.study.clock import Progress, clock_say
from fem.study.file import read_study
from fem.study.folder import added_together, checked_place
from fem.study.machine import program_version
from fem.study.plans import Study
from fem.study.run import DEFAULT_FOLDER, run_study

if TYPE_CHECKING:
    from fem.telling.review.material import Material, Reference

CHOICE = "comparison.json"
"""What a comparison leaves in the results folder for reports that are made later."""


@dataclass(frozen=True)
class Reviewed:
    """A review and where it lies; `reused` tells whether the results of an earlier run were taken."""

    findings: Findings
    pdf: Path
    html: Path
    reused: bool
    notes: tuple[str, ...]


def review_study(
    path: Path | str, *, out: Path | None = None, date: datetime.date | None = None, progress: Progress | None = None
) -> Reviewed:
    """Write review.pdf and review.html beside the results of a study, in results/<study>/ or `out`.

    Results of the same inputs and version are taken as they are; else the study is answered first. A finished
    comparison of the same inputs brings its variants and its reference part. `date` (today) stands on every page.
    Errors: all that a run may raise; InputError when the folder does not take the files.
    """
    from fem.telling.review import write_review

    study = read_study(path)
    folder = Path(out) if out is not None else Path(DEFAULT_FOLDER) / study.path.stem
    checked_place(folder)
    missing = what_is_missing(study, folder)
    if missing:
        run_study(path, out=out, progress=lambda text, share: clock_say(progress, text, 0.9 * share))
    start = 0.9 if missing else 0.0
    material = gather_material(study, folder)
    with added_together(folder) as beside:
        pdf, html = write_review(
            material,
            folder=beside,
            date=date or datetime.date.today(),
            progress=lambda text, share: clock_say(progress, text, start + (1 - start) * share),
        )
    notes = (missing,) if missing else ()
    return Reviewed(
        material.findings,
        folder / pdf.name,
        folder / html.name,
        not missing,
        (*notes, material.remark) if material.remark else notes,
    )


def what_is_missing(study: Study, folder: Path) -> str:
    """Why the results in `folder` do not serve for a review of this study, or "" when they do."""
    from fem.telling.review.material import pictures_needed

    kept = folder / "findings.json"
    if not kept.is_file():
        return "There were no results yet: the study was answered."
    try:
        found = read_findings(kept)
    except InputError:
        return "The kept results could not be read: the study was answered anew."
    if found.beadwork != program_version():
        return f"The kept results are of Beadwork {found.beadwork}: the study was answered anew."
    if any(found.inputs.get(key) != value for key, value in study.inputs.items()):
        return "The study or a solid was changed since the kept results: it was answered anew."
    if any(card.stat().st_mtime > kept.stat().st_mtime for card in _own_cards(study)):
        return "A card was changed since the kept results: the study was answered anew."
    if any(not (folder / "pictures" / name).is_file() for name in pictures_needed(found)):
        return "Pictures of the kept results were missing: the study was answered anew."
    return ""


def _own_cards(study: Study) -> list[Path]:
    """Card files that lie outside the program; the program's own change with its version."""
    from fem.printing.polymer import CARDS, card_files

    names = [body.print.polymer if body.print else str(body.metal) for body in study.bodies.values()]
    return [path for name in names for path in card_files(name) if path.parent != CARDS]


def gather_material(study: Study, folder: Path) -> Material:
    """All that a review of this study is made from, out of its results folder."""
    from fem.telling.review.material import Material, read_pictures
    from fem.telling.review.shape import read_shape

    comparison, reference, remark = find_comparison(study, folder)
    return Material(
        read_findings(folder / "findings.json"),
        read_pictures(folder / "pictures"),
        read_shape(folder / "fields.vtu"),
        reference,
        comparison,
        remark,
    )


def find_comparison(study: Study, folder: Path) -> tuple[Comparison | None, Reference | None, str]:
    """The finished comparison of the study as it is now, its reference part, and why there is none ("" else)."""
    from fem.telling.review.material import Reference

    path = folder / CHOICE
    if not path.is_file():
        return None, None, ""
    try:
        comparison = read_choice(path)
    except InputError as error:
        return None, None, f"The comparison beside the results could not be used: {error}"
    if comparison.beadwork != program_version():
        told = f"The comparison beside the results is of Beadwork {comparison.beadwork}"
        return None, None, f"{told}, not of {program_version()}: run beadwork compare again."
    reference = None
    for variant in comparison.variants:
        if not (variant.answered and variant.findings_file):
            continue
        try:
            found = read_findings(folder / variant.findings_file)
        except InputError as error:
            return None, None, f"The comparison beside the results could not be used: {error}"
        if found.inputs.get("sha256") != study.sha256:
            told = "The comparison beside the results is of an earlier text of the study"
            return None, None, f"{told}: run beadwork compare again."
        if variant.reference:
            reference = Reference(variant.name, found)
    return comparison, reference, ""
