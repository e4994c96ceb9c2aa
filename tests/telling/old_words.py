"""Words that the pages once used for what the field has terms for; none may come back into what a reader sees."""

from __future__ import annotations

import re

OLD = (
    "artefact", "skin", "skins", "least reserve", "least of", "turn it over", "pulled straight", "fails by",
    "decided by", "found", "grows worse", "without end", "both ways together", "acting together", "shear together",
    "beats", "beaten", "buys", "bought", "outside the part", "reserve factor outside", "reserve factor inside",
    "times as large", "exaggerated", "upright", "up the build", "mean material", "is worth", "by its worst bead",
    "buckles before", "torn", "soaked", "to come", "factor one", "at factor 1", "leave with", "asking back",
    "go on with", "answered", "most in reserve", "all that is asked for", "held face", "held edge",
    "the bed", "warming", "tets",
    "an singular", "maximum stress_", "tsai_wu", "von_mises", "maximum_stress", "wall_buckling", "clamp",
)  # fmt: skip


def old_words(text: str) -> list[str]:
    """The old words that stand in a text, whole words only."""
    return [word for word in OLD if re.search(rf"(?<![\w]){re.escape(word)}(?![\w])", text, flags=re.IGNORECASE)]


def seen(html: str) -> str:
    """What a reader sees or hears of a page: its words, and the words that stand for its pictures."""
    bare = re.sub(r"<(script|style|pre)\b.*?</\1>", " ", html, flags=re.S)
    told = re.findall(r'(?:alt|aria-label|placeholder|title)="([^"]*)"', bare)
    return " ".join(re.sub(r"<[^>]+>", " ", bare).split()) + " " + " ".join(told)
