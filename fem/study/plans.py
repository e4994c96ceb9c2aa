"""What a study asks for, as plain numbers in mm, N, MPa, tonne, s, K: the nouns that the study file is read into.

Nothing here knows the file's form (`keys.py`) or how it is read (`file.py`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from fem.part.faces import FaceQuery
from fem.printing.plan import INFILL_ANGLE, PrintPlan

Vector = tuple[float, float, float]


@dataclass(frozen=True)
class PrintKeys:
    """How a body is printed, as the study says it.

    `polymer` is a card's name or the absolute path of a card file; `state` None leaves the choice to the card and
    `raster_zero` None to the plan; `card` holds single values of it that the study sets, in a card file's own form.
    `build_direction`, `raster_zero` are directions in part axes, `bead_width`, `bead_height` [mm], `raster` the
    angles [degrees] layer by layer, `infill_density` the share 0..1, `infill_angle` [degrees] or None. `temperature`
    [deg C] in service, `speed` [mm/s], `filament_diameter` [mm] and `price_per_kg` are None where nothing is said.
    `assumed` names the values that the study left to their defaults.
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
        )


@dataclass(frozen=True)
class BodyPlan:
    """One body: `solid` its file, `unit` the length unit it was drawn in where the format has none, `size` and
    `finest` the mesh [mm] (None: chosen from the solid); either `print` or `metal` (with `state`) is set.
    """

    name: str
    solid: Path
    unit: str | None
    any_size: bool
    size: float | None
    finest: float | None
    print: PrintKeys | None
    metal: str | None
    state: str | None


@dataclass(frozen=True)
class SupportPlan:
    """What holds a face: `fixed` lists held part axes ("x", "y", "z"), or is "normal" for the face's own normal;
    an elastic foundation has `foundation_normal` and `foundation_tangential` [N/mm^3] and may be `push_only`; springs
    have the total stiffness `spring` (3,) [N/mm] along the part axes. `fixed` is empty for both.
    """

    name: str
    face: str
    fixed: tuple[str, ...] | str = ()
    foundation_normal: float | None = None
    foundation_tangential: float | None = None
    push_only: bool = False
    spring: Vector | None = None


@dataclass(frozen=True)
class ForceKeys:
    """A force (3,) [N] spread evenly over a face."""

    force: Vector


@dataclass(frozen=True)
class PressureKeys:
    """A pressure [MPa] on a face; positive pushes into the material."""

    pressure: float


@dataclass(frozen=True)
class WrenchKeys:
    """A force (3,) [N] and a moment (3,) [N mm] about the point `at` (3,) [mm], None: the face's centre."""

    force: Vector
    moment: Vector
    at: Vector | None


@dataclass(frozen=True)
class WingKeys:
    """The lift of a wing: `mass` [tonne] carried by all wings, `weight_fraction` of it on this one, `span` [mm],
    `left_fraction` of the lift on the left half, `drag_to_lift` drag over lift, `centre_of_pressure` (3,) [mm],
    `up` and `forward` directions in part axes.
    """

    mass: float
    weight_fraction: float
    span: float
    left_fraction: float
    drag_to_lift: float
    centre_of_pressure: Vector
    up: Vector
    forward: Vector


@dataclass(frozen=True)
class PreloadKeys:
    """Tightened bolts: `force` [N] for each hole of the face `holes`, `washer` the washer's outer diameter [mm],
    `against` the face they are clamped to, `head` the face under the washers (None: found next to the holes).
    """

    holes: str
    against: str
    force: float
    washer: float
    head: str | None


@dataclass(frozen=True)
class DisplacementKeys:
    """Prescribed displacement of a face [mm]; None leaves that direction free."""

    x: float | None
    y: float | None
    z: float | None


@dataclass(frozen=True)
class AccelerationKeys:
    """A field of acceleration (3,) [mm/s^2] that pulls on the mass of all bodies; gravity is (0, 0, -9806.65)."""

    acceleration: Vector


@dataclass(frozen=True)
class TemperatureChangeKeys:
    """Temperature difference [K] of the named bodies; None: of all."""

    by: float
    bodies: tuple[str, ...] | None


LoadKeys = (
    ForceKeys
    | PressureKeys
    | WrenchKeys
    | WingKeys
    | PreloadKeys
    | DisplacementKeys
    | AccelerationKeys
    | TemperatureChangeKeys
)


@dataclass(frozen=True)
class LoadPlan:
    """One load: `kind` is the study's word for it, `what` its numbers, `face` where it acts (None: by its kind).

    A `permanent` load stays as it is while a reserve factor is sought.
    """

    name: str
    kind: str
    what: LoadKeys
    face: str | None
    permanent: bool


@dataclass(frozen=True)
class Requirements:
    """What the part must meet; None or empty: not asked.

    `reserve` the minimum reserve factor, `rotation` [rad] and `displacement` [mm] by watched face, `mass` [tonne] of
    all bodies, `deflection` the maximum displacement [mm].
    """

    reserve: float | None = None
    rotation: Mapping[str, float] = field(default_factory=dict)
    displacement: Mapping[str, float] = field(default_factory=dict)
    mass: float | None = None
    deflection: float | None = None


@dataclass(frozen=True)
class Study:
    """A study file as read and checked.

    `currency` is the money of prices and costs, "" where the study does not say. `cases` holds factors by load;
    `points` (3,) [mm]; `watch` the faces whose mean displacement, turn and stiffness are asked for; `text` the file
    as it stood, `sha256` its digest and `solid_sha256` those of the solids. `tree` is the file's tables as parsed;
    `variants` and `sweep` change it by dotted paths, which reading the study does not look into (`variants/expand.py`
    does). A study made so bears its `variant`'s name and says in `changes` what was changed, in the file's own words.
    """

    path: Path
    title: str
    question: str
    currency: str
    bodies: Mapping[str, BodyPlan]
    faces: Mapping[str, FaceQuery]
    supports: Mapping[str, SupportPlan]
    loads: Mapping[str, LoadPlan]
    cases: Mapping[str, Mapping[str, float]]
    points: Mapping[str, Vector]
    watch: tuple[str, ...]
    requirements: Requirements
    solver: str
    text: str
    sha256: str
    solid_sha256: Mapping[str, str]
    tree: Mapping[str, Any] = field(default_factory=dict, repr=False)
    variants: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    sweep: Mapping[str, tuple[Any, ...]] = field(default_factory=dict)
    variant: str = ""
    changes: Mapping[str, str] = field(default_factory=dict)

    @property
    def inputs(self) -> dict[str, Any]:
        """What findings.json repeats of the input, so that a result can be traced to its files."""
        changed = {"variant": {"name": self.variant, "changes": dict(self.changes)}} if self.variant else {}
        return {
            **changed,
            "study": self.path.name,
            "text": self.text,
            "sha256": self.sha256,
            "solids": {
                name: {"file": body.solid.name, "sha256": self.solid_sha256[name]}
                for name, body in self.bodies.items()
            },
        }
