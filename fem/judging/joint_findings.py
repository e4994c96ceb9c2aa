"""Joints, bolts and fits as plain numbers: what findings tell of them."""

from __future__ import annotations

from dataclasses import dataclass

from fem.judging.body_findings import Vector


@dataclass(frozen=True)
class JointFindings:
    """What the faces of a joint do to each other: the `force_N` (3,) and `moment_Nmm` (3,), about `at_mm`, on the
    body of the first face; `pressure_max_MPa` a high mean over an element's size, `gap_max_mm` and `slip_max_mm` how
    far faces that were to touch have parted and slid; the shares of the area that touch and slip; `closing_max_mm`
    how far faces approach beyond touching, which springs between them allow. `state` sums it up in words; `bodies`
    are that of the first face, then that of the second (none where the counterpart is rigid).
    """

    force_N: Vector
    moment_Nmm: Vector
    at_mm: Vector
    pressure_max_MPa: float
    gap_max_mm: float
    slip_max_mm: float
    touching: float
    slipping: float
    closing_max_mm: float
    state: str
    bodies: tuple[str, ...] = ()


@dataclass(frozen=True)
class BoltFindings:
    """A bolt in a case. Tightening leaves between `preload_low_N` and `preload_N`; after the most of it the case
    makes its pull `force_N`, by `change_N` more, its `shear_N`, `bending_Nmm` and `stress_MPa`, and presses its head
    on the part with `head_pressure_MPa`; after the least the parts around it are pressed together with `clamp_N`,
    and are `open` where nothing is left. `reserve` is yield over stress, `head_reserve` what the part bears under
    the head, for long too, over the pressure there, `thread_reserve` the pull that its thread, or what it is
    `held_by`, bears over its pull (None: a nut, or something not meshed). None of them is a factor on the load.
    `on_head_N` (3,) and `on_head_Nmm` (3,), about `at_mm`, is what it does to the first of its `bodies`.
    """

    preload_N: float
    preload_low_N: float
    force_N: float
    change_N: float
    shear_N: float
    bending_Nmm: float
    clamp_N: float
    stress_MPa: float
    reserve: float
    head_pressure_MPa: float
    head_bears_MPa: float
    head_bears_long_MPa: float
    head_reserve: float
    thread_reserve: float | None
    held_by: str
    open: bool
    at_mm: Vector
    on_head_N: Vector
    on_head_Nmm: Vector
    bodies: tuple[str, ...]


@dataclass(frozen=True)
class FitCase:
    """A case with another clearance: its homogenised reserve factor, how far it moves at most, the rotation [deg] of
    watched faces, the largest pull of a bolt (None: there is none), the highest pressure in the joint, the share of
    its area that touches.
    """

    reserve: float
    maximum_displacement_mm: float
    rotation_deg: dict[str, float]
    bolt_force_N: float | None
    pressure_max_MPa: float
    touching: float


@dataclass(frozen=True)
class FitFindings:
    """What a `clearance_mm` of a `joint` makes of the cases, by name; `asked` marks that of the study itself."""

    joint: str
    clearance_mm: float
    asked: bool
    cases: dict[str, FitCase]
