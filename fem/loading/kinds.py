"""Every kind of load: what a study says of it, and what it does to the nodes. Registered once, in KINDS.

A new kind is a noun in `plan.py`, a function from `Site` to `Load`, and a line in the table.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fem.caution import Caution
from fem.errors import FaceError, InputError
from fem.loading.bearing import bearing_load, find_bore, is_whole_hole
from fem.loading.bolts import find_holes, preload_forces
from fem.loading.loads import (
    Arrow,
    Load,
    acceleration_load,
    even_traction,
    force_text,
    resultant,
    thermal_load,
    wrench_traction,
)
from fem.loading.plan import (
    AccelerationKeys,
    BearingKeys,
    DisplacementKeys,
    ForceKeys,
    LoadPlan,
    PreloadKeys,
    PressureKeys,
    TemperatureChangeKeys,
    WingKeys,
    WrenchKeys,
)
from fem.loading.pressure import DepthPressure, pressure_on
from fem.loading.sampling import FINE
from fem.loading.spot import spot_centre, spot_force, within
from fem.loading.supports import Held, held_face
from fem.loading.traction import Traction
from fem.loading.wing import wing_lift
from fem.part.faces import FaceGroup
from fem.part.tetmesh import Index, TetMesh
from fem.printing.field import PrintedField
from fem.tensors import Array

NONE = np.zeros(0, dtype=np.int32)


@dataclass(frozen=True)
class Site:
    """Where a load is built: its plan, the mesh with its material, and the study's named faces."""

    plan: LoadPlan
    mesh: TetMesh
    printed: PrintedField
    groups: Mapping[str, FaceGroup]

    @property
    def name(self) -> str:
        return self.plan.name

    @property
    def what(self) -> Any:
        return self.plan.what

    @property
    def group(self) -> FaceGroup:
        """The face that the load acts on. Errors: InputError, FaceError."""
        if self.plan.face is None:
            raise InputError("needs a face.", where=f"loads.{self.name}")
        group = self.groups[self.plan.face]
        if not group.area > 0:
            raise FaceError("the face has no area.", where=f"loads.{self.name}.face")
        return group

    @property
    def triangles(self) -> Index:
        """Boundary triangles (j,) of that face."""
        return self.group.triangles


@dataclass(frozen=True)
class Kind:
    """One row of the table: the noun, the function that builds the load at factor one, and the keys of the noun that
    name faces; `on_a_face` tells that the face stands beside it; `of_material` that the print changes it; `smooth`
    that it ends without an edge, so that no stress there is singular.
    """

    keys: type
    build: Callable[[Site], Load]
    faces: tuple[str, ...] = ()
    on_a_face: bool = True
    of_material: bool = False
    smooth: bool = False


def load_of(plan: LoadPlan, mesh: TetMesh, printed: PrintedField, groups: Mapping[str, FaceGroup]) -> Load:
    """One load at factor one, with the arrows of its resultant.

    Errors: InputError, FaceError naming the load.
    """
    return KINDS[plan.kind].build(Site(plan, mesh, printed, groups))


def edged_patches(loads: Mapping[str, Load]) -> dict[str, Index]:
    """Boundary triangles (j,) by name of the loads that end at an edge: a small patch makes a singular place."""
    return {k: v.triangles for k, v in loads.items() if len(v.triangles) and not KINDS[v.kind].smooth}


# ---- from keys to nodal forces


