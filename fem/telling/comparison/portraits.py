"""Pictures of a few variants for the comparison's page: the reserve factor on the surface, the least of all cases."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from fem.errors import BeadworkError, InputError
from fem.judging.choice import Comparison
from fem.judging.findings import Findings
from fem.judging.scene import Scene
from fem.telling.embedding import picture_address
from fem.telling.hand import hand_html, part_in_hand, read_hand, write_hand

MOST_DRAWN = 6
"""So many variants at most have a picture: the named one, then those of the fronts."""
WIDTH = 900
"""Pixels across a picture inside the page."""
HAND = ".hand"
"""The end of the name of a variant's part in hand, which lies beside its picture."""
LARGE, SMALL, ROOM = 2_500_000, 600_000, 6_500_000
"""Bytes of the named variant's part in hand, of each other one's, and of all that pictures take of the page."""


def to_draw(comparison: Comparison) -> tuple[str, ...]:
    """The variants whose pictures the page shows: the one to print first, then the Pareto-optimal ones."""
    names = [comparison.best] if comparison.best else []
    names += [name for front in reversed(comparison.fronts.values()) for name in front]
    return tuple(dict.fromkeys(names))[:MOST_DRAWN]


def portrait_of(comparison: Comparison, name: str) -> str:
    """Where the picture of a variant lies: beside its findings, named by the reserve factor that its scale marks."""
    mark = f"{comparison.required_reserve:g}" if comparison.reserve_asked else "target"
    return f"{comparison[name].findings_file.removesuffix('.json')}-at-{mark}.png"


def draw_portrait(findings: Findings, scene: Scene, *, file: Path, most_bytes: int = SMALL) -> Path:
    """Draw one variant's picture into `file`, by way of a file beside it, and keep its part in hand there."""
    from fem.telling.pictures import draw_least_reserve

    half = file.with_suffix(".part")
    half.mkdir(exist_ok=True)
    made = half / draw_least_reserve(findings, scene, folder=half).file
    try:
        write_hand(part_in_hand(scene, findings, most_bytes=most_bytes), file.with_suffix(HAND))
    except InputError:
        file.with_suffix(HAND).unlink(missing_ok=True)  # it would be too large: its picture must do
    made.replace(file)
    half.rmdir()
    return file


def room_for(comparison: Comparison, name: str) -> int:
    """How many bytes of the page a variant's part in hand may take: most for the one that is seen at once."""
    return LARGE if name == comparison.best else SMALL


def pictures_of(comparison: Comparison, folder: Path) -> list[dict[str, Any]]:
    """What the page shows of each variant that was drawn, the one to print first: its part in hand where that was
    kept and there is room, else its picture.
    """
    from markupsafe import Markup

    place = {v.name: i for i, v in enumerate(comparison.variants, start=1)}
    out: list[dict[str, Any]] = []
    room = ROOM
    for name in to_draw(comparison):
        file = folder / portrait_of(comparison, name)
        try:
            data = picture_address(file, width=WIDTH)
        except BeadworkError:
            continue
        hand = read_hand(file.with_suffix(HAND))
        shown = Markup(hand_html(replace(hand, title=name, still=data))) if hand and hand.size < room else ""
        room -= len(shown) + len(data)
        told = f"Reserve factor on the surface of {name}, the least of all cases"
        caption = (
            "Homogenised; its numbered places are the hot spots of the case." if shown else f"{told}, homogenised."
        )
        out.append({"n": place[name], "name": name, "data": data, "hand": shown, "alt": told, "caption": caption})
    return out
