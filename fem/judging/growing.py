"""How far the growing loads of a case may grow, also where foundations only push.

Where nothing lifts off, stress is linear in the load, and one solution tells the reserve factor of every place. A
foundation that only pushes makes it linear by pieces: as long as the same points press. With permanent loads, these
points change while the others grow. The load of failure is then closed in from both sides: a factor at which the part
holds, with the contact that it has there, and one at which it fails or has lifted off and is free. The next factor is
the one at which it would fail if the contact stayed; where that lies outside, the one at which what is used of the
strength would reach all of it on a straight line between the two. Each begins at the states solved before it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fem.errors import FreeBodyError
from fem.judging.load_trace import LoadTrace
from fem.judging.recovered import RecoveredStress
from fem.judging.reserve import LeastReserve, ReserveField, judge_reserve
from fem.judging.stress import StressField, combined_stress
from fem.judging.used_up import used_up_nodes, without_used_up
from fem.loading.case import JOINTS, LoadCase
from fem.part.tetmesh import TetMesh
from fem.printing.field import PrintedField
from fem.solving.cases import SolvedCases, solved_at
from fem.solving.equilibrium import Equilibrium
from fem.tensors import Array

MOST_TURNS = 40
AGREED = 2e-3
"""Distance of the two factors, relative, at which the search ends; the smaller one counts."""
AGREED_JOINTS = 5e-3
"""The same where what joints do changes all along: each further factor costs a solution with friction."""
INSIDE = 0.1
"""Share of the way between two factors that the next one keeps away from both."""
FAR = 1e3
"""Where nothing grows towards failure, whether the part lifts off is asked at this factor."""
LIFTS_OFF = "comes free of what holds it"
"""The failure mode of a part that is free before its material fails."""
NEAR = 1e-3
"""A part that fails below this factor fails by its permanent loads."""


@dataclass(frozen=True)
class Growth:
    """`stress` of the whole case, the `reserve` field, and `lift_off`, the factor at which the part has lifted off
    its foundations and is free (infinite: it fails before, or never is). `agreed` is false where the search did not
    close; the reserve is then a factor at which the part holds.
    """

    stress: StressField
    reserve: ReserveField
    lift_off: float = np.inf
    agreed: bool = True

    def least(self, singular: NDArray[np.bool_]) -> LeastReserve:
        """The least reserve factor, also by lifting off; nodes (n,) marked `singular` do not count for `away`."""
        found = self.reserve.least(singular)
        mode = LIFTS_OFF if self.lift_off < found.reserve else found.mode
        reserve, away = min(found.reserve, self.lift_off), min(found.away, self.lift_off)
        return replace(found, reserve=reserve, away=away, mode=mode)


@dataclass(frozen=True)
class _Loaded:
    """A case with its growing loads at `factor` and the contact there: its `stress`, and the `stay` and `growing`
    parts of it under that contact. Each part alone would press elsewhere: only `stress` is real.
    """

    factor: float
    stress: StressField
    stay: StressField | None
    growing: StressField


def judge_growth(
    case: LoadCase, *, recovered: RecoveredStress, equilibrium: Equilibrium, trace: LoadTrace | None = None
) -> Growth:
    """Judge a case by the stress `recovered` from its solution; what is solved on the way is kept in the `trace`.

    Errors: NotConverged.
    """
    mesh, printed, solved = recovered.mesh, recovered.printed, recovered.solved
    first = _loaded(case, recovered, 1.0)
    if solved.contact is None or not case.permanent:
        field = judge_reserve(mesh, printed, permanent=first.stay, growing=first.growing)
        return Growth(first.stress, _apart(mesh, printed, field, first) if first.stay else field)

    states, loaded = {1.0: solved}, dict[float, _Loaded | None]()

    def load(factor: float) -> _Loaded | None:
        """The case at another factor, None where it is free."""
        if factor not in loaded:
            loaded[factor] = solve(factor)
        return loaded[factor]

    def solve(factor: float) -> _Loaded | None:
        try:
            again = solved_at(equilibrium, case, solved, factor=factor, begin=_between(case, states, factor))
        except FreeBodyError:
            return None
        states[factor] = again
        there = _loaded(case, RecoveredStress(mesh, printed, again), factor)
        if trace is not None:
            trace.took(factor, again, there.stress, asked_by="reserve")
        return there

    if trace is not None:
        trace.took(1.0, solved, first.stress, asked_by="case")
    agreed = AGREED_JOINTS if JOINTS in case.factors else AGREED
    found, crushed = _search(mesh, printed, first, load, None, agreed)
    if crushed is None:
        return found
    # Nearly nothing grows there: what fails is used up by the permanent loads, with the contact that these make
    alone = judge_reserve(mesh, printed, permanent=None, growing=crushed.stress)
    used = used_up_nodes(mesh, alone.reserve)
    if not used.any() or used.all():
        return found
    again, _ = _search(mesh, printed, first, load, used, agreed)
    return replace(again, reserve=without_used_up(again.reserve, used, alone))


def _between(case: LoadCase, states: Mapping[float, SolvedCases], factor: float) -> Array:
    """Displacement (n, 3) [mm] at a factor on the line through those of the two solved nearest to it."""
    near = sorted(states, key=lambda known: abs(known - factor))[:2]
    each = [
        case.combined(case.permanent, states[f].units) + f * case.combined(case.growing, states[f].units)
        for f in near
    ]
    if len(near) == 1:
        return each[0]
    return np.asarray(each[0] + (factor - near[0]) / (near[1] - near[0]) * (each[1] - each[0]))


def _apart(mesh: TetMesh, printed: PrintedField, field: ReserveField, at: _Loaded) -> ReserveField:
    """The field of a loaded state with the places told apart that its permanent part alone uses up."""
    if at.stay is None or field.reserve.min() > 0:
        return field
    alone = judge_reserve(mesh, printed, permanent=None, growing=at.stay)
    used = used_up_nodes(mesh, alone.reserve)
    if not used.any() or used.all():
        return replace(field, used=used, alone=alone) if used.any() else field
    stay, growing = at.stay.without(used), at.growing.without(used)
    return without_used_up(judge_reserve(mesh, printed, permanent=stay, growing=growing), used, alone)


def _search(
    mesh: TetMesh,
    printed: PrintedField,
    first: _Loaded,
    load: Callable[[float], _Loaded | None],
    used: NDArray[np.bool_] | None,
    agreed: float,
) -> tuple[Growth, _Loaded | None]:
    """Close in on the load of failure from the `first` state, without the nodes `used` (n,), until both sides have
    `agreed`; and the state in which the part fails with nearly nothing of what grows, None where it bears more.
    """
    taken: dict[float, float] = {}

    def left(field: StressField | None) -> StressField | None:
        return field if field is None or used is None else field.without(used)

    def judged(at: _Loaded, start: float) -> ReserveField:
        """The reserve beyond a loaded state, counted from `start`."""
        return judge(at.stress, at.growing, start)

    def judge(stay: StressField | None, growing: StressField, start: float = 0.0) -> ReserveField:
        grows = growing if used is None else growing.without(used)
        whole = left(first.stress)
        return judge_reserve(mesh, printed, permanent=left(stay), growing=grows, start=start, whole=whole)

    held, held_field = 0.0, None
    at: _Loaded | None = first
    over, failed, factor = np.inf, first, 1.0
    for _ in range(MOST_TURNS):
        guess = np.inf
        if at is not None:
            taken[factor] = 1 / float(judge(None, at.stress).reserve.min())
            beyond = judged(at, factor)
            least = float(beyond.reserve.min())
            if least > factor:
                held, held_field, guess = factor, beyond, least
                if guess * (1 - agreed) <= held or (guess == np.inf and held >= FAR):
                    return Growth(first.stress, beyond), None
            else:
                over, failed = factor, at
                frozen = judge(at.stay, at.growing)
                guess = float(frozen.reserve.min())
                if over * (1 - agreed) <= guess:
                    return Growth(first.stress, frozen), None
        else:
            over = factor
        if over * (1 - agreed) <= held or over < NEAR:
            if failed.factor == over:
                crushed = failed if over < NEAR and used is None else None
                return Growth(first.stress, judged(failed, held)), crushed
            return Growth(first.stress, held_field or judged(first, 0.0), lift_off=held), None
        factor = _next(held, over, guess, taken)
        at = load(factor)
    return Growth(first.stress, held_field or judged(first, 0.0), agreed=False), None


def _next(held: float, over: float, guess: float, taken: Mapping[float, float]) -> float:
    """The factor to try next between `held` and `over`, at which the shares of the strength `taken` are known."""
    inside = held < guess < over and np.isfinite(guess)
    if held in taken and over in taken and not (inside and len(taken) < 3):
        low, high = taken[held], taken[over]
        way = (1 - low) / (high - low) if high > low else 0.5
        return held + float(np.clip(way, INSIDE, 1 - INSIDE)) * (over - held)
    if inside:
        return guess
    if not np.isfinite(over):
        return FAR
    if held == 0 and len(taken) > 1 and _at_rest(taken) > 1:
        return NEAR / 2
    return float(np.sqrt(held * over)) if held > 0 else over / 2


def _at_rest(taken: Mapping[float, float]) -> float:
    """The share of the strength that the permanent loads take alone, on the line through the two least factors."""
    (low, first), (high, second) = sorted(taken.items())[:2]
    return first - low * (second - first) / (high - low)


def _loaded(case: LoadCase, recovered: RecoveredStress, factor: float) -> _Loaded:
    """A case's stress at a factor from its loads at unit factor, under the contact that these were solved with."""
    if factor != 1.0:
        stay, growing = recovered.stay(case), recovered.of(case, case.growing)
        return _Loaded(factor, combined_stress([(1.0, stay), (factor, growing)]), stay, growing)
    whole = recovered.of(case, tuple(case.factors))
    if not case.permanent:
        return _Loaded(factor, whole, None, whole)
    stay = recovered.stay(case)
    return _Loaded(factor, whole, stay, whole.minus(stay))
