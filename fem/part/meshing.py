"""A solid becomes second-order tetrahedra whose mid-side nodes lie on the curved faces."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, TypeVar

import numpy as np

from fem.errors import MeshError, TooLargeError
from fem.memory import available_memory
from fem.part.apart import apart
from fem.part.ordering import neighbourly
from fem.part.quadrature import tet_slopes
from fem.part.sizing import SizeField, filling_tets
from fem.part.solid import Cut, Solid, Triangulation
from fem.part.tetmesh import TET_EDGES, TRIANGLE_EDGES, MeshQuality, TetMesh, shape_quality
from fem.tensors import Array

T = TypeVar("T")
BYTES_PER_UNKNOWN = 7000
"""Peak memory of a whole run for each unknown, measured (studies/speed/) and rounded up."""
MESHING, SECONDS_PER_TET = 180.0, 3e-3
"""Seconds that a mesh may take: some twenty times what it takes on a slow core."""
LEAST_JACOBIAN = 0.05
"""Least ratio of the curved to the straight element's volume density before a mid-side node is straightened."""


def estimated_tets(solid: Solid, *, size: float, finest: float) -> int:
    """About how many tetrahedra a mesh will have: volume over that of a regular one, more where faces curve."""
    if solid.shown is not None:
        return _by_skin(solid, solid.shown, size=size, finest=finest)
    regular = size**3 / (6 * np.sqrt(2.0))
    area = sum(face.area for face in solid.faces)
    # A plate thinner than the elements is filled by its skin: about three tetrahedra for each surface triangle
    inside = max(1.4 * solid.volume / regular, 3 * area / (np.sqrt(3) / 4 * size**2))
    curved = 0.0
    for face in solid.faces:
        if face.kind == "plane":
            continue
        radius = face.radius or float((face.high - face.low).max()) / 4
        h = float(np.clip(2 * np.pi * radius / 16, finest, size))
        curved += 4 * face.area / (np.sqrt(3) / 4 * h * h)
    return int(inside + curved)


def _by_skin(solid: Solid, skin: Triangulation, *, size: float, finest: float) -> int:
    """The same for a drawn solid, whose skin says how small triangles are where it curves.

    The mesh takes sizes on from the faces into the volume, hence a mean of them (of 1/h^2, by trial on twelve solids:
    0.7 to 1.8 of what came, up to 5 for solids that are ellipsoids all over).
    """
    corner = skin.points[skin.triangles]
    area = np.linalg.norm(np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]), axis=1) / 2
    h = 2 * np.sqrt(4 / np.sqrt(3) * area)  # skins are shown in quarters
    sixteenth = np.array([2 * np.pi * (f.radius or 0.0) / 16 for f in solid.faces])
    h = np.clip(np.maximum(h, sixteenth[skin.face]), finest, size)
    per_area = float((area / h**2).sum() / area.sum())
    filled = 1.4 * solid.volume * 6 * np.sqrt(2.0) * per_area**1.5
    return int(max(filled, 3 * per_area * area.sum() * 4 / np.sqrt(3)))


def estimated_unknowns(solid: Solid, *, size: float, finest: float) -> int:
    """About how many unknowns the mesh will have: some 1.5 second-order nodes a tetrahedron, three unknowns each."""
    return int(4.5 * estimated_tets(solid, size=size, finest=finest))


def refuse_too_large(unknowns: int, *, where: str) -> None:
    """Errors: TooLargeError when a run with so many unknowns would not fit into what this process may have."""
    need, have = unknowns * BYTES_PER_UNKNOWN, available_memory()
    if need > 0.9 * have:
        raise TooLargeError(
            f"about {unknowns:,} unknowns need some {need / 1e9:.1f} GB; {have / 1e9:.1f} GB are free.",
            where=where,
            advice="Ask for a larger mesh size.",
        )


