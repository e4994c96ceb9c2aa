"""Keys of `[bolts.NAME]`: a bolt by its standard, the faces that it touches, how it is tightened."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from fem.joining.bolt_plan import (
    FRICTION_RANGE,
    HEAD_FRICTION,
    SCATTER_RANGE,
    THREAD_FRICTION,
    TIGHTENING_SCATTER,
    holders,
)
from fem.study.keys.values import Extent, Form, Moment, Name, Preload, fault

FLANGE = (
    '[bodies.lid]\nsolid = "case.step"\npart = 2\nmetal = "6082-t6"\n'
    '[faces.rim]\nbody = "lid"\nplane = { normal = [0, 0, -1], at = "min" }\n'
    '[faces.land]\nbody = "lid"\nplane = { normal = [0, 0, 1], at = "max" }\n'
    '[faces.tapped]\nbody = "case"\ncylinder = { radius = "2.5 mm" }\n'
)
"""A lid with a plane under the bolt's head, and the hole tapped below it, for the examples."""
Friction = Annotated[float, Field(ge=FRICTION_RANGE[0], le=FRICTION_RANGE[1])]
Scatter = Annotated[float, Field(ge=SCATTER_RANGE[0], le=SCATTER_RANGE[1])]


class BoltForm(Form):
    size: Name = Field(description="Thread by its standard, coarse: `M3` to `M24`.")
    grade: Name = Field(description="Grade by its standard: `8.8`, `10.9`, `12.9`, `A2-70`, `A4-70`, `A4-80`.")
    head: Name = Field(
        description="The plane that the head, or the washer under it, presses on, around its hole. Where several "
        "holes open in it, each one with a thread below has a bolt, and these are numbered."
    )
    thread: Name | None = Field(
        default=None,
        description="The bore of a tapped hole or an insert, or the plane that a nut presses on.",
    )
    length: Extent | None = Field(
        default=None,
        description="In place of `thread`: how far below the head the bolt is held by something that is not meshed.",
    )
    held_by: Name | None = Field(
        default=None,
        description=f"What holds the thread: {', '.join(f'`{h}`' for h in holders())}. `tapped` in a bore, `nut` "
        "on a plane if left out; a bore in a polymer is taken as a printed thread.",
    )
    washer: Literal["none", "plain", "large"] = Field(default="plain", description="Washer under the head.")
    head_shape: Literal["socket", "hexagon"] = Field(default="socket", description="Shape of the head.")
    torque: Moment | None = Field(default=None, description="Tightening torque; this or `preload`.")
    preload: Preload | None = Field(default=None, description="Highest pull that tightening leaves.")
    thread_friction: Friction = Field(
        default=THREAD_FRICTION, description="Least coefficient of friction in the thread that may occur."
    )
    head_friction: Friction = Field(
        default=HEAD_FRICTION, description="Least coefficient of friction under the head."
    )
    tightening_scatter: Scatter = Field(
        default=TIGHTENING_SCATTER,
        description="Highest over lowest pull that tightening may leave; both are solved.",
    )

    @model_validator(mode="after")
    def _ends_somewhere(self) -> BoltForm:
        if (self.thread is None) == (self.length is None):
            raise fault(
                "a bolt ends in a thread, or in something that is not meshed.",
                'Name the face of its thread or nut, or say how far it reaches: length = "20 mm".',
            )
        return self
