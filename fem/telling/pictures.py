"""Draws the set of pictures of a run: mesh, zones of the print, loads, deflection, reserve factor, hot spots.

Every picture states its case and unit; its `alt` text carries the numbers, so that a reader who cannot see it
(and a test) learns the same.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from fem.judging.findings import Findings, HotSpot
from fem.judging.scene import CaseFields, Scene
from fem.judging.verdict import verdict_of
from fem.telling.album import GHOST, GREY, LINE, Album, Picture, Progress
from fem.telling.bead_picture import bead_jobs
from fem.telling.canvas import Canvas, Label
from fem.telling.colours import displacement_map, painted, reserve_scale
from fem.telling.face_picture import draw_faces as draw_faces
from fem.telling.load_picture import draw_loads
from fem.telling.stage import CORNER, Stage, fit, near
from fem.telling.surface import eight_tets, four_triangles, lines, node_normals, outline
from fem.telling.words import (
    SINGULAR,
    number,
    place,
    plain_name,
    reserve_text,
    round_factor,
    worst_hot_spots,
)
from fem.telling.zone_picture import cut_file, draw_zones
from fem.telling.zoom_words import HOMOGENISED, aside, is_told
from fem.tensors import Array
from fem.zooming.nouns import ZoomView

SEEN_SHARE = 0.08
"""The exaggerated deflection is at most this share of the box's diagonal."""


def draw_pictures(
    findings: Findings,
    scene: Scene,
    *,
    folder: Path,
    zooms: Sequence[ZoomView] = (),
    progress: Progress = None,
) -> tuple[Picture, ...]:
    """Draw all pictures into `folder` (made if missing) and return them in the order in which to read them.

    `zooms` are the places solved bead by bead that are drawn.
    """
    folder.mkdir(parents=True, exist_ok=True)
    mesh = scene.mesh
    with Stage() as stage:
        run = _album(findings, scene, stage, folder)
        jobs: list[tuple[str, Callable[[], Picture]]] = [
            ("mesh", partial(_mesh, run)),
            *_zones(run),
            ("loads and supports", partial(draw_loads, run)),
        ]
        for name, fields in scene.cases.items():
            jobs.append((f"deflection, {name}", partial(_deflection, run, name, fields, exaggerate=False)))
            if exaggeration(fields.displacement, mesh.diagonal) > 1:
                jobs.append((f"scaled deflection, {name}", partial(_deflection, run, name, fields, exaggerate=True)))
        if scene.cases:
            worst = findings.worst_case
            jobs.append(("reserve factor", partial(_reserve, run, worst, scene.cases[worst].reserve)))
            least = np.min([f.reserve for f in scene.cases.values()], axis=0)
            if not np.array_equal(least, scene.cases[worst].reserve):
                jobs.append(("minimum reserve factor", partial(_reserve, run, "", least)))
            jobs.append(("cut", partial(_cut, run, worst)))
        for rank, (name, spot) in enumerate(worst_hot_spots(findings, apart=0.04 * mesh.diagonal), start=1):
            jobs.append((f"hot spot {rank}", partial(_hot_spot, run, rank, name, spot)))
        jobs += bead_jobs(zooms, stage=stage, scale=run.scale, asked=verdict_of(findings).asked, folder=folder)
        out = []
        for i, (what, draw) in enumerate(jobs):
            if progress:
                progress(f"pictures: {what}", i / len(jobs))
            out.append(draw())
    if progress:
        progress("pictures", 1.0)
    return tuple(out)


def draw_least_reserve(findings: Findings, scene: Scene, *, folder: Path) -> Picture:
    """Draw the least reserve factor of all cases on the surface, and nothing else, into `folder`."""
    with Stage() as stage:
        run = _album(findings, scene, stage, folder)
        return _reserve(run, "", np.min([f.reserve for f in scene.cases.values()], axis=0))


def _album(findings: Findings, scene: Scene, stage: Stage, folder: Path) -> Album:
    triangles, mesh = scene.mesh.triangles, scene.mesh
    scale = reserve_scale(verdict_of(findings).required)
    rims = outline(triangles, mesh.face)
    return Album(findings, scene, stage, folder, scale, four_triangles(triangles), rims, node_normals(mesh))


