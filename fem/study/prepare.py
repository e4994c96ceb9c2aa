"""From a study's plan to what the solver needs: mesh, material, named faces, supports, loads."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from fem.errors import FaceError, InputError
from fem.judging.findings import Caution
from fem.judging.scene import Arrow, Patch
from fem.loading.bolts import find_holes, preload_forces
from fem.loading.loads import (
    Load,
    acceleration_load,
    force_load,
    pressure_load,
    resultant,
    thermal_load,
    wrench_load,
)
from fem.loading.supports import Foundation, Held, held_face, spring_support
from fem.loading.wing import wing_lift
from fem.part.faces import FaceGroup
from fem.part.tetmesh import Index, TetMesh
from fem.printing.body import PrintedBody, metal_body, printed_body
from fem.printing.card.temperature import other_temperature
from fem.printing.field import PrintedField
from fem.printing.polymer import Card, card_with, load_card
from fem.study.plans import (
    AccelerationKeys,
    BodyPlan,
    DisplacementKeys,
    ForceKeys,
    LoadPlan,
    PreloadKeys,
    PressureKeys,
    Study,
    TemperatureChangeKeys,
    WingKeys,
    WrenchKeys,
)
from fem.tensors import Array

NONE = np.zeros(0, dtype=np.int32)


@dataclass(frozen=True)
class Loaded:
    """A load with the arrows that draw it."""

    load: Load
    arrows: tuple[Arrow, ...] = field(default=())


def body_print(body: BodyPlan, *, where: str = "") -> PrintedBody:
    """What a body is made of: the zones of a print by its plan, or a metal; `where` is the study's file.

    Errors: CardError, InputError (a plan that cannot be printed), naming the body.
    """
    place = f"{where}: bodies.{body.name}" if where else f"bodies.{body.name}"
    try:
        if body.print is not None:
            card, state = _card_of(body)
            return printed_body(body.print.plan, card=card, state=state, temperature=body.print.temperature)
        card, state = _card_of(body)
        return metal_body(card, state=state)
    except InputError as error:
        raise error.inside(place) from None


def _card_of(body: BodyPlan) -> tuple[Card, str]:
    """A body's card, with the values that the study sets in it, and the state asked for or the card's first."""
    if body.print is None:
        card = load_card(str(body.metal))
        return card, body.state or next(iter(card.states))
    card = load_card(body.print.polymer)
    state = body.print.state or next(iter(card.states))
    values = body.print.card
    return (card_with(card, state=state, values=values, where="print.card") if values else card), state


def temperature_cautions(study: Study) -> tuple[Caution, ...]:
    """Cautions for temperature changes that end where a card's values no longer hold."""
    out = []
    for name, load in study.loads.items():
        if not isinstance(load.what, TemperatureChangeKeys):
            continue
        most = max((abs(factors.get(name, 0.0)) for factors in study.cases.values()), default=1.0)
        for body in load.what.bodies or tuple(study.bodies):
            card, state = _card_of(study.bodies[body])
            plan = study.bodies[body].print
            values = card.state(state, temperature=None if plan is None else plan.temperature)
            other = other_temperature(values, change=most * load.what.by)
            if other is not None:
                text = f"Load {name}: body {body}, card {card.name}: {other.text}"
                numbers = {
                    "load": name,
                    "body": body,
                    "values_at_degC": other.values_at,
                    "load_at_degC": other.load_at,
                }
                out.append(Caution("card_temperature", text, numbers, decisive=True))
    return tuple(out)


def supports_of(study: Study, mesh: TetMesh, groups: Mapping[str, FaceGroup]) -> tuple[list[Held], list[Foundation]]:
    """Held faces, and foundations with springs among them."""
    held, foundations = [], []
    for name, plan in study.supports.items():
        group = groups[plan.face]
        if plan.fixed:
            held.append(held_face(mesh, group, fixed=plan.fixed, name=name))
        elif plan.spring is not None:
            foundations.append(spring_support(mesh, group, stiffness=plan.spring, name=name))
        else:
            foundations.append(
                Foundation(
                    name,
                    mesh.triangles_of(group.faces),
                    plan.foundation_normal or 0.0,
                    plan.foundation_tangential or 0.0,
                    push_only=plan.push_only,
                )
            )
    return held, foundations


def displaced_face(mesh: TetMesh, load: LoadPlan, groups: Mapping[str, FaceGroup]) -> Held:
    """The held face of a prescribed displacement at factor one."""
    what = load.what
    if not isinstance(what, DisplacementKeys) or load.face is None:
        raise InputError("is not a displacement of a face.", where=f"loads.{load.name}")
    axes = tuple(a for a in "xyz" if getattr(what, a) is not None)
    value = np.array([getattr(what, a) or 0.0 for a in "xyz"])
    # A support may bear the same name; what is moved must never be taken for it
    return held_face(mesh, groups[load.face], fixed=axes, name=f"displacement {load.name}", value=value)


