"""Cases of bodies that meet at bearing joints: each is solved as a whole, then told as a sum.

What touches and slips depends on the whole load, so no case is a sum of unit loads by itself. But beside its answer,
joints act as springs and a constant force: touching points with their springs, and what gaps and friction make these
differ from springs that start at zero. That constant force is told as one more load of the case, `JOINTS`, which
stays while others grow; with it the unit loads add up to the case, and all that judges sums stays as it is. What
joints do at another load is found by solving again.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from fem.errors import FreeBodyError, NotConverged
from fem.loading.case import JOINTS, LoadCase, without_joints
from fem.loading.loads import Load
from fem.solving.equilibrium import Contact, Equilibrium
from fem.solving.joints import JointsAnswer, solve_joints
from fem.solving.solvers import solver_for
from fem.solving.ties import Locked
from fem.solving.tightened import Tightened, load_tightened
from fem.tensors import Array


def meeting(
    equilibrium: Equilibrium,
    case: LoadCase,
    starts: Mapping[str, Array],
    *,
    factor: float,
    begin: Array | None = None,
    tightened: Tightened | None = None,
) -> tuple[LoadCase, Contact, JointsAnswer]:
    """A case when its growing loads are `factor` times as large: with the load `JOINTS`, and the contact that all its
    unit loads are solved with. All loads act at once, after bolts were `tightened`: what slips has slipped by them
    together.

    Errors: FreeBodyError, NotConverged, both naming the case.
    """
    own = without_joints(case)
    given = {k: own.loads[k].forces for k in own.factors}
    forces = own.combined(own.permanent, given) + factor * own.combined(own.growing, given)
    start = None
    if own.displaced:
        moved = {k: (factor if k in own.growing else 1.0) * starts[k] for k in own.displaced}
        start = own.combined(own.displaced, moved)
    try:
        locked = None
        if tightened is None:
            found = solve_joints(equilibrium, forces, start=start, begin=begin)
        else:
            loaded = load_tightened(equilibrium, tightened, forces, start=start, begin=begin)
            found, locked = loaded.answer, loaded.locked
    except FreeBodyError as error:
        raise FreeBodyError(error.message, where=f"cases.{case.name}", advice=error.advice) from None
    except NotConverged as error:
        named = f"case {case.name}: {error.message}"
        raise NotConverged(named, best=error.best, history=error.history, advice=error.advice) from None
    contact, constant = _as_springs(equilibrium, found, locked)
    factors = {**own.factors, JOINTS: 1.0}
    return replace(own, factors=factors, loads={**own.loads, JOINTS: _load(constant)}), contact, found


def _as_springs(equilibrium: Equilibrium, found: JointsAnswer, locked: Locked | None) -> tuple[Contact, Array]:
    """Joints and bolts beside an answer: springs of all points that touch and of all shanks, and the constant nodal
    forces (n, 3) [N] that make up the rest.
    """
    joined = equilibrium.joined
    assert joined is not None
    springs = joined.law.held(found.state)
    total = found.state.total(joined.law.normal)
    linear = np.einsum("qij,qj->qi", springs, joined.links.jump(found.displacement))
    system = equilibrium.system.with_link_springs(springs)
    constant = joined.links.forces(linear - total)
    if joined.ties is not None and locked is not None:
        constant += locked.forces(joined.ties)
        system = system.with_ties(locked.bearing(joined.ties))
    made = equilibrium.kept.serving(system, joined.law.closed())
    solver = solver_for(equilibrium.kind, system, equilibrium.printed, precondition=made)
    return Contact({}, system, solver, len(found.iterations), found.state, locked), constant


def _load(forces: Array) -> Load:
    return Load(
        name=JOINTS,
        kind=JOINTS,
        forces=forces,
        permanent=True,
        triangles=np.zeros(0, dtype=np.int32),
        facts={"kind": JOINTS},
    )
