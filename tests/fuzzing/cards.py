"""Card files: each value against an independent reading of its text."""

from __future__ import annotations

import random
import tomllib
from pathlib import Path
from typing import Any

from fem.printing.polymer import CARDS, card_files, load_card
from fuzzing.damage import damaged_bytes, damaged_text, quoted, varied_text
from fuzzing.doors import READ, REFUSED, Wrong, refused, tried
from fuzzing.meaning import WORDS, difference, leaves, unread, with_plain_numbers

OVER = (
    'name = "ours"\nfrom = "pla"\n[dry]\ntension = ["48 MPa", "41 MPa", "22 MPa"]\ntoughness = "2.5 MPa*m^0.5"\n'
    'source = "five coupons"\n'
)


def prepare(folder: Path) -> dict[str, Any]:
    texts = {path.stem: path.read_text(encoding="utf-8") for path in sorted(CARDS.glob("*.toml"))}
    texts["over"] = OVER
    out = {}
    for name, text in texts.items():
        (folder / "card.toml").write_text(text, encoding="utf-8")
        out[name] = (text, load_card(folder / "card.toml"))
    return out


def spoilt(chance: random.Random, base: dict[str, Any], folder: Path) -> tuple[Path, str]:
    """A damaged card in `folder`, and the name of the sound one."""
    own = chance.choice(sorted(base))
    text = base[own][0]
    if chance.random() < 0.25:
        raw = damaged_bytes(chance, text.encode())
    else:
        raw = chance.choice((damaged_text, varied_text))(chance, text).encode("utf-8", "surrogatepass")
    path = folder / chance.choice(("card.toml", "card.toml", "[bold]c.toml", "ä .toml", "\x1b[31m.toml"))
    path.write_bytes(raw)
    return path, own


def case(chance: random.Random, base: dict[str, Any], folder: Path) -> str:
    """The card is refused, or says what its text says."""
    path, own = spoilt(chance, base, folder)
    text, whole = base[own]
    card = tried(lambda: load_card(path))
    if refused(card):
        return REFUSED
    tried(lambda: card_files(path))
    for state in card.states:
        for warm in (None, -40.0, 23.0, 60.0, 1000.0):
            tried(lambda state=state, warm=warm: card.state(state, temperature=warm))
    tree, before = tomllib.loads(path.read_text(encoding="utf-8")), tomllib.loads(text)
    if odd := unread(tree, before):
        raise Wrong(f"a quantity was read that has no one reading: {odd}")
    told = difference(card, whole)
    if tree == before and told:
        raise Wrong(f"the text means the same, but the card differs: {told}")
    if not told and _numbers(tree) != _numbers(before):
        raise Wrong("a number of the text was changed, but the card is the same")
    (folder / "plain.toml").write_text(as_toml(with_plain_numbers(tree)), encoding="utf-8")
    plain = tried(lambda: load_card(folder / "plain.toml"))
    if refused(plain):
        raise Wrong(f"written plainly it is refused: {plain}")
    if told := difference(card, plain):
        raise Wrong(f"a value was read otherwise than it is meant: {told}")
    return READ


def _numbers(tree: Any) -> dict[Any, Any]:
    """The values that count, quantities with their numbers written plainly."""
    return {path: value for path, value in leaves(with_plain_numbers(tree)) if not {*WORDS, "estimates"} & {*path}}


def as_toml(tree: Any) -> str:
    """Tables as a file of TOML, all but the first level in line."""
    return "".join(f"{quoted(key)} = {_value(value)}\n" for key, value in tree.items())


def _value(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{quoted(k)} = {_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(_value, value)) + "]"
    if isinstance(value, str):
        return quoted(value)
    return (
        str(value).lower()
        if isinstance(value, bool)
        else repr(value)
        if isinstance(value, int | float)
        else str(value)
    )
