"""A review as a document: its sections with what stands in the head of every page."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from fem.telling.blocks import Section
from fem.telling.hand import Hand
from fem.telling.review.material import Material
from fem.telling.review.sections import sections_of

QUALITIES = ((1600, 92), (1600, 84), (1400, 80), (1200, 72), (1000, 60))
"""Widths [px] and qualities of the pictures, tried in turn until a file is small enough."""

MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)


@dataclass(frozen=True)
class Document:
    """What the writers write: `mark` names the inputs (the study file and the first letters of its digest), `kind`
    says over the title what sort of page it is, and `about` what it speaks of; `hand` is for the screen alone.
    """

    title: str
    date: datetime.date
    mark: str
    program: str
    sections: tuple[Section, ...]
    kind: str = "Design review"
    about: str = "strength and stiffness of a printed part"
    hand: Hand | None = None


def document_of(material: Material, *, date: datetime.date) -> Document:
    """All sections of a review under their head."""
    f = material.findings
    digest = str(f.inputs.get("sha256", ""))
    name = str(f.inputs.get("study", "")) if digest else ""
    mark = f"{name} · {digest[:12]}" if digest else ""
    return Document(f.title, date, mark, f"Beadwork {f.beadwork}", sections_of(material), hand=material.hand)


def date_text(date: datetime.date) -> str:
    """25 November 2026."""
    return f"{date.day} {MONTHS[date.month - 1]} {date.year}"
