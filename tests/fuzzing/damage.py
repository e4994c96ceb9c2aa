"""Ways to damage and vary a text or the bytes of a file, each from a seeded `random.Random`."""

from __future__ import annotations

import random
import re

NUMBER = re.compile(r"(?<![\w.#])[-+]?\d+(?:\.\d*)?(?:[eE][-+]?\d+)?")
STRING = re.compile(r'"(?:[^"\\\n]|\\.)*"')
WORD = re.compile(r"[A-Za-z_][A-Za-z0-9_-]*")

EXTREME = (
    *("0", "-0.0", "1", "-1", "0.5", "3", "90", "1e-5", "1e5", "1e-200", "1e200", "-1e200", "1e308", "1e309"),
    *("5e-324", "nan", "inf", "-inf", "2147483648", "-9223372036854775809", "1_000", "0x1F", "0b11", "01", "1."),
    *("9" * 400, "9" * 5000, "true", '"3"', "[1]", "{}", "1979-05-27", "07:32:00", "[[[[1]]]]"),
)
QUANTITIES = (
    *(
        "2,5 {u}",
        "1,500 {u}",
        "1 200 {u}",
        "−60 {u}",
        "1'200 {u}",
        "1.234,5 {u}",
        "1,234.5 {u}",
        "12 000 {u}",
        "12 00 {u}",
    ),
    *(
        "1{u}",
        " 1 {u} ",
        "1e400 {u}",
        "1e-400 {u}",
        "{u}",
        "-{u}",
        "--4 {u}",
        "4 4 {u}",
        "½ {u}",
        "1_0 {u}",
        "0x10 {u}",
    ),
    *(
        "1e {u}",
        ".5 {u}",
        "5. {u}",
        "+5 {u}",
        "1 2 {u}",
        "٣ {u}",
        "１２ {u}",
        "9**9**9 {u}",
        "4 {u} 2",
        "4 {u}^2",
        "4 {u}/mm",
    ),
    *(
        "4 {u}*{u}/{u}",
        "(4) {u}",
        "4 {u}\x00",
        "4 {u}\n",
        "4\x1b[31m {u}",
        "4 ",
        "",
        "4",
        "4 furlong",
        "1e29 {u}",
        "1e-29 {u}",
    ),
    *(
        "0 {u}",
        "-0 {u}",
        "1/3 {u}",
        "3 {u}⁹⁹",
        "3 {u}^999999999",
        "nan {u}",
        "inf {u}",
        "4 pi {u}",
        "4 m{u}",
        "4 k{u}",
        "5 %",
    ),
)
NASTY = (
    *(
        "",
        " ",
        "a b",
        "ä€漢字",
        "\x1b[31mred",
        "line\nbreak",
        "tab\there",
        "nul\x00",
        "[bold]x[/nope]",
        ":smile:",
        "=1+1",
    ),
    *(
        '"quoted"',
        "<b>&amp;</b>",
        "../../x",
        "~nouser/x",
        "/",
        ".",
        "a.b",
        "\u202eback",
        "\ufeff",
        "\x7f",
        "x" * 3000,
        "-",
    ),
    *(
        "all",
        "min",
        "max",
        "x",
        "pla",
        "part",
        "'; DROP",
        "%s%n",
        "{0}",
        "\U0001f600",
        "e\u0301",
        "a/b\\c",
        "CON",
        "a\r\nb",
    ),
)


def damaged_bytes(chance: random.Random, whole: bytes) -> bytes:
    """One to three things that happen to a file on its way."""
    for _ in range(chance.choice((1, 1, 1, 2, 3))):
        whole = chance.choice(_BYTES)(chance, whole)
    return whole


def _flipped_bit(chance: random.Random, whole: bytes) -> bytes:
    at = chance.randrange(len(whole)) if whole else 0
    return whole[:at] + bytes([whole[at] ^ 1 << chance.randrange(8)]) + whole[at + 1 :] if whole else b"\x00"


def _other_byte(chance: random.Random, whole: bytes) -> bytes:
    at = chance.randrange(len(whole) + 1)
    return whole[:at] + bytes([chance.randrange(256)]) + whole[at + 1 :]


def _more_bytes(chance: random.Random, whole: bytes) -> bytes:
    at = chance.randrange(len(whole) + 1)
    more = chance.choice((chance.randbytes(chance.randrange(1, 20)), b"\x00" * 8, b"\xff" * 4, b"\r\n", b" "))
    return whole[:at] + more + whole[at:]


def _cut_block(chance: random.Random, whole: bytes) -> bytes:
    start, end = _block(chance, len(whole))
    return whole[:start] + whole[end:]


def _block_twice(chance: random.Random, whole: bytes) -> bytes:
    start, end = _block(chance, len(whole))
    return whole[:end] + whole[start:]


def _block_elsewhere(chance: random.Random, whole: bytes) -> bytes:
    start, end = _block(chance, len(whole))
    rest = whole[:start] + whole[end:]
    at = chance.randrange(len(rest) + 1)
    return rest[:at] + whole[start:end] + rest[at:]


def _cut_short(chance: random.Random, whole: bytes) -> bytes:
    return whole[: chance.randrange(len(whole) + 1)]


def _block(chance: random.Random, length: int) -> tuple[int, int]:
    start = chance.randrange(length + 1)
    return start, min(length, start + chance.choice((1, 4, 30, 200, 2000)))


_BYTES = (_flipped_bit, _other_byte, _more_bytes, _cut_block, _block_twice, _block_elsewhere, _cut_short)


