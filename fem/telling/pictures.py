"""Draws the set of pictures of a run: mesh, zones of the print, loads, deflection, reserve factor, stress, hot spots.

Every picture states its case and unit; its `alt` text carries the numbers, so that a reader who cannot see it
(and a test) learns the same.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path

import numpy as np

from fem.judging.findings import Findings
from fem.judging.scene import Scene
from fem.telling.album import GHOST, GREY, LINE, Album, Job, Picture, Progress
from fem.telling.bead_picture import bead_jobs
from fem.telling.canvas import Canvas, Label
from fem.telling.colours import displacement_map
from fem.telling.cut_picture import draw_cut
from fem.telling.drawing import Studio, draw_all
from fem.telling.face_picture import draw_faces as draw_faces
from fem.telling.joint_picture import draw_joint
from fem.telling.load_picture import draw_loads
from fem.telling.reserve_picture import draw_hot_spot, draw_reserve
from fem.telling.stage import Stage, fit
from fem.telling.stress_picture import draw_stress, stresses_shown
from fem.telling.surface import lines
from fem.telling.words import number, place, plain_name, round_factor, worst_hot_spots
from fem.telling.zone_picture import cut_file, draw_zones
from fem.tensors import Array
from fem.zooming.nouns import ZoomView

SEEN_SHARE = 0.08
"""The exaggerated deflection is at most this share of the box's diagonal."""
MOST_JOINTS = 12
"""So many pictures of joints are drawn over all cases; where there are more, those of the deciding case."""


def draw_pictures(
    findings: Findings,
    scene: Scene,
    *,
    folder: Path,
    zooms: Sequence[ZoomView] = (),
    processes: int | None = None,
    progress: Progress = None,
) -> tuple[Picture, ...]:
    """Draw all pictures into `folder` (made if missing) and return them in the order in which to read them.

    `zooms` are the places solved bead by bead that are drawn; `processes` share the work (None: as many as pay).
    """
    folder.mkdir(parents=True, exist_ok=True)
    studio = Studio(findings, scene, tuple(zooms), folder)
    return tuple(draw_all(studio, jobs_of(findings, scene, zooms), processes=processes, progress=progress))


def jobs_of(findings: Findings, scene: Scene, zooms: Sequence[ZoomView]) -> list[Job]:
    """What there is to draw of a run."""
    jobs = [Job("mesh", _mesh), *_zones(scene), Job("loads and supports", draw_loads)]
    for name, fields in scene.cases.items():
        jobs.append(Job(f"deflection, {name}", partial(_deflection, case=name, exaggerate=False)))
        if exaggeration(fields.displacement, scene.mesh.diagonal) > 1:
            jobs.append(Job(f"scaled deflection, {name}", partial(_deflection, case=name, exaggerate=True)))
    if scene.cases:
        worst = findings.worst_case
        jobs.append(Job("reserve factor", partial(draw_reserve, case=worst)))
        least = np.min([f.reserve for f in scene.cases.values()], axis=0)
        if not np.array_equal(least, scene.cases[worst].reserve):
            jobs.append(Job("minimum reserve factor", partial(draw_reserve, case="")))
        jobs.append(Job("cut", partial(draw_cut, case=worst)))
        for quantity in stresses_shown(printed=any(body.print for body in findings.bodies.values())):
            jobs.append(Job(f"stress, {quantity}", partial(draw_stress, case=worst, quantity=quantity)))
        joints = [(case, j.name) for case, fields in scene.cases.items() for j in fields.joints]
        for case, name in joints if len(joints) <= MOST_JOINTS else [j for j in joints if j[0] == worst]:
            jobs.append(Job(f"joint {name}, {case}", partial(draw_joint, case=case, joint=name)))
    for rank, (name, spot) in enumerate(worst_hot_spots(findings, apart=0.04 * scene.mesh.diagonal), start=1):
        jobs.append(Job(f"hot spot {rank}", partial(draw_hot_spot, rank=rank, case=name, spot=spot)))
    return jobs + bead_jobs(zooms)


def draw_least_reserve(findings: Findings, scene: Scene, *, folder: Path) -> Picture:
    """Draw the least reserve factor of all cases on the surface, and nothing else, into `folder`."""
    with Stage() as stage:
        return draw_reserve(Album(findings, scene, stage, folder), case="")


def _zones(scene: Scene) -> Iterator[Job]:
    """The cuts through the printed bodies, each with a file of its own."""
    seen: Counter[str] = Counter()
    for which, cut in enumerate(scene.cuts):
        file = cut_file(cut, rank=seen[cut_file(cut)])
        seen[cut_file(cut)] += 1
        yield Job(f"zones, {cut.body}", partial(_zone, cut=which, file=file))


def _zone(run: Album, *, cut: int, file: str) -> Picture:
    shown = run.scene.cuts[cut]
    return draw_zones(shown, body=run.findings.bodies[shown.body], path=run.folder / file)


def _mesh(run: Album) -> Picture:
    mesh, numbers = run.scene.mesh, run.findings.mesh
    view = fit(run.nodes[run.skin])
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


def _deflection(run: Album, *, case: str, exaggerate: bool) -> Picture:
    fields = run.scene.cases[case]
    size = np.linalg.norm(fields.displacement, axis=1)
    top = float(size.max())
    factor = exaggeration(fields.displacement, run.scene.mesh.diagonal) if exaggerate else 1.0
    moved = run.nodes + factor * fields.displacement
    view = fit(np.concatenate([run.nodes[run.skin], moved[run.skin]]))
    run.stage.clear()
    surface = run.coat(moved, size, "displacement [mm]")
    high = top if top > 0 else 1.0
    run.stage.add(surface, scalars="displacement [mm]", colours=displacement_map(), limits=(0.0, high))
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
