"""How a body is printed, as a study says it: the print plan, and what is told of its print; how a laminate lies."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fem.errors import InputError
from fem.printing.plan import INFILL_ANGLE, MOST_LAYERS, PrintPlan, along_each_other, checked_angle
from fem.tensors import checked_direction

Vector = tuple[float, float, float]


@dataclass(frozen=True)
class PrintKeys:
    """How a body is printed, as the study says it.

    `polymer` is a card's name or the absolute path of a card file; `state` None leaves the choice to the card and
    `raster_zero` None to the plan; `card` holds single values of it that the study sets, in a card file's own form.
    `build_direction`, `raster_zero` are directions in part axes, `bead_width`, `bead_height` [mm], `raster` the
    angles [degrees] layer by layer, `infill_density` the share 0..1, `infill_angle` [degrees] or None. `temperature`
    [deg C] in service, `speed` [mm/s], `filament_diameter` [mm] and `price_per_kg` are None where nothing is said.
    `assumed` names the values that the study left to their defaults. `infill_quality` is as in `PrintPlan`.
    """

    polymer: str
    state: str | None
    card: Mapping[str, Any]
    temperature: float | None
    build_direction: Vector
    raster_zero: Vector | None
    bead_width: float
    bead_height: float
    walls: int
    covers: int
    raster: tuple[float, ...]
    infill_pattern: str
    infill_density: float
    infill_angle: float | None
    speed: float | None
    filament_diameter: float | None
    price_per_kg: float | None
    assumed: tuple[str, ...] = ()
    infill_quality: float = 1.0

    @property
    def plan(self) -> PrintPlan:
        """The print plan that the material is made from. Errors: InputError where it cannot be printed so."""
        return PrintPlan(
            build_direction=self.build_direction,
            raster_zero=self.raster_zero,
            bead_width=self.bead_width,
            bead_height=self.bead_height,
            walls=self.walls,
            covers=self.covers,
            raster=self.raster,
            infill_pattern=self.infill_pattern,
            infill_density=self.infill_density,
            infill_angle=INFILL_ANGLE if self.infill_angle is None else self.infill_angle,
            infill_quality=self.infill_quality,
        )


@dataclass(frozen=True)
class LaminateKeys:
    """How a laminate lies in a body, as the study says it.

    `card` is a card's name or the absolute path of a card file, `state` None leaves the choice to it; `plies` the
    angles [degrees] of a stack that repeats through the thickness, from `fibre` towards normal x fibre; `fibre` and
    `normal` directions in part axes, the first laid into the ply; `temperature` [deg C] in service or None.
    Errors: InputError for directions that are parallel, no ply, or angles that are none.
    """

    card: str
    state: str | None = None
    plies: tuple[float, ...] = (0.0,)
    fibre: Vector = (1.0, 0.0, 0.0)
    normal: Vector = (0.0, 0.0, 1.0)
    temperature: float | None = None

    def __post_init__(self) -> None:
        for name in ("fibre", "normal"):
            object.__setattr__(self, name, checked_direction(name, getattr(self, name)))
        if along_each_other(self.fibre, self.normal):
            raise InputError(
                "fibre is parallel to normal.", advice="Fibres lie in the plies, which the normal stacks."
            )
        object.__setattr__(self, "plies", tuple(checked_angle("ply angle", angle) for angle in self.plies))
        if not 1 <= len(self.plies) <= MOST_LAYERS:
            raise InputError(f"plies holds {len(self.plies)} angles.", advice="Write plies = [0, 45, 90, -45].")
