"""STEP, IGES and BREP through gmsh's CAD kernel: faces as drawn, and a first-order mesh of the solid."""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from fem.errors import MeshError, SolidError
from fem.part.solid import Face, Solid
from fem.tensors import Array

FACTORS = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8, "um": 1e-3}
_KIND = {"Plane": "plane", "Cylinder": "cylinder", "Cone": "cone", "Sphere": "sphere"}


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


def import_cad(gmsh: Any, file: Path, unit: str | None) -> None:
    """Load a CAD file into the running session, in mm; solids that touch share their faces (one print).

    Errors: SolidError when the kernel cannot read it or finds no solid in it.
    """
    factor = _unit_factor(file, unit)
    if file.suffix.lower() in (".iges", ".igs"):
        # IGES holds faces; they are sewn into a solid. Its unit is turned into mm without being asked
        gmsh.option.setNumber("Geometry.OCCSewFaces", 1)
        gmsh.option.setNumber("Geometry.OCCMakeSolids", 1)
        gmsh.option.setNumber("Geometry.Tolerance", 1e-4)
    elif file.suffix.lower() != ".brep":
        gmsh.option.setString("Geometry.OCCTargetUnit", "MM")
    try:
        with _hushed():
            gmsh.model.occ.importShapes(str(file))
            gmsh.model.occ.synchronize()
    except Exception as error:
        raise SolidError(
            "the CAD kernel cannot read it.", where=str(file), advice="Is it the format that its name says?"
        ) from error
    if factor != 1.0:
        gmsh.model.occ.dilate(gmsh.model.occ.getEntities(3), 0, 0, 0, factor, factor, factor)
    solids = gmsh.model.occ.getEntities(3)
    if not solids:
        _refuse_sheet(gmsh, file)
    if len(solids) > 1:
        gmsh.model.occ.fragment(solids[:1], solids[1:])
    gmsh.model.occ.removeAllDuplicates()
    gmsh.model.occ.synchronize()


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
def _hushed() -> Iterator[None]:
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


def read_cad(file: Path, *, name: str, unit: str | None) -> Solid:
    """The solid in a CAD file; see `solid.read_solid`."""
    with gmsh_session() as gmsh:
        import_cad(gmsh, file, unit)
        volumes = gmsh.model.getEntities(3)
        volume = sum(gmsh.model.occ.getMass(3, tag) for _, tag in volumes)
        outer = outer_faces(gmsh)
        faces = tuple(_face(gmsh, tag, owner, name) for tag, owner in outer)
        box = np.array([np.min([f.low for f in faces], axis=0), np.max([f.high for f in faces], axis=0)])
        notes = () if len(volumes) == 1 else (f"{len(volumes)} solids in one file; those that touch are one piece.",)
    return Solid(name, file, faces, float(volume), box, notes=notes)


def outer_faces(gmsh: Any) -> list[tuple[int, int]]:
    """(face tag, tag of the volume behind it) of every face that bounds exactly one volume."""
    pairs = []
    for _, tag in gmsh.model.getEntities(2):
        up, _ = gmsh.model.getAdjacencies(2, tag)
        if len(up) == 1:
            pairs.append((int(tag), int(up[0])))
    return pairs


def _face(gmsh: Any, tag: int, owner: int, body: str) -> Face:
    kind = _KIND.get(gmsh.model.getType(2, tag), "free")
    low, high = np.reshape(gmsh.model.getBoundingBox(2, tag), (2, 3))
    real = np.asarray(gmsh.model.getEntityProperties(2, tag)[1], dtype=float)
    facts: dict[str, Any] = {}
    if kind == "free":
        kind, real = _recognised(gmsh, tag)
    centre = np.array(gmsh.model.occ.getCenterOfMass(2, tag))
    outward, at = _outward(gmsh, tag, owner)
    if kind == "plane":
        facts["normal"] = outward
    elif kind in ("cylinder", "cone") and len(real) >= 6:
        origin, axis = real[:3], real[3:6]
        facts |= {"origin": origin, "axis": axis / np.linalg.norm(axis), "radius": float(real[6])}
        off = at - origin
        radial = off - (off @ facts["axis"]) * facts["axis"]
        facts["hole"] = bool(radial @ outward < 0)
        if kind == "cone":
            facts["radius"] = None
    elif kind == "sphere" and len(real) >= 4:
        facts |= {"origin": real[:3], "radius": float(real[-1])}
        facts["hole"] = bool((at - real[:3]) @ outward < 0)
    return Face(
        id=tag,
        body=body,
        kind=kind,
        area=float(gmsh.model.occ.getMass(2, tag)),
        centre=centre,
        low=low,
        high=high,
        **facts,
    )


