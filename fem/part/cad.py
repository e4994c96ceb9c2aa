"""STEP, IGES and BREP through gmsh's CAD kernel: the solid that is meant, its faces, and its mesh."""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from fem.errors import MeshError, SolidError
from fem.part.drawn.cutting import split_faces
from fem.part.drawn.described import described_faces
from fem.part.drawn.skin import Skin, outward_skin
from fem.part.drawn.solids import facts_of, keep_one
from fem.part.several import FileSolid
from fem.part.sizing import SizeField, ask_for_sizes
from fem.part.solid import Cut, Solid, Triangulation
from fem.tensors import Array

FACTORS = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8, "um": 1e-3}


@contextmanager
def gmsh_session() -> Iterator[Any]:
    """A quiet gmsh that is closed again whatever happens; Ctrl-C stays with Python."""
    import gmsh

    gmsh.initialize(["beadwork"], readConfigFiles=False, interruptible=False)
    try:
        gmsh.option.setNumber("General.Terminal", 0)
        # More threads would give another mesh, and other numbers, at every run
        gmsh.option.setNumber("General.NumThreads", 1)
        gmsh.model.add("part")
        yield gmsh
    finally:
        gmsh.finalize()
        keep_broken_pipes_harmless()


def keep_broken_pipes_harmless() -> None:
    """A broken pipe is an error to be told, as Python has it; gmsh leaves it deadly to the whole process."""
    if hasattr(signal, "SIGPIPE") and threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGPIPE, signal.SIG_IGN)


def import_cad(
    gmsh: Any, file: Path, unit: str | None, *, part: int | str | None = None, fused: bool = False
) -> tuple[FileSolid, ...]:
    """Load the one solid that is meant into the running session, in mm; returns all solids of the file.

    Errors: SolidError when the kernel cannot read it or finds no solid in it, or as in `keep_one`.
    """
    load_cad(gmsh, file, unit)
    facts = keep_one(gmsh, part=part, fused=fused, file=file)
    gmsh.model.occ.removeAllDuplicates()
    gmsh.model.occ.synchronize()
    return facts


def load_cad(gmsh: Any, file: Path, unit: str | None) -> None:
    """Load all solids of a CAD file into the running session, in mm. Errors: SolidError."""
    factor = _unit_factor(file, unit)
    if file.suffix.lower() in (".iges", ".igs"):
        # IGES holds faces; they are sewn into a solid. Its unit is turned into mm without being asked
        gmsh.option.setNumber("Geometry.OCCSewFaces", 1)
        gmsh.option.setNumber("Geometry.OCCMakeSolids", 1)
        gmsh.option.setNumber("Geometry.Tolerance", 1e-4)
    elif file.suffix.lower() != ".brep":
        gmsh.option.setString("Geometry.OCCTargetUnit", "MM")
    try:
        with hushed():
            gmsh.model.occ.importShapes(str(file))
            gmsh.model.occ.synchronize()
    except Exception as error:
        raise SolidError(
            "the CAD kernel cannot read it.", where=str(file), advice="Is it the format that its name says?"
        ) from error
    if factor != 1.0:
        gmsh.model.occ.dilate(gmsh.model.occ.getEntities(3), 0, 0, 0, factor, factor, factor)
    gmsh.model.occ.synchronize()
    if not gmsh.model.occ.getEntities(3):
        _refuse_sheet(gmsh, file)


def _unit_factor(file: Path, unit: str | None) -> float:
    """What the file's numbers are multiplied by: STEP and IGES state their unit, BREP does not."""
    if file.suffix.lower() != ".brep":
        if unit is not None:
            raise SolidError(
                f"unit = {unit!r} is given, but this format states its own unit.",
                where=str(file),
                advice="Leave unit out, or export the file again in the right unit.",
            )
        return 1.0
    if unit is None:
        raise SolidError("BREP does not say its unit.", where=str(file), advice='Add unit = "mm" (or cm, m, in, ft).')
    if unit not in FACTORS:
        raise SolidError(f"unit {unit!r} is not known.", where=str(file), advice=f"Known: {', '.join(FACTORS)}.")
    return FACTORS[unit]


@contextmanager
def hushed() -> Iterator[None]:
    """Silence what the kernel's reader prints straight to standard output, past gmsh's own switch."""
    sys.stdout.flush()
    kept = os.dup(1)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)


def _refuse_sheet(gmsh: Any, file: Path) -> None:
    sheets = gmsh.model.getEntities(2)
    if not sheets:
        raise SolidError("it holds no solid.", where=str(file))
    box = gmsh.model.getBoundingBox(-1, -1)
    at = ", ".join(f"{(a + b) / 2:.3g}" for a, b in zip(box[:3], box[3:], strict=True))
    raise SolidError(
        f"it holds {len(sheets)} faces around ({at}) mm but no closed solid.",
        where=str(file),
        advice="Sew the faces into a solid before exporting.",
    )


