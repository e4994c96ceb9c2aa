"""A solid that came as triangles is meshed anew: its surface in elements of good shape, then its volume.

The triangles of the file describe the shape, they are no mesh: they are needles where the surface is flat
and coarse where it is round. Each face is flattened and meshed again, the volume is filled, and the nodes of
the boundary are put onto the exact planes, cylinders, cones and spheres that were found.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fem.errors import MeshError
from fem.part.cad import keep_broken_pipes_harmless
from fem.part.sizing import SizeField, ask_for_sizes
from fem.part.solid import Cut, Face, Solid, Triangulation
from fem.part.triangulated.cutting import split_surface
from fem.part.triangulated.patches import patches
from fem.part.triangulated.primitives import project_onto
from fem.part.triangulated.sizes import Grading, graded, wanted_sizes
from fem.part.triangulated.soundness import Ints, oriented
from fem.tensors import Array

Raw = tuple[Array, Ints, Ints, Ints]
"""Nodes (n, 3), tetrahedra (m, 4), boundary triangles (k, 3) and their face (k,)."""


@dataclass(frozen=True)
class _Task:
    solid: Solid
    surface: Triangulation
    region: Ints
    size: float
    finest: float
    wanted: list[Callable[[Array], float]]
    grading: Grading
    background: SizeField | None = None


def mesh_triangulated(
    solid: Solid,
    *,
    size: float,
    finest: float,
    name: str,
    cuts: Sequence[Cut] = (),
    wanted: SizeField | None = None,
) -> Raw:
    """Fill a solid read from triangles with first-order tetrahedra of edge `size` [mm], not below `finest`, or of
    the edges that a `wanted` field asks for.

    Returns nodes (n, 3) [mm], tetrahedra (m, 4), boundary triangles (k, 3) counter-clockwise seen from
    outside, and the index (k,) into `solid.faces` of each triangle; they follow the borders of the `cuts`.
    Errors: MeshError when no way of meshing leads to a sound volume.
    """
    if solid.surface is None:
        raise MeshError("it did not come as triangles.", where=name)
    surface, owner = split_surface(solid.surface, solid.faces, cuts)
    solid = replace(solid, surface=surface, faces=tuple(solid.faces[i] for i in owner))
    _, region, _ = oriented(surface.points, surface.triangles, where=name)
    by_face = wanted_sizes(surface, solid.faces, size=size, finest=finest)
    task = _Task(solid, surface, region, size, finest, by_face, graded(surface, by_face, size=size), wanted)
    reason = ""
    for way in (_by_faces, _by_angle, _as_given):
        try:
            nodes, tets, triangles, face = _finished(task, _in_session(way, task))
            return nodes, tets, triangles, owner[face]
        except Exception as error:  # gmsh reports every failure as a bare Exception
            reason = (str(error).splitlines() or [""])[0][:160]
    raise MeshError(
        f"{len(surface.triangles)} triangles cannot be filled with elements of {size:g} mm ({reason}).",
        where=name,
        advice="Try another size, or export the part as STEP.",
    )


def _in_session(way: Callable[[Any, _Task], Raw], task: _Task) -> Raw:
    import gmsh

    gmsh.initialize(interruptible=False)
    try:
        for key, value in {
            "General.Terminal": 0,
            "General.Verbosity": 0,
            "Mesh.Algorithm": 6,
            "Mesh.Algorithm3D": 1,
            "Mesh.MeshSizeFromPoints": 0,
            "Mesh.MeshSizeExtendFromBoundary": 0,
            "Mesh.MeshSizeMin": 0.5 * task.finest,
            "Mesh.MeshSizeMax": task.size,
        }.items():
            gmsh.option.setNumber(key, value)
        gmsh.model.add("part")
        return way(gmsh, task)
    finally:
        gmsh.finalize()
        keep_broken_pipes_harmless()


def _by_faces(gmsh: Any, task: _Task) -> Raw:
    """Each face cut into patches, each patch a surface of the mesher's own, flat ones exactly flat."""
    patch, owner = patches(task.surface)
    _discrete(gmsh, task, patch)
    gmsh.model.mesh.createTopology()
    gmsh.model.mesh.createGeometry()
    face_of = {p + 1: int(owner[p]) for p in range(len(owner))}
    shell = {p + 1: int(task.region[np.flatnonzero(patch == p)[0]]) for p in range(len(owner))}
    return _filled(gmsh, task, face_of, shell)


