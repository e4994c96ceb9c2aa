"""The review on screen: the same pieces as one page that opens from disk and asks the network for nothing."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from fem.errors import BeadworkError
from fem.telling.embedding import data_address, picture_address
from fem.telling.environment import template
from fem.telling.files import write_text
from fem.telling.review.blocks import Figure, Table, breakable
from fem.telling.review.document import QUALITIES, Document, date_text

LIMIT_BYTES = 8_000_000


def write_html(document: Document, path: Path) -> Path:
    """Write the review as one page beside its place and rename it there.

    Errors: BeadworkError when even coarse pictures make it too large.
    """
    for width, quality in QUALITIES:
        text = html_text(document, width=width, quality=quality)
        if len(text.encode()) < LIMIT_BYTES:
            return write_text(text, path)
    advice = "Ask for fewer cases in one study."
    raise BeadworkError(f"the page would be larger than {LIMIT_BYTES / 1e6:g} MB.", where=str(path), advice=advice)


def html_text(document: Document, *, width: int, quality: int) -> str:
    """The page with pictures no wider than `width` [px]."""

    def address(figure: Figure) -> str:
        if figure.svg:
            return data_address("image/svg+xml", figure.svg.encode())
        assert figure.file
        return picture_address(figure.file, width=width, quality=quality)

    def kind(block: Any) -> str:
        return type(block).__name__.lower()

    page = template("review.html", address=address, kind=kind, breakable=breakable, anchor=anchor, room=room)
    text: str = page.render(d=document, date=date_text(document.date))
    return text


def anchor(block: Table | Figure) -> str:
    """The address of a numbered piece in the page: table-3."""
    return block.caption.split(".")[0].lower().replace(" ", "-")


def room(block: Table) -> str:
    """How wide a table wants to be on a narrow screen, where it is moved sideways: many, some, or as narrow as it is.

    A table of three columns stays within the screen, its cells wrapped, so that its values are seen at once.
    """
    if len(block.head) <= 3:
        return ""
    columns = [[head, *(row[k].text for row in block.rows)] for k, head in enumerate(block.head)]
    letters = sum(min(max(map(len, column)), 30) + 2 for column in columns)
    return "many" if letters > 75 else "some" if letters > 42 else ""
