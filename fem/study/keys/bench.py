"""Keys of `[bench.NAME]`: a measured load-deflection curve of the printed part itself."""

from __future__ import annotations

from pydantic import Field, model_validator

from fem.study.keys.values import (
    Direction,
    Form,
    MachineCompliance,
    Mass,
    Name,
    Preload,
    Time,
    fault,
)

BENDS = '[bench.bends]\ncurve = "pull.csv"\ncase = "service"\npoint = "tip"\n'
"""A test of the bracket, for the examples."""


class ColumnsForm(Form):
    load: Name | None = Field(
        default=None, description="Head of the column with the load. The one with a unit of force if left out."
    )
    deflection: Name | None = Field(
        default=None,
        description="Head of the column with the deflection. The one with a unit of length if left out.",
        examples=[f'{BENDS}columns = {{ deflection = "dial gauge" }}'],
    )


class BenchForm(Form):
    curve: Name = Field(
        description="Path of the measured curve, from where the study lies: text with a head such as "
        "`force [N]; deflection [mm]` and a line a reading, decimal comma or point, columns in any order. One "
        "loading without unloading, both growing the way the case loads the part.",
        examples=[f'{BENDS}compliance = "0.02 mm/kN"\nmass = "41 g"\nprint_time = "190 min"'],
    )
    columns: ColumnsForm = Field(default=ColumnsForm(), description="Which columns of the file count.")
    case: Name | None = Field(
        default=None, description="The case that was tested. Needed where the study has several."
    )
    load: Name | None = Field(
        default=None,
        description="The load that the tester read; the other growing loads of the case grow with it. All growing "
        "loads of the case together if left out.",
    )
    point: Name | None = Field(
        default=None, description="The point whose deflection was read. A test has one of `point` and `face`."
    )
    face: Name | None = Field(default=None, description="The face whose mean deflection was read.")
    direction: Direction | None = Field(
        default=None, description="Direction in which deflection was counted. That of the load if left out."
    )
    compliance: MachineCompliance | None = Field(
        default=None, description="What machine and fixture give by themselves, which is taken off the deflection."
    )
    mass: Mass | None = Field(default=None, description="Measured mass of all printed bodies together.")
    print_time: Time | None = Field(default=None, description="Measured print time of all printed bodies together.")
    first_knee: Preload | None = Field(
        default=None,
        description="Load at which the curve leaves its straight line. Found from the curve if left out.",
    )
    failure: Preload | None = Field(
        default=None,
        description="Load at which the part failed. The largest of the curve if left out, a bound from below where "
        "the curve does not fall after it.",
    )
    stopped: bool = Field(default=False, description="The test was stopped before the part failed.")

    @model_validator(mode="after")
    def _one_place(self) -> BenchForm:
        if (self.point is None) == (self.face is None):
            told = "both point and face are" if self.point is not None else "neither point nor face is"
            raise fault(f"{told} given.", "Name the one place where the deflection was read.")
        if self.stopped and self.failure is not None:
            raise fault("a test that was stopped before failure states a failure.", "Leave one of the two out.")
        return self
