"""`beadwork faces`: the faces of a solid, or the solids of a file."""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from fem.cli.console import picture_place, place_text, ruled, screen
from fem.cli.which_solid import chosen_solid
from fem.errors import SeveralSolidsError, printable

MOST_NAMED = 400
"""Faces of a solid up to which `--json` has a query for each, in some ten seconds; twice as many take four times."""


def faces(options: argparse.Namespace) -> int:
    """List the faces of one solid and draw them; of a file with several solids list these, unless one is chosen."""
    from fem.part.solid import read_solid, solids_in

    try:
        solid = read_solid(options.solid, name="part", **chosen_solid(options))
    except SeveralSolidsError:
        solids = solids_in(options.solid, unit=options.unit)
        return _list_solids(solids, Path(options.solid), as_json=options.json)
    picture = picture_place(options.picture or _own_picture(solid))
    if options.json:
        print(json.dumps([_face_facts(face, query) for face, query in _with_queries(solid)], indent=1))
    else:
        _list_faces(solid)
        print("`beadwork draft` writes a study in which they are named.")
    _draw(solid, picture)
    return 0


def _list_solids(solids: Sequence[Any], file: Path, *, as_json: bool) -> int:
    if as_json:
        print(json.dumps([_solid_facts(s) for s in solids], indent=1))
    else:
        rows = [[str(s.number), s.name, f"{s.volume:,.1f}", s.size, s.contact] for s in solids]
        heads = ["part", "name", "volume [mm³]", "box", "contact"]
        screen().print(ruled(f"{file.name}: {len(solids)} solids", heads, rows))
    path = printable(str(file))
    print(
        f"Choose one to see its faces: beadwork faces {path} --part {solids[-1].number} (or its name); in a study "
        f"part = {solids[-1].number}. To take all as one solid: --fused; in a study fused = true.",
        file=sys.stderr,
    )
    return 0


def _list_faces(solid: Any) -> None:
    from fem.part.faces import kind_of

    rows = [
        [
            str(f.id),
            kind_of(f),
            f"{f.area:,.1f}",
            place_text(f.centre),
            _direction(f),
            "" if f.radius is None else f"{f.radius:.3f}",
        ]
        for f in solid.faces
    ]
    size = " x ".join(f"{v:.2f}" for v in solid.box[1] - solid.box[0])
    heads = ["id", "kind", "area [mm²]", "centre [mm]", "normal or axis", "radius [mm]"]
    title = f"{_name(solid)}: {len(solid.faces)} faces, {size} mm, {solid.volume:,.0f} mm³"
    screen().print(ruled(title, heads, rows))


def _name(solid: Any) -> str:
    """The file, and which of its solids."""
    which = "" if solid.part is None else f", part {solid.part}"
    which = f", {len(solid.parts)} solids fused" if solid.fused and len(solid.parts) > 1 else which
    return f"{solid.path.name}{which}"


def _which(solid: Any) -> str:
    """Which of a file's solids, as part of a file name."""
    if solid.part is not None:
        return "_" + "".join(c if c.isalnum() else "_" for c in str(solid.part))
    return "_fused" if solid.fused and len(solid.parts) > 1 else ""


def _own_picture(solid: Any) -> Path:
    """A place here that bears the solid's name, and that no other solid's picture has taken."""
    from fem.telling.face_picture import own_place

    stem = f"{solid.path.stem}_{solid.path.suffix[1:].lower()}{_which(solid)}_faces"
    return own_place(Path(), stem, mark=_mark(solid))


def _mark(solid: Any) -> str:
    """What tells this solid from all others: its place and which of the file's solids it is, as a digest."""
    said = f"{os.path.realpath(solid.path)}\n{solid.part}\n{solid.fused}"
    return hashlib.sha256(os.fsencode(said)).hexdigest()


def _draw(solid: Any, picture: Path) -> None:
    from fem.part.solid import shown_surface
    from fem.telling.face_picture import draw_faces

    points, triangles, face = shown_surface(solid)
    draw_faces(points, triangles, face, solid.faces, picture, name=_name(solid), mark=_mark(solid))
    print(f"Picture: {printable(str(picture))}", file=sys.stderr)


def _direction(face: Any) -> str:
    vector = face.normal if face.normal is not None else face.axis
    return "" if vector is None else "(" + ", ".join(f"{v + 0.0:.3f}" for v in vector) + ")"


def _solid_facts(solid: Any) -> dict[str, Any]:
    return {
        "part": solid.number,
        "name": solid.name,
        "volume_mm3": solid.volume,
        "box_mm": [plain(corner) for corner in solid.box],
        "touches": list(solid.touches),
        "overlaps": list(solid.overlaps),
    }


def plain(v: Any) -> Any:
    """A vector as a list of numbers."""
    return None if v is None else [float(x) for x in v]


def _with_queries(solid: Any) -> Iterator[tuple[Any, str | None]]:
    """Each face with the shortest query that matches just it, None in a solid of very many faces."""
    from fem.part.naming import shortest_queries
    from fem.part.query_text import query_text

    count = len(solid.faces)
    if count > MOST_NAMED:
        yield from ((face, None) for face in solid.faces)
    else:
        queries = shortest_queries(solid.faces, [[i] for i in range(count)])
        yield from ((face, query_text(query)) for face, query in zip(solid.faces, queries, strict=True))


def _face_facts(face: Any, query: str | None) -> dict[str, Any]:
    return {
        "id": face.id,
        "kind": face.kind,
        "hole": face.hole,
        "hollow": face.hollow,
        "area_mm2": face.area,
        "centre_mm": plain(face.centre),
        "normal": plain(face.normal),
        "axis": plain(face.axis),
        "radius_mm": face.radius,
        "query": query,
    }
