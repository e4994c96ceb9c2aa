"""The evidence on one page: how far off in a word and in a picture, then every row under its field."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator, Sequence
from itertools import groupby
from pathlib import Path

from fem.digits import number
from fem.evidence.nouns import MESHES, Finished, Row
from fem.telling.blocks import Block, Cell, Figure, Heading, Section, Text, Verdict, numbered, table

KIND, ABOUT = "Evidence", "published problems, computed on this machine"
TITLE = "How far the program lies from what is known"
LEAST = 1e-7
"""The smallest difference that is drawn: what lies below is rounding."""


def write_page(finished: Sequence[Finished], path: Path, *, date: datetime.date) -> Path:
    """Write the page, which opens from disk. Errors: BeadworkError when it would be too large."""
    from fem.study.machine import program_version
    from fem.telling.review.document import Document
    from fem.telling.review.to_html import write_html

    sections = numbered((summary(finished), *fields(finished)))
    program = f"Beadwork {program_version()}"
    return write_html(Document(TITLE, date, "", program, sections, kind=KIND, about=ABOUT), path)


def summary(finished: Sequence[Finished]) -> Section:
    """How many rows keep to what they must, which do not, and all differences in one drawing."""
    rows = [row for one in finished for row in one.rows]
    off = [row for row in rows if not row.within]
    held = sum(row.allowed is not None for row in rows)
    word = f"{held - len(off)} of {held} within their limit"
    sentences = [
        "Each row compares a number known from outside the program with what the program computes. Its limit is what "
        "a right answer keeps to on the mesh used and with the digits published. Nothing that came out is left out."
    ]
    if held < len(rows):
        sentences.append(
            f"{len(rows) - held} further rows set predictions beside experiments of others. They have no limit: "
            "another printer and spool stand behind each."
        )
    if any(one.check.field == MESHES for one in finished):
        sentences.append("Rows of a study on several meshes compare the program with itself.")
    blocks: list[Block] = [Verdict(word, "warn" if off else "good", tuple(sentences))]
    if off:
        cells = [[row.problem, *_numbers(row), sentence(row.note)] for row in off]
        head = ("Problem", *HEAD, "Note")
        blocks.append(table(head, cells, align="lrrlrrl", caption="Rows beyond their limit.", small=True))
    caption = "Differences of all rows, by field; each dot is a row. Orange squares are beyond their limit; "
    caption += "purple diamonds are experiments, which have none."
    blocks.append(Figure(_spoken(finished), caption, svg=_drawing(finished)))
    return Section("verdict", "How far off", tuple(blocks))


HEAD = ("Published", "Computed", "Unit", "Difference", "Limit")


def fields(finished: Sequence[Finished]) -> Iterator[Section]:
    """A section for each field, a heading for each check, a table for each source."""
    by_field: dict[str, list[Finished]] = {}
    for one in finished:
        by_field.setdefault(one.check.field, []).append(one)
    for name, own in by_field.items():
        blocks: list[Block] = []
        for one in own:
            blocks.append(Heading(one.check.title))
            for source, group in groupby(one.rows, key=lambda row: row.source):
                blocks += _source(source, tuple(group))
        yield Section(name.lower().replace(" ", "-"), name, tuple(blocks))


def _source(source: str, rows: tuple[Row, ...]) -> Iterator[Block]:
    """The rows that one source gives."""
    cells = [[row.problem, *_numbers(row)] for row in rows]
    yield table(("Problem", *HEAD), cells, align="lrrlrr", caption=sentence(source), small=True)
    told = [f"Computed: {'; '.join(dict.fromkeys(row.how for row in rows))}."]
    notes = dict.fromkeys(row.note for row in rows if row.note)
    told += [sentence(note) for note in notes]
    yield Text(" ".join(told), "soft")


def sentence(text: str) -> str:
    """A note as a sentence; "" stays so."""
    return text and text[:1].upper() + text[1:] + "."


def _numbers(row: Row) -> list[str | Cell]:
    """A row's numbers: both with enough digits to see the difference."""
    tone = "" if row.within else "bad"
    return [
        f"{row.published:.8g}",
        number(row.computed, digits=6),
        "" if row.unit == "1" else row.unit,
        Cell(share_text(row.difference) + ("" if row.within else " !"), tone),
        "none" if row.allowed is None else share_text(row.allowed, signed=False),
    ]


def share_text(share: float, *, signed: bool = True) -> str:
    """A share in per cent; what is below a millionth is called so."""
    if math.isinf(share):
        return "from zero"
    if signed and abs(share) < 1e-6:
        return "< 0.0001 %"
    text = number(100 * abs(share), digits=2) if signed else f"{100 * abs(share):.2g}"
    return f"{'−' if share < 0 else '+' if signed else ''}{text} %"


def _spoken(finished: Sequence[Finished]) -> str:
    """The drawing in words."""
    out = []
    for name, group in groupby(finished, key=lambda one: one.check.field):
        rows = [row for one in group for row in one.rows]
        worst = max((abs(row.difference) for row in rows), default=0.0)
        out.append(f"{name}: {len(rows)} rows, the largest difference {share_text(worst, signed=False)}")
    return "Differences by field. " + "; ".join(out) + "."


def _kind(row: Row) -> str:
    """How a row is marked: as within its limit, off, or compared with an experiment."""
    return "compared" if row.allowed is None else "" if row.within else "off"


def _drawing(finished: Sequence[Finished]) -> str:
    """Absolute differences on a logarithmic scale, a line a field, as SVG."""
    from fem.telling.review.plots import BLUE, ORANGE, PURPLE, SOFT, drawing, svg_of

    names = list(dict.fromkeys(one.check.field for one in finished))
    with drawing(height=14 + 9 * len(names)) as figure:
        axes = figure.add_subplot()
        looks: dict[str, tuple[str, str]] = {"": ("o", BLUE), "off": ("s", ORANGE), "compared": ("D", PURPLE)}
        for kind, (mark, colour) in looks.items():
            x, y = [], []
            for one in finished:
                for row in (r for r in one.rows if _kind(r) == kind):
                    x.append(100 * min(max(abs(row.difference), LEAST), 1.0))
                    y.append(names.index(one.check.field) + 0.3 * math.sin(7.0 * len(x)))
            axes.plot(x, y, mark, color=colour, markersize=3.2, alpha=0.75, markeredgewidth=0)
        axes.set_xscale("log")
        axes.set_yticks(range(len(names)), names)
        axes.set_ylim(len(names) - 0.4, -0.6)
        axes.set_xticks([1e-5, 1e-4, 1e-3, 1e-2, 0.1, 1, 10, 100])
        axes.set_xticklabels(["rounding", "0.0001", "0.001", "0.01", "0.1", "1", "10", "100"])
        axes.minorticks_off()
        axes.set_xlabel("difference from the published number [%]")
        axes.grid(axis="x", color=SOFT, linewidth=0.3, alpha=0.5)
        return svg_of(figure)
