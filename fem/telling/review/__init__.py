"""The design-review report: sections from findings, written on paper and for the screen."""

from __future__ import annotations

import datetime
from pathlib import Path

from fem.telling.album import Progress
from fem.telling.review.material import Material


def write_review(
    material: Material, *, folder: Path, date: datetime.date, progress: Progress = None
) -> tuple[Path, Path]:
    """Write review.pdf and review.html into `folder`; returns their paths.

    Errors: BeadworkError when a file would be too large or a picture cannot be read.
    """
    from fem.telling.review.document import document_of
    from fem.telling.review.to_html import write_html
    from fem.telling.review.to_pdf import write_pdf

    say = progress or (lambda _text, _share: None)
    say("review: sections", 0.0)
    document = document_of(material, date=date)
    say("review: paper", 0.4)
    pdf = write_pdf(document, folder / "review.pdf")
    say("review: page", 0.8)
    html = write_html(document, folder / "review.html")
    say("review", 1.0)
    return pdf, html
