"""What the threads of a bolt and of what it is screwed into bear before they shear off.

Source: E. M. Alexander, Analysis and design of threaded assemblies, SAE 770420 (1977), as VDI 2230 part 1 takes it
over: shear areas, the widening of the nut (C1), the bending of unequal threads (C2, C3), pitches of the engagement
lost. C1 and C3 were seen second-hand, C2 is from memory; C2 and C3 meet at equal strength. Limits of the threads, 6g
in 6H: the formulae of ISO 965-1, from memory. The worst of both limits is taken, as VDI 2230 asks.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from fem.errors import InputError
from fem.joining.bolt_sizes import Thread

METAL_SHEAR = 0.6
"""Shear strength over ultimate strength of a tapped metal: steels 0.6 to 0.8, wrought aluminium 0.7 (VDI 2230, from
memory); von Mises' 0.577 lies just below."""
LOST_PITCHES = {"nut": 0.8, "tapped": 2.0}
"""Pitches of the engaged length that bear nothing: a nut's chamfers (VDI 2230, from memory), in a tapped hole also
the bolt's end (seen second-hand)."""
RANGES = (0.99, 1.4, 2.8, 5.6, 11.2, 22.4)
"""Bounds of the ranges of diameters [mm] in ISO 965-1."""
LEAST_WIDTH = 1.4
"""A nut narrower than this many diameters splits: beyond the formula's range."""


@dataclass(frozen=True)
class ThreadLimits:
    """Worst diameters [mm] of a thread 6g in 6H: the bolt's least `crest` d and `pitch_diameter` d2, the nut's
    largest `nut_pitch_diameter` D2 and `nut_inner` D1."""

    crest: float
    pitch_diameter: float
    nut_pitch_diameter: float
    nut_inner: float


def thread_limits(thread: Thread) -> ThreadLimits:
    """Limits of tolerance 6g in 6H by the formulae of ISO 965-1, before that standard rounds them.

    Errors: InputError for a diameter outside its ranges here.
    """
    d, p = thread.diameter, thread.pitch
    ranges = [(low, high) for low, high in pairwise(RANGES) if low < d <= high]
    if not ranges:
        raise InputError(f"no tolerance is known of a thread of {d:g} mm.")
    mean = math.sqrt(ranges[0][0] * ranges[0][1])
    clearance = (15 + 11 * p) / 1e3
    of_crest = (180 * p ** (2 / 3) - 3.15 / math.sqrt(p)) / 1e3
    of_flank = 90 * p**0.4 * mean**0.1 / 1e3
    of_inner = (433 * p - 190 * p**1.22 if p < 1 else 230 * p**0.7) / 1e3
    return ThreadLimits(
        crest=d - clearance - of_crest,
        pitch_diameter=thread.pitch_diameter - clearance - of_flank,
        nut_pitch_diameter=thread.pitch_diameter + 1.32 * of_flank,
        nut_inner=thread.inner_diameter + of_inner,
    )


@dataclass(frozen=True)
class ThreadStrength:
    """Pull [N] at which the `bolt_thread` and the `nut_thread` shear off over an `engagement` [mm], of which `lost`
    bears nothing; `breaks` [N] that of the bolt itself."""

    bolt_thread: float
    nut_thread: float
    breaks: float
    engagement: float
    lost: float

    @property
    def strips(self) -> float:
        """The pull [N] at which a thread shears off."""
        return min(self.bolt_thread, self.nut_thread)

    @property
    def weaker(self) -> str:
        """Which thread that is."""
        return "bolt" if self.bolt_thread < self.nut_thread else "part that it is screwed into"

    @property
    def full_engagement(self) -> float:
        """The engagement [mm] from which on the bolt breaks before its threads shear off."""
        return self.engagement_for(self.breaks)

    def engagement_for(self, pull: float) -> float:
        """The engagement [mm] whose threads bear a `pull` [N]."""
        return self.lost + (self.engagement - self.lost) * pull / self.strips


