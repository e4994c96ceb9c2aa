"""What pulls the layers of a print apart."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from fem.criteria.strength import WallBuckling
from fem.judging.reserve import own_stress
from fem.judging.stress import StressField
from fem.printing.field import UNPRINTED, PrintedField


def largest_interlayer(printed: PrintedField, cases: Mapping[str, StressField]) -> tuple[float, str]:
    """The largest tension [MPa] up the build (stress 33 in print axes) in the beads of any zone, and its case.

    It is 0 with no case where layers are pressed together everywhere; metals and laminates have no printed ones.
    """
    most, where = 0.0, ""
    for name, field in cases.items():
        for material, zone in zip(printed.materials, field.zones, strict=True):
            if material.zone in UNPRINTED or len(zone.nodes) == 0:
                continue
            own = own_stress(material, zone).T
            rows = [
                (p.to_bead[2], p.thermal_stress[2])
                for p in material.phases
                if not isinstance(p.strength, WallBuckling)
            ]
            # Rasters of one layer stack share what pulls them apart: equal rows are looked at once
            turn = np.unique(np.array([np.append(row, warm) for row, warm in rows]).round(12), axis=0)
            up = turn[:, :6] @ own + np.outer(turn[:, 6], zone.temperature_change)
            if up.size and up.max() > most:
                most, where = float(up.max()), name
    return most, where
