"""What a bead bears, written for limit analysis: a convex set of stresses in components in which distance is plain.

Scaled components: s11 / A, s22 / A, s33 / B, s23 / C, s13 / C, sqrt(2) s12 / A, with A, B, C [MPa] of the size of the
strengths. A is one number for the plane of the layer, so that beads of every direction in it share the components'
scale and turning about the build direction keeps distances.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fem.criteria.strength import FORM, HILL, LINEAR, SHEAR, TEAR, Strength, limits_of
from fem.tensors import Array

FAR = 4.0
"""Times the yield stress to which an isotropic bead's single stresses are bounded: von Mises alone would bear
all-round pressure without limit, and no upper bound could be told."""


@dataclass(frozen=True)
class YieldSet:
    """`scale` (6,) [MPa]: stress = scale x scaled component, xx yy zz yz xz xy; `row` what yield_kernels takes."""

    scale: Array
    row: Array


def yield_set(strength: Strength) -> YieldSet:
    """The set of stresses inside all criteria that decide for these beads."""
    if strength.isotropic:
        y = float(strength.yield_stress or 0.0)
        tension = compression = np.full(3, FAR * y)
        shear = np.full(3, FAR * y)
        a = b = y
        c = y / np.sqrt(2)
        first, linear, tear = HILL, np.zeros(3), np.zeros(3)
    else:
        assert strength.tension is not None and strength.compression is not None and strength.shear is not None
        tension, compression, shear = strength.tension, strength.compression, strength.shear
        normal = tension * compression
        a = float((normal[0] * normal[1] * 2 * shear[2] ** 2) ** (1 / 6))
        b, c = float(np.sqrt(normal[2])), float(np.sqrt(shear[0] * shear[1]))
        limits = limits_of(strength)
        first, linear, tear = FORM, limits[LINEAR:FORM], limits[[TEAR, SHEAR, SHEAR + 1]]
    from fem.printing.infill.yield_kernels import WIDE

    scale = np.array([a, a, b, c, c, a / np.sqrt(2)])
    limits = limits_of(strength)
    form = np.empty((3, 3))
    for k, (i, j) in enumerate(((0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2))):
        form[i, j] = form[j, i] = limits[first + k] * scale[i] * scale[j]
    curve, ways = np.linalg.eigh(form)
    row = np.empty(WIDE)
    row[:6] = -np.concatenate([compression, shear]) / scale
    row[6:12] = np.concatenate([tension, shear]) / scale
    row[12:15], row[15:18] = np.maximum(curve, 0.0), limits[SHEAR:TEAR] * scale[3:] ** 2
    row[18:21], row[21:24] = ways.T @ (linear * scale[:3]), 0.0
    row[24:33] = ways.T.ravel()
    row[33:36] = tear * scale[[2, 3, 4]] ** 2
    return YieldSet(scale, row)