def mesh_solid(
    solid: Solid,
    *,
    size: float | None = None,
    finest: float | None = None,
    unit: str | None = None,
    cuts: Sequence[Cut] = (),
    wanted: SizeField | None = None,
) -> TetMesh:
    """Fill a solid with tetrahedra of about `size` [mm], down to `finest` where it curves.

    Defaults: a twentieth of the longest side, and a quarter of that. The triangles on the boundary follow the borders
    of the `cuts` where the face can be split; each still belongs to the whole face. A `wanted` field, made from an
    earlier mesh of the solid, counts in place of both sizes; whether it fits into memory is the caller's to ask.
    Errors: MeshError (cannot be filled), TooLargeError (would not fit into memory).
    """
    size = solid.size / 20 if size is None else size
    finest = size / 4 if finest is None else finest
    if not (size > 0 and finest > 0):
        raise MeshError(f"size {size:g} mm and finest {finest:g} mm must be positive.", where=solid.name)
    if finest > size:
        raise MeshError(f"finest ({finest:g} mm) is larger than size ({size:g} mm).", where=solid.name)
    expected = estimated_tets(solid, size=size, finest=finest) if wanted is None else filling_tets(wanted)
    if wanted is None:
        refuse_too_large(estimated_unknowns(solid, size=size, finest=finest), where=f"mesh of {solid.name}")
    seconds = MESHING + SECONDS_PER_TET * expected
    given: dict[str, Any] = {"size": size, "finest": finest, "seconds": seconds, "cuts": cuts, "wanted": wanted}
    if solid.surface is None:
        from fem.part.cad import mesh_cad

        nodes, tets, triangles, face = _filled_apart(mesh_cad, solid, unit=unit, **given)
        tets = tets[:, [0, 1, 2, 3, 4, 5, 6, 7, 9, 8]]  # gmsh swaps the last two mid-side nodes
        triangles = triangles[:, [0, 1, 2, 3, 4, 5]]
    else:
        from fem.part.triangulated import mesh_triangulated

        corner, tets4, triangles3, face = _filled_apart(mesh_triangulated, solid, name=solid.name, **given)
        nodes, tets, triangles = second_order(corner, tets4, triangles3, solid=solid, face=face)
    return tidy_mesh(nodes, tets, triangles, face, solid=solid)


def _filled_apart(mesher: Callable[..., T], solid: Solid, *, seconds: float, **named: Any) -> T:
    """What the mesher makes of the solid, in a process that may crash, hang or swell without harm here."""
    return apart(
        mesher,
        solid,
        seconds=seconds,
        what="meshing it",
        where=str(solid.path),
        refusal=MeshError,
        **named,
    )


def second_order(
    nodes: Array,
    tets: np.ndarray,
    triangles: np.ndarray,
    *,
    solid: Solid | None = None,
    face: np.ndarray | None = None,
) -> tuple[Array, np.ndarray, np.ndarray]:
    """Give first-order tets (m, 4) and triangles (k, 3) their mid-side nodes, on fitted faces."""
    edges = np.sort(np.concatenate([tets[:, pair] for pair in TET_EDGES]), axis=1)
    unique, inverse = np.unique(edges, axis=0, return_inverse=True)
    inverse = inverse.reshape(-1)
    middle = nodes[unique].mean(axis=1)
    m = len(tets)
    full = np.concatenate([tets] + [len(nodes) + inverse[i * m : (i + 1) * m, None] for i in range(6)], axis=1)
    side = np.sort(np.concatenate([triangles[:, pair] for pair in TRIANGLE_EDGES]), axis=1)
    key = unique[:, 0] * len(nodes) + unique[:, 1]
    at = np.searchsorted(key, side[:, 0] * len(nodes) + side[:, 1])
    k = len(triangles)
    skin = np.concatenate([triangles] + [len(nodes) + at[i * k : (i + 1) * k, None] for i in range(3)], axis=1)
    if solid is not None and face is not None:
        from fem.part.triangulated.primitives import project_onto

        # Twice, so that a node on the edge of two faces settles on both
        for _ in range(4):
            for index, what in enumerate(solid.faces):
                own = np.unique(skin[face == index][:, 3:]) - len(nodes)
                if len(own) and what.kind != "free":
                    middle[own] = project_onto(what, middle[own])
    return np.concatenate([nodes, middle]), full, skin


