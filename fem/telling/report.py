"""The report: one page that opens from disk, prints, and carries everything it shows inside itself."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from fem.errors import BeadworkError, InputError
from fem.judging.advice import advised, is_singular, rests_on_singular
from fem.judging.deciding import outcome
from fem.judging.findings import Findings, write_findings
from fem.judging.scene import Scene
from fem.judging.verdict import outcome_text, verdict_of
from fem.telling import words
from fem.telling.album import Picture, Progress
from fem.telling.bead_files import is_told_in, pictures_of
from fem.telling.chance_words import CHANCE_EXPLAINED, chance_line
from fem.telling.embedding import PAGE_WIDTH, page_address, picture_addresses
from fem.telling.environment import asset, template
from fem.telling.files import write_fields, write_text
from fem.telling.first_screen import bars, facts, fails_first, headline
from fem.telling.hand import hand_head, hand_html, part_in_hand
from fem.telling.printed import ASSUMED, FROM_ASSUMED, plan_rows, zone_rows
from fem.telling.reactions import EXPLAINED, HEAD, failing_load, reaction_rows
from fem.telling.tips import TIPS, tip
from fem.telling.zoom_rows import EXPLAINED as EXPLAINED_PLACES
from fem.telling.zoom_rows import (
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
from fem.telling.zoom_words import aside, band_text, is_told, value_and_kind, zoom_line
from fem.zooming.nouns import ZoomView

LIMIT_BYTES = 8_000_000
"""The page stays below this, the viewer's script included."""
HANDS = (4_500_000, 2_000_000, 700_000)
"""Bytes of the part in hand, tried in turn."""
WIDTHS = (PAGE_WIDTH, 1000, 800, 640, 480)
"""Widths [px] of the pictures inside the page, tried in turn until the page is small enough."""
SIX = ("x", "y", "z", "about x", "about y", "about z")
ORDER = ("σxx", "σyy", "σzz", "τyz", "τxz", "τxy")
PRINT_ORDER = ("σ11", "σ22", "σ33", "τ23", "τ13", "τ12")


def tell(
    findings: Findings,
    scene: Scene,
    *,
    folder: Path,
    zooms: Sequence[ZoomView] = (),
    progress: Progress = None,
) -> Path:
    """Write findings.json, fields.vtu, pictures/*.png and report.html into `folder`; return the report's path.

    `zooms` are the places solved bead by bead that are drawn, and that the findings name (`with_pictures`).
    """
    from concurrent.futures import ThreadPoolExecutor

    from fem.telling.pictures import draw_pictures

    say = progress or (lambda _text, _share: None)
    folder.mkdir(parents=True, exist_ok=True)
    say("findings and fields", 0.0)
    write_findings(findings, folder / "findings.json")
    with ThreadPoolExecutor(1) as beside:  # while other processes draw
        hand = beside.submit(_in_hand, findings, scene, most=HANDS[0])
        fields = beside.submit(write_fields, scene, folder / "fields.vtu")
        pictures = draw_pictures(
            findings,
            scene,
            folder=folder / "pictures",
            zooms=zooms,
            progress=lambda text, share: say(text, 0.05 + 0.75 * share),
        )
        say("report", 0.8)
        fields.result()
        path = write_report(findings, scene, pictures, folder=folder, hand=hand.result())
    say("report", 1.0)
    return path


def write_report(
    findings: Findings,
    scene: Scene,
    pictures: tuple[Picture, ...],
    *,
    folder: Path,
    hand: str | None = None,
) -> Path:
    """Write report.html into `folder`; pictures that bring no bytes along are read from `folder`/pictures. `hand` is
    the part in hand at its largest, if it was made before.

    The pictures inside the page, then the part in hand, are made coarser until it is below LIMIT_BYTES.
    Errors: BeadworkError when even the coarsest page is larger.
    """
    for most in HANDS:
        shown = hand if hand is not None and most == HANDS[0] else _in_hand(findings, scene, most=most)
        for width in WIDTHS if shown else ():
            text = _page(findings, pictures, _addresses(pictures, folder / "pictures", width=width), shown)
            if len(text.encode()) < LIMIT_BYTES:
                return write_text(text, folder / "report.html")
    raise BeadworkError(
        f"the page would be larger than {LIMIT_BYTES / 1e6:g} MB.",
        where=str(folder / "report.html"),
        advice="Ask for fewer cases in one study.",
    )


