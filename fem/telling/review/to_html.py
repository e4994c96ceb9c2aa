"""The review on screen: the same pieces as one page that opens from disk and asks the network for nothing."""

from __future__ import annotations

from functools import partial
from pathlib import Path

from fem.errors import BeadworkError
from fem.telling.blocks import Figure, every
from fem.telling.embedding import address_of, picture_addresses
from fem.telling.environment import template
from fem.telling.files import write_text
from fem.telling.hand import Hand, hand_head, hand_html
from fem.telling.review.document import QUALITIES, Document, date_text

LIMIT_BYTES = 8_000_000


def write_html(document: Document, path: Path) -> Path:
    """Write the review as one page beside its place and rename it there.

    Pictures are made coarser until the page is small enough; where that does not do, the part in hand is left out.
    Errors: BeadworkError when it is too large even so.
    """
    for hand in dict.fromkeys((bool(document.hand), False)):
        for width, quality in QUALITIES:
            text = html_text(document, width=width, quality=quality, hand=document.hand if hand else None)
            if len(text.encode()) < LIMIT_BYTES:
                return write_text(text, path)
    advice = "Ask for fewer cases in one study."
    raise BeadworkError(f"the page would be larger than {LIMIT_BYTES / 1e6:g} MB.", where=str(path), advice=advice)


def html_text(document: Document, *, width: int, quality: int, hand: Hand | None = None) -> str:
    """The page with pictures no wider than `width` [px], and with the part in `hand` where it is given."""
    from markupsafe import Markup

    files = {b.file for b in every(document.sections) if isinstance(b, Figure) and b.file}
    address = partial(address_of, embedded=picture_addresses(sorted(files), width=width, quality=quality))
    part = Markup(hand_head() + hand_html(hand, name="part")) if hand else ""
    text: str = template("review.html", address=address).render(d=document, date=date_text(document.date), hand=part)
    return text