def _zones(run: Album) -> Iterator[tuple[str, Callable[[], Picture]]]:
    """The cuts through the printed bodies, each with a file of its own."""
    seen: Counter[str] = Counter()
    for cut in run.scene.cuts:
        path = run.folder / cut_file(cut, rank=seen[cut_file(cut)])
        seen[cut_file(cut)] += 1
        yield f"zones, {cut.body}", partial(draw_zones, cut, body=run.findings.bodies[cut.body], path=path)


def _mesh(run: Album) -> Picture:
    mesh, numbers = run.scene.mesh, run.findings.mesh
    view = fit(run.nodes)
    t = mesh.triangles.astype(np.int64)
    edges = np.concatenate([t[:, [0, 3]], t[:, [3, 1]], t[:, [1, 4]], t[:, [4, 2]], t[:, [2, 5]], t[:, [5, 0]]])
    run.stage.clear()
    run.stage.add(run.coat(run.nodes), colour=GREY)
    edges = np.unique(np.sort(edges, axis=1), axis=0)
    fine = float(np.clip(60 * np.sqrt(1 / max(len(t), 1)), 0.35, 1.4))
    run.stage.add(lines(run.nodes, edges), colour=(0.25, 0.33, 0.42), width=fine, lighting=False)
    size = mesh.box[1] - mesh.box[0]
    text = (
        f"{numbers.tetrahedra:,} tetrahedra of second order, {numbers.nodes:,} nodes, {numbers.unknowns:,} unknowns"
    )
    canvas = Canvas(run.stage.show(view), title="The mesh", note=text, view=view)
    box = " x ".join(number(float(v)) for v in size) + " mm"
    canvas.write((40, canvas.height - 120), f"Box {box}")
    canvas.write(
        (40, canvas.height - 76),
        f"shape quality (1 is best): worst {number(numbers.worst_quality)}, median {number(numbers.median_quality)}",
    )
    return run.finish(
        canvas,
        file="mesh.png",
        kind="mesh",
        case="",
        title="The mesh",
        caption=f"{text}. Mean edge {number(float(mesh.edge_length.mean()))} mm.",
        alt=f"The part's surface with its mesh: {text}; box {box}; worst shape quality "
        f"{number(numbers.worst_quality)}.",
        unit="mm",
        view=view,
    )


def exaggeration(displacement: Array, diagonal: float) -> float:
    """The round factor by which a deflection is enlarged to be seen; 1 where it is seen as it is, or is zero."""
    top = float(np.linalg.norm(displacement, axis=1).max())
    return max(1.0, round_factor(SEEN_SHARE * diagonal / top)) if top > 0 else 1.0


def _deflection(run: Album, case: str, fields: CaseFields, *, exaggerate: bool) -> Picture:
    size = np.linalg.norm(fields.displacement, axis=1)
    top = float(size.max())
    factor = exaggeration(fields.displacement, run.scene.mesh.diagonal) if exaggerate else 1.0
    moved = run.nodes + factor * fields.displacement
    view = fit(np.concatenate([run.nodes, moved]))
    run.stage.clear()
    surface = run.coat(moved, size, "displacement [mm]")
    high = top if top > 0 else 1.0
    run.stage.add(surface, scalars="displacement [mm]", cmap=displacement_map(), clim=[0.0, high], n_colors=256)
    run.stage.add(lines(moved, run.rims), colour=LINE, width=1.5, lighting=False)
    if exaggerate:
        run.stage.add(lines(run.nodes, run.rims), colour=GHOST, width=1.5, lighting=False)
    at = int(size.argmax())
    scale = f"deformation scale {factor:g}" if exaggerate else "deformation scale 1 (true)"
    note = f"Maximum {number(top)} mm, {scale}" + ("; thin grey lines: undeformed" if exaggerate else "")
    title = f"Deflection, case {case}"
    canvas = Canvas(run.stage.show(view), title=title, note=note, view=view)
    canvas.bar(displacement_map(), low=0.0, high=high, title="displacement [mm]")
    x, y = view.pixels(moved[at])[0]
    canvas.labels([Label(f"{number(top)} mm", float(x), float(y))])
    return run.finish(
        canvas,
        file=f"deflection_{plain_name(case)}{'_exaggerated' if exaggerate else ''}.png",
        kind="exaggerated" if exaggerate else "deflection",
        case=case,
        title=f"{title}, {scale}",
        caption=f"The maximum displacement is {number(top)} mm at {place(run.nodes[at])}; {scale}.",
        alt=f"Displacement of the surface in case {case}, {scale}, from 0 to {number(top)} mm; the maximum is at "
        f"{place(run.nodes[at])}.",
        unit="mm",
        high=high,
        factor=factor,
        view=view,
    )


