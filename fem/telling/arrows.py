"""Where the arrows of loads and supports stand: off the part, on the side whose surface bears them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fem.judging.scene import Arrow, Scene
from fem.part.tetmesh import Index, TetMesh
from fem.tensors import Array

LENGTHS = (0.12, 0.24)
"""Length of the smallest and the largest arrow as a share of the box's diagonal."""
AROUND = 0.05
"""The surface under an arrow is what lies so much farther from its place than the nearest bit, by the diagonal."""
SIDED = 0.3
"""The mean normal around a place is shorter than this where the surface faces all ways, as in a bore."""
SAME, ALIGNED, GAP = 0.02, 0.95, 0.03
"""Arrows whose places lie nearer than SAME and whose ways agree to the cosine ALIGNED stand in line, GAP apart; SAME
and GAP are shares of the diagonal.
"""


@dataclass(frozen=True)
class Shaft:
    """An arrow as it is drawn from `tail` to `tip` (3,) [mm], joined to `foot` (3,) [mm], a place on the surface that
    bears it; `outward` (3,) is the mean normal there, zero where the surface faces all ways.
    """

    arrow: Arrow
    tail: Array
    tip: Array
    foot: Array
    outward: Array

    @property
    def near_end(self) -> Array:
        """The end (3,) that lies nearer to the foot."""
        ends = (self.tail, self.tip)
        return min(ends, key=lambda end: float(np.linalg.norm(end - self.foot)))


def shafts_of(scene: Scene) -> list[Shaft]:
    """The arrows of a scene: one that pushes onto the surface ends there, any other begins there."""
    out: list[Shaft] = []
    diagonal = scene.mesh.diagonal
    for arrow in scene.arrows:
        foot, outward = _under(scene, arrow)
        step = step_of(arrow, scene.arrows, diagonal)
        at = np.array(arrow.at, dtype=float)
        away = -1.0 if float(step @ outward) < 0 else 1.0
        at = at + _room_taken(out, at, away * step, diagonal)
        tail, tip = (at - step, at) if away < 0 else (at, at + step)
        out.append(Shaft(arrow, tail, tip, foot, outward))
    return out


def step_of(arrow: Arrow, others: tuple[Arrow, ...], diagonal: float) -> Array:
    """From tail to tip (3,) [mm]; the length grows with the square root of the size among arrows of a kind."""
    size = float(np.linalg.norm(arrow.vector))
    if size == 0:
        return np.zeros(3)
    top = max(float(np.linalg.norm(a.vector)) for a in others if a.kind == arrow.kind)
    low, high = LENGTHS
    return np.asarray(np.asarray(arrow.vector) / size * diagonal * (low + (high - low) * np.sqrt(size / top)))


def placed(arrow: Arrow, others: tuple[Arrow, ...], box: Array, diagonal: float) -> tuple[Array, Array]:
    """Tail and tip (3,) [mm] of an arrow on a part of which the box alone is known: one that pushes towards the
    middle ends at its place, another starts there.
    """
    step, at = step_of(arrow, others, diagonal), np.array(arrow.at, dtype=float)
    if arrow.kind == "force" and float(step @ (box.mean(axis=0) - at)) > 0:
        return at - step, at
    return at, at + step


def _under(scene: Scene, arrow: Arrow) -> tuple[Array, Array]:
    """The nearest place (3,) of the surface that bears an arrow, and the mean outward normal (3,) around it."""
    mesh, at = scene.mesh, np.array(arrow.at, dtype=float)
    own = [p.triangles for p in scene.patches if p.name == arrow.name and len(p.triangles)]
    triangles, foot = mesh.triangles, _nearest(mesh, mesh.triangles, at)
    if own:
        beneath = mesh.triangles[np.unique(np.concatenate(own))]
        near = _nearest(mesh, beneath, at)
        # A load may press where it has no patch, as a bolt's nut does
        if np.linalg.norm(near - at) <= np.linalg.norm(foot - at) + AROUND * mesh.diagonal:
            triangles, foot = beneath, near
    corners = mesh.nodes[triangles[:, :3]]
    away = np.linalg.norm(corners.mean(axis=1) - at, axis=1)
    beside = corners[away <= away.min() + AROUND * mesh.diagonal]
    weights = np.cross(beside[:, 1] - beside[:, 0], beside[:, 2] - beside[:, 0])
    mean = weights.sum(axis=0) / max(float(np.linalg.norm(weights, axis=1).sum()), 1e-30)
    size = float(np.linalg.norm(mean))
    return foot, mean / size if size > SIDED else np.zeros(3)


def _nearest(mesh: TetMesh, triangles: Index, at: Array) -> Array:
    nodes = mesh.nodes[np.unique(triangles)]
    return np.asarray(nodes[np.linalg.norm(nodes - at, axis=1).argmin()])


def _room_taken(before: list[Shaft], at: Array, step: Array, diagonal: float) -> Array:
    """How far (3,) [mm] along its own way an arrow moves out, so that it stands behind those drawn there already."""
    length = float(np.linalg.norm(step))
    if length == 0:
        return np.zeros(3)
    way, reach = step / length, 0.0
    for shaft in before:
        line = shaft.tip - shaft.tail
        own = float(np.linalg.norm(line))
        beside = np.linalg.norm(np.asarray(shaft.arrow.at) - at) < SAME * diagonal
        if beside and own > 0 and abs(float(line @ way)) > ALIGNED * own:
            ends = [float((end - at) @ way) for end in (shaft.tail, shaft.tip)]
            if max(ends) > 0.5 * own:  # not those on the other side
                reach = max(reach, max(ends) + GAP * diagonal)
    return np.asarray(reach * way)
