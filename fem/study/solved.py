"""A study's cases solved and judged by the homogenised answer: all that beads, findings and pictures start from."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from fem.caution import Caution
from fem.errors import FreeBodyError, InputError, NoTrustworthyAnswer
from fem.joining.bolt_forces import bolt_tractions
from fem.joining.fitting import FittedBolt
from fem.joining.joint import BEARING
from fem.judging.answers import Answer, answer_case, face_stiffness, unit_wrenches
from fem.judging.bench import BenchPrediction
from fem.judging.bolts import judge_bolts
from fem.judging.both_ends import of_both_ends
from fem.judging.clamp_time import ClampWithTime
from fem.judging.clamped_layers import clamps_of
from fem.judging.convergence import PassHistory
from fem.judging.findings import FaceStiffness
from fem.judging.hotspots import NearestFace, SingularPlaces, find_singular_places
from fem.judging.one_mesh import with_mesh_bands
from fem.judging.places import Places
from fem.judging.recovered import RecoveredStress
from fem.judging.scene import Patch
from fem.judging.trust import WORST_BALANCE
from fem.loading.case import JOINTS, LoadCase
from fem.loading.kinds import edged_patches
from fem.loading.supports import Held
from fem.solving.cases import SolvedCases, solved_at
from fem.solving.units import Displacements, SolvedUnits, solve_units
from fem.study.bench import bench_predictions
from fem.study.chances import places_of
from fem.study.clock import Clock, Progress, clock_say
from fem.study.prepare import bolts_of, joints_of, patches_of, supports_of
from fem.study.remarks import remarks_of
from fem.study.shared_mesh import Prepared
from fem.tensors import Array
from fem.zooming.cube import Supported
from fem.zooming.meets import Meeting
from fem.zooming.place import SolvedPart

STAGES = {"assemble and set up": 0.18, "solve": 0.28}
"""Where in the whole run the stages of a solve begin."""


@dataclass
class SolvedStudy:
    """A study's `cases` with their `answers`, the `parts` that were solved together, which places are `singular` by
    case, the `stiffness` of watched faces, `iterations` and `balance` of all solves, what must be said, and the
    `places` by case on which its chance is judged. `moved` are all displacements that were solved for; `passes` tells
    of the meshes before this one, `clamps` of what stays of each bolt's clamp with time,
    `bench` of what is predicted of tests.
    """

    cases: dict[str, LoadCase]
    answers: dict[str, Answer] = field(default_factory=dict)
    parts: list[SolvedPart] = field(default_factory=list)
    singular: dict[str, SingularPlaces] = field(default_factory=dict)
    stiffness: dict[str, FaceStiffness] = field(default_factory=dict)
    iterations: int = 0
    balance: float = 0.0
    remarks: list[Caution] = field(default_factory=list)
    patches: tuple[Patch, ...] = ()
    places: dict[str, Places] = field(default_factory=dict)
    seconds: dict[str, float] = field(default_factory=dict)
    moved: Displacements = field(default_factory=dict)
    passes: PassHistory | None = None
    clamps: dict[str, ClampWithTime] = field(default_factory=dict)
    bench: dict[str, BenchPrediction] = field(default_factory=dict)

    def temperature_change(self, case: str) -> Array | None:
        """By how much (m,) [K] the tetrahedra warm in a case."""
        return self.cases[case].temperature_change(tuple(self.cases[case].factors))


def solve_cases_of(
    ready: Prepared, *, begin: Displacements | None = None, progress: Progress | None = None
) -> SolvedStudy:
    """Solve and judge every case of a prepared study; iterations `begin` at what a coarser mesh came to, where that
    is given.

    Errors: FreeBodyError, NotConverged, NoTrustworthyAnswer.
    """
    clock = Clock(progress)
    study, mesh, groups = ready.study, ready.mesh, ready.groups
    out = SolvedStudy({name: LoadCase(name, factors, ready.loads) for name, factors in study.cases.items()})
    if not out.cases:
        raise InputError("there is no load case.", where=str(study.path), advice="Add [loads] and [cases].")
    held, foundations = supports_of(study, mesh, groups)
    joints, bolts = joints_of(study, mesh, groups), bolts_of(study, mesh, groups)
    watched = {name: unit_wrenches(mesh, groups[name]) for name in study.watch}
    out.remarks += remarks_of(ready)
    if watched and (pushing := [f.name for f in foundations if f.push_only]):
        text = f"The stiffness of watched faces takes foundation {', '.join(pushing)} as pressing all over."
        out.remarks.append(Caution("stiffness_without_contact", text, {"supports": pushing}))

    bearing = [joint.name for joint in joints if joint.kind == BEARING]
    if watched and bearing:
        text = f"The stiffness of watched faces takes joint {', '.join(bearing)} as touching all over, without slip."
        out.remarks.append(Caution("stiffness_without_contact", text, {"joints": bearing}))

    out.clamps, fading = clamps_of(bolts, joints, mesh, ready.made)
    out.remarks += fading
    near = NearestFace(mesh, groups)
    for units in solve_units(
        mesh,
        ready.printed,
        list(out.cases.values()),
        held=held,
        foundations=foundations,
        joints=joints,
        bolts=bolts,
        pattern=ready.shared_mesh.pattern,
        solver=study.solver,
        earlier=ready.shared_mesh.take_earlier,
        watched=watched,
        begin=begin,
        stage=lambda text: clock(text, STAGES[text]),
        progress=lambda s: clock_say(progress, "solve", 0.28 + 0.2 * s),
    ):
        clock("judge", 0.5)
        out.remarks += [caution for caution in units.cautions if caution not in out.remarks]
        out.moved |= units.displacements
        out.stiffness |= {name: face_stiffness(watched[name], found) for name, found in units.wrenches.items()}
        singular = find_singular_places(mesh, held=units.held, loaded=edged_patches(ready.loads))
        ends: dict[tuple[str, ...], list[_End]] = {}
        for some in units.parts:
            out.iterations += some.record.iterations
            out.singular |= dict.fromkeys((case.name for case in some.cases), singular)
            end = _judged(ready, units, some, singular=singular, watched=watched, near=near, bolts=bolts, held=held)
            ends.setdefault(tuple(end.answers), []).append(end)
        for each in ends.values():
            end = each[0] if len(each) == 1 else _of_both(*each)
            out.parts.append(end.part)
            for name, told in end.answers.items():
                low, high = each[0].answers[name], each[-1].answers[name]
                answer = out.answers[name] = _with_bolts(ready, bolts, told, name, low=low, high=high)
                out.remarks += [caution for caution in answer.remarks if caution not in out.remarks]
                out.balance = max(out.balance, answer.findings.force_error, answer.findings.moment_error)
            clock("chance", 0.49)
            out.places |= places_of(ready, units.equilibrium, end.recovered, out.answers)
            out.bench |= bench_predictions(ready, units.equilibrium, end.recovered, out.answers)
            clock("judge", 0.49)
        ready.shared_mesh.remember(units.equilibrium)
    if bearing and out.places:
        text = f"The chance takes joint {', '.join(bearing)} to touch and slip as at the mean of all that scatters."
        out.remarks.append(Caution("chance_contact", text, {"joints": bearing}))
    if watched and not out.stiffness:
        # It would be that of the part without prescribed displacements, which here alone hold it
        text = "The stiffness of watched faces is not told: the supports alone leave the part free to move."
        out.remarks.append(Caution("no_stiffness", text, {"faces": list(watched)}))
    clock("", 0.5)
    if out.balance > WORST_BALANCE:
        raise NoTrustworthyAnswer(
            f"forces balance only to {out.balance:.1e} of the load.",
            advice="Look for a body that is hardly held, or a very soft foundation.",
        )
    out.patches, out.seconds = patches_of(mesh, held, foundations, ready.loads, joints), clock.seconds
    return out


@dataclass(frozen=True)
class _End:
    """Cases solved together, judged; with bolts, at one end of what tightening may leave."""

    part: SolvedPart
    recovered: RecoveredStress
    answers: dict[str, Answer]


def _judged(
    ready: Prepared,
    units: SolvedUnits,
    solved: SolvedCases,
    *,
    singular: SingularPlaces,
    watched: dict[str, Array],
    near: NearestFace,
    bolts: list[FittedBolt],
    held: list[Held],
) -> _End:
    recovered = RecoveredStress(ready.mesh, ready.printed, solved)
    answers = {}
    for case in solved.cases:
        answer = answer_case(
            case,
            recovered=recovered,
            equilibrium=units.equilibrium,
            watched=watched,
            points=ready.study.points,
            singular=singular,
            near=near,
            bolts=bolts,
        )
        findings = with_mesh_bands(
            answer.findings,
            ready.mesh,
            ready.printed,
            answer.fields.displacement,
            energy_error=answer.energy_error,
            stay=recovered.stay(case) if case.permanent else None,
            temperature_change=case.temperature_change(tuple(case.factors)),
        )
        answers[case.name] = replace(answer, findings=findings)
    return _End(_part(solved, units, held, bolts), recovered, answers)


def _of_both(low: _End, high: _End) -> _End:
    """A case after the least and the most tightening, told by the end with the lesser reserve factor."""
    (name,) = low.answers
    answer, tells_low = of_both_ends(low.answers[name], high.answers[name])
    return replace(low if tells_low else high, answers={name: answer})


def _with_bolts(
    ready: Prepared, bolts: list[FittedBolt], answer: Answer, case: str, *, low: Answer, high: Answer
) -> Answer:
    """The answer of a case with its bolts judged, from both ends of tightening."""
    if not low.bolts or not high.bolts:
        return answer
    found, cautions = judge_bolts(bolts, ready.made, case=case, low=low.bolts, high=high.bolts)
    return replace(answer, findings=replace(answer.findings, bolts=found), remarks=(*answer.remarks, *cautions))


def _part(
    solved: SolvedCases, units: SolvedUnits, held: list[Held], bolts: list[FittedBolt], *, factor: float = 1.0
) -> SolvedPart:
    """Cases solved together, with their growing loads `factor` times as large, as the beads within them need them."""
    pressing = {} if solved.contact is None else solved.contact.pressing
    foundations = tuple(units.equilibrium.foundations.values())
    supported = Supported(tuple(held), foundations, pressing, units.moved, _meeting(solved, units, factor))

    def grown(factor: float) -> SolvedPart | None:
        try:
            again = solved_at(units.equilibrium, solved.cases[0], solved, factor=factor)
        except FreeBodyError:
            return None
        return replace(_part(again, units, held, bolts, factor=factor), start=factor)

    stays = solved.contact is None or not solved.cases[0].permanent
    cases = {case.name: _with_pulls(case, solved, units, bolts) for case in solved.cases}
    return SolvedPart(cases, solved.units, supported, None if stays else grown)


def _with_pulls(case: LoadCase, solved: SolvedCases, units: SolvedUnits, bolts: list[FittedBolt]) -> LoadCase:
    """The case whose loads bring along what the bolts' ends press with under each: beads do not know bolts."""
    joined = units.equilibrium.joined
    locked = None if solved.contact is None else solved.contact.locked
    if joined is None or joined.ties is None or locked is None:
        return case
    ties, loads = joined.ties, dict(case.loads)
    for name in case.factors:
        forces = locked.springs(ties, solved.units[name])
        if name == JOINTS:
            forces = forces - locked.along(ties)
        each = zip(bolts, forces.reshape(len(bolts), -1), strict=True)
        pulls = [pull for bolt, own in each for pull in bolt_tractions(units.equilibrium.mesh, bolt, own)]
        loads[name] = replace(loads[name], tractions=(*loads[name].tractions, *pulls))
    return replace(case, loads=loads)


def _meeting(solved: SolvedCases, units: SolvedUnits, factor: float) -> Meeting | None:
    """What joints do in cases solved together; of several cases, all joints are glued."""
    joined = units.equilibrium.joined
    if joined is None:
        return None
    case = solved.cases[0]
    permanent, growing = (case.combined(names, solved.units) for names in (case.permanent, case.growing))
    return Meeting(joined, solved.units, permanent + factor * growing)