def _by_angle(gmsh: Any, task: _Task) -> Raw:
    """The mesher sorts the surface by itself; its triangles take the face of the nearest one of the file."""
    if len(np.unique(task.region)) > 1:
        raise ValueError("several bodies in one file")
    _discrete(gmsh, task, np.zeros(len(task.surface.triangles), dtype=np.int64))
    gmsh.model.mesh.classifySurfaces(np.deg2rad(30.0), True, True, np.pi)
    gmsh.model.mesh.createGeometry()
    tags = [tag for _, tag in gmsh.model.getEntities(2)]
    return _filled(gmsh, task, None, dict.fromkeys(tags, 0))


def _as_given(gmsh: Any, task: _Task) -> Raw:
    """The triangles of the file as they are: the last resort where the surface cannot be flattened."""
    patch = task.surface.face
    _discrete(gmsh, task, patch)
    shell = {int(p) + 1: int(task.region[np.flatnonzero(patch == p)[0]]) for p in np.unique(patch)}
    return _filled(gmsh, task, {tag: tag - 1 for tag in shell}, shell)


def _discrete(gmsh: Any, task: _Task, patch: Ints) -> None:
    placed = np.zeros(len(task.surface.points), dtype=bool)
    for p in np.unique(patch):
        own = task.surface.triangles[patch == p]
        tag = gmsh.model.addDiscreteEntity(2, int(p) + 1)
        new = np.unique(own)
        new = new[~placed[new]]
        placed[new] = True
        gmsh.model.mesh.addNodes(2, tag, new + 1, task.surface.points[new].ravel())
        gmsh.model.mesh.addElementsByType(tag, 2, [], (own + 1).ravel())


def _filled(gmsh: Any, task: _Task, face_of: dict[int, int] | None, shell: dict[int, int]) -> Raw:
    geo = gmsh.model.geo
    for number in sorted(set(shell.values())):
        geo.addVolume([geo.addSurfaceLoop([tag for tag, s in shell.items() if s == number])])
    geo.synchronize()
    if task.background is None:
        _set_sizes(gmsh, task, face_of or {})
    else:
        ask_for_sizes(gmsh, task.background)
    gmsh.model.mesh.generate(3)
    tags, coordinates, _ = gmsh.model.mesh.getNodes()
    place = np.full(int(tags.max()) + 1, -1, dtype=np.int64)
    place[tags.astype(np.int64)] = np.arange(len(tags))
    nodes = np.asarray(coordinates).reshape(-1, 3)
    tets = place[gmsh.model.mesh.getElementsByType(4)[1].astype(np.int64)].reshape(-1, 4)
    parts, faces = [], []
    for _, tag in gmsh.model.getEntities(2):
        own = place[gmsh.model.mesh.getElementsByType(2, tag)[1].astype(np.int64)].reshape(-1, 3)
        parts.append(own)
        faces.append(np.full(len(own), -1 if face_of is None else face_of[tag], dtype=np.int64))
    triangles, face = np.concatenate(parts), np.concatenate(faces)
    if not len(tets) or not len(triangles):
        raise ValueError("no tetrahedra came out")
    if face_of is None:
        face = _nearest_face(task.surface, nodes[triangles])
    return nodes, tets, triangles, face


def _set_sizes(gmsh: Any, task: _Task, face_of: dict[int, int]) -> None:
    """Edge lengths by the curvature of the face that a point lies on, on an edge by the rounder of its faces."""
    on_curve: dict[int, set[int]] = {}
    on_point: dict[int, set[int]] = {}
    for tag, face in face_of.items():
        for _, curve in gmsh.model.getBoundary([(2, tag)], oriented=False):
            on_curve.setdefault(abs(curve), set()).add(face)
            for _, point in gmsh.model.getBoundary([(1, abs(curve))], oriented=False):
                on_point.setdefault(point, set()).add(face)
    on_face = {tag: {face} for tag, face in face_of.items()}
    beside = (on_point, on_curve, on_face)

    def length(dim: int, tag: int, x: float, y: float, z: float, given: float) -> float:
        spot = np.array([x, y, z])
        wishes = (task.wanted[f](spot) for f in (beside[dim].get(tag, ()) if dim < 3 else ()))
        return min(given, task.grading.at(x, y, z), *wishes)

    gmsh.model.mesh.setSizeCallback(length)


