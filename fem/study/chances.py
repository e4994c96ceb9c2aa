"""The chance that each case of a study reaches its reserve factor, and what scatters in it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from fem.judging.answers import Answer
from fem.judging.chance import Scatter, chance_of
from fem.judging.findings import ChanceInput, Reserve
from fem.judging.growing import LIFTS_OFF
from fem.judging.places import Places, gather_places
from fem.judging.recovered import RecoveredStress, recovered_units
from fem.solving.equilibrium import Equilibrium
from fem.solving.sensitivity import stiffness_change
from fem.study.shared_mesh import Prepared


def scatter_of(ready: Prepared) -> Scatter:
    """What scatters in a study: loads as it says, strengths and stiffness by the cards."""
    cards = {name: body.values.scatter or 0.0 for name, body in ready.made.items() if body.values is not None}
    stiffness = {name: body.values.stiffness_scatter for name, body in ready.made.items() if body.values is not None}
    return Scatter(cards, stiffness, {name: plan.scatter for name, plan in ready.study.loads.items()})


def places_of(
    ready: Prepared, equilibrium: Equilibrium, recovered: RecoveredStress, answers: Mapping[str, Answer]
) -> dict[str, Places]:
    """Where each of the cases solved together may fail; none where nothing scatters. What joints
    touch and where they slip is taken as it is in the case. Errors: NotConverged."""
    scatter, solved = scatter_of(ready), recovered.solved
    if not scatter.any:
        return {}
    changes = None
    if any(scatter.stiffness.values()):
        loads = {k: load for case in solved.cases for k, load in case.loads.items()}
        changes = stiffness_change(equilibrium, solved, loads)
    units = None
    if changes is not None:
        units = recovered_units(ready.mesh, ready.printed, {k: (changes[k], None) for k in recovered.loads})
    return {
        case.name: gather_places(
            case, recovered=recovered, changes=units, scatter=scatter.loads, field=answers[case.name].field
        )
        for case in solved.cases
    }


def with_chances(ready: Prepared, places: Mapping[str, Places], answers: Mapping[str, Answer]) -> dict[str, Answer]:
    """The answers with the chance of each case's reserve factor, as beads or the homogenised answer decided it."""
    out = dict(answers)
    for name, found in places.items():
        case = answers[name].findings
        # Where permanent loads use a place up, the case is not borne, whatever is left elsewhere
        if not case.used_up:
            out[name] = replace(answers[name], findings=replace(case, reserve=_told(ready, found, case.reserve)))
    return out


def _told(ready: Prepared, places: Places, reserve: Reserve) -> Reserve:
    """A reserve with its chance; none for a part that lifts off before its material fails."""
    if reserve.mode == LIFTS_OFF:
        return reserve
    required = ready.study.requirements.reserve
    own = places if reserve.decided_by == "homogenised" else places.decided(reserve.body, reserve.zone)
    limits = (1.0,) if required is None else (1.0, required)
    found = chance_of(own, scatter=scatter_of(ready), limits=limits, told=reserve.minimum, band=reserve.band)
    if found is None:
        return reserve
    return replace(
        reserve,
        chance_above_1=found.above[0],
        chance_met=None if required is None else found.above[1],
        chance_limit=required,
        chance_errors=found.errors,
        chance_inputs=tuple(ChanceInput(*each) for each in found.inputs),
    )
