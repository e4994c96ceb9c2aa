"""What was found bead by bead, at a place or in the whole part: the numbers of `findings.json`."""

from __future__ import annotations

from dataclasses import dataclass, field

Vector = tuple[float, ...]
MISSED = 0.95
"""A place is missed where its beads bear less than this share of what was decided without it."""


@dataclass(frozen=True)
class ZoomFindings:
    """A cube of a body solved bead by bead, hung into the solved part, and what its beads bear in one case.

    `at_mm` is its middle, `size_mm` its edge, `voxel_mm` (3,) the boxes along the print axes. `least` is the minimum
    reserve factor of the beads in the cube's inner half, with the `band` (low, high) that larger cubes and other
    places of the infill's lattice give it; `zone`, `mode` and `worst_at_mm` belong to it, `by_zone` is the minimum in
    each zone there. `homogenised` is the least that the homogenised answer says of the same room, in
    `homogenised_zone`. `beads_beyond` counts the beads that lie beyond their strength at the full load. `change` is
    the relative change of `least` when the cube last grew, `settled` whether that is small. `face` is the nearest
    named face, `face_distance_mm` how far it is; `picture` the file of its picture, drawn in the case in which the
    place bears least ("": it was not drawn). A `scan` was made of coarse boxes alone, to see whether the place may
    decide; it is not drawn.
    """

    body: str
    at_mm: Vector
    size_mm: float
    voxel_mm: Vector
    unknowns: int
    iterations: int
    least: float
    band: Vector
    zone: str
    mode: str
    worst_at_mm: Vector
    by_zone: dict[str, float | None]
    homogenised: float
    homogenised_zone: str
    beads_beyond: int
    change: float
    settled: bool
    face: str = ""
    face_distance_mm: float = 0.0
    print_stress_MPa: Vector = ()
    picture: str = ""
    scan: bool = False


@dataclass(frozen=True)
class WholeFindings:
    """Every printed body solved bead by bead on the study's own supports and loads, in one case.

    `least` is the minimum reserve factor of all beads, in `zone`, by `mode`, at `at_mm` of `body`; `by_zone` the
    minimum in each zone. `faces` holds the mean displacement of each watched face; `missed` the places whose beads
    bear less than the homogenised answer led to expect, worst first; `device` names the accelerator that solved it.
    """

    voxel_mm: Vector
    unknowns: int
    iterations: int
    least: float
    zone: str
    mode: str
    at_mm: Vector
    body: str
    by_zone: dict[str, float | None]
    strain_energy_mJ: float
    maximum_displacement_mm: float
    beads_beyond: int
    faces: dict[str, FaceMoves] = field(default_factory=dict)
    missed: tuple[MissedPlace, ...] = ()
    device: str = ""


@dataclass(frozen=True)
class FaceMoves:
    """Mean displacement (3,) [mm] and rotation (3,) [deg] of a watched face."""

    displacement_mm: Vector
    rotation_deg: Vector


@dataclass(frozen=True)
class MissedPlace:
    """A place where beads bear less than the homogenised answer says: both reserve factors, and where."""

    at_mm: Vector
    zone: str
    mode: str
    least: float
    homogenised: float
