"""The plain numbers and verdicts that the report, the pictures and the comparison need.

`Findings` is the contract that scripts rely on: the names of these fields are the keys of findings.json, and
each key carries its unit. Nothing here computes. The file bears one key more, "digest": see `sealed.py`.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from fem.caution import Caution
from fem.errors import InputError
from fem.judging.bench_findings import BenchFindings as BenchFindings
from fem.judging.bench_findings import BenchFit as BenchFit
from fem.judging.body_findings import BodyFindings as BodyFindings
from fem.judging.body_findings import Matrix, Vector
from fem.judging.body_findings import PrintFindings as PrintFindings
from fem.judging.clamp_time import ClampWithTime
from fem.judging.joint_findings import BoltFindings as BoltFindings
from fem.judging.joint_findings import FitCase as FitCase
from fem.judging.joint_findings import FitFindings as FitFindings
from fem.judging.joint_findings import JointFindings as JointFindings
from fem.judging.path import JointAtLoad as JointAtLoad
from fem.judging.path import PathPoint as PathPoint
from fem.judging.sealed import SealBroken, plain, read_sealed, typed, write_sealed
from fem.judging.zoomed import WholeFindings, ZoomFindings


@dataclass(frozen=True)
class MeshFindings:
    nodes: int
    tetrahedra: int
    unknowns: int
    order: int
    worst_quality: float
    median_quality: float
    straightened: int


@dataclass(frozen=True)
class FaceFindings:
    """A named face group: how many faces of the solid it holds, how large it is, where its centre lies."""

    count: int
    area_mm2: float
    centre_mm: Vector


@dataclass(frozen=True)
class PointFindings:
    """Displacement and stress at a named point (`at_mm` is the mesh node nearest to it)."""

    at_mm: Vector
    displacement_mm: Vector
    stress_MPa: Vector
    print_stress_MPa: Vector


@dataclass(frozen=True)
class WatchFindings:
    """Mean displacement and rotation of a watched face."""

    displacement_mm: Vector
    rotation_deg: Vector


@dataclass(frozen=True)
class ChanceInput:
    """An input that scatters, and its `share` in the variance of the logarithm of a case's least reserve factor."""

    name: str
    share: float


@dataclass(frozen=True)
class Reserve:
    """The minimum reserve factor of a case: how often its growing loads may be applied until failure.

    `mode` names how it fails there, `phase` which beads (zone and raster angle), `criteria` the minimum reserve
    by each criterion on its own (null where a criterion is not admissible for the material).
    `singular` tells that this place is made by a support or by a load's edge; `nonsingular_minimum` is the minimum
    outside such places.

    `minimum` and what belongs to it are the decided ones: where beads were solved at a place, their number counts in
    place of the homogenised one. `least` says the same number, `homogenised` the minimum of the homogenised answer,
    in `homogenised_zone`; `decided_by` is "homogenised", "zoom" or "whole", and `band` (low, high) how far the
    decided number may lie off (empty: not known). `criteria` and `by_zone`, the minimum in each zone (null where
    nothing grows towards failure), are the homogenised answer's. `decided` says whether the required reserve is
    "met", "not met" or "not decided", its band straddling the limit ("" where none is required); `chance_above_1` and
    `chance_met` are the chances that the reserve is above 1 and above what is required, `chance_limit` (None: not
    known, or nothing required), `chance_errors` the standard error of each by sampling: 0 where next to all samples,
    or none, reach it, and the chance is then a bound. `chance_inputs` are the up to three inputs that matter most.
    `homogenised_band` and `homogenised_away` are the band and the minimum away from singular places of the
    homogenised answer. Places that permanent loads alone use up (`CaseFindings.used_up`) do not count for the minima.
    """

    minimum: float
    mode: str
    zone: str
    phase: str
    body: str
    face: str
    at_mm: Vector
    singular: bool
    nonsingular_minimum: float
    criteria: dict[str, float | None]
    least: float = math.inf
    homogenised: float = math.inf
    homogenised_zone: str = ""
    decided_by: str = "homogenised"
    band: Vector = ()
    by_zone: dict[str, float | None] = field(default_factory=dict)
    decided: str = ""
    chance_above_1: float | None = None
    chance_met: float | None = None
    chance_errors: Vector = ()
    chance_inputs: tuple[ChanceInput, ...] = ()
    chance_limit: float | None = None
    homogenised_band: Vector = ()
    homogenised_away: float = math.inf

    def chance_of(self, required: float | None) -> tuple[float, float] | None:
        """The chance of the `required` reserve factor (None: of 1) and its error; None where it is not known."""
        if required is None or required == 1:
            return None if self.chance_above_1 is None else (self.chance_above_1, self.chance_errors[0])
        if self.chance_met is None or self.chance_limit != required:
            return None
        return self.chance_met, self.chance_errors[1]


