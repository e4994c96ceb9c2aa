"""The picture of the loading: loads in colours with arrows and numbers, supports grey with ground lines."""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np

from fem.judging.scene import Arrow
from fem.telling.album import GREY, LINE, Album, Picture
from fem.telling.canvas import INK, Canvas, Label, ground_lines
from fem.telling.colours import Colour, categorical
from fem.telling.stage import CORNER, Stage, View, fit
from fem.telling.surface import four_triangles, lines, polydata
from fem.tensors import Array

SUPPORT: Colour = (0.58, 0.61, 0.64)
"""Supports are grey, so that colours belong to loads."""
MARK: Colour = (1.0, 0.0, 1.0)
"""A colour that nothing in the picture has, by which the pixels of supports are found."""
LENGTHS = (0.12, 0.24)
"""Length of the smallest and the largest arrow as a share of the box's diagonal."""


def draw_loads(run: Album) -> Picture:
    """Patches that loads and supports work on, and the arrows of their resultants, hidden ones shining through."""
    scene, mesh = run.scene, run.scene.mesh
    supports = [p for p in scene.patches if p.role == "support"]
    held_by = [p.name for p in supports]
    names = list(dict.fromkeys([p.name for p in scene.patches] + [a.name for a in scene.arrows]))
    names = [n for n in names if n not in held_by]
    colour = dict(zip(names, categorical(len(names)), strict=True))
    tint = colour | dict.fromkeys(held_by, SUPPORT)
    shafts = [(arrow, *placed(arrow, scene.arrows, mesh.box, mesh.diagonal)) for arrow in scene.arrows]
    ends = [e for _, tail, tip in shafts for e in (tail, tip)]
    view = fit(np.concatenate([run.nodes, *([np.array(ends)] if ends else [])]), towards=_best_corner(run))
    stage = run.stage
    stage.clear()
    plain, painted, grounds = _put_patches(run, colour)
    pointers: list[Any] = []
    for arrow, tail, tip in shafts:
        for piece in _solid_arrow(arrow.kind, tail, tip, mesh.diagonal):
            pointers.append(stage.add(piece, colour=tint[arrow.name]))
    everything = [*plain, *painted, *grounds, *pointers]
    image = _hatched(stage, view, everything, grounds)
    for share, shown in ((0.35, grounds), (0.35, painted), (0.5, pointers)):
        image = _shine_through(image, _hatched(stage, view, shown, grounds, of=everything), share=share)
    title = "Loads and supports"
    canvas = Canvas(
        image, title=title, note="Arrows: resultant of each load at unit factor; double head: moment", view=view
    )
    ground = [("support", SUPPORT)] if grounds else []
    canvas.legend(ground + [(f"load: {n}", c) for n, c in colour.items()], hatched=("support",))
    for _, tail, tip in shafts:
        canvas.keep_clear(view.pixels(np.linspace(tail, tip, 12)))
    canvas.labels([_support_label(p.name, run.nodes[mesh.triangles[p.triangles]], view) for p in supports])
    canvas.labels([_label(arrow, view.pixels(tail)[0], view.pixels(tip)[0], tint) for arrow, tail, tip in shafts])
    alike = Counter((a.name, f"{_dotted(a.label)} ({a.kind})") for a in scene.arrows)
    each = (f"{name} {'' if n == 1 else f'{n} × '}{what}" for (name, what), n in alike.items())
    said = "; ".join(each) or "none"
    held = ", ".join(p.name for p in scene.patches if p.role == "support") or "none"
    return run.finish(
        canvas,
        file="loads.png",
        kind="loads",
        case="",
        title=title,
        caption=f"Supports: {held}. Resultants at unit factor: {said}.",
        alt=f"The part with its loads and supports. Supports: {held}. Resultants: {said}.",
        unit="N",
        view=view,
    )


def _put_patches(run: Album, colour: dict[str, Colour]) -> tuple[list[Any], list[Any], list[Any]]:
    """Put the part on the stage: actors of its bare surface and edges, of loaded patches, and of supports."""
    scene, mesh, stage = run.scene, run.scene.mesh, run.stage
    # Where patches overlap, the smallest lies on top
    owner = np.full(len(mesh.triangles), -1)
    for number in sorted(range(len(scene.patches)), key=lambda i: -len(scene.patches[i].triangles)):
        owner[scene.patches[number].triangles] = number
    plain, painted, grounds = [], [], []
    rest = four_triangles(mesh.triangles[owner < 0])
    if len(rest):
        plain.append(stage.add(polydata(run.nodes, rest), colour=GREY))
    for number, patch in enumerate(scene.patches):
        if (owner == number).any():
            flat = polydata(run.nodes, four_triangles(mesh.triangles[owner == number]))
            if patch.role == "support":
                grounds.append(stage.add(flat, colour=SUPPORT))
            else:
                painted.append(stage.add(flat, colour=colour[patch.name]))
    plain.append(stage.add(lines(run.nodes, run.rims), colour=LINE, width=1.5, lighting=False))
    return plain, painted, grounds


