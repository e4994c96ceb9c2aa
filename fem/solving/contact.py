"""Foundations that only push: where they press is found together with the displacement.

A foundation is many springs side by side, one at each integration point of its triangles. The springs in
tension let go, the part is solved again, those that are pressed again take hold, until none changes: the primal-dual
active set, which is Newton's method for a stiffness that is linear by pieces. Source: M. Hintermueller, K. Ito and
K. Kunisch, SIAM Journal on Optimization 13 (2003) 865. The preconditioner stays that of the whole foundation: what
lets go changes the matrix on the face alone.

There is no gap at first, and a spring's tangential part goes with its normal one: nothing slips.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from fem.errors import FreeBodyError, NotConverged
from fem.solving.equilibrium import Contact, Equilibrium
from fem.solving.linear import TOLERANCE, SolveRecord
from fem.tensors import Array

MOST_STEPS = 60
SLACK = 1e-6
"""A point changes sides when it lies that share of the deepest approach on the other one: below it is noise."""
PATIENCE = 20
"""Steps after which the slack grows tenfold every ten steps, at last to a hundredth, so that points that go to and
fro come to rest: where the tangential part goes with the normal one, there may be no exact answer."""

Pressing = Mapping[str, NDArray[np.bool_]]


def solve_contact(
    equilibrium: Equilibrium,
    forces: Array,
    *,
    start: Array | None = None,
    tolerance: float = TOLERANCE,
    most: int = MOST_STEPS,
    progress: Callable[[float], None] | None = None,
) -> tuple[Array, SolveRecord, Contact]:
    """Displacement (n, 3) [mm] under nodal forces (n, 3) [N], the record, and where push-only foundations press.

    `start` (n, 3) [mm] prescribes the held directions' displacement. The record counts the iterations of all steps.
    Errors: FreeBodyError when the part lifts off and is free then, NotConverged.
    """
    points = {
        name: equilibrium.points(name) for name, foundation in equilibrium.foundations.items() if foundation.push_only
    }
    pressing: Pressing = {name: np.ones(p.weight.shape, dtype=bool) for name, p in points.items()}
    iterations, changing = 0, 0
    found = np.zeros(forces.shape)
    for step in range(1, most + 1):
        contact = _lifted(equilibrium, pressing, step)
        answer, record = equilibrium.solve(
            forces[None], starts=None if start is None else start[None], tolerance=tolerance, contact=contact
        )
        found, iterations = answer[0], iterations + record.iterations
        slack = max(SLACK, 100 * tolerance) * 10.0 ** max(0, (step - PATIENCE) // 10)
        nearer = {name: p.approach(found) for name, p in points.items()}
        deepest = max((float(np.abs(a).max()) for a in nearer.values()), default=0.0)
        after = {name: np.where(np.abs(a) <= slack * deepest, pressing[name], a > 0) for name, a in nearer.items()}
        changing = sum(int((after[name] != pressing[name]).sum()) for name in points)
        if changing == 0:
            return found, SolveRecord(iterations, record.history), contact
        pressing = after
        if progress is not None:
            progress(1 - 0.5**step)
    raise NotConverged(
        f"where foundation {', '.join(points)} presses still changes at {changing} points after {most} steps.",
        best=found,
        history=list(record.history),
        advice="Look for a part that hardly rests on it, or a tangential stiffness far above the normal one.",
    )


def _lifted(equilibrium: Equilibrium, pressing: Pressing, step: int) -> Contact:
    """The contact at these points. Errors: FreeBodyError that names the foundations that let go."""
    try:
        return equilibrium.pressing_only(pressing, steps=step)
    except FreeBodyError as error:
        gone = [name for name, here in pressing.items() if not here.all()]
        raise FreeBodyError(
            f"the part lifts off foundation {', '.join(gone)}, which only pushes; then {error.message}",
            where=error.where,
            advice="Hold the part in another way too, or add the load that keeps it down (gravity, a preload).",
        ) from None
