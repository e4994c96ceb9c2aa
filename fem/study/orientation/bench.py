"""One build direction answered on a mesh that stays: what changes with the direction is made anew, nothing else.

Only the loads that a case uses are solved, cases are sums of them, and the minimum reserve factor is sought without
the fields that pictures need.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from fem.digits import against, reserve_text
from fem.errors import BeadworkError, InputError, NoTrustworthyAnswer, nearest
from fem.fault import fault_line
from fem.judging.growing import judge_growth
from fem.judging.hotspots import find_singular_places
from fem.judging.interlayer import largest_interlayer
from fem.judging.orientation import DirectionNumbers, Vector
from fem.judging.recovered import RecoveredStress
from fem.judging.reserve import LeastReserve, judge_reserve
from fem.judging.stress import StressField, combined_stress
from fem.judging.trust import WORST_BALANCE
from fem.loading.case import LoadCase
from fem.loading.displacement import displaced_face
from fem.loading.kinds import LOAD_KINDS, edged_patches, load_of
from fem.loading.loads import Load
from fem.loading.supports import Foundation, Held
from fem.part.faces import FaceGroup, name_faces
from fem.part.tetmesh import TetMesh
from fem.printing.body import PrintedBody
from fem.printing.field import PrintedField
from fem.printing.mixing import printed_field
from fem.printing.overhang import Skin, overhang_area, skin_of
from fem.printing.plan import print_axes
from fem.solving.cases import solve_cases
from fem.solving.equilibrium import Equilibrium
from fem.study.answers import unit_wrenches
from fem.study.bodies import describe_bodies
from fem.study.plans import BodyPlan, PrintKeys, Requirements, Study
from fem.study.prepare import body_print, supports_of
from fem.tensors import Array, unit

ENOUGH = 1e-8
"""Residual over load at which a direction's solution stops: its numbers are told to four digits."""


@dataclass(frozen=True)
class Bench:
    """A study on one mesh, with all that does not depend on the build direction of `body`."""

    study: Study
    body: str
    mesh: TetMesh
    groups: dict[str, FaceGroup]
    others: dict[str, PrintedBody]
    loads: dict[str, Load]
    held: tuple[Held, ...]
    foundations: tuple[Foundation, ...]
    watched: dict[str, Array]
    skin: Skin

    @property
    def plan(self) -> BodyPlan:
        return self.study.bodies[self.body]

    @property
    def keys(self) -> PrintKeys:
        keys = self.plan.print
        assert keys is not None
        return keys

    @cached_property
    def pattern(self) -> Any:
        """Where the matrix has its blocks: the same for every direction."""
        from fem.solving.stiffness import block_pattern

        return block_pattern(self.mesh)


def chosen_body(study: Study, wanted: str | None) -> str:
    """The printed body that is turned. Errors: InputError when it is not clear which, or it is not printed."""
    printed = [name for name, body in study.bodies.items() if body.print is not None]
    where = study.path.name
    if wanted is None:
        if len(printed) == 1:
            return printed[0]
        if not printed:
            raise InputError("no body of it is printed, so none has a build direction.", where=where)
        names = ", ".join(printed)
        raise InputError(f"{len(printed)} bodies are printed ({names}).", where=where, advice="Choose with --body.")
    if wanted not in study.bodies:
        raise InputError(f"there is no body {wanted!r}.", where=where, advice=nearest(wanted, study.bodies))
    if wanted not in printed:
        raise InputError(f"body {wanted} is a metal and has no build direction.", where=where)
    return wanted


def set_up(study: Study, mesh: TetMesh, *, body: str) -> Bench:
    """Faces, supports and loads of a study on a mesh. Errors: any InputError of the rooms above."""
    if not study.cases:
        raise InputError("there is no load case.", where=str(study.path), advice="Add [loads] and [cases].")
    groups = name_faces(mesh, study.faces)
    held, foundations = supports_of(study, mesh, groups)
    others = {n: body_print(b, where=study.path.name) for n, b in study.bodies.items() if n != body}
    # One field, of the study's own print, for the loads that need one; those that feel the print are made again
    made = {**others, body: body_print(study.bodies[body], where=study.path.name)}
    used = {k for factors in study.cases.values() for k in factors}
    plain = {k: p for k, p in study.loads.items() if k in used}
    field = printed_field(mesh, bodies=made)
    loads = {k: load_of(p, mesh, field, groups) for k, p in plain.items()}
    watched = {name: unit_wrenches(mesh, groups[name]) for name in study.watch}
    return Bench(
        study, body, mesh, groups, others, loads, tuple(held), tuple(foundations), watched, skin_of(mesh, body=body)
    )


