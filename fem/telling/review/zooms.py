"""Bead by bead: the places whose beads were solved, each with its pictures, and the part solved as a whole."""

from __future__ import annotations

from fem.judging.findings import CaseFindings
from fem.telling.bead_files import is_told_in, pictures_of
from fem.telling.blocks import PHOTO_MM, Block, Figure, Heading, Section, Text, table
from fem.telling.review.material import Material
from fem.telling.zoom_rows import (
    EXPLAINED,
    LOOKED,
    LOOKED_HEAD,
    MISSED_HEAD,
    NONE_MISSED,
    WHOLE_EXPLAINED,
    WHOLE_HEAD,
    looked_rows,
    missed_rows,
    whole_line,
    whole_rows,
    zoom_rows,
    zoom_title,
)
from fem.telling.zoom_words import was_resolved, zoom_line


def zooms(material: Material) -> Section | None:
    """The section, where any beads were solved."""
    cases = {name: case for name, case in material.findings.cases.items() if was_resolved(case)}
    if not cases:
        return None
    blocks: list[Block] = [Text(EXPLAINED)] if any(case.zooms for case in cases.values()) else []
    for name, case in cases.items():
        blocks += _places(material, name, case)
    looked = [list(row) for row in looked_rows(material.findings)]
    if looked:
        blocks.append(table(LOOKED_HEAD, looked, align="lllll", caption=LOOKED))
    if any(case.whole for case in cases.values()):
        blocks += [Heading("The whole part bead by bead"), Text(WHOLE_EXPLAINED)]
        for name, case in cases.items():
            blocks += _whole(material, name, case)
    return Section("beads", "Bead by bead", tuple(blocks))


def _places(material: Material, name: str, case: CaseFindings) -> list[Block]:
    out: list[Block] = []
    findings = material.findings
    for zoom in case.zooms:
        if not is_told_in(findings, name, zoom):
            continue
        title = zoom_title(name, zoom)
        line = zoom_line(zoom)
        out += [Heading(title), Text(f"{line[0].upper()}{line[1:]}.")]
        for file, told in zip(pictures_of(zoom), _captions(name), strict=False):
            picture = material.picture(file)
            if picture:
                out.append(Figure(f"{told} {title}.", told, PHOTO_MM, picture))
        rows = [list(row) for row in zoom_rows(zoom)]
        out.append(table(("Quantity", "Value"), rows, align="ll", caption=f"{title}."))
    return out


def _captions(case: str) -> tuple[str, str]:
    return (
        f"Beads around the worst one, opened at its layer and across it, case {case}.",
        f"The layer of the worst bead from above, case {case}; short strokes: bead direction (1).",
    )


def _whole(material: Material, name: str, case: CaseFindings) -> list[Block]:
    if case.whole is None:
        return []
    rows = [list(row) for row in whole_rows(case, material.findings.faces)]
    caption = f"Case {name}: homogenised, at places and as a whole; in brackets against homogenised."
    out: list[Block] = [
        Text(f"Case {name}. {whole_line(case.whole)}"),
        table(WHOLE_HEAD, rows, align="llll", caption=caption, small=True),
    ]
    missed = [list(row) for row in missed_rows(case.whole)]
    if missed:
        told = f"Case {name}: places whose beads bear less than the homogenised answer led to expect, worst first."
        out.append(table(MISSED_HEAD, missed, align="lllrr", caption=told, small=True))
    else:
        out.append(Text(f"Case {name}: {NONE_MISSED}"))
    return out