@dataclass(frozen=True)
class HotSpot:
    """A place where the reserve factor has a local minimum.

    `face` is the nearest named face (or `body:id`), `face_distance_mm` how far away it is;
    `print_stress_MPa` the case's stress in the axes of the beads that fail there. Where beads were solved there
    (`decided_by` is "zoom" or "whole"), `reserve`, `mode`, `zone` and the stress are the beads', and `homogenised` is
    the homogenised answer's, in `homogenised_zone`. "undecided": that is doubtful, and no beads were solved.
    `verdict` says whether the number stands: "settled", "moving" with the mesh, "sharp corner" (stress grows there
    without limit, by the `exponent` found), "support" (the edge of a support or load); "" where one mesh cannot tell.
    """

    reserve: float
    mode: str
    zone: str
    phase: str
    body: str
    face: str
    face_distance_mm: float
    at_mm: Vector
    print_stress_MPa: Vector
    singular: bool
    singular_reason: str
    decided_by: str = "homogenised"
    homogenised: float = math.inf
    homogenised_zone: str = ""
    band: Vector = ()
    verdict: str = ""
    exponent: float | None = None


@dataclass(frozen=True)
class ReactionFindings:
    """What a `support` exerts on the part, or a separate `part` of it ("hole 2"; empty: the support as a whole).

    `moment_Nmm` is about `at_mm`, the centre of its area, `origin_moment_Nmm` about the origin of the part axes.
    """

    support: str
    part: str
    force_N: Vector
    moment_Nmm: Vector
    origin_moment_Nmm: Vector
    at_mm: Vector


@dataclass(frozen=True)
class FoundationFindings:
    """How a foundation presses: `push_N` and `pull_N` the sums of its normal forces on the part, pressed and in
    tension, `pulling_force_fraction` the pull over both; `lifted_area_fraction` the fraction of its area from which
    the part moves away. One that only pushes (`push_only`) has let go there; one that is `bonded` is meant to pull.
    """

    push_only: bool
    push_N: float
    pull_N: float
    pulling_force_fraction: float
    lifted_area_fraction: float
    bonded: bool = False


@dataclass(frozen=True)
class UsedUp:
    """A place that a case's permanent loads alone use up: nothing of its strength is left for growing loads.

    `reserve` is the factor on all permanent loads together at which its worst point fails (below 1; None: beads show
    the place used up, and the homogenised answer does not say by how much), by `mode` in the `zone` of `body` at
    `at_mm`, near `face`; `share` of the body's volume, at `nodes` of the mesh.
    """

    reserve: float | None
    mode: str
    zone: str
    body: str
    face: str
    at_mm: Vector
    share: float
    nodes: int


@dataclass(frozen=True)
class CaseFindings:
    """What a case came to. `failing_load_N` is the resultant of its growing loads times the minimum reserve factor,
    `failing_load_Nmm` that of their moments where they have no resultant; None where they have neither. `bands` are
    (low, high) by the keys of `magnitudes`; `bands_from` tells what made these and the homogenised reserve factors'
    (one of `band.MADE_BY`, "" where there are none). `used_up` are the places that its permanent loads alone use up,
    worst first: the part does not bear this case. `growing_N` are the resultants of its growing loads that have one.
    `tightened` names the end of the tightening scatter, "low" or "high", that makes its reserve factor ("": no
    bolts).
    With bearing joints, whose part in it changes with the load, `path` tells of each load factor that was solved.
    """

    factors: dict[str, float]
    applied_N: Vector
    applied_Nmm: Vector
    reaction_N: Vector
    force_error: float
    moment_error: float
    maximum_displacement_mm: float
    maximum_displacement_at_mm: Vector
    strain_energy_mJ: float
    points: dict[str, PointFindings]
    faces: dict[str, WatchFindings]
    reserve: Reserve
    hot_spots: tuple[HotSpot, ...]
    failing_load_N: float | None = None
    failing_load_Nmm: float | None = None
    reactions: tuple[ReactionFindings, ...] = ()
    foundations: dict[str, FoundationFindings] = field(default_factory=dict)
    zooms: tuple[ZoomFindings, ...] = ()
    whole: WholeFindings | None = None
    bands: dict[str, Vector] = field(default_factory=dict)
    used_up: tuple[UsedUp, ...] = ()
    bands_from: str = ""
    growing_N: dict[str, float] = field(default_factory=dict)
    joints: dict[str, JointFindings] = field(default_factory=dict)
    bolts: dict[str, BoltFindings] = field(default_factory=dict)
    tightened: str = ""
    path: tuple[PathPoint, ...] = ()

    @property
    def magnitudes(self) -> dict[str, float]:
        """How far it moves: "maximum_displacement_mm", "faces.NAME.displacement_mm", "faces.NAME.rotation_deg"."""
        faces = {
            f"faces.{name}.{kind}": math.hypot(*vector)
            for name, face in self.faces.items()
            for kind, vector in (("displacement_mm", face.displacement_mm), ("rotation_deg", face.rotation_deg))
        }
        return {"maximum_displacement_mm": self.maximum_displacement_mm, **faces}


