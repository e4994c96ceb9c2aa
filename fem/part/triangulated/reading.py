"""STL, OBJ, PLY and 3MF become a solid whose triangles are sorted into faces."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from fem.errors import SolidError, nearest
from fem.part.several import FileSolid, chosen, listed, refuse_several
from fem.part.solid import Solid, Triangulation
from fem.part.triangulated.bodies import Bodies, Shell, bodies_of
from fem.part.triangulated.crossing import refuse_crossing
from fem.part.triangulated.letter import refuse_guesses
from fem.part.triangulated.segmenting import sorted_into_faces
from fem.part.triangulated.soundness import volumes

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


MOST_UNPACKED = 1_000_000_000
"""Bytes that a 3MF archive may hold unpacked; reading takes some two to three times as much memory."""


def read_triangulated(
    file: Path, *, name: str, unit: str | None, part: int | str | None = None, fused: bool = False
) -> Solid:
    """Read a file of triangles; `unit` (one of MILLIMETRES) is required unless the format carries its own.

    `part` and `fused` as in `solid.read_solid`; triangles of several solids cannot be joined here.
    Errors: SolidError (no triangles, no unit, an open, non-manifold, one-sided or self-crossing surface, no
    volume, several solids); places are named in mm.
    """
    where = str(file)
    bodies, notes = _read(file, unit)
    if part is not None and fused:
        raise SolidError("part and fused are both given.", where=where, advice="Give one of them.")
    facts = bodies.facts()
    index = 0
    if part is not None:
        index = chosen(bodies.names, part, where=where)
    elif len(facts) > 1 and fused:
        raise SolidError(
            f"its {len(facts)} solids are triangles, which cannot be joined here: {listed(facts)}.",
            where=where,
            advice="Unite them where they were drawn, or export STEP.",
        )
    elif len(facts) > 1:
        refuse_several(facts, where=where, advice="unite them where they were drawn")
    points, triangles = bodies.one(index)
    refuse_crossing(points, triangles, where=where)
    faces, face = sorted_into_faces(points, triangles, np.zeros(len(triangles), dtype=np.int64), name=name)
    return Solid(
        name=name,
        path=file,
        faces=faces,
        volume=float(volumes(points, triangles).sum()),
        box=np.array([points.min(axis=0), points.max(axis=0)]),
        surface=Triangulation(points, triangles, face),
        notes=(*notes, *bodies.remarks),
        part=part,
        fused=fused,
        parts=facts,
    )


def solids_in_triangles(file: Path, *, unit: str | None) -> tuple[FileSolid, ...]:
    """All solids of a file of triangles; see `solid.solids_in`."""
    return _read(file, unit)[0].facts()


def _read(file: Path, unit: str | None) -> tuple[Bodies, list[str]]:
    """The bodies of a file in mm, and remarks on its unit."""
    where = str(file)
    if unit is not None and unit not in MILLIMETRES:
        raise SolidError(f"{unit!r} is not a unit of length.", where=where, advice=nearest(unit, MILLIMETRES))
    shells, own = _loaded(file)
    if unit is None and own is None:
        raise SolidError(
            f"{file.suffix.lower()[1:].upper()} files carry no unit of length.",
            where=where,
            advice='Say the one it was drawn in: unit = "mm".',
        )
    notes: list[str] = []
    if unit and own and unit != own:
        notes.append(f"the file says {own}, the study says {unit}; the study's unit was used")
    chosen_unit = unit or own or "mm"
    if chosen_unit != "mm":
        notes.append(f"lengths were converted from {chosen_unit} to mm")
    scaled = [Shell(s.name, s.points * MILLIMETRES[chosen_unit], s.triangles) for s in shells]
    return bodies_of(scaled, where=where), notes


def _loaded(file: Path) -> tuple[list[Shell], str | None]:
    """The objects of a file in its own unit, and the unit that it states."""
    import trimesh

    where = str(file)
    if file.suffix.lower() == ".3mf":
        _refuse_vast_archive(file)
    refuse_guesses(file)
    shells = []
    try:
        apart: dict[str, Any] = {"split_objects": True} if file.suffix.lower() == ".obj" else {}
        scene: Any = trimesh.load_scene(str(file), process=False, **apart)
        for node in scene.graph.nodes_geometry:
            turn, key = scene.graph[node]
            mesh = scene.geometry[key]
            if isinstance(mesh, trimesh.Trimesh) and len(mesh.faces):
                points = trimesh.transform_points(np.asarray(mesh.vertices, float), turn)
                name = "" if str(key).startswith((file.name, "geometry_")) else str(key)
                shells.append(Shell(name, points, np.asarray(mesh.faces, np.int64)))
    except Exception as error:  # the reader leaks errors of many kinds for damaged files
        reason = (str(error).splitlines() or [""])[0][:120] or type(error).__name__
        raise SolidError(
            f"it cannot be read as {file.suffix.lower()[1:].upper()} ({reason}).",
            where=where,
            advice="Export it again.",
        ) from None
    if not shells:
        raise SolidError("it holds no triangles.", where=where, advice="Export a closed solid, not points or lines.")
    for shell in shells:
        if not np.isfinite(shell.points).all():
            raise SolidError("a point in it is not a finite number.", where=where, advice="Export it again.")
        if shell.triangles.min() < 0 or shell.triangles.max() >= len(shell.points):
            raise SolidError(
                "a triangle in it names a point that does not exist.", where=where, advice="Export it again."
            )
    if file.suffix.lower() == ".obj":
        shells = _in_order_of_file(shells, file)
    return shells, _stated_unit(scene.units, where) if file.suffix.lower() == ".3mf" else None


def _in_order_of_file(shells: list[Shell], file: Path) -> list[Shell]:
    """Objects in the order in which the file names them; the reader gives them in another."""
    lines = file.read_text(encoding="utf-8", errors="replace").splitlines()
    said = [line[2:].strip() for line in lines if line.startswith("o ")]
    place = {name: i for i, name in reversed(list(enumerate(said)))}
    return sorted(shells, key=lambda shell: (place.get(shell.name, len(said)), shell.name))


def _stated_unit(stated: Any, where: str) -> str:
    """The unit of a 3MF file; the core specification's default is the millimetre."""
    word = str(stated or "millimeter").lower()
    known = {**LONG_NAMES, **{unit: unit for unit in MILLIMETRES}}
    found = known.get(word, known.get(word.removesuffix("s")))
    if found not in MILLIMETRES:
        raise SolidError(
            f"the unit it states, {str(stated)[:40]!r}, is none of the format's.",
            where=where,
            advice=f"Export it again in one of {', '.join(sorted(LONG_NAMES))}.",
        )
    return found


def _refuse_vast_archive(file: Path) -> None:
    """Errors: SolidError where the archive is damaged, or more would be unpacked than MOST_UNPACKED.

    A member gives no more bytes than its header says, so the headers are enough.
    """
    from zipfile import BadZipFile, ZipFile

    try:
        with ZipFile(file) as packed:
            total = sum(member.file_size for member in packed.infolist())
    except (BadZipFile, ValueError, NotImplementedError, EOFError) as error:
        raise SolidError(f"it cannot be read as 3MF ({error}).", where=str(file), advice="Export it again.") from None
    if total > MOST_UNPACKED:
        raise SolidError(
            f"it would be {total / 1e9:.1f} GB unpacked; {MOST_UNPACKED / 1e9:.0f} GB are allowed.",
            where=str(file),
            advice="Export it with fewer triangles.",
        )
