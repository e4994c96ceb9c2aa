"""Keys of `[bodies.NAME]`: the solid, its mesh, and how it is printed or of which metal or laminate it is."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BeforeValidator, Field, model_validator

from fem.errors import InputError, nearest
from fem.printing.card.nouns import ROOM_TEMPERATURE
from fem.printing.plan import INFILL_ANGLE, INFILL_PATTERNS
from fem.study.keys.values import (
    Accuracy,
    Direction,
    Extent,
    Form,
    Name,
    Positive,
    Says,
    ShareAboveZero,
    Speed,
    Temperature,
    fault,
)
from fem.study.plans import DEFAULT_ACCURACY, MOST_UNKNOWNS
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
    size: Extent | None = Field(
        default=None,
        description="Edge length of the tetrahedra. The mesh then stays as it is, unless `accuracy` stands beside. "
        "A twentieth of the solid's longest side if left out.",
    )
    finest: Extent | None = Field(
        default=None,
        description="Smallest edge length, where the surface is curved. A quarter of `size` if left out. Beside "
        "`accuracy` no element is asked to be smaller, wherever it lies.",
    )
    accuracy: Accuracy | None = Field(
        default=None,
        description="The mesh is chosen: solved in passes, finer from one to the next where its error or the least "
        "reserve asks for it, until displacements, rotations of watched faces and the least reserve of every case "
        "change by no more than this. The first mesh has `size`. "
        f"{100 * DEFAULT_ACCURACY:g} % if no body of the study has a `size` or an `accuracy`.",
        examples=['[bodies.bracket]\nmesh = { accuracy = "5 %" }'],
    )
    most_unknowns: Annotated[int, Field(ge=10_000)] | None = Field(
        default=None,
        description="Where the mesh is chosen: the largest one, in unknowns of all bodies together. "
        f"{MOST_UNKNOWNS:,} if left out.",
    )

    @model_validator(mode="after")
    def _ordered(self) -> MeshForm:
        if self.size is not None and self.finest is not None and self.finest > self.size:
            raise fault(f"finest ({self.finest:g} mm) is larger than size ({self.size:g} mm).")
        if self.most_unknowns is not None and self.accuracy is None and self.size is not None:
            raise fault("most_unknowns stands beside a size alone.", 'Add accuracy = "5 %", or leave it out.')
        return self


class BeadForm(Form):
    width: Extent = Field(default=0.45, description="Width of a bead.")
    height: Extent = Field(default=0.20, description="Height of a bead, which is the height of a layer.")


class InfillForm(Form):
    pattern: Name = Field(description="`solid`, `woodpile`, `grid`, `triangle`, `honeycomb`, `cubic` or `gyroid`.")
    density: Annotated[float | None, Field(gt=0, le=1)] = Field(
        default=None, description="Volume fraction of polymer in the core. Needed for every pattern but `solid`."
    )
    angle: float | None = Field(
        default=None,
        description=f"Degrees by which the pattern is turned in the layer. {INFILL_ANGLE:g} if left out.",
    )

    @model_validator(mode="after")
    def _dense(self) -> InfillForm:
        if self.pattern not in INFILL_PATTERNS:
            known = f"There are {', '.join(INFILL_PATTERNS)}. {nearest(self.pattern, INFILL_PATTERNS)}"
            raise fault(f'no infill pattern is called "{self.pattern}".', known.strip())
        if self.pattern != "solid" and self.density is None:
            raise fault(
                f'"{self.pattern}" needs a density.',
                f'Write infill = {{ pattern = "{self.pattern}", density = 0.3 }}.',
            )
        return self


class QualityForm(Form):
    infill: ShareAboveZero = Field(
        default=1.0,
        description="Share of the computed stiffness and strength that the infill's one-bead walls have, from a "
        "measured block of it. Walls, covers and solid cores are left as they are.",
    )


class PrintForm(Form):
    polymer: Name = Field(description="Name of a material card (`beadwork cards`), or the path of your own.")
    state: Name | None = Field(default=None, description="One of the card's states. The card's first if left out.")
    build_direction: Direction = Field(
        default=[0.0, 0.0, 1.0], description="Direction in which the layers are stacked."
    )
    raster_zero: Direction | None = Field(
        default=None,
        description="Direction from which raster angles count. The part's x, laid into the layer, if left out.",
    )
    bead: BeadForm = Field(default=BeadForm(), description="Cross-section of a bead.")
    walls: Annotated[int, Field(ge=0)] = Field(
        default=3, description="Number of beads that follow the outline in each layer."
    )
    covers: Annotated[int, Field(ge=0)] = Field(
        default=4, description="Number of full layers under and over the core."
    )
    raster: Annotated[list[float], Field(min_length=1)] = Field(
        default=[45.0, -45.0], description="Degrees of the rasters in covers and solid cores, layer by layer."
    )
    infill: Annotated[InfillForm, BeforeValidator(_infill), Says("a table, or a pattern as text")] = Field(
        default=InfillForm(pattern="solid"),
        description="What fills the core.",
        examples=[
            '[bodies.bracket.print]\ninfill = { pattern = "gyroid", density = 0.4 }',
            '[bodies.bracket.print]\ninfill = "solid"',
        ],
    )
    quality: QualityForm | None = Field(
        default=None,
        description="What the print is worth beside sound beads.",
        examples=[
            '[bodies.bracket.print]\ninfill = { pattern = "gyroid", density = 0.4 }\nquality = { infill = 0.8 }'
        ],
    )
    card: dict[Name, Any] = Field(
        default={},
        description="Single values that replace the card's, written as in a card. Results name them as the user's.",
        examples=['[bodies.bracket.print.card]\ntension = ["90 MPa", "45 MPa", "30 MPa"]'],
    )
    temperature: Temperature | None = Field(
        default=None,
        description=f"Temperature in service. That of the card's values, {ROOM_TEMPERATURE:g} degC, if left out.",
    )
    speed: Speed | None = Field(default=None, description="Mean speed of the nozzle. For print time and cost only.")
    filament_diameter: Extent | None = Field(default=None, description="For the length of filament only.")
    price_per_kg: Positive | None = Field(
        default=None, description="Price of a kilogram, in `currency`. For cost only."
    )


class LaminateForm(Form):
    card: Name = Field(description="Name of a laminate's card (`beadwork cards`), or the path of your own.")
    state: Name | None = Field(default=None, description="One of the card's states. The card's first if left out.")
    plies: Annotated[list[float], Field(min_length=1)] = Field(
        default=[0.0],
        description="Degrees of the plies from `fibre`, of a stack that repeats through the thickness: "
        "`[0, 45, 90, -45]` is quasi-isotropic. The card's values are those of the whole plate if left out. "
        "Plies are smeared: right for many thin ones, less so for the bending of a few.",
    )
    fibre: Direction = Field(
        default=[1.0, 0.0, 0.0], description="Direction of a ply at 0 degrees, in the part's axes."
    )
    normal: Direction = Field(default=[0.0, 0.0, 1.0], description="Direction in which the plies are stacked.")
    temperature: Temperature | None = Field(
        default=None,
        description=f"Temperature in service. That of the card's values, {ROOM_TEMPERATURE:g} degC, if left out.",
    )


def _laminate(value: Any) -> Any:
    return {"card": value} if isinstance(value, str) else value


def _part(value: Any) -> Any:
    if (isinstance(value, str) and value.strip()) or (type(value) is int and value >= 1):
        return value
    raise fault("must be the number of a solid, from 1, or its name.", 'Write part = 2 or part = "lid".')


class BodyForm(Form):
    solid: Name = Field(
        description="Path of the solid, from where the study lies: STEP, IGES, BREP, STL, OBJ, PLY or 3MF.",
        examples=['[bodies.bracket]\nsolid = "../meshes/cantilever_bracket.stl"\nunit = "mm"'],
    )
    unit: Annotated[str | None, BeforeValidator(_unit), Says("a unit of length, as text")] = Field(
        default=None, description="Unit of the drawing. Needed for BREP, STL, OBJ and PLY, which state none."
    )
    any_size: bool = Field(default=False, description="Accept a part smaller than 1 mm or larger than 5 m.")
    part: Annotated[int | str | None, BeforeValidator(_part), Says("a whole number from 1, or text")] = Field(
        default=None,
        description="Which solid of a file with several: its number or its name (`beadwork faces FILE` lists them).",
        examples=['[bodies.bracket]\nsolid = "case.step"\npart = 2'],
    )
    fused: bool = Field(
        default=False,
        description="Join the touching solids of a file into one.",
        examples=['[bodies.bracket]\nsolid = "case.step"\nfused = true'],
    )
    mesh: MeshForm = Field(
        default=MeshForm(),
        description="Sizes of the mesh.",
        examples=['[bodies.bracket]\nmesh = { size = "6 mm", finest = "2 mm" }'],
    )
    print: PrintForm | None = Field(
        default=None, description="How the body is printed. A body has one of `print`, `metal` and `laminate`."
    )
    metal: Name | None = Field(
        default=None,
        description="Name or path of a metal's card, for a body that is machined.",
        examples=['[bodies.bracket]\nmetal = "6082-t6"'],
    )
    laminate: Annotated[LaminateForm | None, BeforeValidator(_laminate), Says("a table, or a card as text")] = Field(
        default=None,
        description="A body of plies of continuous fibres, such as a carbon plate.",
        examples=[
            '[bodies.bracket]\nlaminate = { card = "carbon-ply", plies = [0, 45, 90, -45], fibre = [1, 0, 0] }',
            '[bodies.bracket]\nlaminate = "carbon-fabric"',
        ],
    )
    state: Name | None = Field(default=None, description="State of the metal's card. The card's first if left out.")

    @model_validator(mode="after")
    def _one_material(self) -> BodyForm:
        given = [key for key in ("print", "metal", "laminate") if getattr(self, key) is not None]
        if len(given) != 1:
            told = f"both {' and '.join(given)} are" if given else "none of print, metal and laminate is"
            raise fault(f"{told} given.", "A body has exactly one of them.")
        if self.part is not None and self.fused:
            raise fault("part and fused are both given.", "part takes one solid of the file, fused joins all.")
        if self.metal is None and self.state is not None:
            raise fault(f"state stands beside {given[0]}.", f"Move it into the {given[0]} table.")
        return self
