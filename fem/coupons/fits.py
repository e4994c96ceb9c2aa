"""Each coupon's curve as stress over strain, and the numbers that its test gives."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from fem.coupons.line import BENT, SHEAR_WINDOW, TENSION_WINDOW, Line, straight_part
from fem.coupons.nouns import DIAGONAL, Batch, Coupon
from fem.errors import InputError
from fem.tensors import Array

MOST_SHEAR = 0.05
"""Shear strain up to which the strength of a ±45 coupon is read: beyond it fibres turn (ISO 14129:1997; from
memory)."""
AXIAL_OF_SHEAR = 1.7
"""Shear strain over axial strain of a ±45 coupon, 1 + its Poisson's ratio of about 0.7, where it was not read across
(common practice); only the strain at which the strength is read rests on it."""
BROKEN = 0.1
"""A coupon is broken when its stress has fallen to this share of the strength (ISO 527-1:2012, 3.6.2)."""
BACKWARDS = 0.03
"""How far, as a share of its range, a path or load may go back before the peak: more is another loading."""
NEGATIVE = 0.02
"""How far below zero, as a share of the peak, a load may lie: balance of the cell, and noise."""
MOST_MACHINE = 0.9
"""The share of the path at the peak that the machine may take: beyond it nothing of the coupon is left to read."""
FALLS = 0.02
"""A load that falls by this share has passed a peak."""
MOST_STRAIN = 0.10
"""Strain up to which a strength is read: polymers that draw or barrel may bear more far beyond it, where nothing that
is computed with small strains holds (common practice; ISO 527-1 and ISO 604 know the stress at a given strain)."""
STANDS, RISES = 0.995, 0.05
"""A path that has reached the first share of its range before the peak, while the load rises by the second share of
the peak, stands still: the gauge has slipped, or is at its end."""
STOPPED = "the path stands still while the load rises on to its peak"
STARTS = 0.02
"""A loading begins where the load reaches this share of its peak."""
OFFSET = 0.04
"""A load at zero path that is more than this share of the peak is told (ISO 527-1 lets 1 % stand before a test)."""


@dataclass(frozen=True)
class CouponFit:
    """What one coupon gave.

    `strain` and `stress` (n,) [1, MPa] with toe and machine taken off, in shear for ±45; `as_read` (n,) [1] the
    strain as it was read; `line` the straight part; `gives` the numbers by name (see NAMES); `machine_share` of the
    path in the modulus window that the machine took; `remarks` what is to be known of it.
    """

    coupon: Coupon
    strain: Array
    stress: Array
    as_read: Array
    line: Line | None
    gives: dict[str, float]
    machine_share: float = 0.0
    remarks: tuple[str, ...] = ()


NAMES = {
    "E": ("modulus", "MPa"),
    "E45": ("modulus at ±45", "MPa"),
    "G": ("shear modulus G12", "MPa"),
    "nu": ("Poisson's ratio", ""),
    "strength": ("strength", "MPa"),
    "shear": ("shear strength", "MPa"),
    "break": ("strain at break", ""),
    "toughness": ("toughness", "MPa·m^0.5"),
    "density": ("density", "g/cm³"),
}
"""Name of a number -> what it is, and its unit on a page; toughness is kept in N/mm^1.5, density in tonne/mm^3."""


def fit_coupon(batch: Batch, coupon: Coupon) -> CouponFit:
    """The numbers of one coupon.

    The machine's own give, force over its stiffness, is taken off the path first; then the toe (see `straight_part`).
    Errors: InputError that names the coupon, for a record that no loading to failure gives, and too few points.
    """
    try:
        force, path = _upright(coupon.curve.force, coupon.curve.path)
        gives: dict[str, float] = {} if coupon.mass is None else {"density": _density(batch, coupon)}
        if batch.test == "notched":
            return _notched(batch, coupon, force, path, gives)
        own = path if batch.machine is None else path - force / batch.machine
        strain, stress = _as_stress(batch, coupon, force, own)
        as_read = _as_stress(batch, coupon, force, path)[0]
        if batch.strength_only:
            return _strength_alone(batch, coupon, strain, stress, gives)
        last = _last(batch, strain, force)
        _loading_only(path[:last], force[:last])
        _refuse_soft_machine(force, path, own)
        diagonal = batch.direction == DIAGONAL
        fit = _sheared if diagonal else _pulled
        made = fit(batch, coupon, strain, stress, gives)
        share = _machine_share(made.line, strain, as_read)
        return replace(made, as_read=made.as_read + as_read - strain, machine_share=share)
    except InputError as error:
        raise error.inside(coupon.name) from None


def _last(batch: Batch, strain: Array, force: Array) -> int:
    """How many points of a record count for its strength: those up to MOST_STRAIN, from where the load begins."""
    if batch.test == "bending" or batch.direction == DIAGONAL:
        return len(strain)
    start = float(strain[int(np.argmax(force >= STARTS * force.max()))])
    beyond = np.flatnonzero(strain > start + MOST_STRAIN)
    return int(beyond[0]) if beyond.size else len(strain)


def standstill(force: Array, path: Array) -> int | None:
    """The point from which the path stands still while the load rises on to its peak; None where it keeps moving."""
    top = int(force.argmax())
    low, high = float(path[: top + 1].min()), float(path[: top + 1].max())
    at = int(np.argmax(path[: top + 1] >= low + STANDS * (high - low)))
    return at if force[top] - force[at] > RISES * force[top] else None


def _machine_share(line: Line | None, strain: Array, as_read: Array) -> float:
    """The share of the path between the ends of the modulus window that the machine took."""
    assert line is not None  # without a path nothing is taken off
    inside = np.flatnonzero(line.inside)
    return 1 - float(np.ptp(strain[inside]) / np.ptp(as_read[inside]))


def _refuse_soft_machine(force: Array, path: Array, own: Array) -> None:
    """Errors: InputError where a machine of that stiffness would take nearly all of the path up to the peak."""
    top = int(force.argmax())
    share = float(1 - own[top] / path[top]) if path[top] > 0 else 0.0
    if share > MOST_MACHINE:
        raise InputError(
            f"a machine so soft would take {100 * share:.3g} % of the path.",
            advice="Check machine_stiffness and the units of load and path.",
        )


def _upright(force: Array, path: Array) -> tuple[Array, Array]:
    """Force and path counted positive in the test's own direction. Errors: InputError for one that is negative."""
    if len(force) == 0:
        raise InputError("holds no measured points.")
    at = int(np.argmax(np.abs(force)))
    if force[at] < 0 and path[at] < 0:
        force, path = -force, -path
    peak = float(force.max())
    if peak <= 0 or force.min() < -NEGATIVE * peak:
        raise InputError(
            f"the load goes down to {force.min():.4g} N while its peak is {peak:.4g} N.",
            advice="Set the load to zero before the coupon is clamped, and count both columns from there; negative "
            "loads belong to negative paths.",
        )
    return force, path


