"""What is found of each body: what it is made of, what it weighs, what printing it takes."""

from __future__ import annotations

from dataclasses import dataclass, field

Vector = tuple[float, ...]
Matrix = tuple[Vector, ...]


@dataclass(frozen=True)
class PrintFindings:
    """How a body is printed, and what that takes: estimates to be compared with the clock and the scales.

    `pattern`, `infill_density` (of the infill alone), `infill_angle_deg` the plan's; `cell_mm` the period of an
    infill cell and `cell_stiffness_mesh_change`, `cell_strength_mesh_change` by what share its stiffness and its
    strength changed when its mesh was last refined, `cell_peak_underestimate` by what share its judged places may
    understate the worst (None when solid); `thin_share` the share of the volume that lies where the part is thinner
    than two beads; `assumed` names the values that the study left to their defaults; `price_per_kg` and `cost` are in
    the user's own money; `infill_quality` the share of sound beads' stiffness and strength that the infill has.
    """

    build_direction: Vector
    bead_width_mm: float
    bead_height_mm: float
    walls: int
    covers: int
    raster_deg: Vector
    pattern: str
    infill_density: float
    infill_angle_deg: float
    cell_mm: Vector | None
    cell_stiffness_mesh_change: float | None
    cell_strength_mesh_change: float | None
    cell_peak_underestimate: float | None
    thin_share: float
    layers: int
    bead_length_m: float
    speed_mm_per_s: float
    time_h: float
    filament_diameter_mm: float
    filament_m: float
    price_per_kg: float
    cost: float
    assumed: tuple[str, ...]
    infill_quality: float = 1.0


@dataclass(frozen=True)
class BodyFindings:
    """What a body is and weighs; `zones` are the volume shares of wall, cover, core, solid, metal or laminate,
    `zone_mass_g` what each of them weighs; `print` is None for the last two; `critical_distance_mm` is that of its
    card, None where it has no toughness.
    """

    volume_mm3: float
    mass_g: float
    box_mm: Matrix
    material: str
    state: str
    zones: dict[str, float]
    estimates: tuple[str, ...]
    print_axes: Matrix | None
    zone_mass_g: dict[str, float] = field(default_factory=dict)
    print: PrintFindings | None = None
    critical_distance_mm: float | None = None