def load_of(plan: LoadPlan, mesh: TetMesh, printed: PrintedField, groups: Mapping[str, FaceGroup]) -> Loaded:
    """One load at factor one, with the arrows of its resultant.

    Errors: InputError, FaceError naming the load.
    """
    what, name = plan.what, plan.name
    if isinstance(what, PreloadKeys):
        return _clamp(plan, what, mesh, groups)
    if isinstance(what, AccelerationKeys):
        forces = acceleration_load(mesh, printed, field=np.asarray(what.acceleration))
        centre = _mass_centre(mesh, printed)
        return _finish(plan, mesh, forces, NONE, {"field_m_per_s2": [a / 1000 for a in what.acceleration]}, centre)
    if isinstance(what, TemperatureChangeKeys):
        return Loaded(_warming(plan, what, mesh, printed))
    if plan.face is None:
        raise InputError("needs a face.", where=f"loads.{name}")
    group = groups[plan.face]
    triangles = mesh.triangles_of(group.faces)
    if len(triangles) == 0 or not group.area > 0:
        raise FaceError("the face has no area.", where=f"loads.{name}.face")
    if isinstance(what, ForceKeys):
        forces = force_load(mesh, group, force=np.asarray(what.force))
        return _finish(plan, mesh, forces, triangles, {}, group.centre)
    if isinstance(what, PressureKeys):
        forces = pressure_load(mesh, group, pressure=what.pressure)
        return _finish(plan, mesh, forces, triangles, {"pressure_MPa": what.pressure}, group.centre)
    if isinstance(what, WrenchKeys):
        at = group.centre if what.at is None else np.asarray(what.at)
        forces = wrench_load(
            mesh, triangles, force=np.asarray(what.force), moment=np.asarray(what.moment), at=at, name=name
        )
        return _finish(plan, mesh, forces, triangles, {"moment_Nmm": list(what.moment)}, at)
    if isinstance(what, WingKeys):
        wing = wing_lift(**{k: getattr(what, k) for k in WingKeys.__dataclass_fields__})
        forces = wrench_load(mesh, triangles, force=wing.force, moment=wing.moment, at=wing.centre, name=name)
        facts = {
            "lift_N": wing.lift,
            "drag_N": wing.drag,
            "root_moment_Nmm": wing.root_moment,
            "moment_about_centre_Nmm": _clean(wing.moment),
            "centre_mm": wing.centre.tolist(),
        }
        return _finish(plan, mesh, forces, triangles, facts, wing.centre)
    if isinstance(what, DisplacementKeys):
        held = displaced_face(mesh, plan, groups)
        zero = np.zeros((len(mesh.nodes), 3))
        displacement = np.array([getattr(what, a) or 0.0 for a in "xyz"])
        load = Load(
            name,
            plan.kind,
            zero,
            plan.permanent,
            held.triangles,
            {"displacement_mm": displacement.tolist()},
            displacement=displacement,
        )
        return Loaded(load)
    raise InputError(f"kind {plan.kind!r} is not known.", where=f"loads.{name}")


def _finish(
    plan: LoadPlan, mesh: TetMesh, forces: Array, triangles: Index, facts: dict[str, object], at: Array
) -> Loaded:
    force, moment = resultant(mesh, forces)
    facts = {"kind": plan.kind, "permanent": plan.permanent, "force_N": _clean(force), **facts}
    facts["moment_about_origin_Nmm"] = _clean(moment)
    load = Load(plan.name, plan.kind, forces, plan.permanent, triangles, facts, point=at)
    arrows = []
    size = float(np.linalg.norm(force))
    if size > 1e-9 * np.abs(forces).sum():
        arrows.append(Arrow(plan.name, "force", at, force, _force_text(size)))
    about = moment - np.cross(at, force)
    turn = float(np.linalg.norm(about))
    if turn > 1e-6 * max(size * mesh.diagonal, np.abs(forces).sum() * mesh.diagonal * 1e-3):
        arrows.append(Arrow(plan.name, "moment", at, about, f"{turn / 1000:.3g} N·m"))
    return Loaded(load, tuple(arrows))


def _clean(vector: Array, *, scale: float = 0.0) -> list[float]:
    """The components, with those that are rounding of the largest (or of `scale`) set to zero."""
    size = max(float(np.abs(vector).max()), scale)
    return [float(v) if abs(v) > 1e-10 * size else 0.0 for v in vector]


def _force_text(size: float) -> str:
    return f"{size / 1000:.3g} kN" if size >= 1000 else f"{size:.3g} N"


