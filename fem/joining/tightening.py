"""Torque and preload of a bolt, and what its thread bears meanwhile.

Source: VDI 2230 part 1 (2003, 2015), assembly preload and tightening torque. The torsion while tightening is taken at
full plasticity of the section, as its tables do.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from fem.errors import InputError
from fem.joining.bolt_plan import BoltPlan, turning_seat
from fem.joining.bolt_sizes import Grade, Thread

USED_OF_YIELD = 0.9
"""Share of Rp0.2 that tension and torsion together may use while tightening (VDI 2230)."""
PITCH, FLANKS = 0.16, 0.58
"""1 / (2 pi) and 1 / (2 cos 30 degrees), rounded as VDI 2230 prints them."""


@dataclass(frozen=True)
class Torque:
    """A tightening torque by what it goes into [N mm]: the `pitch`, friction in the `thread`, under the `head`."""

    pitch: float
    thread: float
    head: float

    @property
    def total(self) -> float:
        """[N mm]."""
        return self.pitch + self.thread + self.head

    @property
    def in_thread(self) -> float:
        """What twists the bolt [N mm]: the part under the head does not reach it."""
        return self.pitch + self.thread


@dataclass(frozen=True)
class Tightened:
    """A tightened bolt: `torque` [N mm]; preload `high` and `low` [N], high by the torque and the plan's frictions,
    low = high / tightening scatter (VDI 2230: alpha_A = F_M,max / F_M,min). At `high`: `tension` and `torsion` [MPa]
    in the thread, `stress` [MPa] both by von Mises, `used` its share of Rp0.2.
    """

    torque: float
    high: float
    low: float
    tension: float
    torsion: float
    stress: float
    used: float

    @property
    def beyond_usual(self) -> bool:
        """Whether more than 90 % of Rp0.2 is used, which VDI 2230 does not plan for."""
        return self.used > USED_OF_YIELD * (1 + 1e-9)


def torque_for(
    preload: float, thread: Thread, *, thread_friction: float, head_friction: float, head_diameter: float
) -> Torque:
    """The torque that pulls a bolt to `preload` [N]; `head_diameter` [mm] is the mean one under the head (DKm).

    Source: VDI 2230, M_A = F_M (0.16 P + 0.58 d2 mu_G + D_Km / 2 mu_K).
    """
    return Torque(
        preload * PITCH * thread.pitch,
        preload * FLANKS * thread.pitch_diameter * thread_friction,
        preload * head_diameter / 2 * head_friction,
    )


def preload_from(
    torque: float, thread: Thread, *, thread_friction: float, head_friction: float, head_diameter: float
) -> float:
    """The preload [N] that a `torque` [N mm] pulls to: `torque_for` solved for it."""
    unit = torque_for(
        1.0, thread, thread_friction=thread_friction, head_friction=head_friction, head_diameter=head_diameter
    )
    return torque / unit.total


def torsion_over_tension(thread: Thread, thread_friction: float) -> float:
    """Shear stress by torsion over tension while tightening: 3/2 d2/d0 (P / (pi d2) + 1.155 mu_G) (VDI 2230)."""
    lead = thread.pitch / (math.pi * thread.pitch_diameter)
    return 1.5 * thread.pitch_diameter / thread.stress_diameter * (lead + 1.155 * thread_friction)


def preload_at(used: float, thread: Thread, grade: Grade, *, thread_friction: float) -> float:
    """The preload [N] at which tension and torsion use the share `used` of Rp0.2 (VDI 2230; 0.9 in its tables)."""
    both = math.sqrt(1 + 3 * torsion_over_tension(thread, thread_friction) ** 2)
    return used * grade.yield_stress * thread.stress_area / both


def tighten(plan: BoltPlan, *, hole: float | None = None) -> Tightened:
    """Torque, preloads and stress of a planned bolt over a `hole` [mm] (None: medium clearance, ISO 273).

    Errors: InputError for a torque or preload beyond the bolt's yield, with what it bears.
    """
    thread, grade = plan.sizes.thread, plan.material
    frictions = {
        "thread_friction": plan.thread_friction,
        "head_friction": plan.head_friction,
        "head_diameter": turning_seat(plan, hole).mean_diameter,
    }
    high = preload_from(plan.torque, thread, **frictions) if plan.torque is not None else plan.preload
    assert high is not None  # the plan has one of them
    torque = torque_for(high, thread, **frictions).total
    tension = high / thread.stress_area
    torsion = tension * torsion_over_tension(thread, plan.thread_friction)
    stress = math.hypot(tension, math.sqrt(3) * torsion)
    used = stress / grade.yield_stress
    if used > 1:
        bears = preload_at(USED_OF_YIELD, thread, grade, thread_friction=plan.thread_friction)
        least = torque_for(bears, thread, **frictions).total
        given = f"{torque / 1e3:.3g} N m" if plan.torque is not None else f"{high / 1e3:.3g} kN"
        raise InputError(
            f"{given} takes a bolt {plan.size} {plan.grade} beyond its yield: {stress:.0f} MPa of "
            f"{grade.yield_stress:.0f} MPa.",
            where=plan.key("torque" if plan.torque is not None else "preload"),
            advice=f"At 90 % of yield it bears {least / 1e3:.3g} N m, which pull {bears / 1e3:.3g} kN.",
        )
    return Tightened(torque, high, high / plan.tightening_scatter, tension, torsion, stress, used)
