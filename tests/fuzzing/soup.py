"""The triangles of a file (k, 3, 3) in mm, read by the letter of its format, or what is against that."""

from __future__ import annotations

import re
import struct
import zipfile
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np

UNITS = {"micron": 1e-3, "millimeter": 1.0, "centimeter": 10.0, "inch": 25.4, "foot": 304.8, "meter": 1000.0}


def soup_of(file: Path) -> Any:
    """The triangles of the file."""
    whole = file.read_bytes()
    try:
        read = {".stl": _stl, ".obj": _obj, ".ply": _ply, ".3mf": lambda _: _3mf(file)}[file.suffix]
        found = read(whole)
    except Exception as error:
        return f"by the letter of the format it cannot be read ({type(error).__name__}: {error})"
    return found


def _stl(whole: bytes) -> Any:
    if whole[:5].lower() == b"solid" and b"facet" in whole[:2000]:
        text = whole.decode("latin-1")
        words = text.lower().split()
        corners = [words[i + 1 : i + 4] for i, word in enumerate(words) if word == "vertex"]
        if len(corners) != 3 * sum(word == "endfacet" for word in words) or len(corners) % 3:
            return f"it has {len(corners)} corners, but {words.count('endfacet')} ends of facets"
        if words.count("facet") != words.count("endfacet"):
            return "not all facets are ended"
        return np.array([[float(v) for v in corner] for corner in corners]).reshape(-1, 3, 3)
    count = struct.unpack("<I", whole[80:84])[0]
    if len(whole) != 84 + 50 * count:
        return f"it says {count} triangles, but is {len(whole)} bytes long"
    rows = np.frombuffer(whole[84:], np.dtype([("n", "<f4", 3), ("p", "<f4", (3, 3)), ("a", "<u2")]))
    return rows["p"].astype(float)


def _obj(whole: bytes) -> Any:
    points, faces = [], []
    for line in whole.decode("utf-8", "replace").splitlines():
        words = line.split("#")[0].split()
        if words[:1] == ["v"]:
            if len(words) not in (4, 5, 7, 8):
                return f"a point of another form: {line[:80]!r}"
            points.append([float(v) for v in words[1:4]])
        elif words[:1] == ["f"]:
            at = [int(w.split("/")[0]) for w in words[1:]]
            at = [i - 1 if i > 0 else len(points) + i for i in at]
            if len(at) < 3:
                return f"a face of another form: {line[:80]!r}"
            faces += [[at[0], at[k], at[k + 1]] for k in range(1, len(at) - 1)]
        elif words and words[0] not in ("vn", "vt", "o", "g", "s", "usemtl", "mtllib", "l", "p", "vp"):
            return f"a line that the format does not know: {line[:80]!r}"
    if any(not 0 <= i < len(points) for face in faces for i in face):
        return "a face names a point that is not there"
    return np.array(points)[np.array(faces)]


_SIZES = {
    "char": "b",
    "uchar": "B",
    "int8": "b",
    "uint8": "B",
    "short": "h",
    "ushort": "H",
    "int16": "h",
    "uint16": "H",
}
_SIZES |= {
    "int": "i",
    "uint": "I",
    "int32": "i",
    "uint32": "I",
    "float": "f",
    "float32": "f",
    "double": "d",
    "float64": "d",
}


def _ply(whole: bytes) -> Any:
    head, _, body = whole.partition(b"end_header\n")
    lines = head.decode("ascii").splitlines()
    if lines[:1] != ["ply"]:
        return "it does not begin as the format wants"
    form, elements = "", []
    for line in lines[1:]:
        words = line.split()
        if words[:1] == ["format"]:
            form = words[1]
        elif words[:1] == ["element"]:
            elements.append((words[1], int(words[2]), []))
        elif words[:1] == ["property"]:
            elements[-1][2].append(words[1:])
        elif words and words[0] not in ("comment", "obj_info"):
            return f"a line of its head that the format does not know: {line!r}"
    take = _ascii(body) if form == "ascii" else _binary(body, "<" if form == "binary_little_endian" else ">")
    found: dict[str, list[dict[str, Any]]] = {}
    for name, count, properties in elements:
        found[name] = []
        for _ in range(count):
            row = {}
            for p in properties:
                if p[0] == "list":
                    row[p[3]] = [take(p[2]) for _ in range(int(take(p[1])))]
                else:
                    row[p[1]] = take(p[0])
            found[name].append(row)
    if take(None) != 0:
        return "more follows than its head says"
    points = [[v["x"], v["y"], v["z"]] for v in found["vertex"]]
    out = []
    for f in found["face"]:
        at = [int(i) for i in f.get("vertex_indices", f.get("vertex_index", ()))]
        if len(at) < 3 or min(at) < 0:
            return f"a face of {at}"
        out += [[points[at[0]], points[at[k]], points[at[k + 1]]] for k in range(1, len(at) - 1)]
    return np.array(out)


def _ascii(body: bytes) -> Any:
    words = body.decode("ascii").split()[::-1]

    def take(kind: str | None) -> Any:
        return len(words) if kind is None else float(words.pop())

    return take


def _binary(body: bytes, order: str) -> Any:
    at = [0]

    def take(kind: str | None) -> Any:
        if kind is None:
            return len(body) - at[0]
        code = order + _SIZES[kind]
        value = struct.unpack_from(code, body, at[0])[0]
        at[0] += struct.calcsize(code)
        return value

    return take


def _3mf(file: Path) -> Any:
    with zipfile.ZipFile(file) as packed:
        name = next(n for n in packed.namelist() if n.lower().endswith(".model"))
        root = ElementTree.fromstring(packed.read(name))
    own = re.match(r"\{.*\}|", root.tag)[0]
    size = UNITS[root.get("unit", "millimeter").lower()]
    objects = {o.get("id"): o for o in root.iter(f"{own}object")}
    out = []
    for item in root.find(f"{own}build").iter(f"{own}item"):
        mesh = objects[item.get("objectid")].find(f"{own}mesh")
        points = [[float(v.get(k)) for k in "xyz"] for v in mesh.find(f"{own}vertices").iter(f"{own}vertex")]
        rows = [
            [int(t.get(k)) for k in ("v1", "v2", "v3")] for t in mesh.find(f"{own}triangles").iter(f"{own}triangle")
        ]
        if min(min(r) for r in rows) < 0:
            return "a triangle names a point below zero"
        turn = [float(v) for v in item.get("transform", "1 0 0 0 1 0 0 0 1 0 0 0").split()]
        moved = np.array(points) @ np.array(turn).reshape(4, 3)[:3] + turn[9:]
        out.append(moved[np.array(rows)])
    return np.concatenate(out) * size
