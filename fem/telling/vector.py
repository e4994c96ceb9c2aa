"""Vector plots inside a page: matplotlib's SVG, with marks that tell their value to the pointer and the keyboard."""

from __future__ import annotations

import io
import re
from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

INK, SOFT, LINE = "#16211f", "#4c5a57", "#c9d1ce"
STYLE: dict[str, Any] = {
    "svg.fonttype": "path",
    "font.family": "DejaVu Sans",
    "font.size": 11,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "grid.color": LINE,
    "grid.linewidth": 0.6,
    "axes.axisbelow": True,
    "figure.facecolor": "white",
}
"""How all plots of the pages look."""
VARIABLES = {INK: "--ink", SOFT: "--soft", LINE: "--line", "#ffffff": "--paper", "#0b5d8f": "--good"}
"""Colours that an inline plot takes from the page's style sheet, light or dark."""


def styled(**more: Any) -> Any:
    """A context in which matplotlib draws in the pages' style, with more settings of its own names (_ for .)."""
    import matplotlib

    settings: Any = {**STYLE, **{key.replace("_", "."): value for key, value in more.items()}}
    return matplotlib.rc_context(settings)


def inline_svg(figure: Any, *, prefix: str, label: str, tips: Mapping[str, Sequence[str]]) -> str:
    """A matplotlib figure as an <svg> element for a page.

    `prefix` keeps its ids apart from other figures', `label` tells its numbers to those who do not see it; `tips`
    gives, by the gid of a row of marks, the text of each that stands at the pointer or the keyboard's focus.
    """
    out = io.StringIO()
    with styled(svg_hashsalt=prefix):
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Type": None, "Format": None})
    text = out.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.S)
    text = re.sub(r'\bid="([^"]+)"', rf'id="{prefix}-\1"', text)
    text = re.sub(r'href="#([^"]+)"', rf'href="#{prefix}-\1"', text)
    text = re.sub(r"url\(#([^)]+)\)", rf"url(#{prefix}-\1)", text)
    for colour, name in VARIABLES.items():
        text = text.replace(f": {colour}", f": var({name})")
    for gid, told in tips.items():
        text = _with_tips(text, f'<g id="{prefix}-{gid}">', told)
    head = f'<svg role="group" aria-label="{escape(label, quote=True)}" class="plot" '
    # Names of XML vocabularies look like addresses; within a page they are not needed
    text = re.sub(r'\s(xmlns(:\w+)?|version)="[^"]*"', "", text)
    text = text.replace("xlink:href", "href")
    text = re.sub(r'<svg ([^>]*?)\s?(width|height)="[^"]*pt"', r"<svg \1", text, count=1)
    text = re.sub(r'<svg ([^>]*?)\s?(width|height)="[^"]*pt"', r"<svg \1", text, count=1)
    return text.replace("<svg ", head, 1)


def _with_tips(text: str, group: str, told: Sequence[str]) -> str:
    """The SVG with each mark of a group wrapped so that it can be pointed at and reached by the keyboard."""
    start = text.index(group)
    pieces = text[start:].split("<use ", len(told))
    if len(pieces) != len(told) + 1:
        raise ValueError(f"{group} holds {len(pieces) - 1} marks, not {len(told)}")
    out = [text[:start], pieces[0]]
    for tip, piece in zip(told, pieces[1:], strict=True):
        mark, rest = piece.split("/>", 1)
        label = escape(tip, quote=True)
        out.append(f'<g class="tip" tabindex="0" role="img" aria-label="{label}"><use {mark}/></g>{rest}')
    return "".join(out)
