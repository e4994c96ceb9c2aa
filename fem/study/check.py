"""What a study would use, told before anything is solved."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fem.caution import Caution
from fem.joining.fitting import FittedBolt
from fem.judging.bodies import describe_bodies, print_cautions
from fem.judging.bolts import holder_of
from fem.loading.case import LoadCase, lost_loads
from fem.loading.loads import resultant
from fem.loading.supports import gather
from fem.part.faces import FaceGroup
from fem.part.meshing import refuse_too_large
from fem.part.solid import Solid
from fem.solving.equilibrium import refuse_free_motion
from fem.study.clock import Progress
from fem.study.file import read_study
from fem.study.gather import print_keys, support_facts
from fem.study.plans import Study
from fem.study.prepare import bolts_of, joints_of, supports_of
from fem.study.remarks import remarks_of
from fem.study.run import prepare
from fem.study.shared_mesh import expected_unknowns, own_sizes, read_bodies


@dataclass(frozen=True)
class Checked:
    """What a study would use: `unknowns` by body (about), `loads` the facts at factor one, `totals` force [N] and
    moment [N mm] about the origin by case; `solids` the solids as read, by body; `bolts` as they
    fit their holes.
    """

    study: Study
    solids: dict[str, Solid]
    bodies: dict[str, Any]
    groups: dict[str, FaceGroup]
    unknowns: dict[str, int]
    supports: dict[str, dict[str, Any]]
    loads: dict[str, dict[str, Any]]
    totals: dict[str, tuple[Any, Any]]
    bolts: tuple[FittedBolt, ...]
    cautions: tuple[Caution, ...]


def check_study(study: Study | Path | str, *, progress: Progress | None = None) -> Checked:
    """Read, match and add up a study (or its file) without solving; a coarse mesh is enough, since resultants do not
    depend on it.

    Errors: all that a run would refuse before it solves.
    """
    study = read_study(study)
    solids = read_bodies(study)
    unknowns = expected_unknowns(solids, own_sizes(study))
    refuse_too_large(sum(unknowns.values()), where=str(study.path))
    coarse = {n: (max(solids[n].size / 15, b.size or 0.0), solids[n].size / 60) for n, b in study.bodies.items()}
    ready = prepare(study, sizes=coarse, progress=progress)
    held, foundations = supports_of(study, ready.mesh, ready.groups)
    joints = joints_of(study, ready.mesh, ready.groups)
    loads = ready.loads
    cases = [LoadCase(name, factors, loads) for name, factors in study.cases.items()]
    for displaced in {case.displaced for case in cases}:
        moved = [face for name in displaced if (face := loads[name].displacement) is not None]
        if not (joints or study.bolts):
            refuse_free_motion(ready.mesh, held=[*held, *moved], foundations=foundations)
        lost_loads(loads, gather(ready.mesh, (*held, *moved)).projector)
    bolts = tuple(bolts_of(study, ready.mesh, ready.groups))
    for bolt in bolts:
        holder_of(bolt, ready.made)
    totals = {}
    for case in cases:
        forces = case.combined(tuple(case.factors), {k: v.forces for k, v in loads.items()})
        totals[case.name] = resultant(ready.mesh, forces)
    bodies = describe_bodies(ready.mesh, ready.printed, made=ready.made, keys=print_keys(study))
    facts = {k: v.facts for k, v in loads.items()}
    supports = {name: support_facts(plan) for name, plan in study.supports.items()}
    # The mesh of a check is coarser than that of the run: what it reaches of a cut says nothing of the run's
    return Checked(
        study,
        solids,
        bodies,
        ready.groups,
        unknowns,
        supports,
        facts,
        totals,
        bolts,
        (*remarks_of(ready), *print_cautions(bodies)),
    )