def turned_keys(keys: PrintKeys, direction: Vector) -> PrintKeys:
    """The print plan built along another direction; a raster zero that would stand upright is left to the plan."""
    zero = keys.raster_zero
    if zero is not None and np.linalg.norm(np.cross(unit(zero), unit(direction))) < 1e-2:
        zero = None
    return replace(keys, build_direction=tuple(float(v) for v in direction), raster_zero=zero)  # type: ignore[arg-type]


def try_direction(bench: Bench, direction: Vector, *, kind: str = "scan") -> DirectionNumbers:
    """What a direction gives; one that has no answer says why instead of stopping the scan."""
    try:
        return numbers_of(bench, direction, kind=kind)
    except BeadworkError as error:
        return DirectionNumbers(tuple(direction), kind, error=str(error))
    except MemoryError:
        return DirectionNumbers(tuple(direction), kind, error="memory ran out. Ask for a larger mesh size.")
    except Exception as error:
        return DirectionNumbers(tuple(direction), kind, error=fault_line(error))


def numbers_of(bench: Bench, direction: Vector, *, kind: str = "scan") -> DirectionNumbers:
    """Solve and judge all cases with the body built along a direction (3,).

    Errors: InputError (a print that cannot be made), NotConverged, NoTrustworthyAnswer.
    """
    study, mesh = bench.study, bench.mesh
    keys = turned_keys(bench.keys, direction)
    body = body_print(replace(bench.plan, print=keys), where=study.path.name)
    made = {**bench.others, bench.body: body}
    printed = printed_field(mesh, bodies=made)
    loads = dict(bench.loads)
    for name in loads:
        plan = study.loads[name]
        if LOAD_KINDS[plan.kind].of_material:
            loads[name] = load_of(plan, mesh, printed, bench.groups)
    cases = {n: LoadCase(n, f, loads) for n, f in study.cases.items()}
    least: dict[str, LeastReserve] = {}
    whole: dict[str, StressField] = {}
    moved: dict[str, Array] = {}
    for group in _solved(bench, printed, cases):
        for case in group.cases:
            moved[case.name] = case.combined(tuple(case.factors), group.units)
            growing = group.recovered.of(case, case.growing)
            stay = group.recovered.stay(case) if case.permanent else None
            if case.name in group.least:
                least[case.name] = group.least[case.name]
            else:
                field = judge_reserve(mesh, printed, permanent=stay, growing=growing)
                least[case.name] = field.least(group.singular)
            whole[case.name] = growing if stay is None else combined_stress([(1.0, growing), (1.0, stay)])
    worst = min(least, key=lambda name: least[name].reserve)
    length = {name: float(np.linalg.norm(u, axis=1).max()) for name, u in moved.items()}
    most = max(length, key=lambda name: length[name])
    if not all(np.isfinite(v) for v in length.values()):
        raise NoTrustworthyAnswer(f"case {most} came to numbers that are not finite.")
    pull, pulled = largest_interlayer(printed, whole)
    up = print_axes(keys.plan)[2]
    about = describe_bodies(mesh, printed, made=made, keys={n: b.print for n, b in _with(bench, keys).items()})
    took = about[bench.body].print
    assert took is not None
    motion = {n: [np.einsum("kni,ni->k", w, u) for u in moved.values()] for n, w in bench.watched.items()}
    numbers = DirectionNumbers(
        direction=tuple(float(v) for v in up),
        kind=kind,
        reserve=least[worst].reserve,
        reserve_away=min(found.away for found in least.values()),
        reserve_case=worst,
        mode=least[worst].mode,
        zone=least[worst].zone,
        at_mm=tuple(float(v) for v in mesh.nodes[least[worst].node]),
        deflection_mm=length[most],
        deflection_case=most,
        interlayer_MPa=pull,
        interlayer_case=pulled,
        displacement_mm={n: max(float(np.linalg.norm(m[:3])) for m in each) for n, each in motion.items()},
        rotation_deg={n: max(float(np.degrees(np.linalg.norm(m[3:]))) for m in each) for n, each in motion.items()},
        overhang_mm2=overhang_area(bench.skin, direction=up, bed=keys.bead_height),
        overhang_opposite_mm2=overhang_area(bench.skin, direction=-up, bed=keys.bead_height),
        height_mm=float(np.ptp(bench.skin.nodes @ up)),
        mass_g=sum(b.mass_g for b in about.values()),
        time_h=took.time_h,
        cost=took.cost,
    )
    borne = {
        name: min(least[c].reserve * f[name] for c, case in cases.items() if name in (f := case.growing_forces(mesh)))
        for name in study.requirements.load
    }
    return replace(numbers, missed=missed_of(numbers, study.requirements, borne=borne))


