"""What one build direction gives, of cases that are solved: their least reserve factors, without pictures' fields."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from fem.digits import against, reserve_text
from fem.errors import NoTrustworthyAnswer
from fem.judging.findings import BodyFindings
from fem.judging.growing import judge_growth
from fem.judging.hotspots import find_singular_places
from fem.judging.interlayer import largest_interlayer
from fem.judging.orientation import DirectionNumbers
from fem.judging.recovered import RecoveredStress
from fem.judging.requirements import Requirements
from fem.judging.reserve import LeastReserve, judge_reserve
from fem.judging.stress import StressField, combined_stress
from fem.judging.trust import WORST_BALANCE
from fem.loading.case import without_joints
from fem.loading.kinds import edged_patches
from fem.part.tetmesh import TetMesh
from fem.printing.field import PrintedField
from fem.printing.overhang import Skin, overhang_area
from fem.solving.units import SolvedUnits
from fem.tensors import Array


@dataclass(frozen=True)
class JudgedCase:
    """A case's `least` reserve factor, its `stress` and `displacement` (n, 3) [mm], and the resultants [N] of its
    growing loads.
    """

    least: LeastReserve
    stress: StressField
    displacement: Array
    growing_N: dict[str, float]


def judge_units(printed: PrintedField, units: SolvedUnits) -> dict[str, JudgedCase]:
    """The cases that were solved together. Errors: NoTrustworthyAnswer where forces do not balance."""
    mesh = units.equilibrium.mesh
    used = {k: case.loads[k] for part in units.parts for case in part.cases for k in case.factors}
    singular = find_singular_places(mesh, held=units.held, loaded=edged_patches(used)).at
    out: dict[str, JudgedCase] = {}
    for part in units.parts:
        recovered = RecoveredStress(mesh, printed, part)
        for case in part.cases:
            displacement = case.combined(tuple(case.factors), part.units)
            named = without_joints(case)
            applied = named.combined(tuple(named.factors), {k: used[k].forces for k in named.factors})
            left = units.equilibrium.balance(displacement, applied, part.record, contact=part.contact)
            if max(left.force_error, left.moment_error) > WORST_BALANCE:
                raise NoTrustworthyAnswer(f"case {case.name}: forces do not balance.")
            growing = recovered.of(case, case.growing)
            stay = recovered.stay(case) if case.permanent else None
            if stay is not None and part.contact is not None:
                least = judge_growth(case, recovered=recovered, equilibrium=units.equilibrium).least(singular)
            else:
                least = judge_reserve(mesh, printed, permanent=stay, growing=growing).least(singular)
            stress = growing if stay is None else combined_stress([(1.0, growing), (1.0, stay)])
            found = JudgedCase(least, stress, displacement, case.growing_forces(mesh))
            # Bolts are tightened to both ends of their scatter: the one that bears less counts
            if case.name not in out or least.reserve < out[case.name].least.reserve:
                out[case.name] = found
    return out


def direction_numbers(
    judged: Mapping[str, JudgedCase],
    mesh: TetMesh,
    printed: PrintedField,
    *,
    bodies: Mapping[str, BodyFindings],
    body: str,
    watched: Mapping[str, Array],
    skin: Skin,
) -> DirectionNumbers:
    """The numbers of the direction in which the `body` of these `bodies` is built; `watched` are unit wrenches
    (6, n, 3) by face. Errors: NoTrustworthyAnswer.
    """
    least = {name: each.least for name, each in judged.items()}
    worst = min(least, key=lambda name: least[name].reserve)
    length = {name: float(np.linalg.norm(j.displacement, axis=1).max()) for name, j in judged.items()}
    most = max(length, key=lambda name: length[name])
    if not all(np.isfinite(v) for v in length.values()):
        raise NoTrustworthyAnswer(f"case {most} came to numbers that are not finite.")
    pull, pulled = largest_interlayer(printed, {name: each.stress for name, each in judged.items()})
    took = bodies[body].print
    assert took is not None
    up = np.array(took.build_direction)
    motion = {
        n: [np.einsum("kni,ni->k", w, each.displacement) for each in judged.values()] for n, w in watched.items()
    }
    return DirectionNumbers(
        direction=took.build_direction,
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
        overhang_mm2=overhang_area(skin, direction=up, bed=took.bead_height_mm),
        overhang_opposite_mm2=overhang_area(skin, direction=-up, bed=took.bead_height_mm),
        height_mm=float(np.ptp(skin.nodes @ up)),
        mass_g=sum(b.mass_g for b in bodies.values()),
        time_h=took.time_h,
        cost=took.cost,
    )


def borne_loads(judged: Mapping[str, JudgedCase], loads: Iterable[str]) -> dict[str, float]:
    """The force [N] of each of these loads at failure, in the case that bears least of it."""
    return {
        name: min(j.least.reserve * j.growing_N[name] for j in judged.values() if name in j.growing_N)
        for name in loads
    }


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