def _addresses(pictures: Sequence[Picture], folder: Path, *, width: int) -> dict[str, str]:
    """The pictures by file as data addresses; only what was not encoded at this width when drawn is encoded."""
    ready = {p.file: page_address(p.inside) for p in pictures if p.inside and width == PAGE_WIDTH}
    return ready | picture_addresses([folder / p.file for p in pictures if p.file not in ready], width=width)


def _in_hand(findings: Findings, scene: Scene, *, most: int) -> str:
    """The part in hand in at most so many bytes; "" where it cannot be made so small."""
    try:
        return hand_html(part_in_hand(scene, findings, most_bytes=most), name="part")
    except InputError:
        return ""


def _page(findings: Findings, pictures: tuple[Picture, ...], embedded: Mapping[str, str], hand: str) -> str:
    page = template(
        "report.html",
        tip=tip,
        fails_first=fails_first,
        number=words.number,
        reserve=words.reserve_text,
        vector=words.vector,
        place=words.place,
        force=words.force,
        norm=lambda v: math.hypot(*v),
        flat=flat,
        words=_words,
        criterion=words.criterion,
        aside=aside,
        band=band_text,
        is_singular=is_singular,
        rests_on_singular=rests_on_singular,
        advised=advised,
        standing=words.standing,
        failing_load=failing_load,
        reaction_rows=reaction_rows,
    )
    verdict = verdict_of(findings)
    text: str = page.render(
        css=asset("page.css") + asset("report.css"),
        script=asset("report.js"),
        tips=TIPS,
        headline=headline(findings),
        bars=list(bars(findings)),
        facts=list(facts(findings)),
        hand_head=hand_head(),
        hand=hand,
        f=findings,
        answer=words.answer(findings),
        verdict=verdict.word,
        decisive=[c for c in findings.cautions if c.decisive],
        required=verdict.required,
        asked=verdict.asked,
        pictures=[p for p in pictures if p.kind not in ("zones", "beads", "bead layer")],
        chances=_chances(findings, verdict.required),
        chance_explained=CHANCE_EXPLAINED,
        kinds=is_told(findings),
        places=_places(findings, pictures),
        looked=looked_rows(findings),
        looked_text=LOOKED,
        looked_head=LOOKED_HEAD,
        places_explained=EXPLAINED_PLACES,
        whole=_whole(findings),
        whole_explained=WHOLE_EXPLAINED,
        whole_head=WHOLE_HEAD,
        missed_head=MISSED_HEAD,
        none_missed=NONE_MISSED,
        printed=_printed(findings, pictures),
        axes=_bead_axes(findings),
        embedded=embedded,
        assumed=(ASSUMED, FROM_ASSUMED),
        six=SIX,
        reaction_head=HEAD,
        reactions_explained=EXPLAINED,
        order=ORDER,
        print_order=PRINT_ORDER,
        with_unit=words.with_unit,
        value_text=partial(value_and_kind, findings),
        outcome=outcome,
        outcome_text=outcome_text,
        stiffness_unit=stiffness_unit,
        compliance_unit=compliance_unit,
        estimates={name: body.estimates for name, body in findings.bodies.items() if body.estimates},
    )
    return text


def _chances(findings: Findings, required: float) -> dict[str, str]:
    """A sentence on the chances of each case where they are known."""
    told = {name: chance_line(case.reserve, required) for name, case in findings.cases.items()}
    return {name: f"C{line[1:]}." for name, line in told.items() if line}


def _bead_axes(findings: Findings) -> dict[str, str] | None:
    """The figure of the bead axes and its caption, where a body is printed."""
    from markupsafe import Markup
    from matplotlib.figure import Figure

    from fem.telling.bead_axes import ALT, CAPTION, RATIO, axes_figure
    from fem.telling.vector import inline_svg, styled

    if not any(body.print for body in findings.bodies.values()):
        return None
    with styled(font_size=9):
        figure = axes_figure(Figure(figsize=(5.2, 5.2 * RATIO)))
        return {"svg": Markup(inline_svg(figure, prefix="axes", label=ALT, tips={})), "caption": CAPTION}


