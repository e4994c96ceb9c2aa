"""Whether a file of triangles keeps to the letter of its format, where the library that reads it would guess.

That library skips bytes that are no text, stops at the first number that it cannot read, and overlooks how many
points a face says it has: a damaged file could come out as a sound solid of another shape.
"""

from __future__ import annotations

import re
from pathlib import Path

from fem.errors import SolidError, shown

_NUMBER = rb"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_WRONG_IN_OBJ = re.compile(
    rb"^(?:[ \t]*[-+.\d]|[ \t]+[vf](?![a-zA-Z])|v(?![a-zA-Z])(?! [ \t]*(?:%(n)s[ \t]+){2,6}%(n)s[ \t]*(?:#.*)?\r?$)"
    rb"|f(?![a-zA-Z])(?! [-+/0-9 \t]*(?:#.*)?\r?$)).*" % {b"n": _NUMBER},
    re.MULTILINE,
)
_WRONG_IN_STL = re.compile(
    rb"\bvertex(?![ \t]+(?:%(n)s[ \t]+){2}%(n)s[ \t]*\r?\n).*" % {b"n": _NUMBER}, re.IGNORECASE
)
_TYPES = {"char", "uchar", "int8", "uint8", "short", "ushort", "int16", "uint16", "int", "uint", "int32", "uint32"}
_TYPES |= {"float", "float32", "double", "float64"}


def refuse_guesses(file: Path) -> None:
    """Errors: SolidError that shows the first line which the format does not allow; OSError."""
    whole = file.read_bytes()
    suffix = file.suffix.lower()
    wrong = None
    if suffix == ".obj":
        wrong = _WRONG_IN_OBJ.search(whole.replace(b"\\\r\n", b"").replace(b"\\\n", b""))
    elif suffix == ".stl" and not _is_binary_stl(whole):
        wrong = _WRONG_IN_STL.search(whole, whole.find(b"\n"))
    elif suffix == ".ply":
        _refuse_in_ply(whole, file)
    if wrong:
        _refuse(wrong[0], file)


def _is_binary_stl(whole: bytes) -> bool:
    return len(whole) >= 84 and len(whole) == 84 + 50 * int.from_bytes(whole[80:84], "little")


def _refuse(line: bytes, file: Path) -> None:
    kind = file.suffix.upper()[1:]
    text = shown(line.strip().decode("latin-1"))
    raise SolidError(f"{text} is no line of {kind}.", where=str(file), advice="The file is damaged: export it again.")


def _refuse_in_ply(whole: bytes, file: Path) -> None:
    """The head must be of lines that the format knows; faces in text must have the points that they say."""
    end = re.search(rb"^end_header[ \t]*\r?\n", whole, re.MULTILINE)
    lines = whole[: end.start() if end else 0].decode("latin-1").splitlines()
    if not lines or lines[0].strip() != "ply":
        _refuse(whole[:40], file)
    elements: list[tuple[str, int, list[list[str]]]] = []
    form = ""
    for line in lines[1:]:
        words = line.split()
        match words:
            case ["format", "ascii" | "binary_little_endian" | "binary_big_endian", "1.0"] if not elements:
                form = words[1]
            case ["element", name, count] if count.isascii() and count.isdigit():
                elements.append((name, int(count), []))
            case ["property", kind, _] if kind in _TYPES and elements:
                elements[-1][2].append(words[1:])
            case ["property", "list", count, kind, _] if count in _TYPES and kind in _TYPES and elements:
                elements[-1][2].append(words[1:])
            case ["comment" | "obj_info", *_] | []:
                pass
            case _:
                _refuse(line.encode("latin-1", "replace"), file)
    if form == "ascii" and end:
        _refuse_rows(whole[end.end() :].splitlines(), elements, file)


def _refuse_rows(rows: list[bytes], elements: list[tuple[str, int, list[list[str]]]], file: Path) -> None:
    start = 0
    for _, count, properties in elements:
        lists = [i for i, p in enumerate(properties) if p[0] == "list"]
        for row in rows[start : start + count]:
            words = row.split()
            at = 0
            try:
                for i in range(len(properties)):
                    at += 1 + (int(words[at]) if i in lists else 0)
                sound = at == len(words) and b"_" not in row and len([float(w) for w in words]) == at
            except (ValueError, IndexError):
                sound = False
            if not sound:
                _refuse(row, file)
        start += count
    for row in rows[start:]:
        if row.strip():
            _refuse(row, file)
