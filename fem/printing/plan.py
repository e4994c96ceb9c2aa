"""The print plan: which way the part is built, how its beads run, and the axes that follow from it.

Print axes: 1 along the bead at raster 0 degrees, 2 across it in the layer, 3 up the build. A raster angle turns
counter-clockwise seen from above the layer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fem.errors import InputError, nearest
from fem.tensors import Array, unit

INFILL_PATTERNS = ("solid", "woodpile", "grid", "triangle", "honeycomb", "cubic", "gyroid")
"""What a core can be filled with; "solid" is raster from side to side, the others are lattices."""
INFILL_ANGLE = 45.0
"""How the infill lies in the layer when nothing is said [degrees] (common practice)."""

_PARALLEL = 1e-3
"""Directions nearer than this [rad] leave no bead direction worth the name in the layer."""


@dataclass(frozen=True)
class PrintPlan:
    """How a body is printed.

    `build_direction` (3,) and `raster_zero` (3,) in part axes, of any length; `raster_zero` None: part x projected
    into the layer, or y if x is the build direction. `bead_width`, `bead_height` [mm]; `walls`, `covers` counts;
    `raster` angles [degrees] layer by layer; `infill_density` share of its room that the infill fills, `infill_angle`
    [degrees] how it is turned in the layer.

    Errors: InputError that names the value at fault.
    """

    build_direction: tuple[float, ...]
    raster_zero: tuple[float, ...] | None = None
    bead_width: float = 0.45
    bead_height: float = 0.20
    walls: int = 3
    covers: int = 4
    raster: tuple[float, ...] = (45.0, -45.0)
    infill_pattern: str = "solid"
    infill_density: float = 1.0
    infill_angle: float = INFILL_ANGLE

    def __post_init__(self) -> None:
        object.__setattr__(self, "build_direction", _direction("build_direction", self.build_direction))
        if self.raster_zero is not None:
            object.__setattr__(self, "raster_zero", _direction("raster_zero", self.raster_zero))
            if _along(self.raster_zero, self.build_direction):
                raise InputError(
                    f"raster_zero {_text(self.raster_zero)} is parallel to the build direction.",
                    advice="Give a direction that lies in the layer.",
                )
        object.__setattr__(self, "raster", tuple(float(a) for a in self.raster))
        if not self.raster:
            raise InputError("raster holds no angle.", advice="Write at least one, such as raster = [45, -45].")
        if not all(math.isfinite(a) for a in self.raster):
            raise InputError(f"raster {_text(self.raster)} holds an angle that is no finite number.")
        self._check_bead()
        self._check_infill()

    def _check_bead(self) -> None:
        for name, value in (("width", self.bead_width), ("height", self.bead_height)):
            if not (math.isfinite(value) and value > 0):
                raise InputError(f"bead {name} {value:g} mm must be positive.")
        if self.bead_height > self.bead_width:
            raise InputError(
                f"bead height {self.bead_height:g} mm is above its width {self.bead_width:g} mm.",
                advice="A bead is laid flat: exchange the two, or correct them.",
            )
        for name, count in (("walls", self.walls), ("covers", self.covers)):
            if isinstance(count, bool) or count != int(count) or count < 0:
                raise InputError(f"{name} = {count!r} must be a whole number, 0 or more.")

    def _check_infill(self) -> None:
        if self.infill_pattern not in INFILL_PATTERNS:
            raise InputError(
                f'no infill pattern is called "{self.infill_pattern}".',
                advice=f"There are {', '.join(INFILL_PATTERNS)}. " + nearest(self.infill_pattern, INFILL_PATTERNS),
            )
        if not (math.isfinite(self.infill_density) and 0 < self.infill_density <= 1):
            raise InputError(f"infill density {self.infill_density:g} must lie above 0 and at most at 1.")
        if self.infill_pattern == "solid" and self.infill_density != 1:
            raise InputError(
                f"infill density {self.infill_density:g} contradicts the solid pattern.", advice="Leave it out."
            )
        if not math.isfinite(self.infill_angle):
            raise InputError(f"infill angle {self.infill_angle:g} is no finite number.")


def print_axes(plan: PrintPlan) -> Array:
    """Print axes (3, 3) in part axes: rows are along the bead at 0 degrees, across it in the layer, up the build."""
    up = unit(plan.build_direction)
    zero = plan.raster_zero
    if zero is None:
        zero = (0.0, 1.0, 0.0) if _along((1.0, 0.0, 0.0), plan.build_direction) else (1.0, 0.0, 0.0)
    start = unit(zero)
    along = unit(start - (start @ up) * up)
    return np.array([along, np.cross(up, along), up])


def raster_axes(plan: PrintPlan, angle_deg: float) -> Array:
    """Bead axes (3, 3) in part axes of the raster at `angle_deg` [degrees]."""
    return in_layer_rotation(angle_deg) @ print_axes(plan)


def in_layer_rotation(angle_deg: float) -> Array:
    """Bead axes (3, 3) in print axes of a raster at `angle_deg` [degrees], turned about the build direction."""
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    return np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])


def _direction(name: str, value: tuple[float, ...]) -> tuple[float, ...]:
    numbers = tuple(float(x) for x in value)
    if len(numbers) != 3 or not all(math.isfinite(x) for x in numbers):
        raise InputError(f"{name} {_text(numbers)} must be three finite numbers.", advice="Such as [0, 0, 1].")
    if math.hypot(*numbers) == 0:
        raise InputError(f"{name} has zero length.", advice="Give a direction such as [0, 0, 1].")
    return numbers


def _along(a: tuple[float, ...], b: tuple[float, ...]) -> bool:
    return float(np.linalg.norm(np.cross(unit(a), unit(b)))) < _PARALLEL


def _text(numbers: tuple[float, ...]) -> str:
    return "[" + ", ".join(f"{x:g}" for x in numbers) + "]"
