"""The interactive view of the boundary: reserve factor and displacement of each case, value under the pointer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.judging.findings import Findings
from fem.judging.scene import Scene
from fem.judging.verdict import verdict_of
from fem.telling.colours import displacement_map, reserve_scale, utilisation
from fem.telling.surface import Ints, four_triangles, outline, polydata
from fem.telling.vector import INK, LINE
from fem.telling.words import number, place, reserve_text, worst_hot_spots
from fem.tensors import Array

MOST_TRIANGLES, MOST_EDGES = 14_000, 12_000
"""Triangles of the view for up to four fields (more fields get fewer), and drawn edges of triangles between faces."""
FONT = 'Georgia, "DejaVu Serif", serif'
"""The page's own letters."""
EYE = tuple(2.1 * v for v in (0.9, -1.0, 0.75))
"""The corner that the pictures look from, at the distance at which the part fills the view."""
BARE: dict[str, Any] = {f"{axis}axis": {"visible": False} for axis in "xyz"} | {"bgcolor": "white"}
"""A scene without boxes and grids."""
BAR = {
    "orientation": "h", "x": 0.5, "xanchor": "center", "y": -0.01, "yanchor": "top", "len": 0.85, "thickness": 18,
    "outlinecolor": INK, "outlinewidth": 1,
}  # fmt: skip
FOLLOW = """
(function () {
  var view = document.getElementById("{plot_id}");
  view.on("plotly_relayouting", follow); view.on("plotly_relayout", follow);
  function follow(change) {
    var camera = change && change["scene.camera"];
    if (camera) Plotly.relayout(view, {"scene2.camera.eye": camera.eye, "scene2.camera.up": camera.up});
  }
})();
"""
"""Turns the axes with the part."""


@dataclass(frozen=True)
class Thinned:
    """A coarser boundary: `points` (p, 3) [mm], `triangles` (t, 3), `node` (p,) the mesh node of each point."""

    points: Array
    triangles: Ints
    node: Ints


def thinned(scene: Scene, *, most: int) -> Thinned:
    """The boundary with at most about that many triangles; each point takes the values of the nearest mesh node.

    Where nodes are merged, the one with the minimum reserve of its neighbourhood is not lost to an average: values
    are never blended, but a peak between the points that stay can be missed. The pictures hold every node.
    """
    from scipy.spatial import cKDTree

    mesh = scene.mesh
    flat = four_triangles(mesh.triangles)
    surface = polydata(mesh.nodes, flat)
    if surface.n_cells > most:
        corners = polydata(mesh.nodes, mesh.triangles[:, :3])
        surface = corners
        if corners.n_cells > most:
            surface = corners.decimate(1 - most / corners.n_cells)
    points = np.asarray(surface.points, dtype=float)
    outer = np.unique(flat)
    _, near = cKDTree(mesh.nodes[outer]).query(points)
    return Thinned(points, np.asarray(surface.regular_faces, dtype=np.int64), outer[near])


def interactive(findings: Findings, scene: Scene, *, most: int = MOST_TRIANGLES) -> Any:
    """The plotly figure; a menu chooses reserve factor or displacement of a case, hovering tells value and place."""
    import plotly.graph_objects as go

    fields = 2 * max(len(scene.cases), 1)
    coarse = thinned(scene, most=max(2000, int(most * min(1.0, 4 / fields) ** 0.5)))
    choices = [_reserve_choice(findings, name, f.reserve[coarse.node]) for name, f in scene.cases.items()]
    choices += [
        _displacement_choice(name, np.linalg.norm(f.displacement[coarse.node], axis=1))
        for name, f in scene.cases.items()
    ]
    if findings.cases:
        order = list(scene.cases).index(findings.worst_case)
        choices.insert(0, choices.pop(order))
    p, t = coarse.points.astype(np.float32), coarse.triangles.astype(np.int32)
    mesh = go.Mesh3d(
        x=p[:, 0],
        y=p[:, 1],
        z=p[:, 2],
        i=t[:, 0],
        j=t[:, 1],
        k=t[:, 2],
        flatshading=False,
        lighting={"ambient": 0.78, "diffuse": 0.3, "specular": 0.0, "fresnel": 0.0, "roughness": 1.0},
        name="",
    )
    figure = go.Figure([mesh, _edges(scene), _markers(findings, 0.04 * scene.mesh.diagonal), _tripod()])
    camera = {"projection": {"type": "orthographic"}, "eye": dict(zip("xyz", EYE, strict=True))}
    if choices:
        figure.data[0].update({key: value[0] for key, value in choices[0]["args"][0].items()})
    figure.update_layout(
        template="none",
        margin={"l": 0, "r": 0, "t": 46, "b": 84},
        height=660,
        paper_bgcolor="white",
        font={"size": 15, "family": FONT, "color": INK},
        hoverlabel={"bgcolor": "white", "bordercolor": INK, "font": {"family": FONT, "size": 15, "color": INK}},
        showlegend=False,
        scene={"aspectmode": "data", **BARE, "camera": camera, "domain": {"x": [0.0, 1.0], "y": [0.0, 1.0]}},
        scene2={
            "aspectmode": "cube",
            **BARE,
            "camera": camera,
            "domain": {"x": [0.0, 0.13], "y": [0.0, 0.2]},
            "dragmode": False,
            "hovermode": False,
        },
        updatemenus=[_menu(choices)] if choices else [],
    )
    return figure


