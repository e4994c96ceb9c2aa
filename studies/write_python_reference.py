"""Write studies/PYTHON.md, every public name of `fem` from its docstring: python studies/write_python_reference.py"""

from __future__ import annotations

import inspect
from pathlib import Path
from typing import Any

import fem

PAGE = Path(__file__).with_name("PYTHON.md")
HEAD = """# Beadwork from Python

Written by `python studies/write_python_reference.py` from the docstrings; change these, not this page. All names are
there with `from fem import NAME`, and are loaded when first used. `fem.__version__` is the version.
"""


def python_page() -> str:
    """The page, as Markdown."""
    parts = [HEAD]
    for title, names in fem.GROUPS.items():
        parts.append(f"## {title}\n")
        parts += [told for name in names for told in _told(name, getattr(fem, name))]
    return "\n".join(parts)


def _told(name: str, thing: Any) -> list[str]:
    out = [f"### `{name}`\n", _signature(name, thing), _doc(thing)]
    if inspect.isclass(thing):
        out += [_member(name, own, member) for own, member in vars(thing).items() if _is_public(own, member)]
    return out


def _is_public(name: str, member: Any) -> bool:
    inner = getattr(member, "__func__", getattr(member, "fget", getattr(member, "func", member)))
    return not name.startswith("_") and inspect.isfunction(inner) and bool(inner.__doc__)


def _member(of: str, name: str, member: Any) -> str:
    inner = getattr(member, "__func__", None) or (member if inspect.isfunction(member) else None)
    call = f"`{of}.{name}`" if inner is None else f"`{of}.{name}{_arguments(inner)}`"
    text = inspect.cleandoc((inner or getattr(member, "fget", None) or member.func).__doc__)
    return f"- {call}: " + text.replace("\n", "\n  ") + "\n"


def _arguments(function: Any) -> str:
    signature = inspect.signature(function)
    kept = [p for key, p in signature.parameters.items() if key not in ("self", "cls")]
    return str(signature.replace(parameters=kept)).replace("'", "")


def _signature(name: str, thing: Any) -> str:
    try:
        return f"```python\n{name}{_arguments(thing)}\n```\n"
    except (TypeError, ValueError):
        return ""


def _doc(thing: Any) -> str:
    return inspect.cleandoc(thing.__doc__ or "") + "\n"


if __name__ == "__main__":
    PAGE.write_text(python_page(), encoding="utf-8")
