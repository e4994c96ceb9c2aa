"""The report: one page that opens from disk, prints, and carries everything it shows inside itself."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from pathlib import Path

from fem.digits import number
from fem.errors import BeadworkError, InputError
from fem.judging.findings import Findings, write_findings
from fem.judging.scene import Scene
from fem.judging.verdict import verdict_of
from fem.telling import words
from fem.telling.album import Picture, Progress
from fem.telling.blocks import Section, numbered
from fem.telling.chance_words import CHANCE_EXPLAINED, chance_line
from fem.telling.embedding import PAGE_WIDTH, address_of, page_address, picture_addresses
from fem.telling.environment import template
from fem.telling.files import write_fields, write_text
from fem.telling.first_screen import MOST_BARS, bars, facts, fails_first, headline
from fem.telling.hand import Hand, hand_head, hand_html, part_in_hand, write_hand
from fem.telling.hand.kept import PART
from fem.telling.tips import TIPS
from fem.telling.zoom_words import is_told
from fem.zooming.nouns import ZoomView

LIMIT_BYTES = 8_000_000
"""The page stays below this, the viewer's script included."""
HANDS = (4_500_000, 2_000_000, 700_000)
"""Bytes of the part in hand, tried in turn."""
WIDTHS = (PAGE_WIDTH, 1000, 800, 640, 480)
"""Widths [px] of the pictures inside the page, tried in turn until the page is small enough."""
IN_SECTIONS = ("zones", "beads", "bead layer", "joint")
"""Kinds of pictures that stand in the sections which a report shares with the review, not beside its cases."""


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
    hand: Hand | None = None,
) -> Path:
    """Write report.html into `folder`, and part.json with what its part in hand shows; pictures that bring no bytes
    along are read from `folder`/pictures. `hand` is the part in hand at its largest, if it was made before.

    The pictures inside the page, then the part in hand, are made coarser until it is below LIMIT_BYTES.
    Errors: BeadworkError when even the coarsest page is larger.
    """
    for most in HANDS:
        shown = hand if hand is not None and most == HANDS[0] else _in_hand(findings, scene, most=most)
        if shown is None:
            break
        for width in WIDTHS:
            text = _page(findings, pictures, _addresses(pictures, folder / "pictures", width=width), shown)
            if len(text.encode()) < LIMIT_BYTES:
                write_hand(shown, folder / PART)
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


def _in_hand(findings: Findings, scene: Scene, *, most: int) -> Hand | None:
    """The part in hand in at most so many bytes; None where it cannot be made so small."""
    try:
        return part_in_hand(scene, findings, most_bytes=most)
    except InputError:
        return None


def _page(findings: Findings, pictures: tuple[Picture, ...], embedded: Mapping[str, str], hand: Hand) -> str:
    from markupsafe import Markup

    shown, folded = _sections(findings, pictures)
    page = template(
        "report.html",
        scripts=("report.js",),
        fails_first=fails_first,
        number=number,
        address=partial(address_of, embedded=embedded),
    )
    verdict = verdict_of(findings)
    text: str = page.render(
        tips=TIPS,
        headline=headline(findings),
        bars=(every := list(bars(findings))),
        most=MOST_BARS,
        rest=", ".join(dict.fromkeys(bar.outcome for bar in every[MOST_BARS:])),
        facts=list(facts(findings)),
        hand=Markup(hand_head() + hand_html(hand, name="part")),
        f=findings,
        answer=words.answer(findings),
        verdict=verdict.word,
        decisive=[c for c in findings.cautions if c.decisive],
        required=verdict.required,
        pictures=[p for p in pictures if p.kind not in IN_SECTIONS],
        embedded=embedded,
        chances=_chances(findings, verdict.required),
        chance_explained=CHANCE_EXPLAINED,
        kinds=is_told(findings),
        shown=shown,
        folded=folded,
        estimates={name: body.estimates for name, body in findings.bodies.items() if body.estimates},
    )
    return text


def _sections(findings: Findings, pictures: tuple[Picture, ...]) -> tuple[tuple[Section, ...], tuple[Section, ...]]:
    """The review's own sections in two groups: those that stand open, and those that are folded."""
    from fem.telling.review import sections as review
    from fem.telling.review.material import Material

    shown = [p for p in pictures if p.kind in IN_SECTIONS]
    captions = {p.file: f"{p.title}. {p.caption}" for p in shown}
    material = Material(findings, {p.file: Path(p.file) for p in shown}, captions, free_bodies=False)
    top = (review.zooms, review.cautions)
    below = (
        *(review.requirements, review.loads, review.stiffness, review.bench, review.hot_spots),
        *(review.making, review.assumptions, review.inputs),
    )
    unfolded = [section for make in top if (section := make(material))]
    every = numbered([*unfolded, *(section for make in below if (section := make(material)))])
    count = len(unfolded)
    return every[:count], every[count:]


def _chances(findings: Findings, required: float) -> dict[str, str]:
    """A sentence on the chances of each case where they are known."""
    told = {name: chance_line(case.reserve, required) for name, case in findings.cases.items()}
    return {name: f"C{line[1:]}." for name, line in told.items() if line}
