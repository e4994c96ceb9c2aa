"""The design review of a study: its run, reused where it still holds, and its comparison, made into a report."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fem.errors import InputError
from fem.judging.choice import Comparison
from fem.judging.choice_file import read_choice
from fem.judging.findings import Findings, read_findings
from fem.study.change import homogenised, zoomed_as
from fem.study.clock import Progress, clock_say
from fem.study.fingerprint import fingerprint, fingerprint_of_all, shown_digests
from fem.study.folder import added_together, checked_place
from fem.study.machine import program_version
from fem.study.plans import Study
from fem.study.run import run_study
from fem.study.variants.asked import asked_study, results_folder
from fem.study.variants.expand import count_variants, expand

if TYPE_CHECKING:
    from fem.telling.review.material import Material, Reference

CHOICE = "comparison.json"
"""What a comparison leaves in the results folder for reports that are made later."""
AGAIN = "run beadwork compare again."


@dataclass(frozen=True)
class Reviewed:
    """A review and where it lies; `reused` tells whether the results of an earlier run were taken, `subject` what was
    reviewed of a study with variants.
    """

    findings: Findings
    pdf: Path
    html: Path
    reused: bool
    notes: tuple[str, ...]
    subject: str = ""


def review_study(
    path: Path | str,
    *,
    changes: Mapping[str, Any] | None = None,
    variant: str | None = None,
    out: Path | None = None,
    pictures: bool = True,
    date: datetime.date | None = None,
    progress: Progress | None = None,
) -> Reviewed:
    """Write review.pdf and review.html beside the results of a study, in results/<study>/ or `out`.

    Results of the same inputs and version are taken as they are; else the study is solved first. A finished
    comparison of the same inputs brings its variants and its reference part, and the variant that it chose is what is
    reviewed, beside its own results in variants/<variant>/, unless `variant` names another one, or "base" for the
    study as written. `date` (today) stands on every page.
    `changes` are values at paths of keys that count in place of the file's; without `pictures` the review has none.
    Errors: all that a run may raise; InputError when the folder does not take the files, or there is no such variant.
    """
    from fem.telling.review import write_review

    base = asked_study(path, changes=changes)
    place = checked_place(results_folder(base, out))
    beside = find_comparison(base, place)
    best = beside[0].best if beside[0] else None
    name = best if variant is None else variant
    study = asked_study(path, changes=changes, variant=name)
    folder = results_folder(study, out)
    missing = what_is_missing(study, folder, pictures=pictures)
    if missing:
        run_study(
            path,
            changes=changes,
            variant=name,
            out=out,
            pictures=pictures,
            progress=lambda text, share: clock_say(progress, text, 0.9 * share),
        )
    start = 0.9 if missing else 0.0
    subject = subject_of(study.variant, best=best, of=count_variants(base))
    material = replace(gather_material(folder, beside=beside, pictures=pictures), subject=subject)
    with added_together(folder) as stage:
        pdf, html = write_review(
            material,
            folder=stage,
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
        subject,
    )


def subject_of(variant: str, *, best: str | None, of: int) -> str:
    """What a review is of, where the study has variants (`of` so many); `variant` is "" for the study as written."""
    if not of:
        return ""
    chose = f'the comparison chose the variant "{best}"' if best else "no valid comparison has chosen a variant"
    if not variant:
        return f"This review is of the study as written; {chose}."
    if variant == best:
        return f'This review is of the variant "{variant}", which the comparison chose.'
    return f'This review is of the variant "{variant}", as asked for; {chose}.'


def what_is_missing(study: Study, folder: Path, *, pictures: bool = True) -> str:
    """Why the results in `folder` do not serve for a review of this study, or "" when they do."""
    kept = folder / "findings.json"
    if not kept.is_file():
        return "There were no results yet: the study was solved."
    try:
        found = read_findings(kept)
    except InputError:
        return "The kept results are of an earlier version of Beadwork, or damaged: the study was solved again."
    if found.beadwork != program_version():
        return f"The kept results are of Beadwork {found.beadwork}: the study was solved again."
    if found.inputs.get("fingerprint") != fingerprint(study):
        return "The study, a solid, a card or a library was changed since the kept results: it was solved again."
    told = {key: value for key, value in found.inputs.items() if key not in ("fingerprint", "versions")}
    if told != study.inputs:
        return "The words of the study were changed since the kept results: it was solved again."
    if not found.files or found.files != shown_digests(folder):
        return "Pictures or fields of the kept results were missing or changed: the study was solved again."
    if pictures and not any(name.startswith("pictures/") for name in found.files):
        return "The kept results are without pictures: the study was solved again."
    return ""


Beside = tuple[Comparison | None, "Reference | None", str]
"""A comparison, the reference part, and why there is none."""


def gather_material(folder: Path, *, beside: Beside, pictures: bool = True) -> Material:
    """All that a review is made from: the results in their folder, and what lies `beside` them of a comparison."""
    from fem.telling.hand import read_hand
    from fem.telling.hand.kept import PART
    from fem.telling.review.material import Material, read_pictures

    comparison, reference, remark = beside
    return Material(
        read_findings(folder / "findings.json"),
        read_pictures(folder / "pictures") if pictures else {},
        hand=read_hand(folder / PART),
        reference=reference,
        comparison=comparison,
        remark=remark,
    )


def find_comparison(study: Study, folder: Path) -> Beside:
    """The finished comparison of the study as it is now, its reference part, and why there is none ("" else)."""
    from fem.telling.review.material import Reference

    path = folder / CHOICE
    if not path.is_file():
        return None, None, ""
    try:
        comparison = read_choice(path)
        if comparison.beadwork != program_version():
            return None, None, f"The comparison beside the results is of Beadwork {comparison.beadwork}: {AGAIN}"
        variants = {each.name: each.study for each in expand(homogenised(study))} if count_variants(study) else {}
        if comparison.fingerprint != fingerprint_of_all(study, variants):
            return None, None, f"The comparison beside the results is not of the study as it is now: {AGAIN}"
        for told in comparison.variants:
            if told.reference and told.answered and (own := variants[told.name]):
                found = read_findings(folder / told.findings_file)
                if found.inputs.get("fingerprint") not in (fingerprint(own), fingerprint(zoomed_as(own, study))):
                    return None, None, f"The reference part beside the results is of other inputs: {AGAIN}"
                return comparison, Reference(told.name, found), ""
    except InputError as error:
        return None, None, f"The comparison beside the results could not be used: {error}"
    return comparison, None, ""
