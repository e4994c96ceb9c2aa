"""Solid files, drawn and of triangles: what is read must agree with itself, and with the numbers in the file."""

from __future__ import annotations

import io
import random
import re
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from fem.part.meshing import mesh_solid
from fem.part.solid import CAD_SUFFIXES, read_solid, shown_surface, solids_in
from fuzzing.damage import damaged_bytes, damaged_text, other_number
from fuzzing.doors import READ, REFUSED, Wrong, refused, tried
from fuzzing.drawn import drawn_solids
from fuzzing.soup import soup_of

NAMES = ("part", "part", "part", "a b", "[bold]x[nope]", "\x1b[31mred", "ä漢", "-x", "line\nbreak", "part.tar")


class Solids:
    """The files of one family, CAD or triangles, damaged and read."""

    def __init__(self, *, drawn: bool) -> None:
        self.drawn = drawn

    def prepare(self, folder: Path) -> list[Path]:
        """The sound files."""
        files = [file for file in drawn_solids(folder) if (file.suffix in CAD_SUFFIXES) == self.drawn]
        return [file for file in files if file.name != "two.iges"]  # IGES cannot tell two solids apart

    def spoilt(self, chance: random.Random, base: list[Path], folder: Path) -> tuple[Path, Path, dict[str, Any]]:
        """A damaged file in `folder`, the sound one, and how they are read."""
        sound = chance.choice(base)
        file = folder / f"{chance.choice(NAMES)}{sound.suffix}"
        file.write_bytes(_damaged(chance, sound))
        unit = "mm" if sound.suffix in (".brep", ".stl", ".obj", ".ply") else None
        part = chance.choice((1, 1, 2)) if sound.name.startswith("two") and chance.random() < 0.8 else None
        return file, sound, {"unit": unit, "part": part}

    def case(self, chance: random.Random, base: list[Path], folder: Path) -> str:
        """The solid is refused, or its faces, its volume and its mesh agree with one another and with the file."""
        file, sound, said = self.spoilt(chance, base, folder)
        solid = tried(lambda: read_solid(file, **said))
        if refused(solid):
            if chance.random() < 0.1:
                tried(lambda: solids_in(file, unit=said["unit"]))
            return REFUSED
        agrees_with_itself(solid)
        if not self.drawn:
            agrees_with_its_numbers(solid, file, sound=lambda: read_solid(sound, **said))
        if chance.random() < 0.1:
            mesh = tried(lambda: mesh_solid(solid, size=solid.size / 5, unit=said["unit"]))
            if not refused(mesh):
                _filled(mesh, solid)
        return READ


def _damaged(chance: random.Random, sound: Path) -> bytes:
    whole = sound.read_bytes()
    if sound.suffix == ".3mf":
        return _damaged_archive(chance, whole)
    way = chance.random()
    if way < 0.35 or (sound.suffix == ".stl" and whole[:5] != b"solid") or sound.name.endswith("_b.ply"):
        return damaged_bytes(chance, whole)
    text = whole.decode("latin-1")
    if way < 0.7:
        for _ in range(chance.choice((1, 1, 1, 4))):
            text = _other_coordinate(chance, text)
    else:
        text = damaged_text(chance, text)
    return text.encode("utf-8", "replace")


def _other_coordinate(chance: random.Random, text: str) -> str:
    places = [m.span() for m in re.finditer(r"-?\d+\.\d*(?:[eE][-+]?\d+)?|#\d+|(?<![\w.])\d+(?![\w.])", text)]
    if not places or chance.random() < 0.2:
        return other_number(chance, text)
    start, end = chance.choice(places)
    own = text[start:end]
    if own[0] == "#":
        other = chance.choice(re.findall(r"#\d+", text))
    elif "." in own:
        other = f"{float(own) * chance.choice((-1, 0.5, 1.001, 2, 1e3)) + chance.choice((0, 0, 1, -3)):.6f}"
    else:
        other = str(max(int(own) + chance.choice((-1, 1, 2, 100)), -1))
    return text[:start] + other + text[end:]


def _damaged_archive(chance: random.Random, whole: bytes) -> bytes:
    if chance.random() < 0.3:
        return damaged_bytes(chance, whole)
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(whole)) as sound, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for member in sound.namelist():
            text = sound.read(member)
            if member.endswith(".model"):
                way = chance.random()
                text = (
                    text.replace(b"millimeter", chance.choice((b"inch", b"furlong", b"", b"MILLIMETER", b"meter")))
                    if way < 0.1
                    else damaged_bytes(chance, text)
                    if way < 0.4
                    else _other_coordinate(chance, text.decode("utf-8")).encode("utf-8", "replace")
                )
            if chance.random() > 0.02:
                packed.writestr(member, text)
    return out.getvalue()


