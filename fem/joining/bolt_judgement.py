"""What a loaded bolt does to itself, to what its head presses on, and to the thread that holds it.

Sources: VDI 2230 part 1 (working stress with half of the torsion that tightening left; pressure under the head). What
a polymer bears for long under a head is common practice: 1/3 to 1/2 of its compression strength.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from fem.caution import Caution
from fem.errors import InputError
from fem.joining.bolt_plan import BoltPlan, Seat, pressing_seat
from fem.joining.bolt_sizes import Thread
from fem.joining.pull_out import PullOut
from fem.joining.strength_along import LONG_TERM
from fem.joining.thread_stripping import ThreadStrength, check_engagement
from fem.joining.tightening import Tightened, torsion_over_tension

TORSION_LEFT = 0.5
"""Share of the tightening torsion that is still in the bolt at work (VDI 2230: k_tau)."""


@dataclass(frozen=True)
class BoltStress:
    """Stress in a bolt's thread [MPa]: `tension`, `bending`, `torsion` left from tightening, `shear`; `total` all by
    von Mises, as if torsion and shear peaked at the same place."""

    tension: float
    bending: float
    torsion: float
    shear: float

    @property
    def total(self) -> float:
        """[MPa]."""
        return math.hypot(self.tension + self.bending, math.sqrt(3) * (self.torsion + self.shear))


def working_stress(
    thread: Thread,
    *,
    force: float,
    preload: float,
    thread_friction: float,
    shear: float = 0.0,
    bending: float = 0.0,
) -> BoltStress:
    """Stress of a bolt tightened to `preload` [N] that now pulls with `force` [N], crosswise with `shear` [N], and
    is bent by `bending` [N mm].

    Half of the tightening torsion stays, on the elastic section, where it counts 4/3 of what it does at full
    plasticity.
    """
    area, d0 = thread.stress_area, thread.stress_diameter
    plastic = preload / area * torsion_over_tension(thread, thread_friction)
    return BoltStress(
        tension=force / area,
        bending=32 * abs(bending) / (math.pi * d0**3),
        torsion=TORSION_LEFT * plastic * 4 / 3,
        shear=abs(shear) / area,
    )


@dataclass(frozen=True)
class HeadPressure:
    """Pressure under a head or washer [MPa]: the `highest` under load, and that which `stays`; what is `borne` for a
    short time and `borne_long`."""

    highest: float
    stays: float
    borne: float
    borne_long: float

    @property
    def reserve(self) -> float:
        """How many times both are borne: the highest for a short time, what stays for long."""
        return min(self.borne / self.highest, self.borne_long / self.stays)


def head_pressure(
    seat: Seat, *, force: float, preload: float, borne: float, long_term: float = LONG_TERM
) -> HeadPressure:
    """Mean pressure on a `seat` under the bolt's highest `force` [N] and under the `preload` [N] that stays, against
    the compression strength `borne` [MPa]; `long_term` is the share of it that is borne for long (1 for a metal).

    Errors: InputError for a strength or a share that cannot be.
    """
    if not (borne > 0 and 0 < long_term <= 1):
        raise InputError("pressure under a head needs a strength above zero, and a share of it up to one.")
    return HeadPressure(max(force, preload) / seat.area, preload / seat.area, borne, borne * long_term)


@dataclass(frozen=True)
class BoltJudgement:
    """A bolt under one load: `force` and `clamp` [N], its `stress`, its `reserve` (yield over stress: the safety
    against yield of VDI 2230, not a factor on the load), the `pressure` under its head, the `thread_reserve` against
    stripping or pull-out (None where nobody says what holds it), and what a reader must know."""

    force: float
    clamp: float
    stress: BoltStress
    reserve: float
    pressure: HeadPressure
    thread_reserve: float | None
    cautions: tuple[Caution, ...]

    @property
    def is_open(self) -> bool:
        """Whether nothing is clamped any more."""
        return self.clamp <= 0


def judge_bolt(
    plan: BoltPlan,
    tightened: Tightened,
    *,
    force: float,
    clamp: float,
    borne: float,
    long_term: float = LONG_TERM,
    shear: float = 0.0,
    bending: float = 0.0,
    seat: Seat | None = None,
    held_by: ThreadStrength | PullOut | None = None,
) -> BoltJudgement:
    """Judge a bolt whose pull is `force` [N] (found from its highest preload), with `shear` [N] and `bending` [N
    mm], where the members are pressed together by `clamp` [N] (found from its lowest one). Under its head they bear
    `borne` [MPa], for long the share `long_term` of it; `seat` is the ring that presses (None: the whole head or
    washer).

    Errors: InputError for a thread that shears off, or an insert that comes out, under the preload already.
    """
    pull = max(force, tightened.high)
    if isinstance(held_by, ThreadStrength):
        check_engagement(held_by, pull=tightened.high, where=plan.key("thread"))
        thread_reserve = held_by.strips / pull
    elif held_by is not None:
        thread_reserve = held_by.reserve(pull)
        if held_by.reserve(tightened.high) < 1:
            raise InputError(
                f"a {held_by.kind} comes out at {held_by.force / 1e3:.3g} kN, below the preload of "
                f"{tightened.high / 1e3:.3g} kN.",
                where=plan.key("thread"),
                advice="Tighten less, or take a longer one.",
            )
    else:
        thread_reserve = None
    stress = working_stress(
        plan.sizes.thread,
        force=force,
        preload=tightened.high,
        thread_friction=plan.thread_friction,
        shear=shear,
        bending=bending,
    )
    pressure = head_pressure(
        seat or pressing_seat(plan), force=force, preload=tightened.high, borne=borne, long_term=long_term
    )
    reserve = plan.material.yield_stress / stress.total
    cautions = (*_yields(plan, stress), *_cautions(plan, tightened, pressure, held_by, clamp))
    return BoltJudgement(force, clamp, stress, reserve, pressure, thread_reserve, cautions)


def _yields(plan: BoltPlan, stress: BoltStress) -> tuple[Caution, ...]:
    bears = plan.material.yield_stress
    if stress.total <= bears:
        return ()
    text = (
        f"Bolt {plan.name} yields: {stress.total:.0f} MPa of {bears:.0f} MPa. Take a larger one, or a better grade."
    )
    return (Caution("bolt_yields", text, {"stress_MPa": stress.total, "yields_at_MPa": bears}, decisive=True),)


def _cautions(
    plan: BoltPlan,
    tightened: Tightened,
    pressure: HeadPressure,
    held_by: ThreadStrength | PullOut | None,
    clamp: float,
) -> tuple[Caution, ...]:
    out = []
    if clamp <= 0:
        out.append(
            Caution("joint_opens", f"At the lowest preload the joint at bolt {plan.name} opens.", decisive=True)
        )
    if pressure.stays > pressure.borne_long:
        out.append(
            Caution(
                "head_crushes",
                f"Under the head of bolt {plan.name} {pressure.stays:.3g} MPa stay, while the part bears "
                f"{pressure.borne_long:.3g} MPa for long: take a larger washer or a metal sleeve, or tighten less.",
                {"pressure_MPa": pressure.stays, "bears_MPa": pressure.borne_long},
                decisive=pressure.highest > pressure.borne,
            )
        )
    if tightened.beyond_usual:
        out.append(
            Caution(
                "tightened_far",
                f"Tightening uses {100 * tightened.used:.0f} % of the yield of bolt {plan.name}; 90 % is usual.",
                {"used": tightened.used},
            )
        )
    if isinstance(held_by, PullOut) and held_by.estimate:
        out.append(
            Caution("pull_out_estimated", f"What bolt {plan.name} is held by is an estimate: {held_by.source}.")
        )
    return tuple(out)
