"""The review on paper: the neutral pieces set by typst, with the fonts inside the file."""

from __future__ import annotations

import dataclasses
import json
import os
import tempfile
from pathlib import Path
from typing import Any

from fem.errors import BeadworkError
from fem.telling.blocks import FULL_MM, Beside, Block, Figure, Section, Table, breakable
from fem.telling.embedding import smaller
from fem.telling.review.document import QUALITIES, Document, date_text

LIMIT_BYTES = 10_000_000
TEMPLATE = Path(__file__).parents[1] / "templates" / "review.typ"
HEAD = 90
"""Letters of the title that stand in the head of every page."""
LONG = 16
"""Where a table is too wide, a column of words with a longer cell than this may wrap."""


def write_pdf(document: Document, path: Path) -> Path:
    """Write the review as PDF beside its place and rename it there.

    Pictures are made coarser until the file is small enough. No text of the study is read as markup: the template is
    fixed, and all texts reach it as data.
    Errors: BeadworkError when even coarse pictures make it too large.
    """
    for width, quality in QUALITIES:
        data = pdf_bytes(document, width=width, quality=quality)
        if len(data) < LIMIT_BYTES:
            beside = path.with_name(path.name + ".part")
            beside.write_bytes(data)
            os.replace(beside, path)
            return path
    advice = "Ask for fewer cases in one study."
    raise BeadworkError(f"the file would be larger than {LIMIT_BYTES / 1e6:g} MB.", where=str(path), advice=advice)


def pdf_bytes(document: Document, *, width: int, quality: int) -> bytes:
    """The review as PDF with pictures no wider than `width` [px]."""
    import typst

    with tempfile.TemporaryDirectory(prefix="review.") as name:
        folder = Path(name)
        data = as_data(document, folder, width=width, quality=quality)
        (folder / "review.json").write_text(json.dumps(data, ensure_ascii=False), encoding="utf-8")
        (folder / "review.typ").write_text(TEMPLATE.read_text(encoding="utf-8"), encoding="utf-8")
        out: bytes = typst.compile(
            str(folder / "review.typ"),
            root=str(folder),
            font_paths=[str(_letters())],
            ignore_system_fonts=not _rare(data),
        )
        return out


def _letters() -> Path:
    """The folder of matplotlib's own fonts, whose sans-serif face holds more signs than typst's."""
    import matplotlib

    return Path(matplotlib.get_data_path()) / "fonts" / "ttf"


def _rare(data: Any) -> bool:
    """Whether a text holds letters that the fonts at hand lack, so that the system's are worth a search."""
    from matplotlib.ft2font import FT2Font

    known = set(FT2Font(str(_letters() / "DejaVuSans.ttf")).get_charmap())
    return any(ord(c) not in known for c in json.dumps(data, ensure_ascii=False) if ord(c) > 126)


def as_data(document: Document, folder: Path, *, width: int, quality: int) -> dict[str, Any]:
    """The document as plain data; pictures and drawings are written into `folder` and named in it."""
    count = [0]

    def stored(figure: Figure) -> str:
        count[0] += 1
        if figure.svg:
            (folder / f"{count[0]}.svg").write_text(figure.svg, encoding="utf-8")
            return f"{count[0]}.svg"
        assert figure.file
        (folder / f"{count[0]}.jpg").write_bytes(smaller(figure.file, width=width, quality=quality, kind="JPEG"))
        return f"{count[0]}.jpg"

    def one(block: Block) -> dict[str, Any]:
        kind = {"kind": type(block).__name__.lower()}
        if isinstance(block, Beside):
            return {**kind, "pieces": [one(b) for b in block.pieces], "shares": block.shares}
        if isinstance(block, Figure):
            return {**kind, "file": stored(block), "alt": block.alt, "caption": block.caption, "width": block.width}
        if isinstance(block, Table):
            cells = [[{"text": breakable(c.text), "tone": c.tone} for c in row] for row in block.rows]
            told = dataclasses.asdict(block)
            told |= {"rows": cells, "widths": widths(block), "align": list(block.align)}
            return {**kind, **told, "head": [breakable(h, longest=14) for h in block.head]}
        return {**kind, **dataclasses.asdict(block)}

    def section(s: Section) -> dict[str, Any]:
        return {"title": s.title, "fresh": s.fresh, "blocks": [one(b) for b in s.blocks]}

    return {
        "title": document.title,
        "short": document.title if len(document.title) <= HEAD else document.title[: HEAD - 1] + "…",
        "date": date_text(document.date),
        "day": [document.date.year, document.date.month, document.date.day],
        "mark": document.mark,
        "program": document.program,
        "sections": [section(s) for s in document.sections],
    }


def widths(block: Table) -> list[float]:
    """Shares of the width for columns that may wrap, 0 for one that keeps its own width.

    A table that fits keeps all its columns as wide as they are.
    """
    letter, room = (1.55, 2.2) if block.small else (1.8, 3.2)
    longest = [
        max([len(row[k].text) for row in block.rows] + [max(map(len, head.split()), default=0)])
        for k, head in enumerate(block.head)
    ]
    if sum(letter * n + room for n in longest) <= FULL_MM:
        return [0.0] * len(longest)
    wraps = [n > LONG and (side == "l" or n > 20) for n, side in zip(longest, block.align, strict=True)]
    return [min(max(n, 8), 60) ** 0.5 if wrap else 0.0 for n, wrap in zip(longest, wraps, strict=True)]
