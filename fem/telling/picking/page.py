"""The page on which a solid's faces are picked: one file, without a network."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

from fem.digits import number
from fem.errors import SolidError, printable
from fem.part.solid import shown_surface
from fem.telling.environment import template
from fem.telling.hand import hand_head, hand_html, surface_in_hand
from fem.telling.picking.nouns import FAMILIES, Choices

HOME = Path(__file__).parent
SCRIPTS = ("lines.js", "bed.js", "box.js", "list.js", "faces.js", "point.js", "patch.js", "build.js", "picker.js")
"""The page's own modules in the order in which each uses those before it."""
MOST_TRIANGLES = 300_000
"""A surface of more triangles no longer follows the pointer."""
MOST_FACES = 5_000
"""A solid of more faces is no list that one reads."""
HELP = (
    "<b>Mouse, touch:</b> click to pick, drag to turn, two fingers or Shift to move, pinch or wheel to zoom once the "
    "picture is chosen. <b>Keys:</b> arrows turn, Shift and arrows move, + and − zoom, 0 shows the whole part, Enter "
    "picks what lies at the cross in the middle."
)
_MARK = re.compile(r'<meta name="beadwork-solid" content="([0-9a-f]*)">')


def pick_html(choices: Choices) -> str:
    """The page. Errors: SolidError where the solid has more triangles or faces than a page holds."""
    solid = choices.solid
    points, triangles, face = shown_surface(solid)
    refuse_too_large(len(triangles), len(solid.faces), where=str(solid.path))
    labels = [f"{each.id}, {told.what}" for each, told in zip(solid.faces, choices.faces, strict=True)]
    hand = surface_in_hand(points, triangles, face, labels, title=printable(choices.title))
    size = " × ".join(f"{v:.4g}" for v in solid.box[1] - solid.box[0])
    page: str = template("pick.html").render(
        mark=choices.mark,
        title=printable(choices.title),
        facts=f"{len(solid.faces)} faces, {size} mm, {number(solid.volume)} mm³",
        head=hand_head(*(HOME / name for name in SCRIPTS)),
        hand=hand_html(hand, name="solid", words=HELP),
        data=json.dumps(_data(choices), separators=(",", ":")).replace("<", "\\u003c"),
    )
    return page


def refuse_too_large(triangles: int, faces: int, *, where: str) -> None:
    """Errors: SolidError where a page cannot hold so many triangles or faces."""
    for count, most, what in ((triangles, MOST_TRIANGLES, "triangles"), (faces, MOST_FACES, "faces")):
        if count > most:
            raise SolidError(
                f"its surface has {count:,} {what}, more than a page to pick from holds ({most:,}).",
                where=where,
                advice="Export it with coarser triangles, or as STEP; `beadwork faces` lists all its faces.",
            )


def mark_in(path: Path) -> str | None:
    """Of which solid a page is; None where the file is no such page."""
    with path.open(encoding="utf-8", errors="replace") as stream:
        found = _MARK.search(stream.read(1000))
    return None if found is None else found[1]


def _data(choices: Choices) -> dict[str, Any]:
    faces = [
        {
            "id": face.id,
            "what": told.what,
            "area": face.area,
            "normal": None if face.normal is None else face.normal.tolist(),
            "facing": told.way,
            "name": told.name,
            "query": told.query,
            **{family: told.families.get(family) for family in FAMILIES},
        }
        for face, told in zip(choices.solid.faces, choices.faces, strict=True)
    ]
    groups = [{"faces": list(g.faces), "query": g.query, "name": g.name} for g in choices.groups]
    return {"file": printable(choices.title), "body": choices.body, "faces": faces, "groups": groups}