def _reserve(run: Album, case: str, reserve: Array) -> Picture:
    """Surface of the part; case "" is the minimum over all cases."""
    surface_nodes = np.unique(run.triangles)
    worst = int(surface_nodes[_lowest(reserve[surface_nodes])])
    least = float(reserve[worst])
    told = f"Minimum on the surface {reserve_text(least)}{_kind(run)}"
    spent = _spent(reserve[surface_nodes])
    view = fit(run.nodes, towards=_corner_facing(run.normals[worst]))
    run.stage.clear()
    run.stage.add_reserve(run.coat(run.nodes, painted(reserve), "utilisation"), run.scale)
    run.stage.add(lines(run.nodes, run.rims), colour=LINE, width=1.5, lighting=False)
    of = f"case {case}" if case else "minimum of all cases"
    title = f"Reserve factor on the surface, {of}"
    canvas = Canvas(run.stage.show(view), title=title, note=told + spent, view=view)
    canvas.reserve_bar(run.scale, asked=verdict_of(run.findings).asked)
    if np.isfinite(least):
        x, y = view.pixels(run.nodes[worst])[0]
        canvas.labels([Label(reserve_text(least), float(x), float(y))])
    share = float(np.mean(reserve[surface_nodes] < run.scale.required))
    return run.finish(
        canvas,
        file=f"reserve_{plain_name(case) if case else 'minimum'}.png",
        kind="reserve",
        case=case,
        title=title,
        caption=f"{told} at {place(run.nodes[worst])}{spent}. "
        f"{number(100 * share)} % of the surface nodes lie below {run.scale.required:g}. "
        "The heavy marks on the bar are failure (1) and the "
        f"reserve factor {'required' if verdict_of(run.findings).asked else 'taken as target'} "
        f"({run.scale.required:g}).",
        alt=f"Reserve factor on the surface, {of}: minimum {reserve_text(least)} at {place(run.nodes[worst])}; "
        f"{number(100 * share)} % of the surface nodes lie below {run.scale.required:g}.",
        unit="1",
        low=0.0,
        high=run.scale.edges[-2],
        view=view,
    )


def _lowest(reserve: Array) -> int:
    """Where (an index) a reserve factor is least, of the places that permanent loads alone do not use up, if any."""
    left = np.where(reserve > 0, reserve, np.inf)
    return int(left.argmin() if (reserve > 0).any() else reserve.argmin())


def _spent(reserve: Array) -> str:
    """What a picture says of places with no reserve at all beside others that have some."""
    return "; 0 where permanent loads alone use it up" if (reserve == 0).any() and (reserve > 0).any() else ""


def _cut(run: Album, case: str) -> Picture:
    """A section through the minimum of the case away from singularities, with what lies behind it."""
    import pyvista as pv

    mesh, reserve = run.scene.mesh, run.scene.cases[case].reserve
    found = run.findings.cases[case]
    real = [spot for spot in found.hot_spots if not spot.singular and spot.reserve > 0]
    spot = min(real, key=lambda s: s.reserve, default=None) if found.reserve.singular else None
    aim = np.array(spot.at_mm if spot else run.nodes[_lowest(reserve)], dtype=float)
    worst = int(np.linalg.norm(run.nodes - aim, axis=1).argmin())
    at = run.nodes[worst].copy()
    axis = _cut_axis(mesh.box, at, run.normals[worst])
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
    note = f"Through the {least_of}, {reserve_text(least)}{_kind(run)} at {place(at)}{moved}"
    canvas = Canvas(run.stage.show(view), title=title, note=note, view=view)
    canvas.reserve_bar(run.scale, asked=verdict_of(run.findings).asked)
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


