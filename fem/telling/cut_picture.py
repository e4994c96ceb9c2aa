"""The picture of a section through the worst place: reserve factors inside the part, and what lies behind them."""

from __future__ import annotations

import numpy as np

from fem.printing.cut import GRAZED, grazed_area
from fem.telling.album import LINE, Album, Picture
from fem.telling.canvas import Canvas, Label
from fem.telling.colours import painted
from fem.telling.reserve_picture import kind_told, lowest
from fem.telling.stage import fit
from fem.telling.surface import eight_tets, lines
from fem.telling.words import number, place, plain_name, reserve_text
from fem.tensors import Array

NEAR = 0.01
"""A section runs along a face that is nearer to it than this share of the diagonal."""


def draw_cut(run: Album, *, case: str) -> Picture:
    """A section through the minimum of the case away from singularities, with what lies behind it."""
    import pyvista as pv

    mesh, reserve = run.scene.mesh, run.scene.cases[case].reserve
    found = run.findings.cases[case]
    real = [spot for spot in found.hot_spots if not spot.singular and spot.reserve > 0]
    spot = min(real, key=lambda s: s.reserve, default=None) if found.reserve.singular else None
    aim = np.array(spot.at_mm if spot else run.nodes[lowest(reserve)], dtype=float)
    worst = int(np.linalg.norm(run.nodes - aim, axis=1).argmin())
    at = run.nodes[worst].copy()
    axis = _cut_axis(run, at, run.normals[worst])
    box, inward = mesh.box[:, axis], 0.01 * (mesh.box[1, axis] - mesh.box[0, axis])
    level = float(np.clip(at[axis], box[0] + inward, box[1] - inward))
    normal = np.eye(3)[axis] * (-1.0 if level > box.mean() else 1.0)
    origin = at.copy()
    origin[axis] = level
    side = (run.nodes[:, axis] - level)[mesh.tets]
    through = eight_tets(mesh.tets[(side.min(axis=1) <= 0) & (side.max(axis=1) >= 0)])
    used, flat = np.unique(through, return_inverse=True)
    grid = pv.UnstructuredGrid({pv.CellType.TETRA: flat.reshape(-1, 4)}, run.nodes[used])
    grid.point_data["utilisation"] = painted(reserve)[used]
    face = grid.slice(normal=tuple(normal), origin=tuple(origin))
    outer = run.coat(run.nodes, painted(reserve), "utilisation")
    behind = outer.clip(normal=tuple(normal), origin=tuple(origin), invert=True)
    run.stage.clear()
    for part in (face, behind):
        if part.n_cells:
            run.stage.add_reserve(part, run.scale)
    rims = lines(run.nodes, run.rims).clip(normal=tuple(normal), origin=tuple(origin), invert=True)
    if rims.n_cells:
        run.stage.add(rims, colour=LINE, width=1.5, lighting=False)
    section = face.extract_feature_edges(
        boundary_edges=True, feature_edges=False, manifold_edges=False, non_manifold_edges=False
    )
    if section.n_cells:
        run.stage.add(section, colour=LINE, width=2.5, lighting=False)
    others = [i for i in range(3) if i != axis]
    tilt = normal.copy()
    tilt[others[0]] += 0.22
    tilt[others[1]] += 0.32
    shown = np.asarray(behind.points) if behind.n_cells else run.nodes
    view = fit(shown, towards=tilt)
    name, least = "xyz"[axis], float(reserve[worst])
    plane = f"section {name} = {level:.1f} mm"
    title = f"Reserve factor on {plane}, case {case}"
    least_of = "minimum away from singularities" if spot else "minimum"
    moved = f"; the section lies {number(abs(level - at[axis]))} mm inward" if level != at[axis] else ""
    note = f"Through the {least_of}, {reserve_text(least)}{kind_told(run)} at {place(at)}{moved}"
    canvas = Canvas(run.stage.show(view), title=title, note=note, view=view)
    canvas.reserve_bar(run.scale, asked=run.asked)
    if np.isfinite(least):
        x, y = view.pixels(origin)[0]
        canvas.labels([Label(reserve_text(least), float(x), float(y))])
    return run.finish(
        canvas,
        file=f"reserve_cut_{plain_name(case)}.png",
        kind="cut",
        case=case,
        title=title,
        caption=f"{note}.",
        alt=f"{title}, through the {least_of}, {reserve_text(least)} at {place(at)}.",
        unit="1",
        high=run.scale.edges[-2],
        view=view,
    )


def _cut_axis(run: Album, at: Array, normal: Array) -> int:
    """The axis across which to cut: one that the place is not at the end of, not head-on to the surface, along as
    little of other faces as can be, thin.
    """
    box, corners = run.scene.mesh.box, run.nodes[run.triangles]
    size = box[1] - box[0]
    ends = np.minimum(at - box[0], box[1] - at) < 0.02 * size

    def grazes(axis: int) -> bool:
        near = NEAR * run.scene.mesh.diagonal
        others = float(np.delete(size, axis).prod())
        return float(grazed_area(corners, axis=axis, levels=at[axis : axis + 1], near=near)[0]) > GRAZED * others

    return min(range(3), key=lambda i: (bool(ends[i]), abs(normal[i]) > 0.8, grazes(i), float(size[i])))
