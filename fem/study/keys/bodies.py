"""Keys of `[bodies.NAME]`: the solid, its mesh, and how it is printed or of which metal it is."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BeforeValidator, Field, model_validator

from fem.errors import InputError
from fem.study.keys.values import Direction, Extent, Form, Name, Positive, Speed, Temperature, fault
from fem.units import unit_size


def _unit(value: Any) -> Any:
    if isinstance(value, str):
        try:
            unit_size(value, "length")
        except InputError:
            raise fault(f'"{value}" is not a unit of length.', 'Write unit = "mm".') from None
    return value


def _infill(value: Any) -> Any:
    return {"pattern": value} if isinstance(value, str) else value


class MeshForm(Form):
    size: Extent | None = None
    finest: Extent | None = None

    @model_validator(mode="after")
    def _ordered(self) -> MeshForm:
        if self.size is not None and self.finest is not None and self.finest > self.size:
            raise fault(f"finest ({self.finest:g} mm) is larger than size ({self.size:g} mm).")
        return self


class BeadForm(Form):
    width: Extent = 0.45
    height: Extent = 0.20


class InfillForm(Form):
    pattern: Name
    density: Annotated[float | None, Field(gt=0, le=1)] = None
    angle: float | None = None

    @model_validator(mode="after")
    def _dense(self) -> InfillForm:
        if self.pattern != "solid" and self.density is None:
            raise fault(
                f'"{self.pattern}" needs a density.',
                f'Write infill = {{ pattern = "{self.pattern}", density = 0.3 }}.',
            )
        return self


class PrintForm(Form):
    polymer: Name
    state: Name | None = None
    build_direction: Direction = [0.0, 0.0, 1.0]
    raster_zero: Direction | None = None
    bead: BeadForm = BeadForm()
    walls: Annotated[int, Field(ge=0)] = 3
    covers: Annotated[int, Field(ge=0)] = 4
    raster: Annotated[list[float], Field(min_length=1)] = [45.0, -45.0]
    infill: Annotated[InfillForm, BeforeValidator(_infill)] = InfillForm(pattern="solid")
    card: dict[Name, Any] = {}
    temperature: Temperature | None = None
    speed: Speed | None = None
    filament_diameter: Extent | None = None
    price_per_kg: Positive | None = None


class BodyForm(Form):
    solid: Name
    unit: Annotated[str | None, BeforeValidator(_unit)] = None
    any_size: bool = False
    mesh: MeshForm = MeshForm()
    print: PrintForm | None = None
    metal: Name | None = None
    state: Name | None = None

    @model_validator(mode="after")
    def _one_material(self) -> BodyForm:
        if (self.print is None) == (self.metal is None):
            both = "both print and metal are" if self.print else "neither print nor metal is"
            raise fault(f"{both} given.", "A body has exactly one of them.")
        if self.print is not None and self.state is not None:
            raise fault("state stands beside print.", "Move it into the print table.")
        return self
