"""Lays the faces of a joint flat: each is looked at straight from its counterpart, round ones are unrolled.

A panel is one flat or round face of the side on which the joint's points lie; coplanar ones share one, and so do
halves of a cylinder. Walls that stand around a common axis follow each other in the order in which one passes them,
so that their row is the development of the wall; what lies across it comes last.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fem.judging.pressed import PressedJoint
from fem.part.solid import Face
from fem.part.tetmesh import Index, TetMesh
from fem.tensors import Array

ALIKE = 1e-3
"""Normals that differ by less are one direction; offsets by less, as a share of the mesh's size, one plane."""
FLAT = 0.95
"""A face whose mean normal is at least so long is looked at straight, however it is curved."""
WIDE_GAP = 0.5
"""A round face with a gap wider than this angle is cut open there."""
ACROSS = 0.5
"""A normal that leans more than this along a wall's axis is no wall's."""


@dataclass(frozen=True)
class Panel:
    """One face laid flat: `at` (k, 2) [mm] to the right and up, of the corners of `triangles` (t, 3), which are
    numbers among these k; `points` (q, 2) [mm] where the joint is integrated, and their numbers `of` (q,) in it.
    `towards` (3,) is the way one looks, `right` and `up` (3,) those of the panel in part axes; of an unrolled face
    they are those of its middle.
    """

    faces: tuple[str, ...]
    at: Array
    triangles: Index
    points: Array
    of: Index
    towards: Array
    right: Array
    up: Array
    unrolled: bool

    @property
    def low(self) -> Array:
        """The lower left corner (2,) [mm]."""
        return np.asarray(self.at[self.triangles].min(axis=(0, 1)))

    @property
    def size(self) -> Array:
        """Width and height (2,) [mm]."""
        return np.asarray(self.at[self.triangles].max(axis=(0, 1)) - self.low)

    @property
    def edge(self) -> float:
        """The mean edge [mm] of the triangles, as if all had equal sides."""
        a, b, c = np.moveaxis(self.at[self.triangles], 1, 0)
        twice = np.abs((b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0]))
        return float(np.sqrt(twice.mean() / 2 * 4 / np.sqrt(3)))


def panels_of(mesh: TetMesh, pressed: PressedJoint) -> list[Panel]:
    """The faces of a joint laid flat, walls first in the order around their axis."""
    facing = pressed.facing
    corners = facing.nodes[:, :3].astype(np.int64)
    face = _faces_of(mesh, corners)
    axis = _axis(facing.normals, facing.areas)
    groups = _together(mesh, face, facing.normals)
    made = [_panel(mesh, pressed, corners, np.isin(face, group), group, axis) for group in groups]
    middle = facing.areas @ facing.places / facing.areas.sum()
    return [made[i] for i in _order(made, [_centre(pressed, p) - middle for p in made], axis)]


def _faces_of(mesh: TetMesh, corners: Index) -> Index:
    """The face (q,) of each triangle of corners (q, 3), which is one of the mesh's boundary."""
    code = {tuple(sorted(t)): int(f) for t, f in zip(mesh.triangles[:, :3].tolist(), mesh.face, strict=True)}
    used, back = np.unique(np.sort(corners, axis=1), axis=0, return_inverse=True)
    return np.array([code[tuple(t)] for t in used.tolist()], dtype=np.int64)[back.ravel()]


def _axis(normals: Array, areas: Array) -> Array:
    """The unit vector that lies most across all normals, and z among several."""
    spread = np.einsum("q,qi,qj->ij", areas, normals, normals) / areas.sum()
    _, vectors = np.linalg.eigh(spread + np.diag([2e-9, 1e-9, 0.0]))
    axis = vectors[:, 0]
    return np.asarray(axis * np.sign(axis[np.abs(axis).argmax()]))


def _together(mesh: TetMesh, face: Index, normals: Array) -> list[tuple[int, ...]]:
    """The faces that share a panel: one plane, or one cylinder or cone."""
    groups: list[list[int]] = []
    for number in np.unique(face).tolist():
        own = mesh.faces[number]
        for group in groups:
            if _continues(mesh.faces[group[0]], own, ALIKE * mesh.diagonal):
                group.append(number)
                break
        else:
            groups.append([number])
    return [tuple(group) for group in groups]


def _continues(one: Face, other: Face, near: float) -> bool:
    if one.kind != other.kind or one.body != other.body:
        return False
    if one.normal is not None and other.normal is not None:
        same = float(one.normal @ other.normal) > 1 - ALIKE
        return same and abs(float((other.centre - one.centre) @ one.normal)) < near
    if one.axis is None or other.axis is None or one.origin is None or other.origin is None:
        return False
    apart = np.cross(other.origin - one.origin, one.axis)
    same = abs(float(one.axis @ other.axis)) > 1 - ALIKE and float(np.linalg.norm(apart)) < near
    return same and (one.radius is None or other.radius is None or abs(one.radius - other.radius) < near)