def damaged_text(chance: random.Random, text: str) -> str:
    """One to three changes of a text's lines, numbers, strings and words."""
    for _ in range(chance.choice((1, 1, 1, 2, 3))):
        text = chance.choice(_TEXTS)(chance, text)
    return text


def varied_text(chance: random.Random, text: str) -> str:
    """One change that may well leave the text whole: a number, a quantity or a name."""
    way = chance.randrange(4)
    if way == 0:
        return other_name(chance, text)
    if way == 1:
        return other_quantity(chance, text)
    places = [m.span() for m in NUMBER.finditer(text)]
    if not places:
        return text
    start, end = chance.choice(places)
    own = float(text[start:end])
    other = own * chance.choice((0.1, 0.9, 1.001, 1.5, -1, 3))
    said = chance.choice(
        (
            f"{other:g}",
            f"{other:.3f}",
            f"{other:,.2f}",
            f"{int(other)}",
            f"{other:.1e}",
            f"{other:g}".replace(".", ","),
        )
    )
    return text[:start] + said + text[end:]


def other_number(chance: random.Random, text: str) -> str:
    """A number of the text becomes an extreme one, or another of its kind."""
    places = [m.span() for m in NUMBER.finditer(text)]
    if not places:
        return text
    start, end = chance.choice(places)
    own = text[start:end]
    other = chance.choice(
        (*EXTREME, own + "0", own + "1", "-" + own, own + "e3", own.replace(".", ","), own.replace(".", ""))
    )
    return text[:start] + other + text[end:]


def other_quantity(chance: random.Random, text: str) -> str:
    """A quantity of the text is written otherwise, by habit or by mistake."""
    places = [m.span() for m in STRING.finditer(text) if re.match(r'"[-+\d]', m[0])]
    if not places:
        return text
    start, end = chance.choice(places)
    unit = re.sub(r"^[-+\d.eE, ]+", "", text[start + 1 : end - 1])
    return text[:start] + quoted(chance.choice(QUANTITIES).replace("{u}", unit)) + text[end:]


def other_string(chance: random.Random, text: str) -> str:
    """A string of the text becomes an odd one."""
    places = [m.span() for m in STRING.finditer(text)]
    if not places:
        return text
    start, end = chance.choice(places)
    return text[:start] + quoted(chance.choice(NASTY)) + text[end:]


def other_name(chance: random.Random, text: str) -> str:
    """A word gets an odd name wherever it stands, so that the text may still be whole."""
    words = sorted({m[0] for m in re.finditer(r"(?<=\.)[a-z_]+(?=\])|^[a-z_]+(?= = \{)", text, re.MULTILINE)})
    if not words:
        return text
    own, name = chance.choice(words), quoted(chance.choice(NASTY))
    text = text.replace(f'"{own}"', name)
    return re.sub(rf"(?<![\w-]){re.escape(own)}(?= =|\]|\.)", lambda _: name, text)


def _tokens_swapped(chance: random.Random, text: str) -> str:
    places = [m.span() for m in re.finditer(rf"{STRING.pattern}|{NUMBER.pattern}|{WORD.pattern}|[\[\]{{}}=,]", text)]
    if len(places) < 2:
        return text
    (a, b), (c, d) = sorted(chance.sample(places, 2))
    return text[:a] + text[c:d] + text[b:c] + text[a:b] + text[d:]


def _word_for_word(chance: random.Random, text: str) -> str:
    places = [m.span() for m in WORD.finditer(text)]
    if not places:
        return text
    (a, b), (c, d) = chance.choice(places), chance.choice(places)
    return text[:a] + text[c:d] + text[b:]


def _line_gone(chance: random.Random, text: str) -> str:
    lines = text.splitlines(keepends=True) or [""]
    del lines[chance.randrange(len(lines))]
    return "".join(lines)


def _line_twice(chance: random.Random, text: str) -> str:
    lines = text.splitlines(keepends=True) or [""]
    lines.insert(chance.randrange(len(lines) + 1), chance.choice(lines))
    return "".join(lines)


def _line_elsewhere(chance: random.Random, text: str) -> str:
    lines = text.splitlines(keepends=True) or [""]
    line = lines.pop(chance.randrange(len(lines)))
    lines.insert(chance.randrange(len(lines) + 1), line)
    return "".join(lines)


def _nested(chance: random.Random, text: str) -> str:
    deep = chance.choice((5, 50, 1200))
    whole = "[" * deep + "]" * deep if chance.random() < 0.5 else "{ a = " * deep + "1" + " }" * deep
    places = [m.start() for m in re.finditer(r"(?<= = ).", text)]
    if not places:
        return text
    start = chance.choice(places)
    end = text.find("\n", start)
    return text[:start] + whole + text[end if end > 0 else len(text) :]


def _odd_character(chance: random.Random, text: str) -> str:
    at = chance.randrange(len(text) + 1)
    return text[:at] + chance.choice("\x00\x1b\x7f\u202e\ufeff\u00a0\u2212\r\t\"'\\#=[]{}.,\U0001f600é") + text[at:]


_TEXTS = (
    *(other_number, other_quantity, other_quantity, other_string, other_name, _tokens_swapped, _word_for_word),
    *(_line_gone, _line_twice, _line_elsewhere, _nested, _odd_character),
)


def quoted(text: str) -> str:
    """A string as TOML and JSON write it."""
    out = "".join(f"\\u{ord(c):04x}" if c < " " or c == "\x7f" else f"\\{c}" if c in '"\\' else c for c in text)
    return f'"{out}"'
