"""From a study's plan to what the solver needs: what bodies are made of, and what holds them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from fem.errors import InputError
from fem.joining.facing import first_of, opposite_faces
from fem.joining.fitting import FittedBolt, fitted_bolts
from fem.joining.joint import Joint, rigid_joint
from fem.judging.scene import Patch
from fem.loading.case import LoadCase
from fem.loading.kinds import support_of
from fem.loading.loads import Load
from fem.loading.supports import Foundation, Held, RigidBearing
from fem.part.faces import FaceGroup
from fem.part.tetmesh import TetMesh
from fem.printing.body import PrintedBody, laminate_body, metal_body, printed_body
from fem.printing.polymer import Card, card_with, load_card
from fem.study.plans import BodyPlan, Study


def body_print(body: BodyPlan, *, where: str = "") -> PrintedBody:
    """What a body is made of: the zones of a print by its plan, a metal or a laminate; `where` is the study's file.

    Errors: CardError, InputError (a plan that cannot be printed), naming the body.
    """
    place = f"{where}: bodies.{body.name}" if where else f"bodies.{body.name}"
    try:
        if body.print is not None:
            card, state = card_of(body)
            return printed_body(body.print.plan, card=card, state=state, temperature=body.print.temperature)
        card, state = card_of(body)
        if body.laminate is not None:
            return laminate_body(body.laminate, card=card)
        return metal_body(card, state=state)
    except InputError as error:
        raise error.inside(place) from None


def card_of(body: BodyPlan) -> tuple[Card, str]:
    """A body's card, with the values that the study sets in it, and the state asked for or the card's first."""
    if body.print is None:
        card = load_card(body.card_name)
        state = body.state if body.laminate is None else body.laminate.state
        return card, state or next(iter(card.states))
    card = load_card(body.print.polymer)
    state = body.print.state or next(iter(card.states))
    values = body.print.card
    return (card_with(card, state=state, values=values, where="print.card") if values else card), state


def supports_of(study: Study, mesh: TetMesh, groups: Mapping[str, FaceGroup]) -> tuple[list[Held], list[Foundation]]:
    """Held faces, and foundations with springs among them; faces that bear on rigid bodies are joints."""
    found = [support_of(plan, mesh, groups) for plan in study.supports.values()]
    return [s for s in found if isinstance(s, Held)], [s for s in found if isinstance(s, Foundation)]


def joints_of(study: Study, mesh: TetMesh, groups: Mapping[str, FaceGroup]) -> list[Joint]:
    """The joints of a study on a mesh, point by point: between bodies, then with the rigid bodies that are supports.

    Errors: InputError for faces of one body, or that do not face each other.
    """
    out = []
    for plan in study.joints.values():
        where = f"{study.path}: joints.{plan.name}"
        one, other = (groups[name].triangles for name in plan.faces)
        bodies = {mesh.bodies[mesh.node_body[mesh.triangles[t[0], 0]]] for t in (one, other)}
        if len(bodies) == 1:
            raise InputError(
                f"both faces are of body {bodies.pop()}: a joint is between two.",
                where=f"{where}.faces",
                advice="Name a face of each.",
            )
        first, second = first_of(mesh, one, other)
        try:
            found = opposite_faces(mesh, first, second, clearance=plan.clearance)
        except InputError as error:
            raise InputError(error.message, where=where, advice=error.advice) from None
        out.append(Joint(plan.name, found.facing, plan.kind, plan.friction, opposite=found))
    return out + _bearings_of(study, mesh, groups)


def _bearings_of(study: Study, mesh: TetMesh, groups: Mapping[str, FaceGroup]) -> list[Joint]:
    """The faces that bear on rigid bodies."""
    out = []
    for plan in study.supports.values():
        support = support_of(plan, mesh, groups)
        if isinstance(support, RigidBearing):
            try:
                out.append(rigid_joint(mesh, support))
            except InputError as error:
                where = f"{study.path}: supports.{plan.name}.{plan.kind}"
                raise InputError(error.message, where=where, advice=error.advice) from None
    return out


def bolts_of(study: Study, mesh: TetMesh, groups: Mapping[str, FaceGroup]) -> list[FittedBolt]:
    """The bolts of a study on a mesh.

    Errors: FaceError, InputError for faces without a hole, holes that do not line up, a torque beyond the yield.
    """
    out: list[FittedBolt] = []
    for plan in study.bolts.values():
        try:
            out += fitted_bolts(mesh, groups, plan)
        except InputError as error:
            raise error.inside(str(study.path)) from None
    return out


def patches_of(
    mesh: TetMesh,
    held: list[Held],
    foundations: list[Foundation],
    loads: Mapping[str, Load],
    joints: Iterable[Joint] = (),
) -> tuple[Patch, ...]:
    """Where supports and loads work, for the pictures."""
    supports = [Patch(h.name, "support", h.triangles) for h in held]
    supports += [Patch(b.name, "support", b.triangles) for b in foundations]
    supports += [Patch(j.name, "support", j.triangles) for j in joints if j.triangles is not None]
    return (*supports, *(Patch(k, "load", v.triangles) for k, v in loads.items() if len(v.triangles)))


def refuse_no_force(study: Study, mesh: TetMesh, loads: Mapping[str, Load]) -> None:
    """Errors: InputError for a safe load that is asked of a load which no case lets grow, or which is no force."""
    if not study.requirements.load:
        return
    grown: set[str] = set()
    for name, factors in study.cases.items():
        grown.update(LoadCase(name, factors, loads).growing_forces(mesh))
    for name in study.requirements.load:
        if name not in grown:
            raise InputError(
                "no case lets this load grow with a force: it acts in none, is permanent, or has no resultant.",
                where=f"{study.path}: requirements.load.{name}",
                advice="Name a load with a force that acts in a case.",
            )
