"""The picture of the loading: loads in colours with arrows and numbers, supports grey with ground lines."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

import numpy as np

from fem.telling.album import GREY, LINE, Album, Picture
from fem.telling.arrows import Shaft, shafts_of
from fem.telling.arrows import placed as placed
from fem.telling.canvas import INK, Canvas, Label, ground_lines
from fem.telling.colours import Colour, categorical
from fem.telling.stage import CORNER, Stage, View, fit
from fem.telling.surface import four_triangles, lines, polydata
from fem.tensors import Array

SUPPORT: Colour = (0.58, 0.61, 0.64)
"""Supports are grey, so that colours belong to loads."""
MARK: Colour = (1.0, 0.0, 1.0)
"""A colour that nothing in the picture has, by which the pixels of supports are found."""
OFF = 0.04
"""An arrow that ends farther from the surface than this share of the diagonal is joined to it by a line."""
BESIDE = 0.4
"""What seeing a support counts when the side is chosen from which the loading is drawn; seeing a load counts 1."""


def draw_loads(run: Album) -> Picture:
    """Patches that loads and supports work on, and the arrows of their resultants, hidden ones shining through."""
    scene, mesh = run.scene, run.scene.mesh
    supports = [p for p in scene.patches if p.role == "support"]
    held_by = [p.name for p in supports]
    names = list(dict.fromkeys([p.name for p in scene.patches] + [a.name for a in scene.arrows]))
    names = [n for n in names if n not in held_by]
    colour = dict(zip(names, categorical(len(names)), strict=True))
    tint = colour | dict.fromkeys(held_by, SUPPORT)
    shafts = shafts_of(scene)
    ends = [e for shaft in shafts for e in (shaft.tail, shaft.tip)]
    view = fit(
        np.concatenate([run.nodes[run.skin], *([np.array(ends)] if ends else [])]), towards=_best_corner(run, shafts)
    )
    stage = run.stage
    stage.clear()
    plain, painted, grounds = _put_patches(run, colour)
    pointers = [
        stage.add(piece, colour=tint[shaft.arrow.name], width=4.0)
        for shaft in shafts
        for piece in (*_solid_arrow(shaft, mesh.diagonal), *_joint(shaft, mesh.diagonal))
    ]
    image = _scene(stage, view, plain, painted, grounds, pointers)
    title = "Loads and supports"
    canvas = Canvas(
        image, title=title, note="Arrows: resultant of each load at unit factor; double head: moment", view=view
    )
    ground = [("support", SUPPORT)] if grounds else []
    canvas.legend(ground + [(f"load: {n}", c) for n, c in colour.items()], hatched=("support",))
    for shaft in shafts:
        canvas.keep_clear(view.pixels(np.linspace(shaft.tail, shaft.tip, 12)))
    canvas.labels([_support_label(p.name, run.nodes[mesh.triangles[p.triangles]], view) for p in supports])
    canvas.labels([_label(shaft, view, tint) for shaft in shafts])
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


def _solid_arrow(shaft: Shaft, diagonal: float) -> list[Any]:
    import pyvista as pv

    tail, tip = shaft.tail, shaft.tip
    along = tip - tail
    length = float(np.linalg.norm(along))
    if length == 0:
        return [pv.Sphere(radius=0.015 * diagonal, center=tuple(tail))]
    d = along / length
    thick, head = 0.006 * diagonal, 0.045 * diagonal
    heads = [tip] if shaft.arrow.kind == "force" else [tip, tip - d * head * 0.8]
    rod = pv.Cylinder(
        center=tuple(tail + d * (length - head) / 2), direction=tuple(d), radius=thick, height=length - head * 0.9
    )
    cones = [
        pv.Cone(center=tuple(p - d * head / 2), direction=tuple(d), height=head, radius=0.4 * head, resolution=32)
        for p in heads
    ]
    return [rod, *cones]


def _joint(shaft: Shaft, diagonal: float) -> list[Any]:
    """A thin line from an arrow that stands off the surface to the place that bears it, which a ball marks."""
    import pyvista as pv

    if np.linalg.norm(shaft.near_end - shaft.foot) < OFF * diagonal:
        return []
    ball = pv.Sphere(radius=0.008 * diagonal, center=tuple(shaft.foot))
    return [pv.Line(tuple(shaft.near_end), tuple(shaft.foot)), ball]


def _scene(
    stage: Stage, view: View, plain: list[Any], painted: list[Any], grounds: list[Any], pointers: list[Any]
) -> Any:
    """The scene with ground lines over what is seen of `grounds`; what is hidden of them shines through."""
    everything = [*plain, *painted, *grounds, *pointers]
    image = _shown(stage, view, everything, everything)
    if grounds:
        for actor in grounds:
            actor.GetProperty().SetLighting(False)
            actor.GetProperty().SetColor(*MARK)
        marked = stage.show(view).astype(int)
        for actor in grounds:
            actor.GetProperty().SetLighting(True)
            actor.GetProperty().SetColor(*SUPPORT)
        image = _with_ground_lines(image, np.abs(marked - 255 * np.array(MARK, dtype=int)).max(axis=2) < 40)
    for share, some in ((0.35, grounds), (0.35, painted), (0.5, pointers)):
        if some:
            alone = _shown(stage, view, some, everything)
            if some is grounds:
                alone = _with_ground_lines(alone, (alone < 250).any(axis=2))
            image = _shine_through(image, alone, share=share)
    return image


def _shown(stage: Stage, view: View, some: list[Any], of: list[Any]) -> Any:
    """The scene with only `some` of the actors."""
    for actor in of:
        actor.SetVisibility(actor in some)
    return stage.show(view)


def _with_ground_lines(image: Any, where: Any) -> Any:
    out = image.copy()
    out[where & ground_lines((image.shape[0], image.shape[1]))] = INK
    return out


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


def _label(shaft: Shaft, view: View, colour: dict[str, Colour]) -> Label:
    x, y = view.pixels(0.5 * (shaft.tail + shaft.tip))[0]
    arrow = shaft.arrow
    return Label(f"{arrow.name} {_dotted(arrow.label)}", float(x), float(y), colour[arrow.name], dot=False)


def _dotted(label: str) -> str:
    """N*m as it is printed: N·m."""
    return label.replace("*", "·")


def _best_corner(run: Album, shafts: Sequence[Shaft]) -> Array:
    """The corner from which the surfaces that bear the loads are seen best, then those of the supports."""
    mesh = run.scene.mesh
    corners = np.array([(sx, sy, sz) for sx in (1, -1) for sy in (-1, 1) for sz in (1, -1)]) * np.abs(CORNER)
    corners = corners / np.linalg.norm(CORNER)
    seen = 0.05 * (corners @ np.array(CORNER))
    for patch in run.scene.patches:
        if len(patch.triangles):
            p = mesh.nodes[mesh.triangles[patch.triangles][:, :3]]
            normal = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
            weight = normal / max(float(np.linalg.norm(normal, axis=1).sum()), 1e-30)
            seen = seen + (BESIDE if patch.role == "support" else 1.0) * np.clip(weight @ corners.T, 0, None).sum(
                axis=0
            )
    borne = Counter(shaft.arrow.name for shaft in shafts)
    for shaft in shafts:
        seen = seen + np.clip(corners @ shaft.outward, 0, None) / borne[shaft.arrow.name]
    return corners[int(seen.argmax())]
