"""`beadwork faces`."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from fem.cli.console import picture_place, place_text, ruled, screen
from fem.errors import printable


def faces(options: argparse.Namespace) -> int:
    from fem.part.solid import read_solid, shown_surface

    solid = read_solid(options.solid, name="part", unit=options.unit, any_size=options.any_size)
    picture = picture_place(options.picture or Path(f"{solid.path.stem}_faces.png"))
    if options.json:
        print(json.dumps([_face_facts(f) for f in solid.faces], indent=1))
    else:
        rows = [
            [
                str(f.id),
                f.kind + (" hole" if f.hole else ""),
                f"{f.area:,.1f}",
                place_text(f.centre),
                _direction(f),
                "" if f.radius is None else f"{f.radius:.3f}",
            ]
            for f in solid.faces
        ]
        size = " x ".join(f"{v:.2f}" for v in solid.box[1] - solid.box[0])
        heads = ["id", "kind", "area [mm²]", "centre [mm]", "normal or axis", "radius [mm]"]
        title = f"{solid.path.name}: {len(solid.faces)} faces, {size} mm, {solid.volume:,.0f} mm³"
        screen().print(ruled(title, heads, rows))
    from fem.telling.face_picture import draw_faces

    points, triangles, face = shown_surface(solid, unit=options.unit)
    draw_faces(points, triangles, face, solid.faces, picture)
    print(f"Picture: {printable(str(picture))}", file=sys.stderr)
    return 0


def _direction(face: Any) -> str:
    vector = face.normal if face.normal is not None else face.axis
    return "" if vector is None else "(" + ", ".join(f"{v + 0.0:.3f}" for v in vector) + ")"


def _face_facts(face: Any) -> dict[str, Any]:
    def plain(v: Any) -> Any:
        return None if v is None else [float(x) for x in v]

    return {
        "id": face.id,
        "kind": face.kind,
        "hole": face.hole,
        "area_mm2": face.area,
        "centre_mm": plain(face.centre),
        "normal": plain(face.normal),
        "axis": plain(face.axis),
        "radius_mm": face.radius,
    }