def _panel(
    mesh: TetMesh, pressed: PressedJoint, corners: Index, own: NDArray[np.bool_], group: tuple[int, ...], axis: Array
) -> Panel:
    facing = pressed.facing
    used, flat = np.unique(corners[own], return_inverse=True)
    triangles: Index = np.unique(flat.reshape(-1, 3), axis=0)
    areas, normals, of = facing.areas[own], facing.normals[own], np.flatnonzero(own)
    normal = areas @ normals / areas.sum()
    face = mesh.faces[group[0]]
    places, points = mesh.nodes[used], facing.places[own]
    unrolled = face.kind in ("cylinder", "cone") and face.axis is not None and float(np.linalg.norm(normal)) < FLAT
    if unrolled:
        pressed_on = pressed.pressure[own] * areas @ points
        middle = pressed_on / float(pressed.pressure[own] @ areas) if pressed.pressure[own].any() else None
        at, triangles, there, frame = _unrolled(face, places, points, triangles, middle)
    else:
        frame = _looked_at(normal if np.linalg.norm(normal) > ALIKE else normals[0], axis)
        at, there = places @ frame[:2].T, points @ frame[:2].T
    labels = tuple(mesh.faces[i].label for i in group)
    return Panel(labels, at, triangles, there, of, -frame[2], frame[0], frame[1], unrolled)


def _looked_at(normal: Array, axis: Array) -> Array:
    """Right, up and towards the eye (3, 3) of one who looks at a face from outside, the wall's axis upright."""
    out = normal / np.linalg.norm(normal)
    rough = axis if abs(float(axis @ out)) < 1 - ACROSS else np.eye(3)[1 if abs(out[1]) < 0.9 else 2]
    up = rough - out * float(rough @ out)
    up = up / np.linalg.norm(up)
    return np.array([np.cross(up, out), up, out])


def _unrolled(
    face: Face, places: Array, points: Array, triangles: Index, pressed_on: Array | None
) -> tuple[Array, Index, Array, Array]:
    """A round face as seen by one who walks along it: its corners, again for each end where it is cut open, the
    triangles among these, its points, and the frame (3, 3) of its middle. One that goes all round is cut open
    opposite to the place (3,) [mm] that it is `pressed_on`.
    """
    assert face.axis is not None and face.origin is not None
    origin = face.origin
    up = face.axis * np.sign(face.axis[np.abs(face.axis).argmax()])
    one = np.eye(3)[int(np.abs(up).argmin())]
    first = np.cross(up, one) / np.linalg.norm(np.cross(up, one))
    second = np.cross(up, first)
    turn = -1.0 if face.hollow else 1.0  # from inside, what lies to the right comes first

    def angle(at: Array) -> Array:
        return np.asarray(np.arctan2((at - origin) @ second, (at - origin) @ first))

    def away(at: Array) -> Array:
        across = (at - origin) - np.outer((at - origin) @ up, up)
        return np.asarray(np.linalg.norm(across, axis=1))

    radius = float(face.radius) if face.radius is not None else float(away(places).mean())
    start, gap = _gap(angle(points))
    if gap < WIDE_GAP and pressed_on is not None:
        start = float(angle(pressed_on[None])[0]) + np.pi

    def turned(at: Array) -> Array:
        return np.asarray((angle(at) - start) % (2 * np.pi))

    theta, high = turned(places), places @ up
    corner = theta[triangles]
    # A triangle across the cut is shown at both ends, and cut off there
    across = corner.max(axis=1) - corner.min(axis=1) > np.pi
    count = len(places)
    late = np.where(theta < np.pi, theta + 2 * np.pi, theta)
    theta = np.concatenate([theta, np.minimum(late, 2 * np.pi), np.maximum(late - 2 * np.pi, 0.0)])
    if not across.any():
        theta = theta[:count]
    anew = np.concatenate([triangles[~across], triangles[across] + count, triangles[across] + 2 * count])
    high = np.tile(high, len(theta) // count)
    middle = start + float(theta[np.unique(anew)].min() + theta[np.unique(anew)].max()) / 2
    out = (np.cos(middle) * first + np.sin(middle) * second) * turn
    right = np.cross(up, out)
    at = np.column_stack([turn * radius * theta, high])
    there = np.column_stack([turn * radius * turned(points), points @ up])
    return at, anew, there, np.array([right, up, out])


def _gap(angles: Array) -> tuple[float, float]:
    """The middle of the widest gap between angles (q,), and how wide it is."""
    each = np.sort(angles)
    gaps = np.diff(np.append(each, each[0] + 2 * np.pi))
    widest = int(gaps.argmax())
    return float(each[widest] + gaps[widest] / 2), float(gaps[widest])


def _centre(pressed: PressedJoint, panel: Panel) -> Array:
    return np.asarray(pressed.facing.places[panel.of].mean(axis=0))


def _order(panels: Sequence[Panel], away: Sequence[Array], axis: Array) -> list[int]:
    """Walls by the angle at which they stand around the axis, then the others, the largest first."""
    first = np.cross(axis, np.eye(3)[int(np.abs(axis).argmin())])
    second = np.cross(axis, first)
    walls = [i for i, p in enumerate(panels) if abs(float(p.towards @ axis)) < ACROSS]
    others = sorted((i for i in range(len(panels)) if i not in walls), key=lambda i: -float(panels[i].size.prod()))
    # One who looks at walls from outside passes them with the angle, from inside against it
    inside = sum(float(panels[i].towards @ away[i]) for i in walls) > 0
    angle = {i: float(np.arctan2(away[i] @ second, away[i] @ first)) for i in walls}
    return sorted(walls, key=lambda i: -angle[i] if inside else angle[i]) + others
