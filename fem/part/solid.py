"""A solid as drawn: its faces, what they are, and how large it is.

`read_solid` is the one way in. STEP, IGES and BREP go through the CAD kernel (`cad.py`); STL, OBJ, PLY and
3MF are triangles that are first sorted into faces (`triangulated/`). Both end in the same noun.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from fem.errors import SolidError, nearest
from fem.part.apart import apart
from fem.part.several import FileSolid
from fem.tensors import Array

T = TypeVar("T")
CAD_SUFFIXES = (".step", ".stp", ".iges", ".igs", ".brep")
TRIANGLE_SUFFIXES = (".stl", ".obj", ".ply", ".3mf")
KINDS = ("plane", "cylinder", "cone", "sphere", "free")
SMALLEST, LARGEST = 1.0, 5000.0
"""A part whose longest side lies outside these [mm] was most likely drawn in another unit."""
READING, SECONDS_PER_BYTE = 60.0, 5e-6
"""Seconds that a file may take to be read: ten times what a sound one takes on a slow machine."""
ROOM, ROOM_PER_BYTE = 2e9, 400.0
"""Bytes of memory that a file may take to be read."""


@dataclass(frozen=True)
class Face:
    """One face of a solid.

    `id` is its number within the file, `kind` one of KINDS, `area` [mm^2], `centre` (3,) its centroid [mm],
    `normal` (3,) the outward normal of a plane, else None; `axis` (3,) the direction of a cylinder's or
    cone's axis, `origin` (3,) a point on that axis or a sphere's centre [mm], `radius` [mm] of a cylinder or
    sphere, else None; `hollow` tells that the material of a cylinder, cone or sphere lies outside it, `hole` that
    a hollow cylinder or cone goes (nearly) all round, which a fillet does not; `low`, `high` (3,) are the corners of
    its box [mm].
    """

    id: int
    body: str
    kind: str
    area: float
    centre: Array
    low: Array
    high: Array
    normal: Array | None = None
    axis: Array | None = None
    origin: Array | None = None
    radius: float | None = None
    hollow: bool = False
    hole: bool = False

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"face {self.id}: kind {self.kind!r} is none of {KINDS}")
        if not (np.isfinite(self.area) and self.area >= 0):
            raise ValueError(f"face {self.id}: area {self.area}")

    @property
    def label(self) -> str:
        """`body:id`, the name by which messages speak of a face that the study does not name."""
        return f"{self.body}:{self.id}"


@dataclass(frozen=True)
class Triangulation:
    """A closed surface of triangles sorted into faces.

    `points` (n, 3) [mm], `triangles` (k, 3) counter-clockwise seen from outside, `face` (k,) the index into
    the solid's `faces` that each triangle belongs to.
    """

    points: Array
    triangles: NDArray[np.int64]
    face: NDArray[np.int64]


@dataclass(frozen=True)
class Cut:
    """Only what lies inside a box counts of the faces with these ids: `low`, `high` are its corners [mm]."""

    faces: tuple[int, ...]
    low: tuple[float, float, float]
    high: tuple[float, float, float]


@dataclass(frozen=True)
class Solid:
    """A solid file as read: `faces`, `volume` [mm^3], `box` (2, 3) its corners [mm].

    `surface` is the triangulation of a solid that came as triangles, None for one of the CAD kernel; `shown` a coarse
    one to draw. `notes` are remarks worth repeating in a report (a unit that was converted, a gap that was closed).
    `part` and `fused` say which of the file's solids it is, as asked for; `parts` are all solids of the file.
    """

    name: str
    path: Path
    faces: tuple[Face, ...]
    volume: float
    box: Array
    surface: Triangulation | None = None
    notes: tuple[str, ...] = field(default=())
    shown: Triangulation | None = None
    part: int | str | None = None
    fused: bool = False
    parts: tuple[FileSolid, ...] = ()

    @property
    def size(self) -> float:
        """The longest side of the box [mm]."""
        return float((self.box[1] - self.box[0]).max())


def read_solid(
    path: Any,
    *,
    name: str = "part",
    unit: str | None = None,
    any_size: bool = False,
    part: int | str | None = None,
    fused: bool = False,
) -> Solid:
    """Read the solid file at `path`; `unit` ("mm", "in", ...) is required where the format carries none.

    Of a file with several solids `part` says which one is meant, by its number from one or its name in the file;
    `fused` joins them all into one. A longest side outside SMALLEST..LARGEST is refused as a likely slip of units
    unless `any_size` is true.

    Errors: SolidError (missing, empty, wrong format, open or self-crossing surface, no volume, a size that
    suggests another unit, several solids without a word which is meant).
    """
    file = existing(path)
    if file.suffix.lower() in CAD_SUFFIXES:
        from fem.part.cad import read_cad

        solid = _read_apart(read_cad, file, name=name, unit=unit, part=part, fused=fused)
    else:
        from fem.part.triangulated import read_triangulated

        solid = _read_apart(read_triangulated, file, name=name, unit=unit, part=part, fused=fused)
    _refuse_odd_size(solid, any_size=any_size)
    return solid


def solids_in(path: Any, *, unit: str | None = None) -> tuple[FileSolid, ...]:
    """All solids of a file: number, name, volume, box, and what touches what. Errors: SolidError."""
    file = existing(path)
    if file.suffix.lower() in CAD_SUFFIXES:
        from fem.part.cad import solids_in_cad

        return _read_apart(solids_in_cad, file, unit=unit)
    from fem.part.triangulated import solids_in_triangles

    return _read_apart(solids_in_triangles, file, unit=unit)


def existing(path: Any) -> Path:
    """The path of a solid file that is there, not empty, and of a known format. Errors: SolidError."""
    file = Path(path)
    suffix = file.suffix.lower()
    if suffix not in CAD_SUFFIXES + TRIANGLE_SUFFIXES:
        raise SolidError(
            f"{file.suffix or 'no suffix'} is not a solid format that can be read.",
            where=str(file),
            advice=nearest(suffix, CAD_SUFFIXES + TRIANGLE_SUFFIXES),
        )
    if not file.is_file():
        beside = [p.name for p in file.parent.glob("*") if p.is_file()] if file.parent.is_dir() else []
        raise SolidError("there is no such file.", where=str(file), advice=nearest(file.name, beside))
    if file.stat().st_size == 0:
        raise SolidError("the file is empty.", where=str(file))
    return file


def shown_surface(solid: Solid) -> tuple[Array, NDArray[np.int64], NDArray[np.int64]]:
    """A coarse triangulation to draw: points (n, 3) [mm], triangles (k, 3), face index (k,) into `solid.faces`."""
    shown = solid.surface or solid.shown
    if shown is None:
        raise SolidError("it was made without triangles to draw.", where=str(solid.path))
    return shown.points, shown.triangles, shown.face


def _read_apart(reader: Callable[..., T], file: Path, **said: Any) -> T:
    """What `reader` gives for a file, in a process that may crash, hang or swell without harm here."""
    length = file.stat().st_size
    return apart(
        reader,
        file,
        **said,
        seconds=READING + SECONDS_PER_BYTE * length,
        memory=ROOM + ROOM_PER_BYTE * length,
        where=str(file),
    )


def _refuse_odd_size(solid: Solid, *, any_size: bool) -> None:
    where = str(solid.path)
    if not solid.volume > 1e-9 * max(solid.size, 1e-30) ** 3:
        raise SolidError("it encloses no volume.", where=where, advice="Export a closed solid, not a sheet.")
    if not any_size and not SMALLEST <= solid.size <= LARGEST:
        small = solid.size < SMALLEST
        guess = "metres or inches were read as millimetres" if small else "millimetres were read as metres"
        raise SolidError(
            f"its longest side is {solid.size:.4g} mm; perhaps {guess}.",
            where=where,
            advice=(
                'Say the unit it was drawn in (unit = "m"; a STEP or IGES file must be exported again), or '
                "any_size = true if it really is that size."
            ),
        )