def _places(findings: Findings, pictures: tuple[Picture, ...]) -> list[dict[str, Any]]:
    """What the section on beads shows of each place, the worst of a case first."""
    drawn = {picture.file: picture for picture in pictures}
    return [
        {
            "title": zoom_title(name, zoom),
            "line": zoom_line(zoom),
            "rows": zoom_rows(zoom),
            "pictures": [drawn[file] for file in pictures_of(zoom) if file in drawn],
        }
        for name, case in findings.cases.items()
        for zoom in case.zooms
        if is_told_in(findings, name, zoom)
    ]


def _whole(findings: Findings) -> list[dict[str, Any]]:
    """What it shows of the part solved as a whole, by case."""
    return [
        {
            "case": name,
            "line": whole_line(case.whole),
            "rows": whole_rows(case, findings.faces),
            "missed": missed_rows(case.whole),
        }
        for name, case in findings.cases.items()
        if case.whole is not None
    ]


def _printed(findings: Findings, pictures: tuple[Picture, ...]) -> list[dict[str, Any]]:
    """What the section on the print shows of each body that is printed or was cut."""
    out = []
    for name, body in findings.bodies.items():
        shots = [p for p in pictures if p.kind == "zones" and p.body == name]
        if body.print is not None or shots:
            plan = plan_rows(body, currency=findings.currency)
            out.append({"name": name, "body": body, "pictures": shots, "zones": zone_rows(body), "plan": plan})
    return out


def stiffness_unit(row: int, column: int) -> str:
    """Unit of an entry of the 6 x 6 stiffness: forces and moments against displacements and rotations."""
    return (("N/mm", "N/rad"), ("N·mm/mm", "N·mm/rad"))[row > 2][column > 2]


def compliance_unit(row: int, column: int) -> str:
    """Unit of an entry of the 6 x 6 compliance: displacements and rotations against forces and moments."""
    return (("mm/N", "mm/(N·mm)"), ("rad/N", "rad/(N·mm)"))[row > 2][column > 2]


UNITS = {
    "_N": "N", "_Nmm": "N·mm", "_mm": "mm", "_mm2": "mm²", "_mm3": "mm³", "_MPa": "MPa", "_g": "g", "_deg": "deg",
    "_kN": "kN", "_mJ": "mJ", "_MB": "MB", "_s": "s", "_K": "K", "_rad": "rad",
    "_N_per_mm3": "N/mm³", "_N_per_mm": "N/mm", "_m_per_s2": "m/s²",
}  # fmt: skip


def flat(values: Mapping[str, Any], *, before: str = "") -> list[tuple[str, str]]:
    """A nested table of plain values as rows of name and text; a unit at the end of a key moves to the value."""
    rows: list[tuple[str, str]] = []
    for key, value in values.items():
        name = f"{before}{key}"
        if isinstance(value, Mapping):
            rows += flat(value, before=f"{name} · ") if value else [(_words(name), "none")]
            continue
        end = max((end for end in UNITS if name.endswith(end)), key=len, default="")
        unit = UNITS.get(end, "")
        if unit and _numeric(value):
            name = name.removesuffix(end)
        else:
            unit = ""
        rows.append((_words(name), f"{_told(value)} {unit}".strip()))
    return rows


def _numeric(value: Any) -> bool:
    if isinstance(value, bool):
        return False
    return isinstance(value, (int, float)) or (
        isinstance(value, (list, tuple)) and bool(value) and all(_numeric(v) for v in value)
    )


def _told(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if value is None:
        return "not known"
    if isinstance(value, int):
        return f"{value:,}"
    if isinstance(value, float):
        return words.number(value)
    if isinstance(value, (list, tuple)):
        if value and all(isinstance(v, (int, float)) and not isinstance(v, bool) for v in value):
            return words.vector(value, digits=4)
        return ", ".join(_told(v) for v in value)
    if isinstance(value, Mapping):
        return json.dumps(value, ensure_ascii=False, default=str)
    return str(value)


def _words(name: str) -> str:
    """A key as words."""
    return name.replace("_", " ")