def _force(site: Site) -> Load:
    what: ForceKeys = site.what
    force = np.asarray(what.force)
    if what.spot is None:
        even = even_traction(site.group, force=force)
        return _pushed(site, even, {}, site.group.centre, cautions=_glued(site, force))
    spot = spot_force(site.mesh, site.triangles, force=force, spot=what.spot, name=site.name)
    facts = {"spot_area_mm2": spot.area, "centre_mm": spot.point.tolist()}
    off = float(np.linalg.norm(spot.point - spot.centre))
    cautions: tuple[Caution, ...] = ()
    if off > 1e-6 * what.spot.radius:
        text = f"an edge cuts its spot; the force acts at the middle of what is left, {off:.3g} mm from the point."
        numbers = {"load": site.name, "off_mm": off}
        cautions = (Caution("spot_cut", f"Load {site.name}: {text}", numbers),)
    tractions = (spot.traction,)
    return _load(site, spot.forces, spot.triangles, facts, spot.point, cautions=cautions, tractions=tractions)


def _glued(site: Site, force: Array) -> tuple[Caution, ...]:
    """The caution for a force that would pull on the far half of a bore as if the pin were glued in."""
    if not is_whole_hole(site.mesh, site.group):
        return ()
    axis = site.mesh.faces[site.group.faces[0]].axis
    across = force if axis is None else force - (force @ axis) * axis
    if np.linalg.norm(across) <= 1e-3 * np.linalg.norm(force):
        return ()
    text = "its force is spread over the whole bore, as if the pin were glued in; write bearing in place of force."
    return (Caution("glued_pin", f"Load {site.name}: {text}", {"load": site.name}, decisive=True),)


def _pressure(site: Site) -> Load:
    what: PressureKeys = site.what
    inside, fine = None, None
    if what.spot is not None:
        centre = spot_centre(site.mesh, site.triangles, spot=what.spot, name=site.name)
        inside, fine = within(centre, what.spot.radius), what.spot.radius / FINE
    found = pressure_on(site.mesh, site.triangles, pressure=what.pressure, inside=inside, fine=fine, name=site.name)
    facts: dict[str, Any] = {"pressure_MPa": found.maximum}
    if isinstance(what.pressure, DepthPressure):
        facts = {"maximum_pressure_MPa": found.maximum, "wet_area_mm2": found.area}
    if what.spot is not None:
        facts["spot_area_mm2"] = found.area
    if len(facts) > 1:
        facts["centre_mm"] = found.centre.tolist()
    return _load(site, found.forces, found.triangles, facts, found.centre, tractions=(found.traction,))


def _bearing(site: Site) -> Load:
    bore = find_bore(site.mesh, site.group, name=site.name)
    found = bearing_load(site.mesh, bore, force=np.asarray(site.what.bearing), name=site.name)
    facts = {
        "peak_bearing_pressure_MPa": found.peak,
        "mean_bearing_pressure_MPa": found.mean,
        "bore_diameter_mm": 2 * bore.radius,
        "bore_length_mm": bore.length,
        "centre_mm": bore.centre.tolist(),
    }
    # Niu, Airframe Stress Analysis and Sizing, figure 7.7.25; Shigley's table of lugs for the loose pin
    text = (
        f"Load {site.name}: its pin fits closely and touches half of the bore. Published factors for close fits lie "
        "some 10 % above this pressure's peak stress, those of a loose pin 35 to 50 %: keep that much in reserve."
    )
    fit = Caution("pin_fit", text, {"load": site.name, "close_fit": 1.1, "loose_fit": 1.5})
    tractions = (found.traction,)
    return _load(site, found.forces, found.triangles, facts, bore.centre, cautions=(fit,), tractions=tractions)


def _wrench(site: Site) -> Load:
    what: WrenchKeys = site.what
    at = site.group.centre if what.at is None else np.asarray(what.at)
    force, moment = np.asarray(what.force), np.asarray(what.moment)
    spread = wrench_traction(site.mesh, site.triangles, force=force, moment=moment, at=at, name=site.name)
    return _pushed(site, spread, {"moment_Nmm": list(what.moment)}, at)


