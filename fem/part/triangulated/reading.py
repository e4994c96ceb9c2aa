"""STL, OBJ, PLY and 3MF become a solid whose triangles are sorted into faces."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from fem.errors import SolidError, nearest
from fem.part.solid import Solid, Triangulation
from fem.part.triangulated.crossing import refuse_crossing
from fem.part.triangulated.segmenting import sorted_into_faces
from fem.part.triangulated.soundness import Ints, oriented, refuse_unclosed, tidied, volumes
from fem.tensors import Array

MILLIMETRES = {"um": 0.001, "mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8}
"""Length of one unit [mm]; the inch is exact by definition (1959)."""
LONG_NAMES = {
    "micron": "um",
    "micrometer": "um",
    "millimeter": "mm",
    "centimeter": "cm",
    "meter": "m",
    "inch": "in",
    "foot": "ft",
}
"""The unit names of the 3MF core specification, with the micrometre's other name."""


def read_triangulated(file: Path, *, name: str, unit: str | None) -> Solid:
    """Read a file of triangles; `unit` (one of MILLIMETRES) is required unless the format carries its own.

    Errors: SolidError (no triangles, no unit, an open, non-manifold, one-sided or self-crossing surface, no
    volume); places are named in mm.
    """
    where = str(file)
    if unit is not None and unit not in MILLIMETRES:
        raise SolidError(f"{unit!r} is not a unit of length.", where=where, advice=nearest(unit, MILLIMETRES))
    raw, triangles, own = _loaded(file)
    if unit is None and own is None:
        raise SolidError(
            f"{file.suffix.lower()[1:].upper()} files carry no unit of length.",
            where=where,
            advice='Say the one it was drawn in: unit = "mm".',
        )
    notes: list[str] = []
    if unit and own and unit != own:
        notes.append(f"the file says {own}, the study says {unit}; the study's unit was used")
    chosen = unit or own or "mm"
    if chosen != "mm":
        notes.append(f"lengths were converted from {chosen} to mm")
    points, triangles = tidied(raw * MILLIMETRES[chosen], triangles)
    if len(triangles) < 4:
        raise SolidError("it holds no triangles with an area.", where=where, advice="Export a closed solid.")
    refuse_unclosed(points, triangles, where=where)
    triangles, region, remarks = oriented(points, triangles, where=where)
    refuse_crossing(points, triangles, where=where)
    faces, face = sorted_into_faces(points, triangles, region, name=name)
    return Solid(
        name=name,
        path=file,
        faces=faces,
        volume=float(volumes(points, triangles).sum()),
        box=np.array([points.min(axis=0), points.max(axis=0)]),
        surface=Triangulation(points, triangles, face),
        notes=(*notes, *remarks),
    )


def _loaded(file: Path) -> tuple[Array, Ints, str | None]:
    """Points (n, 3) in the file's unit, triangles (k, 3), and the unit that the file itself states."""
    import trimesh

    where = str(file)
    try:
        scene: Any = trimesh.load_scene(str(file), process=False)
        meshes = [m for m in scene.dump() if isinstance(m, trimesh.Trimesh) and len(m.faces)]
        parts = [(np.asarray(m.vertices, float), np.asarray(m.faces, np.int64)) for m in meshes]
    except Exception as error:  # the reader leaks errors of many kinds for damaged files
        reason = (str(error).splitlines() or [""])[0][:120] or type(error).__name__
        raise SolidError(
            f"it cannot be read as {file.suffix.lower()[1:].upper()} ({reason}).",
            where=where,
            advice="Export it again.",
        ) from None
    if not parts:
        raise SolidError("it holds no triangles.", where=where, advice="Export a closed solid, not points or lines.")
    start = np.cumsum([0] + [len(p) for p, _ in parts])
    points = np.concatenate([p for p, _ in parts])
    triangles = np.concatenate([t + s for (_, t), s in zip(parts, start, strict=False)])
    if not np.isfinite(points).all():
        raise SolidError("a point in it is not a finite number.", where=where, advice="Export it again.")
    if triangles.min() < 0 or triangles.max() >= len(points):
        raise SolidError(
            "a triangle in it names a point that does not exist.", where=where, advice="Export it again."
        )
    own = None
    if file.suffix.lower() == ".3mf":
        stated = str(scene.units or "millimeter").lower().rstrip("s")
        own = LONG_NAMES.get(stated, stated if stated in MILLIMETRES else "mm")
    return points, triangles, own
