"""One answer from two: bolts pulled as little and as much as tightening may leave."""

from __future__ import annotations

import math
from dataclasses import replace

from fem.judging.answers import Answer
from fem.judging.findings import CaseFindings, JointFindings, Vector, WatchFindings


def of_both_ends(low: Answer, high: Answer) -> tuple[Answer, bool]:
    """The answer that a case is told by, and whether it is the `low` one: that with the lesser reserve factor, and
    from both what moves, parts, slips and presses more.
    """
    tells_low = low.findings.reserve.minimum < high.findings.reserve.minimum
    told, other = (low, high) if tells_low else (high, low)
    ours, theirs = told.findings, other.findings
    most = max(ours, theirs, key=lambda found: found.maximum_displacement_mm)
    findings = replace(
        ours,
        maximum_displacement_mm=most.maximum_displacement_mm,
        maximum_displacement_at_mm=most.maximum_displacement_at_mm,
        faces={name: _farther(face, theirs.faces[name]) for name, face in ours.faces.items()},
        joints={name: _worse(joint, theirs.joints[name]) for name, joint in ours.joints.items()},
        bands=_bands(ours, theirs),
        tightened="low" if tells_low else "high",
    )
    remarks = (*told.remarks, *(r for r in other.remarks if r.kind not in {own.kind for own in told.remarks}))
    return replace(told, findings=findings, remarks=remarks), tells_low


def _farther(one: WatchFindings, other: WatchFindings) -> WatchFindings:
    return WatchFindings(
        max(one.displacement_mm, other.displacement_mm, key=lambda v: math.hypot(*v)),
        max(one.rotation_deg, other.rotation_deg, key=lambda v: math.hypot(*v)),
    )


def _bands(ours: CaseFindings, theirs: CaseFindings) -> dict[str, Vector]:
    """The band of each magnitude, from the answer in which it is larger."""
    here, there = ours.magnitudes, theirs.magnitudes
    return {
        key: theirs.bands[key] if key in theirs.bands and there.get(key, 0.0) > here.get(key, 0.0) else band
        for key, band in ours.bands.items()
    }


def _worse(ours: JointFindings, theirs: JointFindings) -> JointFindings:
    """Forces of the answer that is told; of both the larger pressure, gap and slip, and the words of what touches
    less.
    """
    less = min(ours, theirs, key=lambda joint: joint.touching)
    return replace(
        ours,
        pressure_max_MPa=max(ours.pressure_max_MPa, theirs.pressure_max_MPa),
        gap_max_mm=max(ours.gap_max_mm, theirs.gap_max_mm),
        slip_max_mm=max(ours.slip_max_mm, theirs.slip_max_mm),
        touching=less.touching,
        slipping=max(ours.slipping, theirs.slipping),
        closing_max_mm=max(ours.closing_max_mm, theirs.closing_max_mm),
        state=less.state,
    )
