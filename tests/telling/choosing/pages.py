"""What the tests of pages share: a reader of tags that tells what a page would ask for, and how well it is formed."""

from __future__ import annotations

import re
from html.parser import HTMLParser

EMPTY = {"meta", "input", "br", "link", "img", "hr"}


class Page(HTMLParser):
    """The elements of a page in order: `tags` as (name, attributes), `texts` of the cells of each table row."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.open: list[str] = []
        self.faults: list[str] = []
        self.rows: list[list[str]] = []
        self._cell: list[str] | None = None
        self.feed(text)
        self.close()
        self.faults += [f"{name} is left open" for name in self.open]

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, {k: v or "" for k, v in attrs}))
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self._cell = []
        if tag not in EMPTY:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, {k: v or "" for k, v in attrs}))

    def handle_endtag(self, tag):
        if not self.open or self.open[-1] != tag:
            self.faults.append(f"</{tag}> closes {self.open[-1:]}")
            return
        self.open.pop()
        if tag in ("td", "th") and self._cell is not None:
            self.rows[-1].append(" ".join("".join(self._cell).split()))
            self._cell = None

    def handle_data(self, data):
        if self._cell is not None:
            self._cell.append(data)

    def all(self, name: str, **wanted: str) -> list[dict[str, str]]:
        """Attributes of the elements of a name that have these values."""
        return [a for t, a in self.tags if t == name and all(a.get(k) == v for k, v in wanted.items())]

    @property
    def ids(self) -> list[str]:
        return [a["id"] for _, a in self.tags if "id" in a]


def asks_outside(text: str) -> list[str]:
    """All in a page that would make a browser ask for something, or send the reader, outside the page's folder."""
    found = re.findall(r"""(?:https?:|ftp:|wss?:)?//[\w.-]+\.\w+[^\s"'<]*""", text)
    page = Page(text)
    for _, attributes in page.tags:
        for key in ("src", "href", "xlink:href", "action", "srcset", "poster"):
            value = attributes.get(key, "")
            if (
                value
                and not value.startswith(("#", "data:"))
                and (":" in value or value.startswith(("/", "..", "\\")))
            ):
                found.append(value)
    found += re.findall(r"url\((?!#|['\"]?data:)[^)]*\)", text)
    return found + re.findall(r"\b(?:fetch|XMLHttpRequest|import|WebSocket|sendBeacon)\s*\(", text)