def missed_of(
    d: DirectionNumbers, wanted: Requirements, *, borne: Mapping[str, float] | None = None
) -> tuple[str, ...]:
    """The requirements that a direction does not meet, in words with numbers; `borne` are the forces [N] of loads at
    failure, of those that are asked for.
    """
    out = []
    if wanted.reserve is not None and d.reserve < wanted.reserve:
        out.append(f"reserve factor {reserve_text(d.reserve)}, {wanted.reserve:g} required")
    if wanted.reserve_away is not None and d.advised < wanted.reserve_away:
        told = reserve_text(d.advised, limit=wanted.reserve_away)
        out.append(f"reserve away from singular places {told}, at least {wanted.reserve_away:g} required")
    for name, limit in wanted.load.items():
        if borne is not None and borne[name] < limit:
            out.append(f"failure load of {name} {against(borne[name], limit)} N, at least {limit:g} N required")
    limits = [(f"rotation of {n}", d.rotation_deg[n], float(np.degrees(v)), "°") for n, v in wanted.rotation.items()]
    limits += [(f"displacement of {n}", d.displacement_mm[n], v, " mm") for n, v in wanted.displacement.items()]
    if wanted.deflection is not None:
        limits.append(("deflection", d.deflection_mm, wanted.deflection, " mm"))
    if wanted.mass is not None:
        limits.append(("mass", d.mass_g, wanted.mass * 1e6, " g"))
    out += [
        f"{name} {against(value, limit)}{unit_}, at most {limit:g}{unit_}"
        for name, value, limit, unit_ in limits
        if value > limit
    ]
    return tuple(out)


def _with(bench: Bench, keys: PrintKeys) -> dict[str, BodyPlan]:
    return {**bench.study.bodies, bench.body: replace(bench.plan, print=keys)}


@dataclass(frozen=True)
class _Group:
    """Cases that prescribe the same displacements: unit answers (n, 3) [mm] and stress of each load that they use,
    the nodes (n,) whose stress a support or a load's edge makes, and the least reserve of those cases whose contact
    changes while their loads grow.
    """

    cases: list[LoadCase]
    units: dict[str, Array]
    recovered: RecoveredStress
    singular: np.ndarray
    least: dict[str, LeastReserve]


def _solved(bench: Bench, printed: PrintedField, cases: Mapping[str, LoadCase]) -> Iterator[_Group]:
    """Solve each load once for every set of prescribed displacements; balance is tested on every answer."""
    mesh, study = bench.mesh, bench.study
    blocks = None
    for displaced in sorted({case.displaced for case in cases.values()}):
        own = [case for case in cases.values() if case.displaced == displaced]
        loads = {k: case.loads[k] for case in own for k in case.factors}
        moves = [displaced_face(mesh, study.loads[name], bench.groups) for name in displaced]
        still = [replace(h, value=np.zeros_like(h.value)) for h in moves]
        equilibrium = Equilibrium(
            mesh,
            printed,
            held=[*bench.held, *still],
            foundations=bench.foundations,
            pattern=bench.pattern,
            blocks=blocks,
        )
        blocks = equilibrium.elastic
        singular = find_singular_places(
            mesh,
            held={h.name: h.triangles for h in (*bench.held, *moves)},
            loaded=edged_patches(loads),
        )
        moving = dict(zip(displaced, moves, strict=True))
        for solved in solve_cases(equilibrium, own, moves=moving, tolerance=ENOUGH)[0]:
            for case in solved.cases:
                every = tuple(case.factors)
                applied = case.combined(every, {k: loads[k].forces for k in every})
                displacement = case.combined(every, solved.units)
                left = equilibrium.balance(displacement, applied, solved.record, contact=solved.contact)
                if max(left.force_error, left.moment_error) > WORST_BALANCE:
                    raise NoTrustworthyAnswer(f"case {case.name}: forces do not balance.")
            changing = [case for case in solved.cases if solved.contact is not None and case.permanent]
            recovered = RecoveredStress(mesh, printed, solved)
            least = {
                case.name: judge_growth(case, recovered=recovered, equilibrium=equilibrium).least(singular.at)
                for case in changing
            }
            yield _Group(list(solved.cases), dict(solved.units), recovered, singular.at, least)