def _nearest_face(surface: Triangulation, corners: Array) -> Ints:
    """The face of the file's triangle nearest to the middle of each triangle (k, 3, 3)."""
    import trimesh

    mesh = trimesh.Trimesh(surface.points, surface.triangles, process=False)
    middles = corners.mean(axis=1)
    out = np.empty(len(middles), dtype=np.int64)
    for block in np.array_split(np.arange(len(middles)), len(middles) // 20_000 + 1):
        out[block] = surface.face[trimesh.proximity.closest_point_naive(mesh, middles[block])[2]]
    return out


def _finished(task: _Task, raw: Raw) -> Raw:
    """Numbered anew without loose nodes, oriented, checked to be closed, and put onto the exact surfaces."""
    nodes, tets, triangles, face = raw
    used, back = np.unique(tets, return_inverse=True)
    number = np.full(len(nodes), -1, dtype=np.int64)
    number[used] = np.arange(len(used))
    nodes, tets, triangles = nodes[used], back.reshape(-1, 4).astype(np.int64), number[triangles]
    volume = _volumes(nodes, tets)
    tets[volume < 0] = tets[volume < 0][:, [1, 0, 2, 3]]
    skin = tets[:, [[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]]].reshape(-1, 3)
    _, first, count = np.unique(np.sort(skin, axis=1), axis=0, return_index=True, return_counts=True)
    skin = skin[first[count == 1]]
    mine, theirs = np.sort(skin, axis=1), np.sort(triangles, axis=1)
    a, b = np.lexsort(mine.T), np.lexsort(theirs.T)
    if len(mine) != len(theirs) or (mine[a] != theirs[b]).any():
        raise ValueError("the tetrahedra do not end at the surface")
    triangles, face = skin[a], face[b]
    nodes = _put_onto_faces(nodes, tets, triangles, face, task.solid.faces)
    total = float(_volumes(nodes, tets).sum())
    if not 0.9 * task.solid.volume < total < 1.1 * task.solid.volume:
        raise ValueError(f"{total:.4g} of {task.solid.volume:.4g} mm^3 were filled")
    return nodes, tets, triangles, face


def _volumes(nodes: Array, tets: Ints) -> Array:
    c = nodes[tets]
    return np.asarray(np.einsum("mi,mi->m", np.cross(c[:, 1] - c[:, 0], c[:, 2] - c[:, 0]), c[:, 3] - c[:, 0]) / 6)


def _put_onto_faces(nodes: Array, tets: Ints, triangles: Ints, face: Ints, faces: tuple[Face, ...]) -> Array:
    """Boundary nodes on the exact surfaces; one on several by projecting in turn until it stands still.

    A node whose tetrahedra would be turned inside out goes only part of the way.
    """
    on = [np.unique(triangles[face == f]) for f in range(len(faces))]
    exact = nodes.copy()
    shared = np.bincount(np.concatenate(on), minlength=len(nodes)) > 1
    for turn in range(60):
        before = exact.copy()
        for f, own in enumerate(on):
            own = own if turn == 0 else own[shared[own]]
            if len(own):
                exact[own] = project_onto(faces[f], exact[own])
        if np.abs(exact - before).max() < 1e-10 * np.ptp(nodes):
            break
    share = np.ones(len(nodes))
    floor = 0.1 * _volumes(nodes, tets)
    for _ in range(8):
        moved = nodes + share[:, None] * (exact - nodes)
        bad = _volumes(moved, tets) < floor
        if not bad.any():
            return np.asarray(moved)
        share[tets[bad]] *= 0.5
    share[tets[bad]] = 0.0
    moved = nodes + share[:, None] * (exact - nodes)
    return np.asarray(moved if (_volumes(moved, tets) > 0).all() else nodes)
