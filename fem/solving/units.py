"""All cases of a part, by the faces that they displace: each set has a matrix of its own, on which every load is
solved once at unit factor.

A face whose displacement a case does not name is free in it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fem.caution import Caution
from fem.errors import FreeBodyError
from fem.joining.fitting import FittedBolt
from fem.joining.joint import Joint, foundation_joint
from fem.loading.case import LoadCase, lost_loads
from fem.loading.supports import Foundation, Held
from fem.part.tetmesh import Index, TetMesh
from fem.printing.field import PrintedField
from fem.solving.cases import SolvedCases, solve_cases
from fem.solving.earlier import Earlier
from fem.solving.equilibrium import Equilibrium
from fem.solving.joined import joined_of, ties_of
from fem.solving.joints import HOLD_IT
from fem.solving.linear import TOLERANCE
from fem.solving.links import pattern_with
from fem.solving.rigid import refuse_free_pieces
from fem.solving.stiffness import BlockPattern
from fem.solving.tightened import both_ends
from fem.tensors import Array

Displacements = dict[tuple[tuple[str, ...], str, str], Array]
"""Displacements (n, 3) [mm] by the displaced faces that the solve held, "load", "case" (with its contact) or "face",
and the name; those of a face are of its six unit wrenches (6, n, 3)."""


@dataclass(frozen=True)
class SolvedUnits:
    """The cases that displace the same faces, `moved` by load, on one `equilibrium`: one of `parts` for all of them,
    or one a case where a foundation only pushes. `wrenches` (6, n, 3) [mm] answer the unit wrenches by watched face;
    `cautions` tell of loads that are partly lost.
    """

    moved: dict[str, Held]
    equilibrium: Equilibrium
    parts: list[SolvedCases]
    wrenches: dict[str, Array]
    cautions: tuple[Caution, ...]

    @property
    def held(self) -> dict[str, Index]:
        """Boundary triangles (j,) by name of all faces that are held or moved."""
        return {h.name: h.triangles for h in self.equilibrium.supports}

    @property
    def displacements(self) -> Displacements:
        """All that was solved for, from which a finer mesh may begin."""
        own = tuple(self.moved)
        units = {(own, "load", name): unit for part in self.parts for name, unit in part.units.items()}
        units |= {
            (own, "case", case.name): case.combined(tuple(case.factors), part.units)
            for part in self.parts
            if part.contact is not None
            for case in part.cases
        }
        return {**units, **{(own, "face", name): found for name, found in self.wrenches.items()}}


def solve_units(
    mesh: TetMesh,
    printed: PrintedField,
    cases: Sequence[LoadCase],
    *,
    held: Sequence[Held],
    foundations: Sequence[Foundation],
    joints: Sequence[Joint] = (),
    bolts: Sequence[FittedBolt] = (),
    pattern: BlockPattern,
    solver: str = "auto",
    earlier: Callable[[], Earlier | None] = lambda: None,
    watched: Mapping[str, Array] | None = None,
    begin: Displacements | None = None,
    tolerance: float = TOLERANCE,
    stage: Callable[[str], None] = lambda text: None,
    progress: Callable[[float], None] | None = None,
) -> Iterator[SolvedUnits]:
    """Solve cases, and the unit wrenches (6, n, 3) [N] of `watched` faces without any displaced face.

    `earlier` gives the preconditioner that may serve once more. Iterations `begin` at what another mesh came to.
    Without a case that displaces no face the wrenches are left out where the supports alone leave the part free.
    Errors: FreeBodyError, NotConverged; InputError for a load that is lost on held directions.
    """
    blocks, known, watched = None, begin or {}, watched or {}
    if joints or bolts:  # what presses is one question, whatever it presses on
        joints = [*joints, *(foundation_joint(mesh, f) for f in foundations if f.push_only)]
        foundations = [f for f in foundations if not f.push_only]
    joined = joined_of(mesh, printed, joints, ties=ties_of(bolts)) if joints or bolts else None
    if joints and joined is not None:
        pattern = pattern_with(pattern, joined.links)
    for displaced in sorted({case.displaced for case in cases} | ({()} if watched else set())):
        own = [case for case in cases if case.displaced == displaced]
        moved = {name: face for name in displaced if (face := own[0].loads[name].displacement) is not None}
        stage("assemble and set up")
        try:
            equilibrium = Equilibrium(
                mesh,
                printed,
                held=[*held, *(face.still for face in moved.values())],
                foundations=foundations,
                pattern=pattern,
                blocks=blocks,
                solver=solver,
                earlier=earlier(),
                joined=joined,
            )
            if joined is not None:
                refuse_free_pieces(equilibrium, joined.law.closed(), where=joined.where, advice=HOLD_IT)
        except FreeBodyError:
            if own:
                raise
            continue
        blocks = equilibrium.elastic
        loads = {k: case.loads[k] for case in own for k in case.factors if case.loads[k].displacement is None}
        cautions = lost_loads(loads, equilibrium.held.projector)
        stage("solve")
        wrenches = {} if displaced else watched
        parts, found = solve_cases(
            equilibrium,
            own,
            moves=moved,
            tightened=both_ends(equilibrium, bolts),
            beside=np.concatenate(list(wrenches.values())) if wrenches else None,
            tolerance=tolerance,
            guesses={name: at for (held, kind, name), at in known.items() if held == displaced and kind == "load"},
            beside_guess=np.concatenate([known[(), "face", name] for name in wrenches])
            if wrenches and known
            else None,
            begins={name: at for (held, kind, name), at in known.items() if held == displaced and kind == "case"},
            progress=progress,
        )
        answers = dict(zip(wrenches, np.split(found, len(wrenches)) if wrenches else (), strict=True))
        yield SolvedUnits(moved, equilibrium, parts, answers, cautions)
