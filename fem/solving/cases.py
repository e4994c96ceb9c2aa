"""The load cases that share one matrix: each load solved at unit factor, so that a case is a sum.

Where a foundation only pushes, sums hold as long as it presses at the same points. There each case is solved as a
whole first, which tells where it presses; then its loads are solved at unit factor with that contact, and their sum
is the case itself.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product

import numpy as np

from fem.errors import FreeBodyError, NotConverged
from fem.loading.case import JOINTS, LoadCase
from fem.loading.supports import Held
from fem.solving.contact import solve_contact
from fem.solving.equilibrium import Contact, Equilibrium
from fem.solving.jointed import meeting
from fem.solving.linear import TOLERANCE, SolveRecord
from fem.solving.tightened import Tightened
from fem.tensors import Array

Progress = Callable[[float], None]
BESIDE = 1e-7
"""The residual at which loads beside the answer of joints are solved: they tell how it grows, not what it is."""
ON_THE_WAY = 1e-4
"""The same at other factors, where how it grows says which factor to look at next."""


@dataclass(frozen=True)
class SolvedCases:
    """Cases with the displacement (n, 3) [mm] of each of their loads at unit factor, under the `contact` that they
    share (None: no foundation only pushes). `starts` (n, 3) [mm] are the loads' prescribed displacements;
    `tightened` is how bolts were before.
    """

    cases: tuple[LoadCase, ...]
    units: Mapping[str, Array]
    record: SolveRecord
    contact: Contact | None = None
    starts: Mapping[str, Array] = field(default_factory=dict)
    tightened: Tightened | None = None


def solve_cases(
    equilibrium: Equilibrium,
    cases: Sequence[LoadCase],
    *,
    moves: Mapping[str, Held],
    tightened: Sequence[Tightened | None] = (None,),
    beside: Array | None = None,
    tolerance: float = TOLERANCE,
    guesses: Mapping[str, Array] | None = None,
    beside_guess: Array | None = None,
    begins: Mapping[str, Array] | None = None,
    progress: Progress | None = None,
) -> tuple[list[SolvedCases], Array]:
    """Solve cases that prescribe the displacements `moves`, by load; one entry for all, or one a case with a contact,
    and one for each way in which bolts were `tightened`.

    `beside` (k, n, 3) [N] are further nodal forces, answered (k, n, 3) [mm] with every foundation pressing all over.
    `guesses` (n, 3) [mm] by load and `beside_guess` (k, n, 3) [mm] are where iterations begin, `begins` (n, 3) [mm]
    by case where those of joints do.
    Errors: NotConverged; FreeBodyError naming the case in which the part lifts off.
    """
    beside = np.zeros((0, *equilibrium.mesh.nodes.shape)) if beside is None else beside
    starts = {name: equilibrium.starts(move) for name, move in moves.items()}
    if equilibrium.linear and not any(f.push_only for f in equilibrium.foundations.values()):
        names = sorted({k for case in cases for k in case.factors})
        units, record, rest = _units(
            equilibrium, cases, names, starts, beside, tolerance, None, progress, guesses, beside_guess
        )
        return [SolvedCases(tuple(cases), units, record)], rest
    rest, _ = equilibrium.solve(beside, tolerance=tolerance, guess=beside_guess)
    out = []
    for number, (case, before) in enumerate(product(cases, tightened)):
        begin = (begins or {}).get(case.name)
        out.append(_whole(equilibrium, case, starts, 1.0, tolerance, begin, before))
        if progress is not None:
            progress((number + 1) / (len(cases) * len(tightened)))
    return out, rest


def solved_at(
    equilibrium: Equilibrium, case: LoadCase, solved: SolvedCases, *, factor: float, begin: Array | None = None
) -> SolvedCases:
    """A case, solved before, with the contact that it has when its growing loads are `factor` times as large; joints
    `begin` at a displacement (n, 3) [mm], that of the case unless given.

    Errors: NotConverged, FreeBodyError where the part lifts off there.
    """
    if JOINTS not in case.factors:
        return _whole(equilibrium, case, solved.starts, factor, TOLERANCE)
    if begin is None:  # as if joints went on as they are: what grows does so with all that touches sticking
        begin = case.combined(case.permanent, solved.units) + factor * case.combined(case.growing, solved.units)
    return _whole(equilibrium, case, solved.starts, factor, ON_THE_WAY, begin, solved.tightened, solved.units)


def _whole(
    equilibrium: Equilibrium,
    case: LoadCase,
    starts: Mapping[str, Array],
    factor: float,
    tolerance: float,
    begin: Array | None = None,
    tightened: Tightened | None = None,
    guesses: Mapping[str, Array] | None = None,
) -> SolvedCases:
    """A case solved with its contact when its growing loads are `factor` times as large."""
    none = np.zeros((0, *equilibrium.mesh.nodes.shape))
    if not equilibrium.linear:
        case, contact, met = meeting(equilibrium, case, starts, factor=factor, begin=begin, tightened=tightened)
        found = SolveRecord(sum(met.iterations), met.history)
        names = [k for k in case.factors if k != JOINTS]
        enough = max(tolerance, BESIDE)
        units, record, _ = _units(equilibrium, [case], names, starts, none, enough, contact, guesses=guesses)
        # What the joints' constant force does is what the other loads leave of the answer: their sum is exact
        stay = case.combined(tuple(k for k in case.permanent if k != JOINTS), units)
        units[JOINTS] = met.displacement - stay - factor * case.combined(case.growing, units)
    else:
        found, contact = _contact_of(equilibrium, case, starts, factor, tolerance)
        units, record, _ = _units(equilibrium, [case], list(case.factors), starts, none, tolerance, contact)
    iterations = found.iterations + record.iterations
    return SolvedCases((case,), units, SolveRecord(iterations, record.history), contact, starts, tightened)


def _contact_of(
    equilibrium: Equilibrium, case: LoadCase, starts: Mapping[str, Array], factor: float, tolerance: float
) -> tuple[SolveRecord, Contact]:
    """Where push-only foundations press. Errors: NotConverged, FreeBodyError, both naming the case."""
    given = {k: case.loads[k].forces for k in case.factors}
    forces = case.combined(case.permanent, given) + factor * case.combined(case.growing, given)
    start = None
    if case.displaced:
        own = {k: (factor if k in case.growing else 1.0) * starts[k] for k in case.displaced}
        start = case.combined(case.displaced, own)
    try:
        _, record, contact = solve_contact(equilibrium, forces, start=start, tolerance=tolerance)
    except FreeBodyError as error:
        raise FreeBodyError(error.message, where=f"cases.{case.name}", advice=error.advice) from None
    except NotConverged as error:
        named = f"case {case.name}: {error.message}"
        raise NotConverged(named, best=error.best, history=error.history, advice=error.advice) from None
    return record, contact


def _units(
    equilibrium: Equilibrium,
    cases: Sequence[LoadCase],
    names: Sequence[str],
    starts: Mapping[str, Array],
    beside: Array,
    tolerance: float,
    contact: Contact | None,
    progress: Progress | None = None,
    guesses: Mapping[str, Array] | None = None,
    beside_guess: Array | None = None,
) -> tuple[dict[str, Array], SolveRecord, Array]:
    """Displacements of the loads at unit factor, the iterations of all, and the answers to the forces `beside`."""
    nodes = equilibrium.mesh.nodes
    loads = {k: case.loads[k] for case in cases for k in case.factors}
    plain = [k for k in names if loads[k].displacement is None]
    forces = np.array([loads[k].forces for k in plain]).reshape(-1, *nodes.shape)
    right = np.concatenate([forces, beside])
    known = guesses or {}
    guess = None
    if guesses or beside_guess is not None:
        own = np.array([known.get(k, np.zeros_like(nodes)) for k in plain]).reshape(-1, *nodes.shape)
        guess = np.concatenate([own, np.zeros_like(beside) if beside_guess is None else beside_guess])
    found, record = equilibrium.solve(right, tolerance=tolerance, contact=contact, guess=guess, progress=progress)
    units = dict(zip(plain, found, strict=False))
    iterations = record.iterations
    for name, start in starts.items():
        none = np.zeros((1, *nodes.shape))
        begin = known[name][None] if name in known else None
        answer, moved = equilibrium.solve(none, starts=start[None], tolerance=tolerance, contact=contact, guess=begin)
        units[name] = answer[0]
        iterations += moved.iterations
    # A displacement that no factor asks for moves nothing and holds nothing
    units |= {k: np.zeros_like(nodes) for k in names if k not in units}
    return units, SolveRecord(iterations, record.history), found[len(plain) :]
