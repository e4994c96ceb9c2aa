"""Reads reviews as a person or a script would: the words of the paper, the tree of the page."""

from __future__ import annotations

import re
from html.parser import HTMLParser

VOID = {"meta", "img", "br", "link", "input", "hr"}


def words_of_pdf(path) -> list[str]:
    """The text of each page, with runs of blanks as one and without the places where a word may be broken."""
    from pypdf import PdfReader

    return [plain(page.extract_text()) for page in PdfReader(path).pages]


def plain(text: str) -> str:
    return " ".join(text.replace("\u200b", "").split())


def letters(text: str) -> str:
    """The text without any blanks: where lines are broken is a matter of layout."""
    return re.sub(r"\s+", "", text.replace("\u200b", ""))


def fonts_of_pdf(path) -> dict[str, bool]:
    """Every font of the file by name, and whether its letters are in the file."""
    from pypdf import PdfReader

    out = {}
    for page in PdfReader(path).pages:
        for font in page["/Resources"].get("/Font", {}).values():
            font = font.get_object()
            for inner in font.get("/DescendantFonts", [font]):
                descriptor = inner.get_object().get("/FontDescriptor", {}).get_object()
                out[font["/BaseFont"]] = any(key in descriptor for key in ("/FontFile", "/FontFile2", "/FontFile3"))
    return out


class Page(HTMLParser):
    """A page's text, images, links, identifiers, header cells and tables; a tag left open is an error."""

    def __init__(self, raw: str) -> None:
        super().__init__()
        self.raw, self.text = raw, []
        self.images, self.links, self.ids, self.heads, self.tags = [], [], [], [], []
        self._open: list[str] = []
        self.feed(raw)
        assert self._open == []
        self.words = plain(" ".join(self.text))

    def handle_starttag(self, tag, attrs):
        attrs = dict(attrs)
        self.tags.append((tag, attrs))
        if tag not in VOID:
            self._open.append(tag)
        self.ids += [attrs["id"]] if "id" in attrs else []
        self.links += [attrs[k] for k in ("src", "href", "action", "data", "srcset", "poster") if attrs.get(k)]
        if tag == "img":
            self.images.append(attrs)
        if tag == "th":
            self.heads.append(attrs)

    def handle_endtag(self, tag):
        assert self._open.pop() == tag

    def handle_data(self, data):
        if not {"script", "style", "title"} & set(self._open):
            self.text.append(data)
