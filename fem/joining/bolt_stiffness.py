"""How far a bolt gives under its own pull: the sum of its parts, each with the length that stands for it.

Source: VDI 2230 part 1, elastic resilience of the bolt. That a hexagon head counts as 0.5 d and a socket head as 0.4
d, the engaged thread as 0.5 d of the core, a nut as 0.4 d and a tapped part as 0.33 d is from memory (the heads were
seen second-hand).
"""

from __future__ import annotations

from dataclasses import dataclass

from fem.errors import InputError, nearest, shown
from fem.joining.bolt_sizes import Thread

HEAD_LENGTH = {"hexagon": 0.5, "socket": 0.4}
"""Length over d of a shank that gives as much as the head."""
ENGAGED_LENGTH = 0.5
"""Length over d of core that gives as much as the bolt's engaged thread."""
ANCHOR_LENGTH = {"nut": 0.4, "tapped": 0.33}
"""Length over d of a shank that gives as much as the nut's or the tapped part's thread."""


@dataclass(frozen=True)
class BoltResilience:
    """What each part of a bolt gives under one newton [mm/N]: `head`, `shank`, `free_thread` in the grip,
    `engaged_thread`, and the `anchor`: the nut or the tapped part around the thread."""

    head: float
    shank: float
    free_thread: float
    engaged_thread: float
    anchor: float

    @property
    def total(self) -> float:
        """[mm/N]."""
        return self.head + self.shank + self.free_thread + self.engaged_thread + self.anchor

    @property
    def stiffness(self) -> float:
        """[N/mm]."""
        return 1 / self.total


def bolt_resilience(
    thread: Thread,
    *,
    modulus: float,
    length: float,
    shank: float = 0.0,
    head_shape: str = "socket",
    anchor: str = "nut",
    anchor_modulus: float | None = None,
) -> BoltResilience:
    """The resilience of a bolt of `modulus` [MPa] over the clamped `length` [mm], of which `shank` [mm] has no
    thread. `anchor_modulus` [MPa] is the tapped part's, or the nut's (None: the bolt's own).

    Errors: InputError for a shank longer than the grip, an unknown head or anchor, a tapped part without modulus.
    """
    for what, known, value in (("head", HEAD_LENGTH, head_shape), ("anchor", ANCHOR_LENGTH, anchor)):
        if value not in known:
            raise InputError(f"a bolt has no {what} {shown(value)}.", advice=nearest(str(value), known))
    if not (modulus > 0 and length > 0 and 0 <= shank <= length):
        raise InputError(f"a bolt cannot have a shank of {shank:g} mm in a grip of {length:g} mm.")
    if anchor == "tapped" and anchor_modulus is None:
        raise InputError("a tapped hole needs the modulus of the part that it is cut into.")
    other = modulus if anchor_modulus is None else anchor_modulus
    d, core, whole = thread.diameter, thread.core_area, thread.shank_area
    return BoltResilience(
        head=HEAD_LENGTH[head_shape] * d / (modulus * whole),
        shank=shank / (modulus * whole),
        free_thread=(length - shank) / (modulus * core),
        engaged_thread=ENGAGED_LENGTH * d / (modulus * core),
        anchor=ANCHOR_LENGTH[anchor] * d / (other * whole),
    )


def grip_stiffness(*, modulus: float, shank: float, shank_area: float, threaded: float, thread_area: float) -> float:
    """Stiffness [N/mm] of what lies in the grip alone: a `shank` [mm] and the `threaded` length [mm], with their
    areas [mm^2].

    It leaves out head and engaged thread, so it is stiffer than `bolt_resilience`: a second way, for checks. Source:
    R. G. Budynas and J. K. Nisbett, Shigley's Mechanical Engineering Design (9th ed.), eq. 8-17.
    """
    return modulus / (shank / shank_area + threaded / thread_area)
