"""Follows a case with joints as its load grows: keeps what the search for the reserve factor solves, and adds the few
load factors that a reader misses.
"""

from __future__ import annotations

import numpy as np

from fem.errors import FreeBodyError, NotConverged
from fem.judging.joints import joint_findings
from fem.judging.path import Between, JointAtLoad, PathPoint, opens, slips
from fem.judging.recovered import RecoveredStress
from fem.judging.reserve import judge_reserve
from fem.judging.stress import StressField, combined_stress
from fem.loading.case import JOINTS, LoadCase
from fem.solving.cases import SolvedCases, solved_at
from fem.solving.equilibrium import Equilibrium

FAR_UP = 0.3
"""Below so large a share of the load of failure, a path has a point."""
WIDE = 0.25
"""A change that lies between factors further apart than this share of the higher one is closed in, once."""


class LoadTrace:
    """The points of a case's path by load factor, as far as they are solved."""

    def __init__(self, case: LoadCase, recovered: RecoveredStress, equilibrium: Equilibrium) -> None:
        self.case, self.recovered, self.equilibrium = case, recovered, equilibrium
        self.points: dict[float, PathPoint] = {}

    @property
    def path(self) -> tuple[PathPoint, ...]:
        """The points in order of their factors."""
        return tuple(self.points[factor] for factor in sorted(self.points))

    def took(self, factor: float, solved: SolvedCases, stress: StressField, *, asked_by: str) -> None:
        """Keep what the case came to at a `factor`, with the `stress` there."""
        if factor in self.points:
            return
        case, mesh = self.case, self.recovered.mesh
        displacement = case.combined(case.permanent, solved.units)
        displacement = displacement + factor * case.combined(case.growing, solved.units)
        whole = judge_reserve(mesh, self.recovered.printed, permanent=None, growing=stress)
        found = joint_findings(self.equilibrium, displacement, contact=solved.contact)
        self.points[factor] = PathPoint(
            factor,
            float(np.linalg.norm(displacement, axis=1).max()),
            float(whole.reserve.min()),
            asked_by,
            {
                name: JointAtLoad(j.force_N, j.touching, j.slipping, j.gap_max_mm, j.slip_max_mm)
                for name, j in found.items()
            },
        )

    def completed(self, failing: float) -> tuple[PathPoint, ...]:
        """The path with the factors that it lacks: where nothing has grown yet, half of the lowest one if that is
        far up the way to the `failing` one, and the middle between the two where a joint first changes, if they lie
        far apart: at most three solves.
        """
        if not self.points:
            return ()
        end = failing if np.isfinite(failing) and failing > 0 else 1.0
        if self._presses_unloaded and 0.0 not in self.points:
            self._solve(0.0)
        lowest = min((factor for factor in self.points if factor > 0), default=end)
        if lowest > FAR_UP * end:
            self._solve(0.5 * lowest)
        if (gap := self._widest()) is not None:
            self._solve((gap.low + gap.high) / 2)
        return self.path

    @property
    def _presses_unloaded(self) -> bool:
        """Whether joints can touch without the loads that grow: by permanent ones, or as press fits."""
        joined = self.equilibrium.joined
        stay = any(name != JOINTS and self.case.factors[name] for name in self.case.permanent)
        return stay or (joined is not None and bool((joined.law.gap < 0).any()))

    def _widest(self) -> Between | None:
        """The first change of a joint that is not closed in yet."""
        path = self.path
        found = [change for name in path[0].joints for each in (opens, slips) if (change := each(path, name))]
        wide = [b for b in found if b.high - b.low > WIDE * b.high]
        return min(wide, key=lambda b: b.low, default=None)

    def _solve(self, factor: float) -> None:
        """Solve one more factor; a path does without where there is no answer."""
        case, recovered = self.case, self.recovered
        try:
            again = solved_at(self.equilibrium, case, recovered.solved, factor=factor)
        except (FreeBodyError, NotConverged):
            return
        anew = RecoveredStress(recovered.mesh, recovered.printed, again)
        stress = combined_stress([(1.0, anew.stay(case)), (factor, anew.of(case, case.growing))])
        self.took(factor, again, stress, asked_by="path")