def _clamp(plan: LoadPlan, what: PreloadKeys, mesh: TetMesh, groups: Mapping[str, FaceGroup]) -> Loaded:
    against = groups[what.against]
    head = groups[what.head] if what.head else None
    holes = find_holes(mesh, groups[what.holes], against, head=head, name=plan.name)
    clamped = [
        preload_forces(mesh, h, against=against, force=what.force, washer=what.washer, name=plan.name) for h in holes
    ]
    forces = np.sum([c.forces for c in clamped], axis=0)
    arrows = []
    for hole in holes:
        for place, sense in ((hole.head, -1.0), (hole.seat, 1.0)):
            at = hole.origin + hole.axis * place
            arrows.append(Arrow(plan.name, "force", at, sense * what.force * hole.axis, _force_text(what.force)))
    facts = {
        "kind": plan.kind,
        "permanent": plan.permanent,
        "bolts": len(holes),
        "force_per_bolt_N": what.force,
        "mean_washer_pressure_MPa": max(c.pressure for c in clamped),
        "peak_washer_pressure_MPa": max(c.peak for c in clamped),
        "washer_cover_share": min(c.cover for c in clamped),
        "grip_mm": holes[0].grip,
        "force_N": _clean(resultant(mesh, forces)[0], scale=what.force),
    }
    faces = tuple(i for hole in holes for i in hole.head_faces)
    load = Load(plan.name, plan.kind, forces, plan.permanent, mesh.triangles_of(faces), facts)
    return Loaded(load, tuple(arrows))


def _warming(plan: LoadPlan, what: TemperatureChangeKeys, mesh: TetMesh, printed: PrintedField) -> Load:
    bodies = what.bodies or mesh.bodies
    warm = np.zeros(len(mesh.tets))
    for body in bodies:
        warm[mesh.tets_of(body)] = what.by
    facts = {"kind": plan.kind, "permanent": plan.permanent, "by_K": what.by, "bodies": list(bodies)}
    lacking = [
        material.name
        for number, material in enumerate(printed.materials)
        if material.expansion is None and np.any(printed.holds(number)[warm != 0] > 0)
    ]
    if lacking:
        raise InputError(
            f"card {lacking[0]} gives no expansion.",
            where=f"loads.{plan.name}",
            advice="Add expansion to a card of your own, or leave its body out with bodies = [...].",
        )
    forces = thermal_load(mesh, printed, temperature_change=warm)
    return Load(plan.name, plan.kind, forces, plan.permanent, NONE, facts, temperature_change=warm)


def _mass_centre(mesh: TetMesh, printed: PrintedField) -> Array:
    weight = acceleration_load(mesh, printed, field=np.array([0.0, 0.0, 1.0]))[:, 2]
    return weight @ mesh.nodes / weight.sum()


def patches_of(
    mesh: TetMesh, held: list[Held], foundations: list[Foundation], loads: Mapping[str, Load]
) -> tuple[Patch, ...]:
    """Where supports and loads work, for the pictures."""
    supports = [Patch(h.name, "support", h.triangles) for h in held]
    supports += [Patch(b.name, "support", b.triangles) for b in foundations]
    return (*supports, *(Patch(k, "load", v.triangles) for k, v in loads.items() if len(v.triangles)))


def lost_loads(loads: Mapping[str, Load], projector: Array) -> tuple[Caution, ...]:
    """Cautions for loads that fall on held directions, where the part never feels them.

    `projector` (n, 3, 3) is onto what may move. Errors: InputError when a load is lost altogether.
    """
    cautions = []
    for name, load in loads.items():
        size = float(np.linalg.norm(load.forces, axis=1).sum())
        if size == 0 or load.temperature_change is not None:
            continue
        felt = float(np.linalg.norm(np.einsum("nij,nj->ni", projector, load.forces), axis=1).sum())
        lost = 1 - felt / size
        if lost > 0.99:
            raise InputError(
                "it falls wholly on held directions of a face; the part would never feel it.",
                where=f"loads.{name}",
                advice="Load another face, or hold less.",
            )
        if lost > 0.2:
            text = f"{100 * lost:.0f} % of load {name} falls on held directions, where the part does not feel it."
            cautions.append(Caution("lost_load", text, {"load": name, "lost_fraction": lost}))
    return tuple(cautions)


def preload_cautions(loads: Mapping[str, Load]) -> tuple[Caution, ...]:
    """Cautions for washers that do not rest on the part all around."""
    return tuple(
        Caution(
            "washer_overhangs",
            f"Load {name}: a washer rests on the part with {100 * cover:.0f} % of its area only.",
            {"load": name, "cover_fraction": cover},
        )
        for name, load in loads.items()
        if (cover := load.facts.get("washer_cover_share", 1.0)) < 0.95
    )
