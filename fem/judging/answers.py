"""From solved unit loads to findings: cases combined, stress judged."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fem.caution import Caution
from fem.errors import NoTrustworthyAnswer
from fem.joining.bolt_forces import BoltForces
from fem.joining.fitting import FittedBolt
from fem.judging.bolts import forces_of_bolts
from fem.judging.deciding import as_homogenised
from fem.judging.findings import (
    CaseFindings,
    FaceStiffness,
    FoundationFindings,
    PointFindings,
    ReactionFindings,
    Reserve,
    WatchFindings,
)
from fem.judging.growing import LIFTS_OFF, Growth, judge_growth
from fem.judging.hotspots import NearestFace, SingularPlaces, find_hot_spots
from fem.judging.joints import joint_findings
from fem.judging.load_trace import LoadTrace
from fem.judging.pressed import pressed_joints
from fem.judging.recovered import RecoveredStress
from fem.judging.reserve import ReserveField
from fem.judging.scene import CaseFields
from fem.judging.used_up import used_up_places
from fem.loading.case import JOINTS, NO_RESULTANT, LoadCase, without_joints
from fem.loading.loads import resultant, wrench_load
from fem.part.faces import FaceGroup
from fem.part.quadrature import tet_volumes
from fem.part.tetmesh import TetMesh
from fem.printing.field import PrintedField
from fem.solving.cases import SolvedCases
from fem.solving.equilibrium import Equilibrium, Solution
from fem.solving.reactions import Reaction, foundation_tension, reactions
from fem.tensors import Array


@dataclass(frozen=True)
class Answer:
    """One case answered: numbers for the findings, fields for the pictures, its estimated energy error, its reserve
    `field`, what must be said about it, the factor at which the part has lifted off and is free; with bearing joints
    the `trace` of its growing load, with bolts what these bear.
    """

    findings: CaseFindings
    fields: CaseFields
    energy_error: float
    field: ReserveField
    remarks: tuple[Caution, ...] = ()
    lift_off: float = np.inf
    trace: LoadTrace | None = None
    bolts: Mapping[str, BoltForces] | None = None


def unit_wrenches(mesh: TetMesh, group: FaceGroup) -> Array:
    """Nodal forces (6, n, 3) of 1 N along and 1 N mm about each part axis at a face's centre."""
    triangles = group.triangles
    return np.array(
        [wrench_load(mesh, triangles, force=w[:3], moment=w[3:], at=group.centre, name=group.name) for w in np.eye(6)]
    )


