"""One quantity of one case on the surface of the part: a picture for a notebook, or a plotter to go on with."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.errors import InputError, nearest
from fem.judging.findings import Findings
from fem.judging.scene import CaseFields, Scene
from fem.judging.verdict import verdict_of
from fem.telling.canvas import Canvas, Label
from fem.telling.colour_maps import colour_map
from fem.telling.colours import displacement_map, painted, reserve_scale, use_map
from fem.telling.stage import CORNER, Stage, fit, reserve_table
from fem.telling.surface import four_triangles, lines, outline, polydata
from fem.telling.words import number, reserve_text
from fem.tensors import Array, von_mises

RESERVE = "reserve"
PART = ("xx", "yy", "zz", "yz", "xz", "xy")
BEAD = ("11", "22", "33", "23", "13", "12")
QUANTITIES = (RESERVE, "displacement", "von mises", "principal", "interlayer shear", *PART, *BEAD)


@dataclass(frozen=True)
class Quantity:
    """Node `values` (n,) that are painted, their `title` with the unit, the map and its ends."""

    values: Array
    title: str
    colours: Any
    low: float
    high: float


def draw_quantity(
    findings: Findings, scene: Scene, *, quantity: str, case: str, towards: Sequence[float] | None = None
) -> Any:
    """A pillow image of the surface, with title, bar, tripod, and the place of the largest value (of a reserve
    factor: the least) marked. `towards` (3,) points from the part to the eye. Errors: InputError.
    """
    fields, mesh = scene.cases[case], scene.mesh
    _refuse_unknown(quantity)
    view = fit(mesh.nodes, towards=CORNER if towards is None else _direction(towards))
    told = None if quantity == RESERVE else quantity_of(fields, quantity)
    surface = np.unique(four_triangles(mesh.triangles))
    with Stage() as stage:
        _put(stage, findings, scene, fields, told)
        shot = stage.show(view)
    if told is None:
        at = int(surface[fields.reserve[surface].argmin()])
        title, text = f"Reserve factor on the surface, case {case}", reserve_text(float(fields.reserve[at]))
        note = f"Minimum on the surface {text}"
    else:
        at = int(surface[np.abs(told.values[surface]).argmax()])
        text = f"{number(float(told.values[at]))} {told.title.split('[')[1].rstrip(']')}"
        title = f"{told.title.split(' [')[0].capitalize()} on the surface, case {case}"
        note = f"Largest on the surface {text}"
    canvas = Canvas(shot, title=title, note=note, view=view)
    if told is None:
        verdict = verdict_of(findings)
        canvas.reserve_bar(reserve_scale(verdict.required), asked=verdict.asked)
    else:
        canvas.bar(told.colours, low=told.low, high=told.high, title=told.title)
    x, y = view.pixels(mesh.nodes[at])[0]
    canvas.labels([Label(text, float(x), float(y))])
    return canvas.page


def quantity_plotter(findings: Findings, scene: Scene, *, quantity: str, case: str) -> Any:
    """A pyvista plotter that shows the surface in the same colours; whoever asks for it shows and closes it.

    Errors: InputError.
    """
    import pyvista as pv

    _refuse_unknown(quantity)
    fields, mesh = scene.cases[case], scene.mesh
    window: Any = pv.Plotter
    plotter = window()
    coat = polydata(mesh.nodes, four_triangles(mesh.triangles))
    told = None if quantity == RESERVE else quantity_of(fields, quantity)
    if told is None:
        scale = reserve_scale(verdict_of(findings).required)
        coat.point_data["1 / reserve factor"] = painted(fields.reserve)[coat.point_data["node"]]
        table = reserve_table(scale)
        plotter.add_mesh(coat, scalars="1 / reserve factor", cmap=table, clim=list(table.scalar_range))
    else:
        coat.point_data[told.title] = told.values[coat.point_data["node"]]
        plotter.add_mesh(coat, scalars=told.title, cmap=told.colours, clim=[told.low, told.high])
    plotter.add_axes()
    return plotter


def _put(stage: Stage, findings: Findings, scene: Scene, fields: CaseFields, told: Quantity | None) -> None:
    mesh = scene.mesh
    coat = polydata(mesh.nodes, four_triangles(mesh.triangles))
    node = coat.point_data["node"]
    if told is None:
        coat.point_data["utilisation"] = painted(fields.reserve)[node]
        stage.add_reserve(coat, reserve_scale(verdict_of(findings).required))
    else:
        coat.point_data["value"] = told.values[node]
        stage.add(coat, scalars="value", colours=told.colours, limits=(told.low, told.high))
    rims = outline(mesh.triangles, mesh.face)
    stage.add(lines(mesh.nodes, rims), colour=(0.10, 0.12, 0.14), width=1.5, lighting=False)


def quantity_of(fields: CaseFields, quantity: str) -> Quantity:
    """What is painted of a quantity other than the reserve factor: sizes from zero on, signed values about zero."""
    values, title, signed = _values(fields, quantity)
    top = float(np.abs(values).max(initial=0.0)) or 1.0
    if signed:
        top = float(f"{top:.6g}")  # a round end, so that zero is a round tick
        return Quantity(values, title, colour_map("vik"), -top, top)
    return Quantity(values, title, displacement_map() if quantity == "displacement" else use_map(), 0.0, top)


def _values(fields: CaseFields, quantity: str) -> tuple[Array, str, bool]:
    """Node values (n,) of a quantity, their title with the unit, and whether they have a sign."""
    if quantity == "displacement":
        return np.linalg.norm(fields.displacement, axis=1), "displacement [mm]", False
    if quantity == "von mises":
        return von_mises(fields.stress), "von Mises stress [MPa]", False
    if quantity == "principal":
        return largest_principal(fields.stress), "principal stress of the largest size [MPa]", True
    if quantity == "interlayer shear":
        shear = np.hypot(*fields.print_stress[:, [3, 4]].T)
        return shear, "interlayer shear, resultant of τ13 and τ23 [MPa]", False
    if quantity in PART:
        return fields.stress[:, PART.index(quantity)], f"stress {quantity} in part axes [MPa]", True
    return fields.print_stress[:, BEAD.index(quantity)], f"stress {quantity} in bead axes [MPa]", True


def largest_principal(stress: Array) -> Array:
    """Of the principal stresses of (n, 6) [MPa] the one (n,) of the largest size, with its sign: tension above 0."""
    from fem.telling.hand.quantities import principal_stresses

    principal = principal_stresses(stress)
    return np.where(-principal[:, 2] > principal[:, 0], principal[:, 2], principal[:, 0])


def _refuse_unknown(quantity: str) -> None:
    if quantity not in QUANTITIES:
        advice = nearest(str(quantity), QUANTITIES) or f"There are: {', '.join(QUANTITIES)}."
        raise InputError(f"there is no quantity {quantity!r}.", advice=advice)


def _direction(towards: Sequence[float]) -> Array:
    found = np.asarray(towards, dtype=float)
    if found.shape != (3,) or not np.isfinite(found).all() or not np.linalg.norm(found) > 0:
        raise InputError("towards is a direction of three numbers, from the part to the eye.")
    return found
