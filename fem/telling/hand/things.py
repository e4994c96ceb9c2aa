"""What stands beside the part: arrows, supports, numbered places, axes to cut along, sections as printed."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from fem.digits import reserve_text
from fem.judging.findings import Findings, HotSpot
from fem.judging.scene import Arrow, Scene
from fem.part.tetmesh import TetMesh
from fem.printing.cut import ZoneCut
from fem.telling.colours import categorical
from fem.telling.first_screen import mode_words
from fem.telling.hand.body import Shown
from fem.telling.hand.nouns import Mark
from fem.telling.hand.packing import packed
from fem.telling.load_picture import placed
from fem.telling.surface import node_normals
from fem.telling.zone_picture import cut_title
from fem.telling.zoom_words import kind_of
from fem.tensors import Array

MOST_MARKS = 6
"""So many places of a case are numbered."""
SHORTER = 0.65
"""Arrows are so much shorter than in the picture of the loading, which is about them."""
APART = 0.04
"""Numbered places lie at least so far from each other, as a share of the box's diagonal."""


def arrows_of(scene: Scene, findings: Findings | None) -> list[dict[str, Any]]:
    """Each arrow from `tail` to `tip` [mm] in its load's colour, with the `factors` of the cases that have it."""
    names = list(dict.fromkeys(arrow.name for arrow in scene.arrows))
    colour = dict(zip(names, categorical(len(names)), strict=False))  # at least one colour comes
    box, diagonal = scene.mesh.box, scene.mesh.diagonal
    outward = _outward(scene.mesh, np.array([arrow.at for arrow in scene.arrows], dtype=float).reshape(-1, 3))
    out = []
    for arrow, normal in zip(scene.arrows, outward, strict=True):
        start, end = placed(arrow, scene.arrows, box, diagonal)
        tail, tip = _pointed(arrow, SHORTER * (end - start), normal)
        red, green, blue = (round(255 * c) for c in colour[arrow.name])
        out.append(
            {
                "name": arrow.name,
                "kind": arrow.kind,
                "tail": _floats(tail),
                "tip": _floats(tip),
                "label": arrow.label.replace("*", "·"),
                "colour": f"#{red:02x}{green:02x}{blue:02x}",
                "factors": _factors(arrow, scene, findings),
            }
        )
    return out


def _pointed(arrow: Arrow, step: Array, outward: Array) -> tuple[Array, Array]:
    """Tail and tip of an arrow of length and way `step`: a force that pushes into the part ends at its place, where
    the surface looks `outward`; all others start there.
    """
    at = np.asarray(arrow.at, dtype=float)
    pushes = arrow.kind == "force" and float(step @ outward) < 0
    return (at - step, at) if pushes else (at, at + step)


def _outward(mesh: TetMesh, places: Array) -> Array:
    """Outward normals (n, 3) of the boundary at the nodes nearest to places (n, 3)."""
    from scipy.spatial import cKDTree

    outer = np.unique(mesh.triangles)
    _, near = cKDTree(mesh.nodes[outer]).query(places)
    return np.asarray(node_normals(mesh)[outer[near]])


def _factors(arrow: Arrow, scene: Scene, findings: Findings | None) -> dict[str, float]:
    """The factor of an arrow's load in each case that has it; a support's arrow stands in all."""
    if findings is None or arrow.name not in findings.loads:
        return dict.fromkeys(scene.cases, 1.0)
    every = {name: findings.cases[name].factors.get(arrow.name, 0.0) for name in scene.cases}
    return {name: factor for name, factor in every.items() if factor != 0}


def supports_of(scene: Scene, shown: Shown) -> list[dict[str, Any]]:
    """Name, middle (3,) [mm] and packed triangles of each support's patch, among the triangles that are shown."""
    from scipy.spatial import cKDTree

    middle = scene.mesh.nodes[scene.mesh.triangles[:, :3]].mean(axis=1)
    _, of = cKDTree(middle).query(shown.points[shown.triangles].mean(axis=1))
    out = []
    for patch in scene.patches:
        if patch.role == "support" and len(patch.triangles):
            own = np.flatnonzero(np.isin(of, patch.triangles))
            at = middle[patch.triangles].mean(axis=0)
            out.append({"name": patch.name, "at": _floats(at), "triangles": packed(own.astype(np.uint32))})
    return out


def marks_of(scene: Scene, findings: Findings | None) -> dict[str, list[Mark]]:
    """The numbered places of each case, worst first, doubtful ones last."""
    if findings is None:
        return {}
    reach = APART * scene.mesh.diagonal
    return {name: [_mark(spot) for spot in _spread(findings.cases[name].hot_spots, reach)] for name in scene.cases}


