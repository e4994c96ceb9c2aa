"""Names in a study that must stand for something: whose face, which load, on what a limit is set."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import partial
from typing import Any

from fem.errors import nearest
from fem.loading.kinds import LOAD_KINDS

EACH, KEYS = "*", "keys"
"""In a pattern: whatever stands in a table or list; the keys of the table themselves."""
NAMED: dict[tuple[str, ...], str] = {
    ("faces", EACH, "body"): "bodies",
    ("supports", EACH, "face"): "faces",
    ("joints", EACH, "faces", EACH): "faces",
    ("bolts", EACH, "head"): "faces",
    ("bolts", EACH, "thread"): "faces",
    ("loads", EACH, "face"): "faces",
    **{("loads", EACH, word, *at): table for word, kind in LOAD_KINDS.items() for at, table in kind.names.items()},
    ("cases", EACH, KEYS): "loads",
    ("requirements", "rotation", KEYS): "faces",
    ("requirements", "displacement", KEYS): "faces",
    ("requirements", "load", KEYS): "loads",
    ("watch", "faces", EACH): "faces",
    ("bench", EACH, "load"): "loads",
    ("bench", EACH, "point"): "points",
    ("bench", EACH, "face"): "faces",
}
"""Where names stand, and the table that they must stand in."""
NOUNS = {
    "cases": "case",
    "faces": "face",
    "loads": "load",
    "bodies": "body",
    "supports": "support",
    "points": "point",
}
RULES = {
    "requirements": "Limits go by face (those of `load` by load) and hold in every case.",
    "cases": "A case holds factors on loads; limits stand under [requirements], by face.",
}
"""What a reader who took one name for another must know, by the table in which it stands."""

Place = tuple[Any, ...]
Words = Callable[[], tuple[str, str]]


def wrong_names(tree: Mapping[str, Any]) -> dict[Place, Words]:
    """Place -> what is wrong and what to do, in words once asked, of every name in a file's tables that stands for
    nothing; tables that are misshapen are passed over.
    """
    from fem.study.keys import known_keys

    misspelt = bool(set(tree) - set(known_keys(())))
    names = {table: _table(tree, table) for table in NOUNS}
    out: dict[Place, Words] = {}
    for pattern, table in NAMED.items():
        lost = not isinstance(tree.get(table, {}), dict) or (misspelt and table not in tree)
        for place, name in () if lost else _found(tree, pattern):
            limit = place[0] == "requirements" and place[1] != "load"
            if isinstance(name, str) and name not in names[table]:
                out[place] = partial(_stands_for_nothing, place, name, table, names)
            elif limit and name in names["cases"]:
                out[place] = partial(_face_and_case, name)
    for key in _table(tree, "requirements"):
        if key not in known_keys(("requirements",)) and (key in names["cases"] or key in names["faces"]):
            out["requirements", key] = partial(_limit_of, key, "case" if key in names["cases"] else "face")
    for name, support in names["supports"].items():
        if name in _table(tree, "joints") and _bears(support):
            out["joints", name] = partial(_joint_and_support, name)
    bodies = list(names["bodies"])
    for name, face in names["faces"].items():
        if len(bodies) > 1 and isinstance(face, dict) and "body" not in face:
            out["faces", name] = partial(_whose, bodies)
    return out


def _table(tree: Mapping[str, Any], name: str) -> dict[str, Any]:
    table = tree.get(name)
    return table if isinstance(table, dict) else {}


def _found(here: Any, pattern: Place, place: Place = ()) -> Iterator[tuple[Place, Any]]:
    """What stands in tables and lists at the places of a pattern, each with its place."""
    if not pattern:
        yield place, here
        return
    step, rest = pattern[0], pattern[1:]
    if step == KEYS:
        yield from (((*place, key), key) for key in (here if isinstance(here, dict) else ()))
    elif step == EACH and isinstance(here, dict | list):
        for key, value in here.items() if isinstance(here, dict) else enumerate(here):
            yield from _found(value, rest, (*place, key))
    elif isinstance(here, dict) and step in here:
        yield from _found(here[step], rest, (*place, step))


def _stands_for_nothing(place: Place, name: str, table: str, names: Mapping[str, Any]) -> tuple[str, str]:
    from fem.study.keys import known_keys

    other = next((noun for other, noun in NOUNS.items() if name in names[other]), "")
    if place[0] == "cases" and name in known_keys(("requirements",)):
        other = "requirement"
    what = f'there is no {NOUNS[table]} "{name}"' + (f"; that is a {other}." if other else ".")
    rule = RULES.get(place[0], "") if other else ""
    advice = nearest(name, names[table]) or f"Describe it under [{table}]."
    return what, f"{rule} {advice}".strip()


def _face_and_case(name: str) -> tuple[str, str]:
    return f'both a face and a case are called "{name}".', f"{RULES['requirements']} Rename one of them."


def _bears(support: Any) -> bool:
    """Whether what a support does is told among the joints."""
    if not isinstance(support, dict):
        return False
    foundation = support.get("foundation")
    return "bearing" in support or (isinstance(foundation, dict) and foundation.get("push_only") is True)


def _joint_and_support(name: str) -> tuple[str, str]:
    return f'both a joint and a support that bears are called "{name}".', "Results go by name: rename one of them."


def _limit_of(name: str, noun: str) -> tuple[str, str]:
    return (
        f'"{name}" is a {noun}, not a requirement.',
        f'{RULES["requirements"]} Write rotation = {{ FACE = "0.4 deg" }}.',
    )


def _whose(bodies: list[str]) -> tuple[str, str]:
    others = ", ".join(bodies[1:])
    return "with several bodies a face must say whose it is.", f'Add body = "{bodies[0]}" (or {others}).'
