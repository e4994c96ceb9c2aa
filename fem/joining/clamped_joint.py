"""What a bolt clamps, and how bolt and members share a load.

Members give like frusta that widen by 30 degrees from under head and nut to the middle of the grip.
Source: R. G. Budynas and J. K. Nisbett, Shigley's Mechanical Engineering Design (9th ed.), sections 8-5 and 8-7.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from fem.errors import InputError
from fem.joining.creep import Findley, Prony

HALF_ANGLE = math.radians(30)


@dataclass(frozen=True)
class Member:
    """One clamped part or washer: `thickness` [mm], `modulus` [MPa] along the bolt, `creep` None where it does
    not."""

    thickness: float
    modulus: float
    creep: Findley | Prony | None = None

    def __post_init__(self) -> None:
        if not (0 < self.thickness < math.inf and 0 < self.modulus < math.inf):
            raise InputError("a clamped member needs a thickness and a modulus above zero.")


@dataclass(frozen=True)
class Grip:
    """Clamped `members` from under the head to the nut or thread; `seat` and `foot` outer diameter [mm] of what
    presses on the first and the last, `hole` [mm], `outer` [mm] how wide the members are at most.

    Errors: InputError for no members, or a seat that the hole or the member leaves no room for.
    """

    members: tuple[Member, ...]
    seat: float
    foot: float
    hole: float
    outer: float = math.inf

    def __post_init__(self) -> None:
        if not self.members:
            raise InputError("a bolt clamps at least one member.")
        for end in (self.seat, self.foot):
            if not 0 < self.hole < end:
                raise InputError(f"what presses with {end:g} mm is no wider than the hole of {self.hole:g} mm.")
            if not end <= self.outer:
                raise InputError(f"what presses with {end:g} mm is wider than the member of {self.outer:g} mm.")

    @property
    def length(self) -> float:
        """Clamped length [mm]."""
        return sum(member.thickness for member in self.members)

    @property
    def resiliences(self) -> tuple[float, ...]:
        """What each member gives under one newton [mm/N]."""
        ends = [0.0]
        for member in self.members:
            ends.append(ends[-1] + member.thickness)
        middle, length, out = self.length / 2, self.length, []
        for member, top, bottom in zip(self.members, ends[:-1], ends[1:], strict=True):
            upper = self._cone(self.seat, min(top, middle), min(bottom, middle), member.modulus)
            lower = self._cone(self.foot, length - max(bottom, middle), length - max(top, middle), member.modulus)
            out.append(upper + lower)
        return tuple(out)

    @property
    def stiffness(self) -> float:
        """[N/mm] of all members, one behind the other."""
        return 1 / sum(self.resiliences)

    def _cone(self, start: float, near: float, far: float, modulus: float) -> float:
        """Resilience [mm/N] between two distances from where the cone starts, a cylinder where it is at its
        widest."""
        full = max((self.outer - start) / (2 * math.tan(HALF_ANGLE)), 0.0)
        rest = max(far - max(near, full), 0.0)
        out = rest / (modulus * math.pi / 4 * (self.outer**2 - self.hole**2)) if rest else 0.0
        far = min(far, full)
        if far <= near:
            return out
        wide = start + 2 * near * math.tan(HALF_ANGLE)
        return out + 1 / frustum_stiffness(wide, self.hole, far - near, modulus)


def frustum_stiffness(
    diameter: float, hole: float, thickness: float, modulus: float, *, angle: float = HALF_ANGLE
) -> float:
    """Stiffness [N/mm] of a frustum that starts with `diameter` [mm] around a `hole` [mm] and widens by `angle`
    [rad].

    Source: Shigley (9th ed.), eq. 8-19.
    """
    tan = math.tan(angle)
    grown = diameter + 2 * thickness * tan
    inside = (grown - hole) * (diameter + hole) / ((grown + hole) * (diameter - hole))
    return math.pi * modulus * hole * tan / math.log(inside)


@dataclass(frozen=True)
class LoadFactors:
    """How many times its load a joint bears: until the bolt's stress reaches what it bears (`stress`, with the
    preload in it), until the load has grown so far (`load`), until it opens (`separation`)."""

    stress: float
    load: float
    separation: float


@dataclass(frozen=True)
class ClampedJoint:
    """A bolt of stiffness `bolt` [N/mm] that clamps members of stiffness `members` [N/mm] with `preload` [N]; the
    load pulls under head and nut.

    Errors: InputError for stiffnesses or a preload that are not positive.
    """

    bolt: float
    members: float
    preload: float

    def __post_init__(self) -> None:
        if not (self.bolt > 0 and self.members > 0 and self.preload > 0):
            raise InputError("a clamped joint needs stiffnesses and a preload above zero.")

    @property
    def share(self) -> float:
        """Share of the load that the bolt takes while the joint is closed: C = k_b / (k_b + k_m)."""
        return self.bolt / (self.bolt + self.members)

    @property
    def opens_at(self) -> float:
        """The load [N] at which nothing is clamped any more: F_i / (1 - C)."""
        return self.preload / (1 - self.share)

    def bolt_force(self, load: float) -> float:
        """The bolt's pull [N] under a `load` [N]: the whole load once the joint is open."""
        return max(self.preload + self.share * load, load)

    def clamp(self, load: float) -> float:
        """What still presses the members together [N]."""
        return max(self.preload - (1 - self.share) * load, 0.0)

    def is_open(self, load: float) -> bool:
        """Whether the members part."""
        return load >= self.opens_at

    def load_factors(self, load: float, *, bears: float) -> LoadFactors:
        """How many times a `load` [N] the joint bears when the bolt bears `bears` [N].

        Beyond opening the bolt takes the whole load, so its factor is no more than bears / load. Source: Shigley
        (9th ed.), eq. 8-28 to 8-30. Errors: InputError for a load or a strength that is not positive.
        """
        if not (load > 0 and bears > 0):
            raise InputError("load factors need a load and a strength above zero.")
        growing = (bears - self.preload) / (self.share * load)
        if growing * load > self.opens_at:
            growing = bears / load
        return LoadFactors(bears / self.bolt_force(load), growing, self.opens_at / load)