def _recognised(gmsh: Any, tag: int) -> tuple[str, Array]:
    """What a face of another type (a surface of revolution, a spline) is in truth, in the kernel's own numbers.

    IGES and some STEP writers know no cylinders. A face counts as a plane, cylinder or sphere when a grid of its
    points lies on one to a ten-thousandth of its size.
    """
    low, high = (np.asarray(v) for v in gmsh.model.getParametrizationBounds(2, tag))
    spots = np.array([low + (high - low) * [a, b] for a in np.linspace(0, 1, 7) for b in np.linspace(0, 1, 7)])
    points = np.reshape(gmsh.model.getValue(2, tag, spots.ravel()), (-1, 3))
    normals = np.reshape(gmsh.model.getNormal(tag, spots.ravel()), (-1, 3))
    near = 1e-4 * float(np.ptp(points, axis=0).max())
    spread, axes = np.linalg.eigh(normals.T @ normals / len(normals))
    if spread[1] < 1e-8:
        return "plane", np.zeros(0)
    ball, *_ = np.linalg.lstsq(
        np.column_stack([2 * points, np.ones(len(points))]), (points**2).sum(axis=1), rcond=None
    )
    radius = np.sqrt(max(ball[3] + ball[:3] @ ball[:3], 0.0))
    if spread[0] > 1e-6 and np.abs(np.linalg.norm(points - ball[:3], axis=1) - radius).max() < near:
        return "sphere", np.array([*ball[:3], radius])
    if spread[0] < 1e-8:
        axis, plane = axes[:, 0], axes[:, 1:]
        centre, radius, miss = _fitted_circle(points @ plane)
        if miss < near:
            origin = plane @ centre + axis * float(np.mean(points @ axis))
            return "cylinder", np.array([*origin, *axis, radius])
    return "free", np.zeros(0)


def _fitted_circle(points: Array) -> tuple[Array, float, float]:
    """Centre (d,), radius and largest miss of the circle (d = 2) or sphere (d = 3) through points (j, d)."""
    rows = np.column_stack([2 * points, np.ones(len(points))])
    found, *_ = np.linalg.lstsq(rows, (points**2).sum(axis=1), rcond=None)
    centre = found[:-1]
    radius = float(np.sqrt(max(found[-1] + centre @ centre, 0.0)))
    return centre, radius, float(np.abs(np.linalg.norm(points - centre, axis=1) - radius).max())


def _outward(gmsh: Any, tag: int, owner: int) -> tuple[Array, Array]:
    """The outward unit normal (3,) of a face at a point (3,) on it, and that point."""
    low, high = gmsh.model.getParametrizationBounds(2, tag)
    low, high = np.asarray(low), np.asarray(high)
    box = np.reshape(gmsh.model.getBoundingBox(2, tag), (2, 3))
    step = 1e-4 * float(np.linalg.norm(box[1] - box[0]))
    spots = [np.array([a, b]) for a in (0.5, 0.31, 0.77, 0.11, 0.93) for b in (0.5, 0.37, 0.71, 0.13, 0.91)]
    normal, at = np.array([0.0, 0.0, 1.0]), box.mean(axis=0)
    for spot in spots:
        uv = low + spot * (high - low)
        if not gmsh.model.isInside(2, tag, uv, True):
            continue
        at = np.asarray(gmsh.model.getValue(2, tag, uv))
        normal = np.asarray(gmsh.model.getNormal(tag, uv))
        ahead = gmsh.model.isInside(3, owner, at + step * normal)
        behind = gmsh.model.isInside(3, owner, at - step * normal)
        if bool(ahead) != bool(behind):
            return (-normal if ahead else normal), at
    return normal, at


def mesh_cad(
    solid: Solid, *, size: float, finest: float, unit: str | None = None
) -> tuple[Array, np.ndarray, np.ndarray, np.ndarray]:
    """Second-order mesh of a CAD solid with mid-side nodes on the curved faces, in gmsh's own node order.

    Returns nodes (n, 3) [mm], tets (m, 10), boundary triangles (k, 6), face index (k,) into `solid.faces`.
    """
    with gmsh_session() as gmsh:
        import_cad(gmsh, solid.path, unit)
        set_sizes(gmsh, size=size, finest=finest)
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
        for index, (tag, _) in enumerate(outer_faces(gmsh)):
            some = _elements(gmsh, number, 2, tag, 9, 6)
            triangles.append(some)
            face.append(np.full(len(some), index))
    if len(tets) == 0:
        raise MeshError("no tetrahedra came out.", where=str(solid.path), advice="Try a smaller size.")
    return nodes, tets, np.concatenate(triangles), np.concatenate(face)


def triangulate_cad(solid: Solid, *, unit: str | None = None) -> tuple[Array, np.ndarray, np.ndarray]:
    """Flat triangles of a CAD solid for a picture; see `solid.shown_surface`."""
    with gmsh_session() as gmsh:
        import_cad(gmsh, solid.path, unit)
        set_sizes(gmsh, size=solid.size / 15, finest=solid.size / 150)
        try:
            gmsh.model.mesh.generate(2)
        except Exception as error:
            raise SolidError("its surface cannot be drawn.", where=str(solid.path)) from error
        tags, coordinates, _ = gmsh.model.mesh.getNodes()
        number = np.full(int(tags.max()) + 1, -1, dtype=np.int64)
        number[tags.astype(np.int64)] = np.arange(len(tags))
        each = [_elements(gmsh, number, 2, tag, 2, 3) for tag, _ in outer_faces(gmsh)]
    face = np.repeat(np.arange(len(each)), [len(t) for t in each])
    return np.asarray(coordinates).reshape(-1, 3), np.concatenate(each), face


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