@dataclass(frozen=True)
class FaceStiffness:
    """6 x 6 seen at a watched face: `matrix` forces [N] and moments [N mm] (its rows) against displacements [mm] and
    rotations [rad] (its columns); `compliance` the other way round.
    """

    matrix: Matrix
    compliance: Matrix
    forces: tuple[str, ...] = ("force_x_N", "force_y_N", "force_z_N", "moment_x_Nmm", "moment_y_Nmm", "moment_z_Nmm")
    motions: tuple[str, ...] = (
        "displacement_x_mm", "displacement_y_mm", "displacement_z_mm",
        "rotation_x_rad", "rotation_y_rad", "rotation_z_rad",
    )  # fmt: skip


@dataclass(frozen=True)
class RequirementFindings:
    """One requirement: `limit` and `value` in `unit`, `where` the case (or body) that decides; `band` how far the
    value may lie off (empty: not known), `decided` "met", "not met" or "not decided", which is not `met`; `note` what
    decides besides; `lower` marks a limit from below, as those on reserve and chance are anyway.
    """

    name: str
    limit: float
    value: float
    unit: str
    met: bool
    where: str
    band: Vector = ()
    decided: str = ""
    note: str = ""
    lower: bool = False


@dataclass(frozen=True)
class Findings:
    """All that one run found; see the module's text. `fits` tell of joints with several clearances, `clamps` of
    what stays of each bolt's clamp with time, `bench` of tests of the printed part, `bench_fit` of what would make
    these agree. `files` are the digests of pictures and fields beside it.
    """

    beadwork: str
    title: str
    question: str
    inputs: dict[str, Any]
    bodies: dict[str, BodyFindings]
    mesh: MeshFindings
    faces: dict[str, FaceFindings]
    cases: dict[str, CaseFindings]
    stiffness: dict[str, FaceStiffness]
    requirements: tuple[RequirementFindings, ...]
    loads: dict[str, dict[str, Any]]
    supports: dict[str, dict[str, Any]]
    trust: dict[str, Any]
    cautions: tuple[Caution, ...]
    seconds: dict[str, float] = field(default_factory=dict)
    peak_memory_MB: float = 0.0
    currency: str = ""
    fits: tuple[FitFindings, ...] = ()
    clamps: dict[str, ClampWithTime] = field(default_factory=dict)
    bench: dict[str, BenchFindings] = field(default_factory=dict)
    bench_fit: tuple[BenchFit, ...] = ()
    files: dict[str, str] = field(default_factory=dict)

    @property
    def worst_case(self) -> str:
        """The case with the minimum reserve factor."""
        return min(self.cases, key=lambda name: self.cases[name].reserve.minimum)

    def _repr_html_(self) -> str:
        from fem.judging.tables import findings_html

        return findings_html(self)


def as_json(findings: Findings) -> str:
    """The findings as JSON text; an unlimited reserve is written as null, since JSON knows no infinity.

    Errors: NoTrustworthyAnswer for a number that is none.
    """
    return json.dumps(plain(findings, unlimited=None), indent=1, ensure_ascii=False)


def write_findings(findings: Findings, path: Path) -> Path:
    """Write findings.json, with a digest that tells whether it is still as it was written.

    Errors: OSError; NoTrustworthyAnswer for a number that is none.
    """
    return write_sealed(plain(findings, unlimited=None), path)


def read_findings(path: Path) -> Findings:
    """The findings that `write_findings` wrote; a number that stands there as null is unlimited.

    A criterion's null stays None, unlimited or not admissible. The digest guards against damage, not against forgery.
    Errors: InputError when the file is missing, is not as it was written, or holds something else.
    """
    advice = "Run beadwork run again."
    try:
        found: Findings = typed(Findings, read_sealed(path))
    except FileNotFoundError:
        raise InputError("there are no findings.", where=str(path), advice=advice) from None
    except SealBroken as broken:
        raise InputError(f"this file {broken}.", where=str(path), advice=advice) from None
    except (OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError):
        raise InputError("these are no findings of this version.", where=str(path), advice=advice) from None
    return found
