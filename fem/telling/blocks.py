"""The neutral pieces that a review is made of: sections make them, writers render them.

A piece holds plain text and numbers already put into words; it knows neither paper nor screen. A writer must render
every kind here, so a new section needs no new code in a writer.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from fem.errors import InputError

TONES = ("", "good", "warn", "bad", "soft")
"""How a text is marked: by weight and colour, never by colour alone."""
FULL_MM, PHOTO_MM = 170.0, 135.0
"""Width [mm] of the text on paper, and of a picture whose letters must stay readable."""


@dataclass(frozen=True)
class Cell:
    """A table's cell; `tone` is one of TONES."""

    text: str
    tone: str = ""

    def __post_init__(self) -> None:
        if self.tone not in TONES:
            raise InputError(f"tone {self.tone!r} is none of {', '.join(TONES)}.", where="review cell")


@dataclass(frozen=True)
class Heading:
    """A heading inside a section."""

    text: str


@dataclass(frozen=True)
class Text:
    """A paragraph; `tone` "soft" is small print."""

    text: str
    tone: str = ""


@dataclass(frozen=True)
class Items:
    """A list of sentences."""

    items: tuple[str, ...]


@dataclass(frozen=True)
class Verdict:
    """The answer in a box: one `word`, its `tone`, the sentences that say it."""

    word: str
    tone: str
    sentences: tuple[str, ...]


@dataclass(frozen=True)
class Notice:
    """A framed warning."""

    title: str
    text: str


@dataclass(frozen=True)
class Table:
    """A table: `head` over the columns, `rows` of the same length whose first cell names the row.

    `align` has one letter a column, l or r; `small` sets it in smaller letters; `caption` is numbered by `numbered`.
    """

    head: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    align: str
    caption: str = ""
    small: bool = False

    def __post_init__(self) -> None:
        if len(self.align) != len(self.head) or any(len(row) != len(self.head) for row in self.rows):
            raise InputError(f"a table under {self.head} has rows of another length.", where="review table")


@dataclass(frozen=True)
class Figure:
    """A picture (`file`) or a drawing (`svg`, its source text), `width` [mm] on paper; `alt` carries its numbers."""

    alt: str
    caption: str
    width: float = FULL_MM
    file: Path | None = None
    svg: str = ""


@dataclass(frozen=True)
class Beside:
    """Pieces side by side where there is room; `shares` of the width, as many as pieces."""

    pieces: tuple[Block, ...]
    shares: tuple[float, ...]


@dataclass(frozen=True)
class Listing:
    """Text as it stands in a file."""

    text: str


@dataclass(frozen=True)
class Signatures:
    """Lines to sign on: one for each of `roles`."""

    roles: tuple[str, ...]


Block = Heading | Text | Items | Verdict | Notice | Table | Figure | Beside | Listing | Signatures


@dataclass(frozen=True)
class Section:
    """A part of the review; `key` is its address in the page, `fresh` starts it on a new sheet."""

    key: str
    title: str
    blocks: tuple[Block, ...]
    fresh: bool = False


def table(
    head: Sequence[str],
    rows: Sequence[Sequence[str | Cell]],
    *,
    align: str = "",
    caption: str = "",
    small: bool = False,
) -> Table:
    """A table from plain texts; without `align` the first column is left and the others right."""
    cells = tuple(tuple(c if isinstance(c, Cell) else Cell(c) for c in row) for row in rows)
    return Table(tuple(head), cells, align or "l" + "r" * (len(head) - 1), caption, small)


def numbered(sections: Sequence[Section]) -> tuple[Section, ...]:
    """The sections with "Table 3. " and "Figure 2. " set before the captions, counted from first to last."""
    counts = {"Table": 0, "Figure": 0}

    def one(block: Block) -> Block:
        if isinstance(block, Beside):
            return replace(block, pieces=tuple(one(b) for b in block.pieces))
        if isinstance(block, (Table, Figure)) and block.caption:
            kind = type(block).__name__
            counts[kind] += 1
            return replace(block, caption=f"{kind} {counts[kind]}. {block.caption}")
        return block

    return tuple(replace(s, blocks=tuple(one(b) for b in s.blocks)) for s in sections)


def every(sections: Sequence[Section]) -> Iterator[Block]:
    """All pieces in reading order, those that stand side by side one by one."""

    def inside(blocks: Sequence[Block]) -> Iterator[Block]:
        for block in blocks:
            if isinstance(block, Beside):
                yield from inside(block.pieces)
            else:
                yield block

    for section in sections:
        yield from inside(section.blocks)


def breakable(text: str, *, longest: int = 22) -> str:
    """The text with places to break a line inside words too long for a column (zero-width spaces)."""

    def cut(found: re.Match[str]) -> str:
        parts = re.sub(r"([_/.=:,\-·])(?=.)", "\\1\u200b", found[0])
        return re.sub(rf"([^\u200b]{{{longest}}})(?=[^\u200b])", "\\1\u200b", parts)

    return re.sub(rf"\S{{{longest + 1},}}", cut, text)
