"""What each support bears, as rows of a table, and the load at which the part fails."""

from __future__ import annotations

from collections.abc import Sequence

from fem.digits import number
from fem.judging.findings import CaseFindings
from fem.telling.words import force

HEAD = ("Support", "Fx [N]", "Fy [N]", "Fz [N]", "Mx [N·m]", "My [N·m]", "Mz [N·m]", "About, at [mm]", "Contact")
EXPLAINED = (
    "Forces and moments that the supports exert on the part, in part axes; each moment is about the centre of the "
    "support's own area. A part of a support is listed below it and is counted in it."
)
NOISE = 1e-6
"""A force or moment below this share of the largest in its case is rounding, and reads 0."""


def reaction_rows(case: CaseFindings) -> list[tuple[str, ...]]:
    """The rows under HEAD: each support, then its separate parts where it has several."""
    told = case.reactions
    push = max((abs(v) for r in told for v in r.force_N), default=0.0)
    # Forces through one point leave moments of rounding alone: they are held against the force on an arm of 1 mm too
    turn = max((abs(v) for r in told for v in r.origin_moment_Nmm), default=0.0)
    turn = max(turn, push)
    rows = []
    for r in told:
        name = f"{r.support}, {r.part}" if r.part else r.support
        at = "(" + ", ".join(f"{round(v, 1) + 0.0:.1f}" for v in r.at_mm) + ")"
        contact = "" if r.part else _contact(case, r.support)
        moment = _components([v / 1000 for v in r.moment_Nmm], turn / 1000)
        rows.append((name, *_components(r.force_N, push), *moment, at, contact))
    return rows


JOINT_HEAD = (
    "Joint", "Fx [N]", "Fy [N]", "Fz [N]", "Mx [N·m]", "My [N·m]", "Mz [N·m]", "About, at [mm]",
    "Highest pressure [MPa]", "Opened [mm]", "Slipped [mm]", "State",
)  # fmt: skip
JOINTS_EXPLAINED = (
    "Forces and moments on the finer-meshed of the two faces, or on the one that bears on a rigid body, in part "
    "axes, about the joint's middle. The highest pressure is the mean over the hundredth of the area that is pressed "
    "most; faces that were drawn apart count as opened by what is left."
)


def joint_rows(case: CaseFindings) -> list[tuple[str, ...]]:
    """The rows under JOINT_HEAD."""
    push = max((abs(v) for j in case.joints.values() for v in j.force_N), default=0.0)
    turn = max((abs(v) for j in case.joints.values() for v in j.moment_Nmm), default=0.0)
    rows = []
    for name, j in case.joints.items():
        at = "(" + ", ".join(f"{round(v, 1) + 0.0:.1f}" for v in j.at_mm) + ")"
        moment = _components([v / 1000 for v in j.moment_Nmm], max(turn, push) / 1000)
        how_far = (number(j.pressure_max_MPa), number(j.gap_max_mm), number(j.slip_max_mm))
        rows.append((name, *_components(j.force_N, push), *moment, at, *how_far, j.state))
    return rows


def failing_load(case: CaseFindings) -> str:
    """The resultant of the growing loads at which the part fails, with its unit; "–" where they have none."""
    if case.failing_load_N is not None:
        return force(case.failing_load_N)
    return "–" if case.failing_load_Nmm is None else f"{number(case.failing_load_Nmm / 1000)} N·m"


def _contact(case: CaseFindings, support: str) -> str:
    found = case.foundations.get(support)
    if found is None:
        return case.joints[support].state if support in case.joints else ""
    area = f"{number(100 * found.lifted_area_fraction)} % of its area"
    if found.push_only:
        return f"lifted off {area}" if found.lifted_area_fraction > 0 else "pressed all over"
    return f"pulls with {force(found.pull_N)} on {area}" if found.pull_N > 0 else "pressed all over"


def _components(values: Sequence[float], scale: float) -> list[str]:
    return [number(v if abs(v) > NOISE * scale else 0.0, digits=4) for v in values]
