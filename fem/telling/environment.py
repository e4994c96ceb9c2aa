"""How a page is made of its template: one set of rules for all pages."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

TEMPLATES = Path(__file__).parent / "templates"


def template(name: str, **filters: Callable[..., Any]) -> Any:
    """A template of `templates/` that escapes what it shows and refuses names that it was not given."""
    import jinja2

    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(TEMPLATES),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
    )
    environment.filters.update(filters)
    return environment.get_template(name)


def asset(name: str) -> Any:
    """A style sheet or a script of `templates/` as it stands, for a page."""
    from markupsafe import Markup

    return Markup((TEMPLATES / name).read_text(encoding="utf-8"))
