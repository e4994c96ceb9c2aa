"""A viewer as a piece of a page, and what a page needs once for all its viewers.

A page's own script may use a viewer through its root element: `root.hand` once `root.dataset.drawn` is there;
`root.hand.choose({caseName, key})`, `.fly(i)`, `.light([face numbers])`, `.hide([face numbers])`; the event "drawn"
comes with its first picture; the event "picked" tells, after each click
or Enter, the place `at` [mm], the number of the `face` (null inside) and the `values` there. A viewer that is put
into the page later is started by `startHand(root)`.
"""

from __future__ import annotations

import json
import re
from functools import cache
from itertools import count
from pathlib import Path

from fem.telling.environment import template
from fem.telling.hand.nouns import Hand

HOME = Path(__file__).parent
SCRIPTS = (
    "unpack.js", "colours.js", "fields.js", "cut.js", "pick.js", "space.js", "sections.js", "parts.js", "elements.js",
    "legend.js", "camera.js", "controls.js", "hand.js",
)  # fmt: skip
"""The viewer's own modules in the order in which each uses those before it."""
HELP = (
    "<b>Mouse, touch:</b> drag to turn, two fingers or Shift to move, pinch or wheel to zoom once the picture is "
    "chosen. <b>Keys:</b> arrows turn, Shift and arrows move, + and − zoom, 0 shows the whole part, 1 to 6 go to a "
    "place, Enter tells the values in the middle."
)
_numbers = count(1)


@cache
def hand_head(*further: Path) -> str:
    """What a page holds once, before or after its viewers: the library, the viewer's script and its style.

    `further` modules of the page's own follow the viewer's and may use what these share.
    """
    library = _safe((HOME / "three.min.js").read_text(encoding="utf-8"))
    style = (HOME / "hand.css").read_text(encoding="utf-8")
    own = _own_script(further)
    return f'<style>{style}</style>\n<script>{library}</script>\n<script type="module">\n{own}</script>\n'


def _own_script(further: tuple[Path, ...]) -> str:
    """The viewer's modules as one: imports of each other dropped, and the word export before what they share."""
    text = "\n".join(path.read_text(encoding="utf-8") for path in (*(HOME / name for name in SCRIPTS), *further))
    text = re.sub(r"^import [^;]*;\n", "", text, flags=re.MULTILINE)
    return _safe(re.sub(r"^export ", "", text, flags=re.MULTILINE))


def _safe(script: str) -> str:
    """A script that does not end the element it stands in."""
    return script.replace("</script", "<\\/script")


def hand_html(hand: Hand, *, name: str = "", words: str = HELP) -> str:
    """A viewer as HTML: its frame and its data. `name` is the id of its root; without one, no two are the same;
    `words` (HTML) say what mouse and keys do.

    Errors: ValueError for a name that is no plain id.
    """
    own = name or f"hand-{next(_numbers)}"
    if not re.fullmatch(r"[A-Za-z][\w-]*", own):
        raise ValueError(f"{own!r} is no plain id")
    built = any("build" in axis for axis in hand.data["axes"])
    note = " ".join(filter(None, [hand.note, "The thick axis is the build direction." if built else ""]))
    data = json.dumps(hand.data, separators=(",", ":")).replace("<", "\\u003c")
    given = {"id": own, "title": hand.title, "still": hand.still, "note": note, "help": words, "data": data}
    return str(template("hand.html").render(**given))
