"""How a page is made of its template: one set of rules, one style sheet and one way to show blocks for all pages."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from fem.telling.blocks import Figure, Table, breakable
from fem.telling.tips import meaning, tip
from fem.telling.words import CAUTION

TEMPLATES = Path(__file__).parent / "templates"


def template(name: str, *, scripts: Sequence[str] = (), **filters: Callable[..., Any]) -> Any:
    """A template of `templates/` that escapes what it shows and refuses names that it was not given.

    `scripts` of `templates/` stand at the page's end.
    """
    import jinja2

    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(TEMPLATES),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
    )
    blocks = {"kind": kind, "breakable": breakable, "anchor": anchor, "room": room, "meaning": meaning, "tip": tip}
    environment.filters.update({"address": unknown_address, **blocks, **filters})
    environment.globals.update(asset=asset, scripts=scripts, CAUTION=CAUTION)
    return environment.get_template(name)


def asset(name: str) -> Any:
    """A style sheet or a script of `templates/` as it stands, for a page."""
    from markupsafe import Markup

    return Markup((TEMPLATES / name).read_text(encoding="utf-8"))


def unknown_address(figure: Figure) -> str:
    """Errors: LookupError, since the page holds no pictures."""
    raise LookupError(figure.caption)


def kind(block: Any) -> str:
    """The name of a block's kind: table."""
    return type(block).__name__.lower()


def anchor(block: Table | Figure) -> str:
    """The address of a numbered piece in the page: table-3."""
    return block.caption.split(".")[0].lower().replace(" ", "-")


def room(block: Table) -> str:
    """How wide a table wants to be on a narrow screen, where it is moved sideways: many, some, or as narrow as it is.

    A table of three columns stays within the screen, its cells wrapped, so that its values are seen at once.
    """
    if len(block.head) <= 3:
        return ""
    columns = [[head, *(row[k].text for row in block.rows)] for k, head in enumerate(block.head)]
    letters = sum(min(max(map(len, column)), 30) + 2 for column in columns)
    return "many" if letters > 75 else "some" if letters > 42 else ""
