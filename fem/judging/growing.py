"""How far the growing loads of a case may grow, also where foundations only push.

Where nothing lifts off, stress is linear in the load, and one solution tells the reserve factor of every place. A
foundation that only pushes makes it linear by pieces: as long as the same points press. With permanent loads, these
points change while the others grow; so the case is solved again at the load that it was found to fail at, and judged
with the contact there, until the two agree. A part that lifts off and is free before that fails by it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fem.errors import FreeBodyError
from fem.judging.reserve import ReserveField, judge_reserve
from fem.judging.stress import StressField, recover_stress
from fem.loading.case import LoadCase
from fem.part.tetmesh import TetMesh
from fem.printing.field import PrintedField
from fem.solving.cases import SolvedCases, solved_at
from fem.solving.equilibrium import Equilibrium

MOST_TURNS = 6
AGREED = 2e-3
"""Change of the reserve factor from one contact to the next, relative, at which they agree."""
BISECTIONS = 11


@dataclass(frozen=True)
class Growth:
    """`stress` of the whole case, the `reserve` field, and `lift_off`, the factor at which the part has lifted off
    its foundations and is free (infinite: it fails before, or never is). `agreed` is false where no contact was found
    that agrees with the load at failure.
    """

    stress: StressField
    reserve: ReserveField
    lift_off: float = np.inf
    agreed: bool = True


def judge_growth(
    case: LoadCase, *, mesh: TetMesh, printed: PrintedField, equilibrium: Equilibrium, solved: SolvedCases
) -> Growth:
    """Judge a solved case. Errors: NotConverged."""
    stress, reserve = _judged(case, mesh, printed, solved)
    if solved.contact is None or not case.permanent:
        return Growth(stress, reserve)
    used, factor = solved, float(reserve.reserve.min())
    for _ in range(MOST_TURNS):
        if not np.isfinite(factor):
            # Nothing grows towards failure; whether it lifts off is asked far out
            factor = 1e3
        try:
            there = solved_at(equilibrium, case, solved, factor=factor)
        except FreeBodyError:
            return Growth(stress, reserve, lift_off=_lift_off(equilibrium, case, solved, factor))
        assert there.contact is not None and used.contact is not None
        pairs = zip(there.contact.pressing.values(), used.contact.pressing.values(), strict=True)
        if all(np.array_equal(a, b) for a, b in pairs):
            return Growth(stress, reserve)
        used, before = there, factor
        _, reserve = _judged(case, mesh, printed, there)
        factor = float(reserve.reserve.min())
        if abs(factor - before) <= AGREED * before:
            return Growth(stress, reserve)
    return Growth(stress, reserve, agreed=False)


def _judged(
    case: LoadCase, mesh: TetMesh, printed: PrintedField, solved: SolvedCases
) -> tuple[StressField, ReserveField]:
    """Stress and reserve of a case from its loads at unit factor, under the contact that these were solved with."""
    everything = tuple(case.factors)
    displacement = case.combined(everything, solved.units)
    whole = recover_stress(mesh, printed, displacement, temperature_change=case.temperature_change(everything))
    stay = None
    if case.permanent:
        still = case.combined(case.permanent, solved.units)
        stay = recover_stress(mesh, printed, still, temperature_change=case.temperature_change(case.permanent))
    growing = whole if stay is None else whole.minus(stay)
    return whole, judge_reserve(mesh, printed, permanent=stay, growing=growing)


def _lift_off(equilibrium: Equilibrium, case: LoadCase, solved: SolvedCases, factor: float) -> float:
    """The factor, between one (where the part is held) and `factor`, at which it is free."""
    held, free = 1.0, factor
    if free <= held:
        return np.inf
    for _ in range(BISECTIONS):
        middle = float(np.sqrt(held * free))
        try:
            solved_at(equilibrium, case, solved, factor=middle)
        except FreeBodyError:
            free = middle
        else:
            held = middle
    return held
