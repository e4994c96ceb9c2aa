"""The two strengths of each infill: at its first bead and at the collapse of its cell."""

from __future__ import annotations

from fem.digits import number, reserve_text
from fem.judging.infill_findings import InfillFindings
from fem.telling.blocks import Block, Cell, Table, Text
from fem.telling.review.material import Material
from fem.telling.words import place

CAPTION = "Infill: reserve factor at the first bead's failure and at the collapse of the cell."
EXPLAINED = (
    "The first bead counts for brittle failure, for repeated load and for what must stay tight; collapse, by limit "
    "analysis of the cell with the card's strengths, for a ductile polymer and a single overload. Interlayer tension "
    "stays brittle in both. Collapse below the first bead means that walls one bead thick bend, which a mean over "
    "the bead's section does not see."
)
NOT_CALCULATED = 'Collapse was not calculated: write infill = "collapse" under [requirements] to let it count.'


def infill_strengths(material: Material) -> list[Block]:
    """A row for each case and body with infill; nothing where no infill bears anything."""
    told = [(case, body, i) for case, c in material.findings.cases.items() for body, i in c.infill.items()]
    if not told:
        return []
    head = ("case", "body", "first bead", "by", "without interlayer", "collapse", "over first bead", "by", "counts")
    rows = tuple(tuple(Cell(text) for text in (case, body, *_row(i))) for case, body, i in told)
    blocks: list[Block] = [Table(head, rows, "llrlrrrll", CAPTION, small=True)]
    if any(i.compressed for _, _, i in told):
        blocks.append(
            Text(
                "Without interlayer: where the cell is compressed in the mean, the reserve factor of that one place "
                "if interlayer tension and shear did not count.",
                "soft",
            )
        )
    calculated = any(i.collapse is not None for _, _, i in told)
    return [*blocks, Text(EXPLAINED if calculated else f"{NOT_CALCULATED} {EXPLAINED}", "soft")]


def _row(i: InfillFindings) -> tuple[str, ...]:
    without = reserve_text(i.without_interlayer) if i.without_interlayer is not None else "–"
    where = f"{i.mode}, {'compressed, ' if i.compressed else ''}at {place(i.at_mm)}"
    if i.collapse is None or i.ratio is None:
        return (reserve_text(i.first_bead), where, without, "not calculated", "–", "–", i.decides)
    collapse = f"{reserve_text(i.collapse)} ({' to '.join(reserve_text(v) for v in i.collapse_band)})"
    return (reserve_text(i.first_bead), where, without, collapse, number(i.ratio), i.collapse_mode, i.decides)