def _reserve_choice(findings: Findings, case: str, reserve: Array) -> dict[str, Any]:
    scale = reserve_scale(verdict_of(findings).required)
    bands = len(scale.colours)
    steps = []
    for i, (r, g, b) in enumerate(scale.colours):
        colour = f"rgb({round(255 * r)},{round(255 * g)},{round(255 * b)})"
        steps += [[i / bands, colour], [(i + 1) / bands, colour]]
    verdict = verdict_of(findings)
    goal = "required" if verdict.asked else "target"
    marks = {1.0: "failure", verdict.required: goal if verdict.required != 1 else f"failure, {goal}"}
    named = zip(scale.edges[1:-1], scale.labels(), strict=True)
    bar = {
        **BAR,
        "title": {"text": "reserve factor [1]", "side": "top"},
        "tickvals": list(range(1, bands)),
        "ticktext": [f"<b>{text}</b><br>{marks[edge]}" if edge in marks else text for edge, text in named],
    }
    return _choice(
        f"reserve factor, case {case}",
        intensity=np.round(scale.position(reserve), 3).tolist(),
        text=[
            reserve_text(1 / u) if u > 1e-3 else "over 1000" if u > 1e-6 else "unlimited"
            for u in utilisation(reserve)
        ],
        template="reserve factor %{text}",
        colorscale=steps,
        top=float(bands),
        bar=bar,
    )


def _displacement_choice(case: str, size: Array) -> dict[str, Any]:
    colour_map = displacement_map()
    steps = []
    for v in np.linspace(0, 1, 17):
        r, g, b = (round(255 * c) for c in colour_map(float(v))[:3])
        steps.append([float(v), f"rgb({r},{g},{b})"])
    text = [number(float(v)) for v in size]
    top = float(size.max()) if size.size and size.max() > 0 else 1.0
    bar = {**BAR, "title": {"text": "displacement [mm]", "side": "top"}}
    return _choice(
        f"displacement, case {case}",
        intensity=[float(t) for t in text],
        text=text,
        template="displacement %{text} mm",
        colorscale=steps,
        top=top,
        bar={**bar, "tickvals": None, "ticktext": None},
    )


def _choice(
    label: str, *, intensity: list[float], text: list[str], template: str, colorscale: Any, top: float, bar: Any
) -> dict[str, Any]:
    """One entry of the menu, in the form that plotly's restyle takes: a list with one value for the first trace."""
    where = "<br>x %{x:.1f} mm, y %{y:.1f} mm, z %{z:.1f} mm<extra></extra>"
    values = {
        "intensity": intensity,
        "text": text,
        "hovertemplate": f"{label.split(', ', 1)[1]}<br>{template}{where}",
        "colorscale": colorscale,
        "cmin": 0.0,
        "cmax": top,
        "colorbar": bar,
    }
    return {"label": label, "method": "restyle", "args": [{key: [value] for key, value in values.items()}, [0]]}


def _menu(choices: list[dict[str, Any]]) -> dict[str, Any]:
    """The list from which the painted quantity is chosen, as plain as the page's own."""
    look = {"bgcolor": "white", "bordercolor": LINE, "borderwidth": 1, "font": {"family": FONT, "color": INK}}
    return {"buttons": choices, "x": 0, "xanchor": "left", "y": 1.0, "yanchor": "bottom", "type": "dropdown", **look}


def _edges(scene: Scene) -> Any:
    """The edges between faces as thin dark lines, as in the pictures."""
    import plotly.graph_objects as go

    ends = outline(scene.mesh.triangles, scene.mesh.face)
    # A curved edge comes as two segments, the first halves before the second: its corners are enough here
    half = len(ends) // 2
    ends = np.column_stack([ends[:half, 0], ends[half:, 1]])[:MOST_EDGES]
    gap = np.full((len(ends), 1), np.nan)
    x, y, z = (np.hstack([np.round(scene.mesh.nodes[ends, i], 2), gap]).ravel().astype(np.float32) for i in range(3))
    return go.Scatter3d(x=x, y=y, z=z, mode="lines", line={"color": INK, "width": 2}, hoverinfo="skip")


def _tripod() -> Any:
    """The part's axes in a small scene of their own, which turns with the part."""
    import plotly.graph_objects as go

    tips = np.eye(3)
    x, y, z = (np.array([[0.0, tip[i], np.nan] for tip in tips]).ravel() for i in range(3))
    names = [text for name in "xyz" for text in ("", f"<b>{name}</b>", "")]
    return go.Scatter3d(
        x=x, y=y, z=z, scene="scene2", mode="lines+text", text=names, textfont={"size": 17, "color": INK},
        line={"color": INK, "width": 5}, hoverinfo="skip",
    )  # fmt: skip


def _markers(findings: Findings, apart: float) -> Any:
    """The three worst hot spots as points that stay in front of the eye."""
    import plotly.graph_objects as go

    spots = worst_hot_spots(findings, apart=apart)
    at = np.array([s.at_mm for _, s in spots], dtype=float).reshape(-1, 3)
    return go.Scatter3d(
        x=at[:, 0],
        y=at[:, 1],
        z=at[:, 2],
        mode="markers+text",
        text=[str(i) for i in range(1, len(spots) + 1)],
        textfont={"size": 18, "color": INK},
        textposition="top center",
        marker={"size": 6, "color": "white", "line": {"color": INK, "width": 3}},
        customdata=[f"hot spot, case {c}: {reserve_text(s.reserve)}, {s.mode}<br>{place(s.at_mm)}" for c, s in spots],
        hovertemplate="%{customdata}<extra></extra>",
    )


def page_part(figure: Any) -> str:
    """The figure as a piece of HTML that holds plotly's own script, so that it needs no network."""
    text: str = figure.to_html(
        full_html=False,
        include_plotlyjs=True,
        post_script=FOLLOW,
        config={"responsive": True, "displaylogo": False, "displayModeBar": False},
    )
    return text