def answer_case(
    case: LoadCase,
    *,
    recovered: RecoveredStress,
    equilibrium: Equilibrium,
    watched: Mapping[str, Array],
    points: Mapping[str, tuple[float, float, float]],
    singular: SingularPlaces,
    near: NearestFace,
    bolts: Sequence[FittedBolt] = (),
) -> Answer:
    """Combine the answers to a case's loads at unit factor and judge what comes out."""
    mesh, printed, solved = recovered.mesh, recovered.printed, recovered.solved
    units, contact, named = solved.units, solved.contact, without_joints(case)
    forces = {k: case.loads[k].forces for k in case.factors}
    everything = tuple(case.factors)
    displacement = case.combined(everything, units)
    applied = named.combined(tuple(named.factors), forces)
    solution = equilibrium.balance(displacement, applied, solved.record, contact=contact)
    # A part that follows a moved face as one is not strained; what the solve left there is rounding
    strained = solved if solution.resisted else _unstrained(solved)
    if not solution.resisted:
        recovered = RecoveredStress(mesh, printed, strained)
    trace = None if equilibrium.linear else LoadTrace(case, recovered, equilibrium)
    growth = judge_growth(case, recovered=recovered, equilibrium=equilibrium, trace=trace)
    whole, field = growth.stress, growth.reserve
    if not (np.isfinite(displacement).all() and not np.isnan(field.reserve).any()):
        raise NoTrustworthyAnswer(
            f"case {case.name} came to numbers that are not finite.", advice="Look at its factors."
        )
    length = np.linalg.norm(displacement, axis=1)
    most = int(length.argmax())
    force, moment = resultant(mesh, applied)
    reserve = _least(mesh, field, singular, near)
    if growth.lift_off < reserve.minimum:
        reserve = _lifted(reserve, growth.lift_off)
    failing = failing_load(mesh, case.combined(case.growing, forces), reserve.minimum)
    findings = CaseFindings(
        factors=dict(named.factors),
        applied_N=_floats(force),
        applied_Nmm=_floats(moment),
        reaction_N=_floats(solution.support.sum(axis=0)),
        force_error=solution.force_error,
        moment_error=solution.moment_error,
        maximum_displacement_mm=float(length[most]),
        maximum_displacement_at_mm=_floats(mesh.nodes[most]),
        strain_energy_mJ=_energy(mesh, printed, equilibrium, case.combined(everything, strained.units), case),
        points={name: _point(mesh, at, displacement, whole.node, field) for name, at in points.items()},
        faces={name: _watch(w, displacement) for name, w in watched.items()},
        reserve=as_homogenised(reserve),
        hot_spots=find_hot_spots(mesh, field, singular, near),
        failing_load_N=failing[0],
        failing_load_Nmm=failing[1],
        reactions=tuple(_reaction(r) for r in reactions(equilibrium, solution, contact=contact)),
        foundations={
            name: FoundationFindings(
                t.push_only, t.push, t.pull, t.share, t.area, equilibrium.foundations[name].bonded
            )
            for name, t in foundation_tension(equilibrium, displacement, contact=contact).items()
        },
        used_up=used_up_places(mesh, field, near),
        growing_N=case.growing_forces(mesh),
        joints=joint_findings(equilibrium, displacement, contact=contact),
        path=() if trace is None else trace.path,
    )
    pressed = pressed_joints(equilibrium, displacement, contact=contact)
    fields = CaseFields(displacement, whole.node, field.print_stress, field.reserve, pressed)
    remarks = _remarks(case, growth, reserve, solution)
    pulled = forces_of_bolts(equilibrium, bolts, displacement, contact=contact)
    return Answer(findings, fields, whole.energy_error, field, remarks, growth.lift_off, trace, pulled)


def with_load_path(answer: Answer) -> Answer:
    """The answer with the load factors solved that its path lacks, for its pictures."""
    if answer.trace is None:
        return answer
    path = answer.trace.completed(answer.findings.reserve.minimum)
    return replace(answer, findings=replace(answer.findings, path=path))


def _unstrained(solved: SolvedCases) -> SolvedCases:
    return replace(solved, units={load: np.zeros_like(unit) for load, unit in solved.units.items()})


def _remarks(case: LoadCase, growth: Growth, reserve: Reserve, solution: Solution) -> tuple[Caution, ...]:
    if not solution.resisted:
        text = f"Case {case.name}: nothing resists the moved face; the part follows it without any stress."
        return (Caution("follows", text, {"case": case.name}, decisive=True),)
    if reserve.mode == LIFTS_OFF:
        times = f"{reserve.minimum:.3g} times its growing loads"
        how = "parted or slipped where it bears" if JOINTS in case.factors else "lifted off its foundation"
        text = f"Case {case.name}: at {times} the part has {how} and is free to move."
        return (Caution("lifts_off", text, {"case": case.name, "factor": reserve.minimum}, decisive=True),)
    if not growth.agreed:
        text = f"Case {case.name}: where it presses on its foundation still changes at failure: a rough reserve."
        return (Caution("contact_changes", text, {"case": case.name}),)
    return ()


def _lifted(reserve: Reserve, factor: float) -> Reserve:
    """The reserve of a part that is free before its material fails."""
    away = min(reserve.nonsingular_minimum, factor)
    return replace(reserve, minimum=factor, nonsingular_minimum=away, singular=False, mode=LIFTS_OFF)


def _reaction(told: Reaction) -> ReactionFindings:
    about_origin = told.moment_about_origin
    return ReactionFindings(
        told.support,
        told.part,
        _floats(told.force),
        _floats(told.moment),
        _floats(about_origin),
        _floats(told.at),
    )


