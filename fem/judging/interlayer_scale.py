"""How the minimum reserve of a case follows the strength between layers, stress as it is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fem.criteria.strength import Strength, WallBuckling
from fem.judging.recovered import RecoveredStress
from fem.judging.reserve import judge_reserve
from fem.judging.stress import StressField
from fem.loading.case import LoadCase
from fem.printing.field import UNPRINTED, PrintedField, PrintedMaterial
from fem.tensors import Array

SCALES = tuple(2.0 ** (k / 3) for k in range(-4, 5))
"""Factors on the interlayer strengths that are tried, about a quarter apart."""


def reserve_by_interlayer(case: LoadCase, recovered: RecoveredStress) -> Array:
    """Factors (k, 2) on the interlayer strengths of all prints, and on the minimum reserve that each makes.

    What joints and foundations touch stays as it is in the case. Empty where the case has no reserve, or no print.
    """
    printed = recovered.printed
    if all(each.zone in UNPRINTED for each in printed.materials):
        return np.zeros((0, 2))
    whole = recovered.of(case, tuple(case.factors))
    stay = recovered.stay(case) if case.permanent else None
    growing = whole if stay is None else whole.minus(stay)

    def least(scale: float) -> float:
        return _least(recovered, interlayer_scaled(printed, scale), stay, growing)

    before = least(1.0)
    if not (np.isfinite(before) and before > 0):
        return np.zeros((0, 2))
    found = np.array([(scale, least(scale) / before) for scale in SCALES])
    return found if (found[:, 1] > 0).all() else np.zeros((0, 2))


def _least(
    recovered: RecoveredStress, printed: PrintedField, stay: StressField | None, growing: StressField
) -> float:
    return float(judge_reserve(recovered.mesh, printed, permanent=stay, growing=growing).reserve.min())


def interlayer_scaled(printed: PrintedField, scale: float) -> PrintedField:
    """A field whose beads bear `scale` times as much between layers: tension up the build, shear 23 and 13."""
    return replace(printed, materials=tuple(_scaled(each, scale) for each in printed.materials))


def _scaled(material: PrintedMaterial, scale: float) -> PrintedMaterial:
    if material.zone in UNPRINTED:
        return material
    made: dict[int, Strength] = {}

    def own(strength: Strength | WallBuckling) -> Strength | WallBuckling:
        if not isinstance(strength, Strength) or strength.tension is None or strength.shear is None:
            return strength
        tension, shear = strength.tension * [1, 1, scale], strength.shear * [scale, scale, 1]
        return made.setdefault(id(strength), replace(strength, tension=tension, shear=shear))

    return replace(material, phases=tuple(replace(p, strength=own(p.strength)) for p in material.phases))