def tidy_mesh(nodes: Array, tets: np.ndarray, triangles: np.ndarray, face: np.ndarray, *, solid: Solid) -> TetMesh:
    """Right-handed tetrahedra, triangles that look outward, no loose nodes; neighbours close together."""
    quality = shape_quality(nodes, tets.astype(np.int32))
    left = quality < 0
    if left.any():
        tets = tets.copy()
        tets[left] = tets[left][:, [0, 2, 1, 3, 6, 5, 4, 7, 9, 8]]
    used, inverse = np.unique(tets, return_inverse=True)
    new = np.full(len(nodes), -1, dtype=np.int64)
    new[used] = np.arange(len(used))
    tets = inverse.reshape(tets.shape).astype(np.int32)
    triangles = new[triangles].astype(np.int32)
    nodes = nodes[used].copy()
    triangles = _facing_outward(nodes, tets, triangles)
    straightened = _straighten(nodes, tets)
    quality = shape_quality(nodes, tets)
    if not quality.min() > 1e-6:
        worst = nodes[tets[int(quality.argmin()), :4]].mean(axis=0)
        at = ", ".join(f"{v:.3g}" for v in worst)
        raise MeshError(f"a tetrahedron near ({at}) mm is flat.", where=solid.name, advice="Try another mesh size.")
    mesh = TetMesh(
        nodes=nodes,
        tets=tets,
        body=np.zeros(len(tets), dtype=np.int32),
        bodies=(solid.name,),
        triangles=triangles,
        face=face.astype(np.int32),
        faces=solid.faces,
        quality=MeshQuality(float(quality.min()), float(np.median(quality)), straightened),
    )
    return neighbourly(mesh)


def _facing_outward(nodes: Array, tets: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """Turn the triangles whose normal points into the tetrahedron behind them."""
    faces = np.sort(np.concatenate([tets[:, f] for f in ((0, 1, 2), (0, 1, 3), (0, 2, 3), (1, 2, 3))]), axis=1)
    apex = np.concatenate([tets[:, i] for i in (3, 2, 1, 0)])
    n = np.int64(len(nodes))
    key = (faces[:, 0].astype(np.int64) * n + faces[:, 1]) * n + faces[:, 2] if n < 2_000_000 else None
    if key is None:
        raise MeshError("more than two million nodes.", advice="Ask for a larger mesh size.")
    order = np.argsort(key)
    own = np.sort(triangles[:, :3], axis=1).astype(np.int64)
    place = np.searchsorted(key[order], (own[:, 0] * n + own[:, 1]) * n + own[:, 2])
    inner = apex[order[np.minimum(place, len(order) - 1)]]
    c = nodes[triangles[:, :3]]
    normal = np.cross(c[:, 1] - c[:, 0], c[:, 2] - c[:, 0])
    wrong = np.einsum("ki,ki->k", normal, nodes[inner] - c[:, 0]) > 0
    out = triangles.copy()
    out[wrong] = triangles[wrong][:, [0, 2, 1, 5, 4, 3]]
    return out


def jacobian_ratio(nodes: Array, tets: np.ndarray) -> Array:
    """Least volume density of each second-order tet at its ten nodes over that of its straight twin (m,)."""
    reference = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], dtype=float)
    points = np.concatenate([reference, [reference[list(e)].mean(axis=0) for e in TET_EDGES]])
    slope = tet_slopes(points)
    x = nodes[tets]
    jac = np.einsum("qad,mai->mqdi", slope, x)
    straight = np.linalg.det(x[:, 1:4] - x[:, :1])
    return np.asarray(np.linalg.det(jac).min(axis=1) / straight)


def _straighten(nodes: Array, tets: np.ndarray) -> int:
    """Pull mid-side nodes of badly curved elements onto their straight edges, in place; returns how many."""
    moved: set[int] = set()
    for _ in range(5):
        bad = np.flatnonzero(jacobian_ratio(nodes, tets) < LEAST_JACOBIAN)
        if len(bad) == 0:
            break
        for slot, (i, j) in enumerate(TET_EDGES):
            mid = tets[bad, 4 + slot]
            straight = nodes[tets[bad][:, [i, j]]].mean(axis=1)
            off = np.linalg.norm(nodes[mid] - straight, axis=1) > 1e-12
            nodes[mid[off]] = straight[off]
            moved.update(mid[off].tolist())
    return len(moved)