def agrees_with_itself(solid: Any) -> None:
    """Volume, areas, centres and normals of a solid against those of its own triangles. Errors: Wrong."""
    points, triangles, face = shown_surface(solid)
    corner = points[triangles]
    double = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    size = float(np.linalg.norm(np.ptp(points, axis=0)))
    numbers = [solid.volume, *solid.box.ravel(), *(f.area for f in solid.faces)]
    if not np.isfinite(numbers).all() or solid.volume <= 0 or min(f.area for f in solid.faces) < 0:
        raise Wrong(f"numbers that cannot be: {numbers}")
    whole = np.linalg.norm(double, axis=1).sum() / 2
    if np.linalg.norm(double.sum(axis=0)) / 2 > 1e-4 * whole:
        raise Wrong(f"its faces do not close: {double.sum(axis=0) / 2} mm2 of {whole}")
    volume = np.einsum("ki,ki->k", double, corner[:, 0] - points.mean(axis=0)).sum() / 6
    curved = any(f.kind != "plane" for f in solid.faces)
    near = 0.02 if curved else 1e-4
    if abs(volume - solid.volume) > near * solid.volume:
        raise Wrong(f"volume {solid.volume}, but its triangles enclose {volume}")
    for i, f in enumerate(solid.faces):
        own = double[face == i] / 2
        area = np.linalg.norm(own, axis=1).sum()
        if abs(area - f.area) > (0.05 if f.kind != "plane" else near) * max(area, f.area) + 1e-9 * size**2:
            raise Wrong(f"face {f.id}: area {f.area}, but that of its triangles is {area}")
        if f.normal is not None and np.linalg.norm(own.sum(axis=0)) < (1 - 1e-3) * area:
            raise Wrong(f"face {f.id} is called a plane, but its triangles are not in one")
        if f.normal is not None and area > 0 and own.sum(axis=0) @ f.normal < (1 - 1e-3) * area:
            raise Wrong(f"face {f.id}: normal {f.normal}, but its triangles look along {own.sum(axis=0) / area}")


def agrees_with_its_numbers(solid: Any, file: Path, *, sound: Callable[[], Any]) -> None:
    """A solid of triangles encloses what the triangles in the file enclose, read independently. Errors: Wrong.

    Where this reading is stricter than the program's, the damage must have changed nothing against the `sound` solid.
    """
    soup = soup_of(file)
    if isinstance(soup, str):
        whole = tried(sound)
        if refused(whole):  # no time for it now
            return
        same = [abs(solid.volume - whole.volume) / whole.volume, np.abs(solid.box - whole.box).max() / whole.size]
        if max(same) < 1e-9 and len(solid.faces) == len(whole.faces):
            return
        raise Wrong(f"it was read, volume {solid.volume}, notes {solid.notes}; but {soup}")
    if len(solid.parts) > 1 or solid.notes:
        return
    corners = np.unique(soup.reshape(-1, 3), axis=0, return_inverse=True)[1].reshape(-1, 3)
    lowest = (corners.argmin(axis=1)[:, None] + np.arange(3)) % 3
    soup = soup[np.unique(np.take_along_axis(corners, lowest, axis=1), axis=0, return_index=True)[1]]  # each but once
    middle = soup.reshape(-1, 3).mean(axis=0)
    a, b, c = np.moveaxis(soup - middle, 1, 0)
    volume = abs(float(np.einsum("ki,ki->", np.cross(a, b), c)) / 6)
    if abs(volume - solid.volume) > 1e-4 * solid.volume:
        raise Wrong(f"volume {solid.volume}, but the triangles in the file enclose {volume}; no note says why")


def _filled(mesh: Any, solid: Any) -> None:
    corner = mesh.nodes[mesh.tets[:, :4]]
    volume = float(np.linalg.det(corner[:, 1:] - corner[:, :1]).sum() / 6)
    near = 0.08 if any(f.kind != "plane" for f in solid.faces) else 1e-3
    if abs(volume - solid.volume) > near * solid.volume:
        raise Wrong(f"volume {solid.volume}, but its tetrahedra fill {volume}")


CAD, TRIANGLES = Solids(drawn=True), Solids(drawn=False)
