"""The print plan: which way the part is built, how its beads run, and the axes that follow from it.

Print axes: 1 along the bead at raster 0 degrees, 2 across it in the layer, 3 up the build. A raster angle turns
counter-clockwise seen from above the layer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fem.errors import InputError, nearest, shown
from fem.tensors import Array, checked_direction, unit

INFILL_PATTERNS = ("solid", "woodpile", "grid", "triangle", "honeycomb", "cubic", "gyroid")
"""What a core can be filled with; "solid" is raster from side to side, the others are lattices."""
INFILL_ANGLE = 45.0
"""How the infill lies in the layer when nothing is said [degrees] (common practice)."""

BEAD_SIZES = (0.02, 50.0)
"""Width and height of a bead [mm]: from the finest nozzles to the largest printers (common practice is 0.1 to 25)."""
LEAST_QUALITY = 0.05
"""An infill worth less of what is computed than this is no print."""
MOST_LAYERS = 1000
"""No part has more walls, covers, or raster angles that repeat."""

_PARALLEL = 1e-3
"""Directions nearer than this [rad] leave no bead direction worth the name in the layer."""


@dataclass(frozen=True)
class PrintPlan:
    """How a body is printed.

    `build_direction` (3,) and `raster_zero` (3,) in part axes, not unit vectors; `raster_zero` None: part x projected
    into the layer, or y if x is the build direction. `bead_width`, `bead_height` [mm]; `walls`, `covers` counts;
    `raster` angles [degrees] layer by layer; `infill_density` share of its room that the infill fills, `infill_angle`
    [degrees] how it is turned in the layer; `infill_quality` the share of stiffness and strength that its one-bead
    walls have of sound beads.

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
    infill_quality: float = 1.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "build_direction", checked_direction("build_direction", self.build_direction))
        if self.raster_zero is not None:
            object.__setattr__(self, "raster_zero", checked_direction("raster_zero", self.raster_zero))
            if along_each_other(self.raster_zero, self.build_direction):
                raise InputError(
                    f"raster_zero {_text(self.raster_zero)} is parallel to the build direction.",
                    advice="Give a direction that lies in the layer.",
                )
        object.__setattr__(self, "raster", tuple(checked_angle("raster angle", a) for a in self.raster))
        if not self.raster:
            raise InputError("raster holds no angle.", advice="Write at least one, such as raster = [45, -45].")
        if len(self.raster) > MOST_LAYERS:
            raise InputError(f"raster holds {len(self.raster)} angles, more than {MOST_LAYERS}.")
        self._check_bead()
        self._check_infill()

    @property
    def core_quality(self) -> float:
        """The share of sound beads' stiffness and strength that beads of the core have: a solid core's are sound."""
        return 1.0 if self.infill_pattern == "solid" else self.infill_quality

    def _check_bead(self) -> None:
        check_bead(self.bead_width, self.bead_height)
        for name, count in (("walls", self.walls), ("covers", self.covers)):
            known = isinstance(count, (int, float)) and not isinstance(count, bool)
            if not (known and 0 <= count <= MOST_LAYERS and count == int(count)):
                raise InputError(f"{name} = {shown(count)} must be a whole number from 0 to {MOST_LAYERS}.")

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
        if not LEAST_QUALITY <= self.infill_quality <= 1:
            raise InputError(
                f"infill quality {self.infill_quality:g} must lie between {LEAST_QUALITY:g} and 1.",
                advice="It is what a printed block of the infill has of the computed stiffness and strength.",
            )
        object.__setattr__(self, "infill_angle", checked_angle("infill angle", self.infill_angle))


def check_bead(width: float, height: float) -> None:
    """Errors: InputError for a bead that no printer lays, or one higher than wide."""
    low, high = BEAD_SIZES
    for name, value in (("width", width), ("height", height)):
        if not (math.isfinite(value) and value > 0):
            raise InputError(f"bead {name} {value:g} mm must be positive.")
        if not low <= value <= high:
            raise InputError(
                f"bead {name} {value:g} mm is not plausible: beads lie between {low:g} and {high:g} mm.",
                advice="Check its unit.",
            )
    if height > width:
        raise InputError(
            f"bead height {height:g} mm is above its width {width:g} mm.",
            advice="A bead is laid flat: exchange the two, or correct them.",
        )


def checked_angle(name: str, value: float) -> float:
    """An angle in the layer [degrees]. Errors: InputError unless it lies within a full turn either way."""
    try:
        angle = float(value)
    except (TypeError, ValueError, OverflowError):
        angle = math.nan
    if not abs(angle) <= 360:
        raise InputError(f"{name} {shown(value)} must lie between -360 and 360 degrees and be a finite number.")
    return angle


def print_axes(plan: PrintPlan) -> Array:
    """Print axes (3, 3) in part axes: rows are along the bead at 0 degrees, across it in the layer, up the build."""
    zero = plan.raster_zero
    if zero is None:
        zero = (0.0, 1.0, 0.0) if along_each_other((1.0, 0.0, 0.0), plan.build_direction) else (1.0, 0.0, 0.0)
    return layer_axes(plan.build_direction, zero)


def layer_axes(normal: tuple[float, ...], zero: tuple[float, ...]) -> Array:
    """Axes (3, 3), rows in part axes, of layers stacked along `normal` (3,): the direction `zero` (3,) laid into the
    layer, across it in the layer, along the normal. The two must not be parallel."""
    up, start = unit(normal), unit(zero)
    along = unit(start - (start @ up) * up)
    return np.array([along, np.cross(up, along), up])


def raster_axes(plan: PrintPlan, angle_deg: float) -> Array:
    """Bead axes (3, 3) in part axes of the raster at `angle_deg` [degrees]."""
    return in_layer_rotation(angle_deg) @ print_axes(plan)


def in_layer_rotation(angle_deg: float) -> Array:
    """Bead axes (3, 3) in print axes of a raster at `angle_deg` [degrees], turned about the build direction."""
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    return np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])


def along_each_other(a: tuple[float, ...], b: tuple[float, ...]) -> bool:
    """Whether two directions leave no direction in the layer worth the name."""
    return float(np.linalg.norm(np.cross(unit(a), unit(b)))) < _PARALLEL


def _text(numbers: tuple[float, ...]) -> str:
    return "[" + ", ".join(f"{x:g}" for x in numbers) + "]"