def _hot_spot(run: Album, rank: int, case: str, spot: HotSpot) -> Picture:
    mesh, reserve = run.scene.mesh, run.scene.cases[case].reserve
    at = np.array(spot.at_mm, dtype=float)
    surface_nodes = np.unique(run.triangles)
    node = int(surface_nodes[np.linalg.norm(run.nodes[surface_nodes] - at, axis=1).argmin()])
    half = 0.10 * mesh.diagonal
    surface = run.coat(run.nodes, painted(reserve), "utilisation")
    view = near(at, towards=_clear_sight(surface, run.nodes[node], run.normals[node], mesh.diagonal), half=half)
    run.stage.clear()
    run.stage.add_reserve(surface, run.scale)
    run.stage.add(lines(run.nodes, run.rims), colour=LINE, width=2.5, lighting=False)
    title = f"Hot spot {rank}: reserve factor {reserve_text(spot.reserve)}, case {case}"
    near_face = f", {number(spot.face_distance_mm)} mm from face {spot.face}" if spot.face else ""
    canvas = Canvas(
        run.stage.show(view), title=title, note=f"{_capital(spot.mode)} at {place(at)}{near_face}", view=view
    )
    canvas.reserve_bar(run.scale, asked=verdict_of(run.findings).asked)
    x, y = view.pixels(at)[0]
    canvas.marker(float(x), float(y))
    canvas.labels([Label(f"{reserve_text(spot.reserve)}  {spot.mode}", float(x), float(y), dot=False)])
    canvas.ruler(view)
    colours = f" Reserve factor: {aside(spot)}; the colours are {HOMOGENISED}." if is_told(run.findings) else ""
    singular = f" {_capital(SINGULAR)} ({spot.singular_reason})." if spot.singular else ""
    return run.finish(
        canvas,
        file=f"hot_spot_{rank}.png",
        kind="hot spot",
        case=case,
        title=title,
        caption=f"{_capital(spot.mode)}, in {spot.zone} of {spot.body}, at {place(at)}{near_face}.{colours}"
        f"{singular}",
        alt=f"Close-up of hot spot {rank}: reserve factor {reserve_text(spot.reserve)} in case {case}, {spot.mode}, "
        f"at {place(at)}{near_face}.{singular}",
        unit="1",
        high=run.scale.edges[-2],
        view=view,
    )


def _kind(run: Album) -> str:
    """What is said after a number read off the fields, where there may be another of the beads."""
    return f" ({HOMOGENISED})" if is_told(run.findings) else ""


def _corner_facing(normal: Array) -> Array:
    """Of the views from the eight corners, the one that sees a place with that normal best; from above if equal."""
    corners = np.array([(sx, sy, sz) for sx in (1, -1) for sy in (-1, 1) for sz in (1, -1)]) * np.abs(CORNER)
    liking = corners @ normal + 0.15 * (corners @ np.array(CORNER))
    return corners[int(liking.argmax())]


def _cut_axis(box: Array, at: Array, normal: Array) -> int:
    """The axis across which to cut: one that the place is not at the end of, not head-on to the surface, thin."""
    size = box[1] - box[0]
    ends = np.minimum(at - box[0], box[1] - at) < 0.02 * size
    return min(range(3), key=lambda i: (bool(ends[i]), abs(normal[i]) > 0.8, float(size[i])))


def _clear_sight(surface: Any, at: Array, normal: Array, reach: float) -> Array:
    """A direction from which nothing of the part stands before a place on its surface."""
    normal = normal if np.linalg.norm(normal) > 0.5 else np.array(CORNER) / np.linalg.norm(CORNER)
    leanings = [np.array(v, dtype=float) for v in ((0.4, -0.5, 0.35), (-0.4, -0.5, 0.35), (0.4, 0.5, 0.35))]
    leanings += [-v for v in leanings] + [np.zeros(3)]
    tries = [normal * w + v for w in (1.0, 2.5) for v in leanings]
    tries = [t / np.linalg.norm(t) for t in tries if normal @ t > 0.2 * np.linalg.norm(t)]
    for t in tries:
        start = at + 1e-3 * reach * (0.5 * normal + t)
        hits, _ = surface.ray_trace(start, at + 2 * reach * t, first_point=True)
        if len(hits) == 0:
            return t
    return tries[0]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