def _loading_only(path: Array, force: Array) -> None:
    """Errors: InputError where path or load goes back before the peak."""
    end = int(force.argmax()) + 1
    for what, values in (("path", path[:end]), ("load", force[:end])):
        back = np.maximum.accumulate(values) - values
        reach = float(values.max() - values.min())
        if reach <= 0:
            raise InputError(f"the {what} never changes.")
        if back.max() > BACKWARDS * reach:
            share, row = 100 * back.max() / reach, int(back.argmax()) + 1
            raise InputError(
                f"the {what} goes back by {share:.3g} % of its range before the peak (point {row}).",
                advice="Give the loading to failure alone: cut off preloads and unloading; leave out coupons whose "
                "grips slipped.",
            )


def _as_stress(batch: Batch, coupon: Coupon, force: Array, path: Array) -> tuple[Array, Array]:
    """Strain [1] and stress [MPa] of the outer fibre or of the section."""
    if batch.test == "bending":
        # ISO 178:2019, 9: three-point bending
        span, b, h = batch.length, coupon.width, coupon.thickness
        return 6 * path * h / span**2, 3 * force * span / (2 * b * h**2)
    return path / batch.length, force / coupon.area


def _strength_alone(batch: Batch, coupon: Coupon, strain: Array, stress: Array, gives: dict[str, float]) -> CouponFit:
    name, share = ("shear", 0.5) if batch.direction == DIAGONAL else ("strength", 1.0)
    return CouponFit(coupon, strain, stress * share, strain, None, {**gives, name: share * float(stress.max())})


