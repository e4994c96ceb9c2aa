"""What a bench gives: curves of coupons, coupons in batches."""

from __future__ import annotations

from dataclasses import dataclass

from fem.caution import Caution
from fem.coupons.shapes import Shape
from fem.tensors import Array

DIRECTIONS = {"along": 0, "across": 1, "up": 2}
"""Which way a coupon is pulled -> which of the card's three values it gives."""
DIAGONAL = "45"
"""The direction of a coupon whose layers lie at +45 and -45 degrees to the pull, in turn."""
TESTS = ("tension", "compression", "bending", "notched", "infill")


@dataclass(frozen=True)
class Curve:
    """One coupon's record in the order in which it was read: `force` (n,) [N], `path` (n,) [mm] which is extension,
    shortening or deflection, and `sideways` (n,) [1], strain across the pull, negative where it narrows, or None."""

    force: Array
    path: Array
    sideways: Array | None = None


@dataclass(frozen=True)
class Coupon:
    """One tested coupon: its `curve`, the section `width` by `thickness` [mm], a `notch`'s depth [mm] and its
    `mass` [tonne] where they were measured."""

    name: str
    curve: Curve
    width: float
    thickness: float
    notch: float | None = None
    mass: float | None = None

    @property
    def area(self) -> float:
        """The section [mm^2]."""
        return self.width * self.thickness


@dataclass(frozen=True)
class PrintedInfill:
    """What a block is filled with: `pattern`, `density` as a share of the volume, its beads [mm]."""

    pattern: str
    density: float
    bead_width: float
    bead_height: float


@dataclass(frozen=True)
class Batch:
    """Coupons printed, kept and tested alike.

    `test` is one of TESTS, `direction` along, across, up or 45; `state` and `temperature` [degC] as a card has them;
    `length` [mm] that the path belongs to: the gauge length in tension and compression, the span in bending.
    `machine` is the stiffness [N/mm] of all that gives beside the coupon, None where the path is the coupon's own;
    `by_crosshead` says that the path was read at the machine, not at the coupon. `strength_only`: no path was read;
    `infill` what blocks are filled with, where it was said; `assumed`
    what was taken for granted in reading it, as a sentence.
    """

    name: str
    test: str
    direction: str
    state: str
    temperature: float
    length: float
    coupons: tuple[Coupon, ...]
    shape: Shape | None = None
    machine: float | None = None
    by_crosshead: bool = False
    speed: str = ""
    strength_only: bool = False
    infill: PrintedInfill | None = None
    assumed: str = ""

    @property
    def words(self) -> str:
        """What was tested, in a few words."""
        way = "±45" if self.direction == DIAGONAL else self.direction
        return f"{self.test} {way}, {self.state}, {self.temperature:g} °C"


@dataclass(frozen=True)
class CouponTests:
    """All that a folder holds: `batches`, the `date` of the tests as text, the card `base` that fills in what was not
    measured, and what had to be left out (`cautions`)."""

    batches: tuple[Batch, ...]
    date: str
    base: str
    cautions: tuple[Caution, ...] = ()
