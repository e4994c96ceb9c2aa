"""Pictures of the reserve factor on the surface: the whole part, and close-ups of its hot spots."""

from __future__ import annotations

from typing import Any

import numpy as np

from fem.judging.findings import HotSpot
from fem.telling.album import LINE, Album, Picture
from fem.telling.canvas import Canvas, Label
from fem.telling.colours import painted
from fem.telling.stage import CORNER, fit, near
from fem.telling.surface import lines
from fem.telling.words import SINGULAR, number, place, plain_name, reserve_text
from fem.telling.zoom_words import HOMOGENISED, aside, is_told
from fem.tensors import Array


def draw_reserve(run: Album, *, case: str) -> Picture:
    """Surface of the part; case "" is the minimum over all cases."""
    every = run.scene.cases
    reserve = every[case].reserve if case else np.min([fields.reserve for fields in every.values()], axis=0)
    surface_nodes = run.skin
    worst = int(surface_nodes[lowest(reserve[surface_nodes])])
    least = float(reserve[worst])
    told = f"Minimum on the surface {reserve_text(least)}{kind_told(run)}"
    spent = _spent(reserve[surface_nodes])
    view = fit(run.nodes[run.skin], towards=corner_facing(run.normals[worst]))
    run.stage.clear()
    run.stage.add_reserve(run.coat(run.nodes, painted(reserve), "utilisation"), run.scale)
    run.stage.add(lines(run.nodes, run.rims), colour=LINE, width=1.5, lighting=False)
    of = f"case {case}" if case else "minimum of all cases"
    title = f"Reserve factor on the surface, {of}"
    canvas = Canvas(run.stage.show(view), title=title, note=told + spent, view=view)
    canvas.reserve_bar(run.scale, asked=run.asked)
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
        f"reserve factor {'required' if run.asked else 'taken as target'} "
        f"({run.scale.required:g}).",
        alt=f"Reserve factor on the surface, {of}: minimum {reserve_text(least)} at {place(run.nodes[worst])}; "
        f"{number(100 * share)} % of the surface nodes lie below {run.scale.required:g}.",
        unit="1",
        low=0.0,
        high=run.scale.edges[-2],
        view=view,
    )


def lowest(reserve: Array) -> int:
    """Where (an index) a reserve factor is least, of the places that permanent loads alone do not use up, if any."""
    left = np.where(reserve > 0, reserve, np.inf)
    return int(left.argmin() if (reserve > 0).any() else reserve.argmin())


def _spent(reserve: Array) -> str:
    """What a picture says of places with no reserve at all beside others that have some."""
    return "; 0 where permanent loads alone use it up" if (reserve == 0).any() and (reserve > 0).any() else ""


def draw_hot_spot(run: Album, *, rank: int, case: str, spot: HotSpot) -> Picture:
    mesh, reserve = run.scene.mesh, run.scene.cases[case].reserve
    at = np.array(spot.at_mm, dtype=float)
    surface_nodes = run.skin
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
    canvas.reserve_bar(run.scale, asked=run.asked)
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


def kind_told(run: Album) -> str:
    """What is said after a number read off the fields, where there may be another of the beads."""
    return f" ({HOMOGENISED})" if is_told(run.findings) else ""


def corner_facing(normal: Array) -> Array:
    """Of the views from the eight corners, the one that sees a place with that normal best; from above if equal."""
    corners = np.array([(sx, sy, sz) for sx in (1, -1) for sy in (-1, 1) for sz in (1, -1)]) * np.abs(CORNER)
    liking = corners @ normal + 0.15 * (corners @ np.array(CORNER))
    return corners[int(liking.argmax())]


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