def read_cad(file: Path, *, name: str, unit: str | None, part: int | str | None = None, fused: bool = False) -> Solid:
    """The solid in a CAD file; see `solid.read_solid`."""
    with gmsh_session() as gmsh:
        parts = import_cad(gmsh, file, unit, part=part, fused=fused)
        volume = float(sum(gmsh.model.occ.getMass(3, tag) for _, tag in gmsh.model.getEntities(3)))
        tags = outer_faces(gmsh)
        skin = outward_skin(gmsh, tags, set_sizes=set_sizes, volume=volume, where=str(file))
        faces = described_faces(gmsh, tags, skin, body=name)
    box = np.array([np.min([f.low for f in faces], axis=0), np.max([f.high for f in faces], axis=0)])
    return Solid(name, file, faces, volume, box, shown=shown(skin), part=part, fused=fused, parts=parts)


def solids_in_cad(file: Path, *, unit: str | None) -> tuple[FileSolid, ...]:
    """All solids of a CAD file; see `solid.solids_in`."""
    with gmsh_session() as gmsh:
        load_cad(gmsh, file, unit)
        return facts_of(gmsh, [tag for _, tag in gmsh.model.occ.getEntities(3)], file)


def shown(skin: Skin) -> Triangulation:
    """The skin as flat triangles to draw, four for each curved one."""
    quarters = [own[:, [[0, 3, 5], [3, 1, 4], [5, 4, 2], [3, 4, 5]]].reshape(-1, 3) for own in skin.triangles]
    used, back = np.unique(np.concatenate(quarters), return_inverse=True)
    face = np.repeat(np.arange(len(quarters)), [len(own) for own in quarters])
    return Triangulation(skin.nodes[used], back.reshape(-1, 3).astype(np.int64), face.astype(np.int64))


def outer_faces(gmsh: Any) -> list[int]:
    """Tags of the faces that bound the session's solid on one side only."""
    return [int(tag) for _, tag in gmsh.model.getEntities(2) if len(gmsh.model.getAdjacencies(2, tag)[0]) == 1]


def mesh_cad(
    solid: Solid,
    *,
    size: float,
    finest: float,
    unit: str | None = None,
    cuts: Sequence[Cut] = (),
    wanted: SizeField | None = None,
) -> tuple[Array, np.ndarray, np.ndarray, np.ndarray]:
    """Second-order mesh of a CAD solid with mid-side nodes on the curved faces, in gmsh's own node order.

    Returns nodes (n, 3) [mm], tets (m, 10), boundary triangles (k, 6), face index (k,) into `solid.faces`; the
    triangles follow the borders of the `cuts`. A `wanted` field of sizes counts in place of `size` and `finest`.
    """
    with gmsh_session() as gmsh:
        import_cad(gmsh, solid.path, unit, part=solid.part, fused=solid.fused)
        owners = split_faces(gmsh, [(tag, tag) for tag in outer_faces(gmsh)], cuts)
        set_sizes(gmsh, size=size, finest=finest)
        if wanted is not None:
            ask_for_sizes(gmsh, wanted)
        try:
            gmsh.model.mesh.generate(3)
            gmsh.model.mesh.setOrder(2)
        except Exception as error:
            raise MeshError(
                f"tetrahedra of {size:g} mm do not fit ({str(error).strip() or 'no reason given'}).",
                where=str(solid.path),
                advice="Try another size, or repair the solid.",
            ) from error
        tags, coordinates, _ = gmsh.model.mesh.getNodes()
        nodes = np.asarray(coordinates).reshape(-1, 3)
        number = np.full(int(tags.max()) + 1, -1, dtype=np.int64)
        number[tags.astype(np.int64)] = np.arange(len(tags))
        tets = _elements(gmsh, number, 3, -1, 11, 10)
        triangles, face = [], []
        index = {f.id: i for i, f in enumerate(solid.faces)}
        for tag, own in owners:
            some = _elements(gmsh, number, 2, tag, 9, 6)
            triangles.append(some)
            face.append(np.full(len(some), index[own]))
    if len(tets) == 0:
        raise MeshError("no tetrahedra came out.", where=str(solid.path), advice="Try a smaller size.")
    return nodes, tets, np.concatenate(triangles), np.concatenate(face)


def set_sizes(gmsh: Any, *, size: float, finest: float) -> None:
    """Element size from `size`, `finest` and curvature: sixteen elements to the full circle."""
    gmsh.option.setNumber("Mesh.MeshSizeMax", size)
    gmsh.option.setNumber("Mesh.MeshSizeMin", min(finest, size))
    gmsh.option.setNumber("Mesh.MeshSizeFromCurvature", 16)
    gmsh.option.setNumber("Mesh.MeshSizeFromPoints", 0)
    gmsh.option.setNumber("Mesh.Algorithm", 6)
    gmsh.option.setNumber("Mesh.Algorithm3D", 1)
    gmsh.option.setNumber("Mesh.OptimizeThreshold", 0.4)
    gmsh.option.setNumber("Mesh.Optimize", 1)
    gmsh.option.setNumber("Mesh.HighOrderOptimize", 0)


def _elements(gmsh: Any, number: np.ndarray, dim: int, tag: int, kind: int, width: int) -> np.ndarray:
    nodes = [
        np.asarray(block).reshape(-1, width)
        for which, block in zip(*_types_and_nodes(gmsh, dim, tag), strict=True)
        if which == kind
    ]
    if not nodes:
        return np.zeros((0, width), dtype=np.int64)
    return number[np.concatenate(nodes).astype(np.int64)]


def _types_and_nodes(gmsh: Any, dim: int, tag: int) -> tuple[Any, Any]:
    types, _, nodes = gmsh.model.mesh.getElements(dim, tag)
    return types, nodes