def _spread(spots: tuple[HotSpot, ...], apart: float) -> list[HotSpot]:
    kept: list[HotSpot] = []
    for spot in spots:
        if len(kept) < MOST_MARKS and all(math.dist(spot.at_mm, k.at_mm) > apart for k in kept):
            kept.append(spot)
    return kept


def _mark(spot: HotSpot) -> Mark:
    how = mode_words(spot.mode)
    kind = f"{spot.zone}: {how}" if spot.zone else how
    why = {"sharp corner": "sharp corner", "support": "made by the support", "moving": "moves with the mesh"}
    told = why.get(spot.verdict, "made by the support" if spot.singular else "")
    if spot.decided_by == "undecided":
        told = kind_of(spot)
    text = ", ".join(each for each in (kind, f"near {spot.face}" if spot.face else "", told) if each)
    x, y, z = _floats(spot.at_mm)
    return Mark((x, y, z), reserve_text(spot.reserve), text)


def named_axes(scene: Scene, findings: Findings | None) -> list[dict[str, Any]]:
    """Unit vectors to cut along: the part's axes, and a build direction that is none of them."""
    out = [{"name": name, "along": axis.tolist()} for name, axis in zip("xyz", np.eye(3), strict=True)]
    for body, axes in _print_axes(scene, findings).items():
        up = axes[2] / np.linalg.norm(axes[2])
        same = [each for each in out if abs(np.dot(each["along"], up)) > 1 - 1e-9]
        if same:
            same[0].setdefault(
                "build", "build direction" if np.dot(same[0]["along"], up) > 0 else "against the build"
            )
        else:
            several = len(scene.mesh.bodies) > 1
            out.append(
                {"name": f"build{f' of {body}' if several else ''}", "along": up.tolist(), "build": "build direction"}
            )
    return out


def _print_axes(scene: Scene, findings: Findings | None) -> dict[str, Array]:
    if findings is None:
        return {}
    known = {name: findings.bodies[name].print_axes for name in scene.mesh.bodies if name in findings.bodies}
    return {name: np.array(axes) for name, axes in known.items() if axes is not None}


def sections_of(scene: Scene, findings: Findings | None) -> list[dict[str, Any]]:
    """The printed sections as pictures in space: the corner `at` [mm], `right` and `up` across all columns and rows
    [mm], places packed row by row, and beads as segments. Without findings there are no print axes, and none.
    """
    axes = _print_axes(scene, findings)
    return [_section(scene, cut, axes[cut.body]) for cut in scene.cuts if cut.body in axes]


def _section(scene: Scene, cut: ZoneCut, axes: Array) -> dict[str, Any]:
    mesh = scene.mesh
    own = np.isin(mesh.face, [i for i, face in enumerate(mesh.faces) if face.body == cut.body])
    low = (mesh.nodes[mesh.triangles[own]] @ axes.T).min(axis=(0, 1))
    rows, columns = cut.place.shape
    if cut.kind == "layer":
        level, second, normal, offset = low[2] + cut.height, 1, 2, low[2] + cut.height
    else:
        level, second, normal, offset = cut.height, 2, 1, cut.height

    def lifted(flat: Any) -> Array:
        """Places (j, 2) of the cut in part axes."""
        at = np.zeros((len(flat), 3))
        at[:, 0], at[:, second], at[:, normal] = flat[:, 0], flat[:, 1], level
        return at @ axes

    x, y = cut.corner
    ends = np.array([[x, y], [x + columns * cut.pixel, y], [x, y + rows * cut.pixel]])
    corner, right, up = lifted(ends)
    half = 0.5 * _stroke_length(cut) * np.asarray(cut.stroke).reshape(-1, 2)
    middle = np.asarray(cut.stroke_at).reshape(-1, 2)
    strokes = np.stack([lifted(middle - half), lifted(middle + half)], axis=1)
    return {
        "name": cut_title(cut),
        "normal": axes[normal].tolist(),
        "offset": float(offset),
        "at": _floats(corner),
        "right": _floats(right - corner),
        "up": _floats(up - corner),
        "rows": rows,
        "columns": columns,
        "places": packed(cut.place.ravel().astype(np.uint16)),
        "strokes": [round(float(v), 3) for v in strokes.ravel()],
    }


def _stroke_length(cut: ZoneCut) -> float:
    return 0.022 * max(cut.place.shape) * cut.pixel


def _floats(vector: Any) -> list[float]:
    return [round(float(v), 5) for v in vector]