def thread_strength(
    thread: Thread,
    *,
    engagement: float,
    bolt_ultimate: float,
    bolt_shear: float,
    nut_ultimate: float,
    nut_shear: float = METAL_SHEAR,
    width: float | None = None,
    anchor: str = "tapped",
) -> ThreadStrength:
    """What the threads bear over an `engagement` [mm] in a nut or a tapped hole (`anchor`, of LOST_PITCHES). Ultimate
    strengths [MPa] and shear strengths over them; `width` [mm] across the flats of a nut, or twice the distance from
    the axis to the nearest edge (None: far from any).

    Errors: InputError for an engagement within the part that bears nothing, and for walls too thin.
    """
    lost = LOST_PITCHES[anchor] * thread.pitch
    if not engagement > lost:
        raise InputError(
            f"an engagement of {engagement:g} mm bears nothing: {lost:g} mm are lost to chamfers and the bolt's end.",
            advice=f"Let the thread reach at least {thread.diameter:g} mm deep.",
        )
    limits, tan, p = thread_limits(thread), math.tan(math.radians(30)), thread.pitch
    # Shear areas per length, where the one thread's crest cuts into the other
    of_nut = math.pi * limits.crest / p * (p / 2 + (limits.crest - limits.nut_pitch_diameter) * tan)
    of_bolt = math.pi * limits.nut_inner / p * (p / 2 + (limits.pitch_diameter - limits.nut_inner) * tan)
    bolt, nut = bolt_ultimate * bolt_shear * of_bolt, nut_ultimate * nut_shear * of_nut
    widening, (bends_bolt, bends_nut) = nut_widening(thread, width), bending_factors(nut / bolt)
    length = engagement - lost
    return ThreadStrength(
        bolt_thread=widening * bends_bolt * bolt * length,
        nut_thread=widening * bends_nut * nut * length,
        breaks=bolt_ultimate * thread.stress_area,
        engagement=engagement,
        lost=lost,
    )


def nut_widening(thread: Thread, width: float | None) -> float:
    """C1: what is left of the threads' strength when the nut of a `width` [mm] widens.

    Errors: InputError below LEAST_WIDTH diameters.
    """
    if width is None or width >= 1.9 * thread.diameter:
        return 1.0
    ratio = width / thread.diameter
    if ratio < LEAST_WIDTH:
        raise InputError(
            f"a wall {width:.3g} mm wide around a thread of {thread.diameter:g} mm splits.",
            advice=f"It takes at least {LEAST_WIDTH * thread.diameter:.3g} mm.",
        )
    return 3.8 * ratio - ratio**2 - 2.61


def bending_factors(ratio: float) -> tuple[float, float]:
    """C2 and C3: what is left of the bolt's and the nut's thread as they bend, by the `ratio` of the nut thread's
    strength to the bolt thread's (constant below 0.4 and above 2.2)."""
    bolt = nut = 0.897
    if ratio > 1:
        r = min(ratio, 2.2)
        bolt = 5.594 - 13.682 * r + 14.107 * r**2 - 6.057 * r**3 + 0.9353 * r**4
    elif ratio < 1:
        r = max(ratio, 0.4)
        nut = 0.728 + 1.769 * r - 2.896 * r**2 + 1.296 * r**3
    return bolt, nut


def check_engagement(strength: ThreadStrength, *, pull: float, where: str = "") -> None:
    """Errors: InputError when the threads shear off below a `pull` [N], with the engagement that it takes."""
    if strength.strips >= pull:
        return
    raise InputError(
        f"over {strength.engagement:g} mm the thread of the {strength.weaker} shears off at "
        f"{strength.strips / 1e3:.3g} kN, below the bolt's {pull / 1e3:.3g} kN.",
        where=where,
        advice=f"It takes {strength.engagement_for(pull):.3g} mm of engagement, and "
        f"{strength.full_engagement:.3g} mm until the bolt breaks first.",
    )