def _pulled(batch: Batch, coupon: Coupon, strain: Array, stress: Array, gives: dict[str, float]) -> CouponFit:
    """Tension, compression, bending and blocks of infill: modulus, strength, strain at break, Poisson's ratio."""
    last = _last(batch, strain, stress)
    top = _peak(stress[:last], first=batch.test in ("compression", "infill"))
    stop = standstill(stress[:last], strain[:last])
    end = (top if stop is None else min(top, stop)) + 1
    line = straight_part(strain[:end], stress[:end], window=TENSION_WINDOW)
    moved = strain - line.zero
    gives = {**gives, "E": line.slope, "strength": float(stress[top])}
    remarks = _remarks(line) + _offset(line, path=strain, peak=stress[top])
    if stop is not None:
        remarks += (f"{STOPPED}: no strain at break is read",)
    if batch.test == "tension":
        if stop is None:
            gives["break"] = float(moved[_end(stress)])
        if coupon.curve.sideways is not None:
            gives["nu"] = _poisson(coupon.curve.sideways[:end][line.inside], strain[:end][line.inside])
    elif batch.test != "bending" and top >= len(stress) - 1 - len(stress) // 50:
        remarks += ("no peak was reached: the strength is the stress at the record's end",)
    if stress.max() > (1 + FALLS) * stress[top] and last < len(stress) and top > last - 2:
        remarks += (f"the load rises beyond {100 * MOST_STRAIN:.0f} % strain: the strength is read there",)
    return CouponFit(coupon, moved, stress, strain, line, gives, remarks=remarks)


def _offset(line: Line, *, path: Array, peak: float) -> tuple[str, ...]:
    """A load that stood on the coupon, or on an unbalanced cell, before its path was counted."""
    share = -line.slope * line.zero / peak
    if share <= OFFSET or path.min() < 0:
        return ()
    return (
        f"at zero path more than {100 * OFFSET:.0f} % of the peak load stood already, counted as a preload: if the "
        "load was not set to zero, the strength is too high by that",
    )


def _sheared(batch: Batch, coupon: Coupon, strain: Array, stress: Array, gives: dict[str, float]) -> CouponFit:
    """A ±45 coupon: half the stress is shear along the beads, shear strain is axial strain less that across (ISO
    14129). Without the strain across, the modulus stays that of the coupon, and a laminate's law makes G12 of it."""
    stop, top = standstill(stress, strain), _peak(stress, first=False)
    top = top if stop is None else min(top, stop)
    if coupon.curve.sideways is None:
        line = straight_part(strain[: top + 1], stress[: top + 1], window=TENSION_WINDOW)
        moved, limit, modulus = strain - line.zero, MOST_SHEAR / AXIAL_OF_SHEAR, "E45"
        shown, scale = stress, 0.5
    else:
        narrowing = coupon.curve.sideways * _sign_across(coupon.curve.sideways[: top + 1])
        gamma, tau = strain - narrowing, stress / 2
        line = straight_part(gamma[: top + 1], tau[: top + 1], window=SHEAR_WINDOW)
        moved, limit, modulus = gamma - line.zero, MOST_SHEAR, "G"
        shown, scale = tau, 1.0
    reached = shown[: top + 1][moved[: top + 1] <= limit]
    gives = {**gives, modulus: line.slope, "shear": scale * float(reached.max())}
    remarks = _remarks(line)
    if stop is None:
        gives["break"] = float(moved[_end(stress)])
    else:
        remarks += (f"{STOPPED}: the shear strength is read where it stops, no strain at break",)
    return CouponFit(coupon, moved, shown, moved + line.zero, line, gives, remarks=remarks)


