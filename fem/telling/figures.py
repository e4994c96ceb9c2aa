"""The interactive view of the boundary: reserve factor and displacement of each case, value under the pointer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.judging.findings import Findings
from fem.judging.scene import Scene
from fem.judging.verdict import verdict_of
from fem.telling.colours import displacement_map, reserve_scale, utilisation
from fem.telling.surface import Ints, four_triangles, polydata
from fem.telling.words import number, place, reserve_text, worst_hot_spots
from fem.tensors import Array

MOST_TRIANGLES = 14_000
"""Triangles of the view for up to four fields; more fields get fewer."""


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
    skin = np.unique(flat)
    _, near = cKDTree(mesh.nodes[skin]).query(points)
    return Thinned(points, np.asarray(surface.regular_faces, dtype=np.int64), skin[near])


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
    figure = go.Figure([mesh, _markers(findings, 0.04 * scene.mesh.diagonal)])
    if choices:
        figure.data[0].update({key: value[0] for key, value in choices[0]["args"][0].items()})
    figure.update_layout(
        template="none",
        margin={"l": 0, "r": 0, "t": 46, "b": 0},
        height=620,
        font={"size": 15, "family": "system-ui, sans-serif"},
        showlegend=False,
        scene={
            "aspectmode": "data",
            "xaxis": {"title": {"text": "x [mm]"}},
            "yaxis": {"title": {"text": "y [mm]"}, "nticks": 5},
            "zaxis": {"title": {"text": "z [mm]"}, "nticks": 5},
            "camera": {"projection": {"type": "orthographic"}, "eye": {"x": 1.2, "y": -1.4, "z": 1.0}},
        },
        updatemenus=[
            {"buttons": choices, "x": 0, "xanchor": "left", "y": 1.0, "yanchor": "bottom", "type": "dropdown"}
        ]
        if choices
        else [],
    )
    return figure


def _reserve_choice(findings: Findings, case: str, reserve: Array) -> dict[str, Any]:
    scale = reserve_scale(verdict_of(findings).required)
    bands = len(scale.colours)
    steps = []
    for i, (r, g, b) in enumerate(scale.colours):
        colour = f"rgb({round(255 * r)},{round(255 * g)},{round(255 * b)})"
        steps += [[i / bands, colour], [(i + 1) / bands, colour]]
    bar = {
        "title": {"text": "reserve factor [1]", "side": "right"},
        "tickvals": list(range(1, bands)),
        "ticktext": list(scale.labels()),
        "len": 0.85,
        "thickness": 18,
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
    bar = {"title": {"text": "displacement [mm]", "side": "right"}, "len": 0.85, "thickness": 18}
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
        textfont={"size": 18, "color": "black"},
        textposition="top center",
        marker={"size": 6, "color": "white", "line": {"color": "black", "width": 3}},
        customdata=[f"hot spot, case {c}: {reserve_text(s.reserve)}, {s.mode}<br>{place(s.at_mm)}" for c, s in spots],
        hovertemplate="%{customdata}<extra></extra>",
    )


def page_part(figure: Any) -> str:
    """The figure as a piece of HTML that holds plotly's own script, so that it needs no network."""
    text: str = figure.to_html(
        full_html=False,
        include_plotlyjs=True,
        config={"responsive": True, "displaylogo": False, "displayModeBar": False},
    )
    return text