def _wing(site: Site) -> Load:
    wing = wing_lift(**vars(site.what))
    spread = wrench_traction(
        site.mesh, site.triangles, force=wing.force, moment=wing.moment, at=wing.centre, name=site.name
    )
    facts = {
        "lift_N": wing.lift,
        "drag_N": wing.drag,
        "root_moment_Nmm": wing.root_moment,
        "moment_about_centre_Nmm": clean(wing.moment),
        "centre_mm": wing.centre.tolist(),
    }
    return _pushed(site, spread, facts, wing.centre)


def _preload(site: Site) -> Load:
    what: PreloadKeys = site.what
    mesh, plan, against = site.mesh, site.plan, site.groups[what.against]
    head = site.groups[what.head] if what.head else None
    holes = find_holes(mesh, site.groups[what.holes], against, head=head, name=site.name)
    pressed = [
        preload_forces(mesh, h, against=against, force=what.force, washer=what.washer, name=site.name) for h in holes
    ]
    forces = np.sum([p.forces for p in pressed], axis=0)
    arrows = [
        Arrow(site.name, "force", h.origin + h.axis * place, sense * what.force * h.axis, force_text(what.force))
        for h in holes
        for place, sense in ((h.head, -1.0), (h.seat, 1.0))
    ]
    cover = min(p.cover for p in pressed)
    facts = {
        "kind": plan.kind,
        "permanent": plan.permanent,
        "bolts": len(holes),
        "force_per_bolt_N": what.force,
        "mean_washer_pressure_MPa": max(p.pressure for p in pressed),
        "peak_washer_pressure_MPa": max(p.peak for p in pressed),
        "washer_cover_share": cover,
        "grip_mm": holes[0].grip,
        "force_N": clean(resultant(mesh, forces)[0], scale=what.force),
    }
    text = f"Load {site.name}: a washer rests on the part with {100 * cover:.0f} % of its area only."
    caution = Caution("washer_overhangs", text, {"load": site.name, "cover_fraction": cover})
    return Load(
        site.name,
        plan.kind,
        forces,
        plan.permanent,
        np.unique(np.concatenate([h.head_triangles for h in holes])),
        facts,
        arrows=tuple(arrows),
        cautions=(caution,) if cover < 0.95 else (),
        tractions=tuple(t for p in pressed for t in p.tractions),
    )


def displaced_face(mesh: TetMesh, load: LoadPlan, groups: Mapping[str, FaceGroup]) -> Held:
    """The held face of a prescribed displacement at factor one. Errors: InputError when the load is none."""
    what = load.what
    if not isinstance(what, DisplacementKeys) or load.face is None:
        raise InputError("is not a displacement of a face.", where=f"loads.{load.name}")
    axes = tuple(a for a in "xyz" if getattr(what, a) is not None)
    value = np.array([getattr(what, a) or 0.0 for a in "xyz"])
    return held_face(mesh, groups[load.face], fixed=axes, name=displaced_name(load.name), value=value)


def displaced_name(load: str) -> str:
    """The name of the held face of a prescribed displacement: never that of a support, which may bear the load's."""
    return f"displacement {load}"


def _displacement(site: Site) -> Load:
    plan, what = site.plan, site.what
    held = displaced_face(site.mesh, plan, site.groups)
    move = np.array([getattr(what, a) or 0.0 for a in "xyz"])
    zero = np.zeros((len(site.mesh.nodes), 3))
    facts = {"displacement_mm": move.tolist()}
    return Load(plan.name, plan.kind, zero, plan.permanent, held.triangles, facts, displacement=move)


def _acceleration(site: Site) -> Load:
    forces = acceleration_load(site.mesh, site.printed, field=np.asarray(site.what.acceleration))
    weight = acceleration_load(site.mesh, site.printed, field=np.array([0.0, 0.0, 1.0]))[:, 2]
    centre = weight @ site.mesh.nodes / weight.sum()
    load = _load(site, forces, NONE, {"field_m_per_s2": [a / 1000 for a in site.what.acceleration]}, centre)
    return replace(load, acceleration=np.asarray(site.what.acceleration, dtype=float))