def _notched(batch: Batch, coupon: Coupon, force: Array, path: Array, gives: dict[str, float]) -> CouponFit:
    """Toughness from a notched bar in three-point bending.

    K = 3 F S sqrt(a) [1.99 - a(1 - a)(2.15 - 3.93 a + 2.7 a^2)] / (2 B W^1.5 (1 + 2 a)(1 - a)^1.5), a the notch over
    the depth W (J. E. Srawley, Int. J. Fract. 12 (1976) 475; ASTM E399 and ISO 13586 have the same; from memory), at
    the greatest load. The depth is the coupon's `width`, since it is bent in its plane.
    """
    assert coupon.notch is not None  # a batch of notched bars is read with it
    a = coupon.notch / coupon.width
    if not 0.2 <= a <= 0.8:
        raise InputError(f"the notch is {a:.2f} of the depth.", advice="Between 0.45 and 0.55 is best.")
    depth, span = coupon.width, batch.length
    shape = 1.99 - a * (1 - a) * (2.15 - 3.93 * a + 2.7 * a**2)
    form = 3 * math.sqrt(a) * shape / (2 * (1 + 2 * a) * (1 - a) ** 1.5)
    load = float(force.max())
    toughness = load * span / (coupon.thickness * depth**1.5) * form
    nominal = 3 * force * span / (2 * coupon.thickness * depth**2)
    return CouponFit(
        coupon, path / batch.length, nominal, path / batch.length, None, {**gives, "toughness": toughness}
    )


def _peak(stress: Array, *, first: bool) -> int:
    """The point of the highest stress; of the first peak, where the stress rises again later (ISO 604)."""
    if not first:
        return int(stress.argmax())
    highest = np.maximum.accumulate(stress)
    fallen = np.flatnonzero((stress < (1 - FALLS) * highest) & (highest > 0.2 * stress.max()))
    return int(stress[: fallen[0] + 1].argmax()) if fallen.size else int(stress.argmax())


def _end(stress: Array) -> int:
    """The last point before a tensile coupon counts as broken."""
    top = int(stress.argmax())
    gone = np.flatnonzero(stress[top:] <= BROKEN * stress[top])
    return top + int(gone[0]) - 1 if gone.size else len(stress) - 1


def _poisson(sideways: Array, strain: Array) -> float:
    """Slope of the strain across over that along (ISO 527-1:2019, 10.4, by regression); either sign is taken."""
    return abs(float(np.polyfit(strain, sideways, 1)[0]))


def _sign_across(sideways: Array) -> float:
    """1 where narrowing is counted negative, else -1."""
    return -1.0 if sideways[np.abs(sideways).argmax()] > 0 else 1.0


def _density(batch: Batch, coupon: Coupon) -> float:
    """Mass over the drawn volume, with the measured section in the place of the drawn one [tonne/mm^3]."""
    assert batch.shape is not None and coupon.mass is not None
    drawn = batch.shape.tested_width * batch.shape.thickness
    return coupon.mass / (batch.shape.volume * coupon.area / drawn)


def _remarks(line: Line) -> tuple[str, ...]:
    if line.bend > BENT:
        return (
            "the curve still stiffens within the modulus window: the toe reaches into it, and E comes out too low",
        )
    if line.bend < -3 * BENT:
        return ("the slope falls within the modulus window: E is that of a curve that bends from the start",)
    return ()
