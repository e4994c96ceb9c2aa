"""One build direction answered on a mesh that stays: what changes with the direction is made anew, nothing else.

Only the loads that a case uses are solved, cases are sums of them, and the minimum reserve factor is sought without
the fields that pictures need.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from fem.errors import InputError, nearest
from fem.fault import failure_line
from fem.joining.fitting import FittedBolt
from fem.joining.joint import Joint
from fem.judging.answers import unit_wrenches
from fem.judging.bodies import describe_bodies
from fem.judging.direction import JudgedCase, borne_loads, direction_numbers, judge_units, missed_of
from fem.judging.orientation import DirectionNumbers, Vector
from fem.loading.case import LoadCase
from fem.loading.kinds import LOAD_KINDS, load_of
from fem.loading.loads import Load
from fem.loading.supports import Foundation, Held
from fem.part.faces import FaceGroup, name_faces
from fem.part.tetmesh import TetMesh
from fem.printing.body import PrintedBody
from fem.printing.field import PrintedField
from fem.printing.keys import PrintKeys
from fem.printing.mixing import printed_field
from fem.printing.overhang import Skin, skin_of
from fem.solving.units import SolvedUnits, solve_units
from fem.study.plans import BodyPlan, Study
from fem.study.prepare import body_print, bolts_of, joints_of, supports_of
from fem.tensors import Array, unit

ENOUGH = 1e-8
"""Residual over load at which a direction's solution stops: its numbers are told to four digits."""


@dataclass(frozen=True)
class PreparedScan:
    """A study on one mesh, with all that does not depend on the build direction of `body`."""

    study: Study
    body: str
    mesh: TetMesh
    groups: dict[str, FaceGroup]
    others: dict[str, PrintedBody]
    loads: dict[str, Load]
    held: tuple[Held, ...]
    foundations: tuple[Foundation, ...]
    joints: tuple[Joint, ...]
    bolts: tuple[FittedBolt, ...]
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

    def solved(self, printed: PrintedField, cases: Sequence[LoadCase]) -> Iterator[SolvedUnits]:
        """The cases with the body printed so. Errors: those of `solve_units`."""
        return solve_units(
            self.mesh,
            printed,
            cases,
            held=self.held,
            foundations=self.foundations,
            joints=self.joints,
            bolts=self.bolts,
            pattern=self.pattern,
            tolerance=ENOUGH,
        )


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
        raise InputError(f"body {wanted} is not printed and has no build direction.", where=where)
    return wanted


def prepare_scan(study: Study, mesh: TetMesh, *, body: str) -> PreparedScan:
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
    return PreparedScan(
        study,
        body,
        mesh,
        groups,
        others,
        loads,
        tuple(held),
        tuple(foundations),
        tuple(joints_of(study, mesh, groups)),
        tuple(bolts_of(study, mesh, groups)),
        watched,
        skin_of(mesh, body=body),
    )


def turned_keys(keys: PrintKeys, direction: Vector) -> PrintKeys:
    """The print plan built along another direction; a raster zero that would stand upright is left to the plan."""
    zero = keys.raster_zero
    if zero is not None and np.linalg.norm(np.cross(unit(zero), unit(direction))) < 1e-2:
        zero = None
    return replace(keys, build_direction=tuple(float(v) for v in direction), raster_zero=zero)  # type: ignore[arg-type]


def try_direction(prepared: PreparedScan, direction: Vector, *, kind: str = "scan") -> DirectionNumbers:
    """What a direction gives; one that has no answer says why instead of stopping the scan."""
    try:
        return numbers_of_direction(prepared, direction, kind=kind)
    except Exception as error:
        return DirectionNumbers(tuple(direction), kind, error=failure_line(error))


def numbers_of_direction(prepared: PreparedScan, direction: Vector, *, kind: str = "scan") -> DirectionNumbers:
    """Solve and judge all cases with the body built along a direction (3,).

    Errors: InputError (a print that cannot be made), NotConverged, NoTrustworthyAnswer.
    """
    study, mesh = prepared.study, prepared.mesh
    keys = turned_keys(prepared.keys, direction)
    made = {**prepared.others, prepared.body: body_print(replace(prepared.plan, print=keys), where=study.path.name)}
    printed = printed_field(mesh, bodies=made)
    plans = {name: study.loads[name] for name in prepared.loads}
    anew = {k: load_of(p, mesh, printed, prepared.groups) for k, p in plans.items() if LOAD_KINDS[p.kind].of_material}
    cases = [LoadCase(n, f, {**prepared.loads, **anew}) for n, f in study.cases.items()]

    judged: dict[str, JudgedCase] = {}
    for units in prepared.solved(printed, cases):
        judged |= judge_units(printed, units)
    about = describe_bodies(mesh, printed, made=made, keys={n: b.print for n, b in _with(prepared, keys).items()})
    numbers = direction_numbers(
        judged, mesh, printed, bodies=about, body=prepared.body, watched=prepared.watched, skin=prepared.skin
    )
    missed = missed_of(numbers, study.requirements, borne=borne_loads(judged, study.requirements.load))
    return replace(numbers, kind=kind, missed=missed)


def _with(prepared: PreparedScan, keys: PrintKeys) -> dict[str, BodyPlan]:
    return {**prepared.study.bodies, prepared.body: replace(prepared.plan, print=keys)}