def placed(arrow: Arrow, others: tuple[Arrow, ...], box: Array, diagonal: float) -> tuple[Array, Array]:
    """Tail and tip (3,) [mm] of an arrow: one that pushes into the part ends at its place, another starts there.

    The length grows with the square root of the size among arrows of its kind.
    """
    size = float(np.linalg.norm(arrow.vector))
    if size == 0:
        return np.array(arrow.at, dtype=float), np.array(arrow.at, dtype=float)
    top = max(float(np.linalg.norm(a.vector)) for a in others if a.kind == arrow.kind)
    low, high = LENGTHS
    step = np.asarray(arrow.vector) / size * diagonal * (low + (high - low) * np.sqrt(size / top))
    at = np.asarray(arrow.at, dtype=float)
    if arrow.kind == "force" and float(step @ (box.mean(axis=0) - at)) > 0:
        return at - step, at
    return at, at + step


def _solid_arrow(kind: str, tail: Array, tip: Array, diagonal: float) -> list[Any]:
    import pyvista as pv

    along = tip - tail
    length = float(np.linalg.norm(along))
    if length == 0:
        return [pv.Sphere(radius=0.015 * diagonal, center=tuple(tail))]
    d = along / length
    thick, head = 0.006 * diagonal, 0.045 * diagonal
    heads = [tip] if kind == "force" else [tip, tip - d * head * 0.8]
    shaft = pv.Cylinder(
        center=tuple(tail + d * (length - head) / 2), direction=tuple(d), radius=thick, height=length - head * 0.9
    )
    cones = [
        pv.Cone(center=tuple(p - d * head / 2), direction=tuple(d), height=head, radius=0.4 * head, resolution=32)
        for p in heads
    ]
    return [shaft, *cones]


def _hatched(stage: Stage, view: View, shown: list[Any], grounds: list[Any], *, of: list[Any] | None = None) -> Any:
    """The scene with only `shown` of the actors, ground lines over what is seen of `grounds`."""
    for actor in of or shown:
        actor.SetVisibility(actor in shown)
    image = stage.show(view)
    here = [actor for actor in grounds if actor in shown]
    if not here:
        return image
    for actor in here:
        actor.prop.lighting, actor.prop.color = False, MARK
    marked = stage.show(view).astype(int)
    for actor in here:
        actor.prop.lighting, actor.prop.color = True, SUPPORT
    seen = np.abs(marked - 255 * np.array(MARK, dtype=int)).max(axis=2) < 40
    image = image.copy()
    image[seen & ground_lines((image.shape[0], image.shape[1]))] = INK
    return image


def _shine_through(image: Any, alone: Any, *, share: float) -> Any:
    """`image` with what `alone` shows on white laid over it, so that what is hidden shows faintly."""
    inked = (alone < 250).any(axis=2)
    out = image.copy()
    out[inked] = ((1 - share) * image[inked] + share * alone[inked]).astype(np.uint8)
    return out


def _support_label(name: str, triangles: Array, view: View) -> Label:
    """A support's name at the middle of its patch; `triangles` (k, 6, 3) [mm]."""
    x, y = view.pixels(triangles[:, :3].mean(axis=(0, 1)))[0] if len(triangles) else (0.0, 0.0)
    return Label(name, float(x), float(y), SUPPORT)


def _label(arrow: Arrow, tail: Array, tip: Array, colour: dict[str, Colour]) -> Label:
    middle = 0.5 * (tail + tip)
    return Label(
        f"{arrow.name} {_dotted(arrow.label)}", float(middle[0]), float(middle[1]), colour[arrow.name], dot=False
    )


def _dotted(label: str) -> str:
    """N*m as it is printed: N·m."""
    return label.replace("*", "·")


def _best_corner(run: Album) -> Array:
    """The corner from which the patches are seen best, by their area that faces the camera."""
    mesh = run.scene.mesh
    picked = [p.triangles for p in run.scene.patches if len(p.triangles)]
    if not picked:
        return np.array(CORNER)
    weights = []
    for triangles in picked:
        p = mesh.nodes[mesh.triangles[triangles][:, :3]]
        normal = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
        weights.append(normal / max(np.linalg.norm(normal, axis=1).sum(), 1e-30))
    corners = np.array([(sx, sy, sz) for sx in (1, -1) for sy in (-1, 1) for sz in (1, -1)]) * np.abs(CORNER)
    seen = sum(np.clip(w @ corners.T, 0, None).sum(axis=0) for w in weights)
    return corners[int((seen + 0.05 * (corners @ np.array(CORNER))).argmax())]
