"""Small structured meshes of second-order tetrahedra, bent into shape, whose mid-side nodes lie on the curves.

A block is a grid of bricks over the unit cube, each cut into six tetrahedra around the diagonal from its lowest to
its highest corner; a fan is a grid of triangular prisms, which has no line where a mapping would collapse.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import permutations
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fem.part.meshing import second_order, tidy_mesh
from fem.part.solid import Face, Solid
from fem.part.tetmesh import TetMesh
from fem.tensors import Array

LOW_X, HIGH_X, LOW_Y, HIGH_Y, LOW_Z, HIGH_Z, STEP = range(7)
"""Faces of a block, by the side of the unit cube; STEP is what a block lacks inside."""
CUT_U, CUT_V, RIM, BELOW, ABOVE = range(5)
"""Faces of a fan: its two straight sides, its rim, and what lies below and above."""

Bend = Callable[[Array], Array]


def brick_tets(corner: Callable[[int, int, int], int]) -> list[list[int]]:
    """Six tetrahedra of one brick; `corner` gives the node number of a corner (i, j, k) of 0 and 1."""
    return [[corner(*at) for at in path] for path in _PATHS]


def _paths() -> list[list[tuple[int, int, int]]]:
    out = []
    for order in permutations(range(3)):
        at = [0, 0, 0]
        path = [(0, 0, 0)]
        for axis in order:
            at[axis] = 1
            path.append((at[0], at[1], at[2]))
        out.append(path)
    return out


_PATHS = _paths()


def outer_triangles(tets: Array) -> Array:
    """Faces of tetrahedra (m, 4) that belong to one tetrahedron alone."""
    faces = np.concatenate([tets[:, f] for f in ((0, 1, 2), (0, 1, 3), (0, 2, 3), (1, 2, 3))])
    _, first, count = np.unique(np.sort(faces, axis=1), axis=0, return_index=True, return_counts=True)
    return np.asarray(faces[first[count == 1]])


def mesh_from(
    corners: Array,
    tets: Array,
    *,
    face_of: Callable[[Array], int],
    bend: Bend | None = None,
    name: str = "part",
) -> TetMesh:
    """A second-order mesh of first-order tets (m, 4).

    `face_of` numbers a triangle (3,) of corners, `bend` maps corners and mid-side nodes alike, so that sides curve.
    """
    tets = np.asarray(tets, dtype=np.int64)
    skin = outer_triangles(tets)
    nodes, tets, triangles = second_order(np.asarray(corners, dtype=float), tets, skin)
    face = np.array([face_of(t) for t in skin])
    zero = np.zeros(3)
    faces = tuple(Face(i, name, "free", 1.0, zero, zero, zero) for i in range(max(6, int(face.max()) + 1)))
    solid = Solid(name, Path("structured"), faces, 1.0, np.array([[0.0] * 3, [1.0] * 3]))
    return tidy_mesh(nodes if bend is None else bend(nodes), tets, triangles, face, solid=solid)


def block(
    cells: tuple[int, int, int],
    *,
    bend: Bend | None = None,
    displacement: Bend | None = None,
    grade: tuple[Callable[[Array], Array], ...] | None = None,
    keep: Callable[[Array], NDArray[np.bool_]] | None = None,
) -> TetMesh:
    """A block of `cells` bricks; `displacement` moves corners of the unit cube before sides are halved (straight
    sides), `bend` maps all nodes (curved sides); `grade` maps the grid's first coordinates, `keep` says by their
    middles (j, 3) which bricks there are.
    """
    axes = [np.linspace(0, 1, n + 1) for n in cells]
    for axis, graded in enumerate(grade or ()):
        axes[axis] = graded(axes[axis])
    points = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    number = np.arange(points[..., 0].size).reshape(points.shape[:3])
    middle = (points[:-1, :-1, :-1] + points[1:, 1:, 1:]) / 2
    kept = np.ones(cells, dtype=bool) if keep is None else keep(middle.reshape(-1, 3)).reshape(cells)
    i, j, k = np.nonzero(kept)
    tets = np.array([[number[i + a, j + b, k + c] for a, b, c in path] for path in _PATHS])
    points = points.reshape(-1, 3)
    low, high = points.min(axis=0), points.max(axis=0)

    def side(triangle: Array) -> int:
        at = points[triangle]
        for axis in range(3):
            for end, limit in enumerate((low, high)):
                if np.all(at[:, axis] == limit[axis]):
                    return 2 * axis + end
        return STEP

    corners = points if displacement is None else displacement(points)
    return mesh_from(corners, tets.transpose(2, 0, 1).reshape(-1, 4), face_of=side, bend=bend)


def box(lengths: tuple[float, float, float], cells: tuple[int, int, int]) -> TetMesh:
    """A straight box from the origin to `lengths` (3,) [mm]."""
    return block(cells, bend=lambda p: p * np.asarray(lengths, dtype=float))


def ring(
    cells: tuple[int, int, int],
    inner: float | tuple[float, float],
    outer: float | tuple[float, float],
    height: float,
    *,
    grade: tuple[Callable[[Array], Array], ...] | None = None,
) -> TetMesh:
    """A quarter of a ring around z: faces x- inner, x+ outer, y- at y = 0, y+ at x = 0. Radii (2,) make ellipses."""
    (a, b), (c, d) = np.broadcast_to(inner, 2), np.broadcast_to(outer, 2)

    def bend(p: Array) -> Array:
        s, angle = p[:, 0], p[:, 1] * np.pi / 2
        return np.stack(
            [(a + (c - a) * s) * np.cos(angle), (b + (d - b) * s) * np.sin(angle), height * p[:, 2]], axis=1
        )

    return block(cells, bend=bend, grade=grade)


def fan(around: int, layers: int, *, bend: Bend) -> TetMesh:
    """Triangular prisms over the triangle u, v >= 0, u + v <= 1 in `around`^2 triangles, `layers` high.

    `bend` maps (u, v, s) with s from 0 to 1 to a place [mm]: to a quarter of a disc, or to an eighth of a shell.
    """
    flat = [(i, j) for i in range(around + 1) for j in range(around + 1 - i)]
    place = {at: number for number, at in enumerate(flat)}
    up = [((i, j), (i + 1, j), (i, j + 1)) for i, j in flat if i + j < around]
    down = [((i + 1, j), (i, j + 1), (i + 1, j + 1)) for i, j in flat if i + j < around - 1]
    triangles = np.sort([[place[at] for at in three] for three in (*up, *down)], axis=1)
    floors = [
        np.column_stack([np.array(flat) / around, np.full(len(flat), s)]) for s in np.linspace(0, 1, layers + 1)
    ]
    points, n = np.concatenate(floors), len(flat)
    # Sides are cut alike from both prisms, since both begin at the column of the lower number
    tets = []
    for a, b, c in triangles:
        for s in range(layers):
            low, high = s * n, (s + 1) * n
            tets += [[low + a, low + b, low + c, high + c], [low + a, low + b, high + b, high + c]]
            tets += [[low + a, high + a, high + b, high + c]]

    def side(triangle: Array) -> int:
        u, v, s = points[triangle].T
        for number, off in ((CUT_U, u), (CUT_V, v), (RIM, 1 - u - v), (BELOW, s), (ABOVE, 1 - s)):
            if np.abs(off).max() < 1e-9:
                return number
        raise AssertionError("a triangle inside the fan")

    return mesh_from(points, np.array(tets), face_of=side, bend=bend)


def disc(around: int, layers: int, *, radius: float, thickness: float) -> TetMesh:
    """A quarter of a disc around z, its middle plane at z = 0; faces x = 0 (CUT_U), y = 0 (CUT_V), RIM."""

    def bend(p: Array) -> Array:
        u, v, s = p.T
        far = (u + v) / np.maximum(np.hypot(u, v), 1e-300)
        return np.stack([radius * u * far, radius * v * far, thickness * (s - 0.5)], axis=1)

    return fan(around, layers, bend=bend)


def shell(around: int, layers: int, *, inner: float, outer: float) -> TetMesh:
    """An eighth of a thick ball, layers growing with the radius: faces x = 0 (CUT_U), y = 0 (CUT_V), z = 0 (RIM), the
    cavity (BELOW), the outside (ABOVE)."""

    def bend(p: Array) -> Array:
        u, v, s = p.T
        way = np.stack([u, v, 1 - u - v], axis=1)
        return way / np.linalg.norm(way, axis=1)[:, None] * (inner * (outer / inner) ** s)[:, None]

    return fan(around, layers, bend=bend)


def growing(ratio: float) -> Callable[[Array], Array]:
    """Grid positions from 0 to 1 whose last step is about `ratio` times the first."""
    return lambda s: s if ratio == 1 else (ratio**s - 1) / (ratio - 1)
