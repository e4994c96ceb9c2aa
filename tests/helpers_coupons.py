"""Invented coupons: curves made from known constants, with a toe, a machine that gives, and noise."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from fem.coupons.nouns import Curve

MACHINE = 6000.0
"""Stiffness of the invented machine [N/mm]."""
KNEE = 0.004
"""Strain up to which invented curves are straight."""
BENDING = 4.0
"""How far they bend over: the strength is reached where exp(-4) of the way is left."""


def stress_of(strain, *, E, strength):
    """Straight up to the knee, then bending over to the strength, which the last point has."""
    top = strength - E * KNEE
    beyond = np.maximum(strain - KNEE, 0.0) * E / top
    return np.where(strain <= KNEE, E * strain, E * KNEE + top * (1 - np.exp(-beyond)) / (1 - np.exp(-BENDING)))


def pulled(rng, *, E, strength, nu=None, length=25.0, area=10.0, toe=(0.03, 0.004), machine=MACHINE, noise=1.0):
    """A tensile record up to the strength. `toe`: slack, and how far grips settle under the first load [mm].

    Noise as of a good bench: 0.2 N, 0.1 micrometre in the path and 10 microstrain across, times `noise`.
    """
    last = KNEE + BENDING * (strength - E * KNEE) / E
    strain = np.concatenate([np.zeros(10), np.linspace(0, last, 400)])
    force = stress_of(strain, E=E, strength=strength) * area
    slack, settling = toe
    path = strain * length + slack + settling * (1 - np.exp(-force / (0.004 * force.max())))
    path[:10] = np.linspace(0, slack, 10)
    path += force / machine if machine else 0.0
    error = noise * rng.standard_normal((3, len(strain)))
    sideways = None if nu is None else -nu * strain + 1e-5 * error[0]
    return Curve(force + 0.2 * error[1], path + 1e-4 * error[2], sideways)


def written(folder: Path, name: str, curves, *, head=None, decimal=".", delimiter=",", scale=(1.0, 1.0)):
    """One CSV for several curves: coupon, force, path and, where there is one, strain across in per cent."""
    across = curves[0].sideways is not None
    head = head or ["coupon", "force [N]", "path [mm]", *(["sideways [%]"] if across else [])]
    lines = [delimiter.join(head)]
    for k, curve in enumerate(curves, 1):
        columns = [curve.force * scale[0], curve.path * scale[1], *([curve.sideways * 100] if across else [])]
        for row in zip(*columns, strict=True):
            lines.append(delimiter.join([f"c{k}", *(f"{v:.7f}".replace(".", decimal) for v in row)]))
    (folder / name).write_text("\n".join(lines) + "\n", encoding="utf-8")
