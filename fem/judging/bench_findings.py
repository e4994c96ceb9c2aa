"""What a test of the printed part on the bench comes to, beside what was predicted of it."""

from __future__ import annotations

from dataclasses import dataclass

Vector = tuple[float, ...]


@dataclass(frozen=True)
class BenchFindings:
    """One measured load-deflection curve beside the prediction of its `case`.

    `load` names the load that was measured ("": all growing ones of the case together), `place` where the deflection
    was read, in the direction `direction` (part axes), of `body`. `deflection_mm`, `load_N` are the curve as drawn:
    counted from the toe, without what the machine gives; `toe_mm` and `compliance_mm_per_N` were taken off.
    Stiffnesses are of the initial straight part, measured between the loads `straight_N`; the predicted one's band
    holds the mesh's band and twice the card's `elastic_scatter`, that of failure twice its `scatter` (coefficients
    of variation). `first_knee_N` is None where the curve has none before its failure. `predicted_failure_N` is the
    load of the predicted reserve factor, at which the first bead fails by `predicted_mode` (None: nothing fails);
    `predicted_singular`: at a place where that load falls without limit as the mesh gets finer.
    `failure_seen`: the curve fell after its largest load, or the study states the load. Ratios are measured over
    predicted. `stated` names what the study says in place of the curve. `part_share` is by how much the deflection
    shrinks, relatively, for a unit growth of the body's stiffness.
    """

    case: str
    load: str
    place: str
    body: str
    direction: Vector
    deflection_mm: Vector
    load_N: Vector
    toe_mm: float
    compliance_mm_per_N: float
    straight_N: Vector
    stiffness_N_per_mm: float
    predicted_stiffness_N_per_mm: float
    predicted_stiffness_band_N_per_mm: Vector
    scatter: float
    elastic_scatter: float
    stiffness_ratio: float
    stiffness_ratio_band: Vector
    part_share: float
    first_knee_N: float | None
    failure_N: float
    failure_seen: bool
    predicted_failure_N: float | None
    predicted_failure_band_N: Vector
    predicted_mode: str
    first_knee_ratio: float | None
    failure_ratio: float | None
    mass_g: float | None = None
    predicted_mass_g: float | None = None
    print_time_h: float | None = None
    predicted_print_time_h: float | None = None
    stated: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    predicted_singular: bool = False

    @property
    def first_failure_N(self) -> float:
        """The load at which the first thing gave way: the first knee, or where there is none the failure."""
        return self.failure_N if self.first_knee_N is None else self.first_knee_N


@dataclass(frozen=True)
class BenchFit:
    """By what factors values of a printed body's card would have to move for its tests to agree; nothing is moved.

    `stiffness_scale` multiplies E and G, `interlayer_scale` the tension up the build and the shears 23 and 13 between
    layers; each with a band of two standard errors, and None where the tests cannot tell it, for the reason in
    `untold`. `values` says what the card's numbers would become, `provided` under what condition.
    """

    body: str
    tests: tuple[str, ...]
    stiffness_scale: float | None
    stiffness_scale_band: Vector
    interlayer_scale: float | None
    interlayer_scale_band: Vector
    untold: tuple[str, ...]
    values: tuple[str, ...]
    provided: tuple[str, ...] = ()