def failing_load(mesh: TetMesh, growing: Array, reserve: float) -> tuple[float | None, float | None]:
    """The resultant of growing forces (n, 3) [N] at failure: force [N], or moment [N mm] where that is none."""
    size = float(np.linalg.norm(growing, axis=1).sum())
    force, moment = (float(np.linalg.norm(v)) for v in resultant(mesh, growing))
    if force > NO_RESULTANT * size:
        return reserve * force, None
    return None, reserve * moment if moment > NO_RESULTANT * size * mesh.diagonal else None


def _energy(
    mesh: TetMesh,
    printed: PrintedField,
    equilibrium: Equilibrium,
    displacement: Array,
    case: LoadCase,
) -> float:
    """Elastic energy [mJ] of the part, free expansion taken out."""
    warm = case.temperature_change(tuple(case.factors))
    energy = 0.5 * float((displacement * equilibrium.elastic_forces(displacement)).sum())
    if warm is None:
        return energy
    held = case.combined(
        tuple(k for k in case.factors if case.loads[k].temperature_change is not None),
        {k: v.forces for k, v in case.loads.items()},
    )
    energy -= float((displacement * held).sum())
    free = printed.expansion_table
    density = 0.5 * np.einsum("ka,kab,kb->k", free, printed.stiffness_table, free)[printed.material].mean(axis=1)
    return energy + float((density * tet_volumes(mesh) * warm**2).sum())


def _point(
    mesh: TetMesh, at: tuple[float, float, float], displacement: Array, stress: Array, field: ReserveField
) -> PointFindings:
    node = int(np.linalg.norm(mesh.nodes - np.asarray(at), axis=1).argmin())
    return PointFindings(
        _floats(mesh.nodes[node]),
        _floats(displacement[node]),
        _floats(stress[node]),
        _floats(field.print_stress[node]),
    )


def _watch(wrenches: Array, displacement: Array) -> WatchFindings:
    """Mean displacement [mm] and rotation [deg] of a face: the motions on which its unit wrenches do work."""
    motion = np.einsum("kni,ni->k", wrenches, displacement)
    return WatchFindings(_floats(motion[:3]), _floats(np.degrees(motion[3:])))


def face_stiffness(wrenches: Array, answers: Array) -> FaceStiffness:
    """The 6 x 6 seen at a face from its unit wrenches (6, n, 3) and their displacements (6, n, 3)."""
    compliance = np.einsum("ani,bni->ab", wrenches, answers)
    compliance = (compliance + compliance.T) / 2
    # A direction in which the face is held has no compliance; its stiffness is without limit (null in JSON)
    moves = np.diag(compliance) > 1e-12 * max(float(np.diag(compliance)[:3].max()), 1e-300)
    matrix = np.full((6, 6), np.inf)
    if moves.any():
        part = compliance[np.ix_(moves, moves)]
        scale = 1 / np.sqrt(np.diag(part))
        matrix[np.ix_(moves, moves)] = np.linalg.inv(part * scale[:, None] * scale) * scale[:, None] * scale
        matrix[np.ix_(~moves, moves)] = matrix[np.ix_(moves, ~moves)] = 0.0
    return FaceStiffness(tuple(map(_floats, matrix)), tuple(map(_floats, compliance)))


def _least(mesh: TetMesh, field: ReserveField, singular: SingularPlaces, near: NearestFace) -> Reserve:
    counted = field.counted
    node = int(counted.argmin())
    real = counted[~singular.at]
    zone, phase = field.phases[field.phase[node]]
    limited = bool(np.isfinite(counted[node]))
    criteria: dict[str, float | None] = {}
    for found in field.criteria.values():
        for name, value in found.items():
            before = criteria.get(name)
            criteria[name] = value if before is None else before if value is None else min(before, value)
    return Reserve(
        minimum=float(counted[node]),
        mode=field.modes[field.mode[node]] if limited else "none",
        zone=zone,
        phase=phase,
        body=mesh.bodies[mesh.node_body[node]],
        face=near(node)[0],
        at_mm=_floats(mesh.nodes[node]),
        singular=bool(singular.at[node]) and limited,
        nonsingular_minimum=float(real.min()) if len(real) else float("inf"),
        criteria=criteria,
        by_zone={zone: value if np.isfinite(value) else None for zone, value in sorted(field.by_zone.items())},
    )


def _floats(values: Array) -> tuple[float, ...]:
    return tuple(float(v) + 0.0 for v in values)
