"""Which of a study's variants is asked for, and where its results lie: apart from those of the study as written."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from fem.study.change import changed
from fem.study.file import read_study
from fem.study.plans import Study
from fem.study.variants.expand import variant_of

DEFAULT_FOLDER = "results"
"""Where a run writes unless it is told otherwise: a folder of the study's name in here."""
FOLDER = "variants"
"""In the results folder of a study: what was kept of its variants, and a folder for each that was run by name."""
BASE = "base"
"""Asks for the study as written, unless a variant bears that name."""


def asked_study(path: Any, *, changes: Mapping[str, Any] | None = None, variant: str | None = None) -> Study:
    """The study of a file (or one already read) with `changes` at paths of keys, or one of its variants with them.

    Errors: InputError as for reading it, and for a variant that there is none of.
    """
    study = read_study(path).with_(changes) if changes else read_study(path)
    if variant is None or (variant == BASE and BASE not in study.variants):
        return study
    own = variant_of(study, variant)
    # What was asked for comes before what the variant sets
    return changed(own, changes, where=str(own.path), variant=own.variant) if changes else own


def results_folder(study: Study, out: Path | None = None) -> Path:
    """Where results go: results/<study> or `out`, and for a variant a folder of its own in there."""
    from fem.telling.words import plain_name

    place = Path(out) if out is not None else Path(DEFAULT_FOLDER) / study.path.stem
    return place / FOLDER / plain_name(study.variant) if study.variant else place


def title_of(study: Study) -> str:
    """What the results are called: a variant's by its name, too."""
    return f"{study.title}: {study.variant}" if study.variant else study.title