def _temperature_change(site: Site) -> Load:
    plan, what, mesh = site.plan, site.what, site.mesh
    bodies = what.bodies or mesh.bodies
    warm = np.zeros(len(mesh.tets))
    for body in bodies:
        warm[mesh.tets_of(body)] = what.by
    facts = {"kind": plan.kind, "permanent": plan.permanent, "by_K": what.by, "bodies": list(bodies)}
    lacking = [
        material.name
        for number, material in enumerate(site.printed.materials)
        if material.expansion is None and np.any(site.printed.holds(number)[warm != 0] > 0)
    ]
    if lacking:
        raise InputError(
            f"card {lacking[0]} gives no expansion.",
            where=f"loads.{plan.name}",
            advice="Add expansion to a card of your own, or leave its body out with bodies = [...].",
        )
    forces = thermal_load(mesh, site.printed, temperature_change=warm)
    return Load(plan.name, plan.kind, forces, plan.permanent, NONE, facts, temperature_change=warm)


KINDS: dict[str, Kind] = {
    "force": Kind(ForceKeys, _force),
    "pressure": Kind(PressureKeys, _pressure),
    "bearing": Kind(BearingKeys, _bearing, smooth=True),
    "wrench": Kind(WrenchKeys, _wrench),
    "wing": Kind(WingKeys, _wing),
    "preload": Kind(PreloadKeys, _preload, faces=("holes", "against", "head"), on_a_face=False, smooth=True),
    "displacement": Kind(DisplacementKeys, _displacement, smooth=True),
    "acceleration": Kind(AccelerationKeys, _acceleration, on_a_face=False, of_material=True),
    "temperature_change": Kind(TemperatureChangeKeys, _temperature_change, on_a_face=False, of_material=True),
}
"""Every load's word in the study, and what stands behind it."""


def _pushed(
    site: Site, traction: Traction, facts: Mapping[str, Any], at: Array, *, cautions: tuple[Caution, ...] = ()
) -> Load:
    """A load that is one traction over the whole of the site's face."""
    forces = traction.nodal_forces(site.mesh)
    return _load(site, forces, site.triangles, facts, at, cautions=cautions, tractions=(traction,))


def _load(
    site: Site,
    forces: Array,
    triangles: Index,
    facts: Mapping[str, Any],
    at: Array,
    *,
    cautions: tuple[Caution, ...] = (),
    tractions: tuple[Traction, ...] = (),
) -> Load:
    """A load with its resultant told in the facts and drawn as arrows at a point (3,) [mm]."""
    plan, mesh = site.plan, site.mesh
    force, moment = resultant(mesh, forces)
    told = {"kind": plan.kind, "permanent": plan.permanent, "force_N": clean(force), **facts}
    told["moment_about_origin_Nmm"] = clean(moment, scale=float(np.linalg.norm(force)) * mesh.diagonal)
    arrows = []
    size = float(np.linalg.norm(force))
    if size > 1e-9 * np.abs(forces).sum():
        arrows.append(Arrow(plan.name, "force", at, force, force_text(size)))
    about = moment - np.cross(at, force)
    turn = float(np.linalg.norm(about))
    if turn > 1e-6 * max(size * mesh.diagonal, np.abs(forces).sum() * mesh.diagonal * 1e-3):
        arrows.append(Arrow(plan.name, "moment", at, about, f"{turn / 1000:.3g} N·m"))
    return Load(
        plan.name,
        plan.kind,
        forces,
        plan.permanent,
        triangles,
        told,
        point=at,
        arrows=tuple(arrows),
        cautions=cautions,
        tractions=tractions,
    )


def clean(vector: Array, *, scale: float = 0.0) -> list[float]:
    """The components, with those that are rounding of the largest (or of `scale`) set to zero."""
    size = max(float(np.abs(vector).max()), scale)
    return [float(v) if abs(v) > 1e-10 * size else 0.0 for v in vector]
