"""A batch fitted: its numbers with their scatter, and whether they can be what the file says they are."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fem.caution import Caution
from fem.coupons.fits import MOST_MACHINE, NAMES, CouponFit, fit_coupon, standstill
from fem.coupons.fractile import Sample, sample
from fem.coupons.laminate import modulus_at_45
from fem.coupons.line import FEWEST_POINTS
from fem.coupons.nouns import DIAGONAL, DIRECTIONS, Batch
from fem.errors import Faults, InputError
from fem.printing.card.nouns import CardState

ODD, IMPOSSIBLE = 2.5, 8.0
"""Off the card's value by more than the first factor is told, by more than the second refused. Printed polymers of
one name differ by up to about 2.5 (common practice: ranges in the cards' own sources); units by 9.8 and more."""
UNEVEN = {"E": 0.10, "strength": 0.15, "shear": 0.15, "G": 0.15, "toughness": 0.25}
"""Coefficients of variation beyond which a batch counts as uneven; about twice what one printer and spool show
(common practice)."""
APART = 0.4
"""Beyond this coefficient of variation coupons do not belong together."""
MOST_POISSON = 0.9
"""No layer printed of beads has more along them (common practice: 0.3 to 0.5)."""
MUCH_MACHINE = 0.5
"""Share of the path that the machine takes from which on its stiffness decides the modulus more than the coupon."""
COPIED = 20
"""So many readings are alike in two coupons only where one was copied."""
SECTION = 0.3
"""A section that differs from the drawn one by this share is told."""


@dataclass(frozen=True)
class BatchFit:
    """A batch with what each coupon gave, and the samples by name (see fits.NAMES)."""

    batch: Batch
    fits: tuple[CouponFit, ...]
    samples: dict[str, Sample]
    cautions: tuple[Caution, ...]


def fit_batch(batch: Batch, base: CardState) -> BatchFit:
    """The numbers of all coupons of a batch; `base` is the state of the card that it is measured against.

    Errors: InputError that says what looks wrong (columns swapped, a unit, the section), for records that cannot be
    fitted, and for coupons that differ too much to be one batch.
    """
    where, faults = f"batch.{batch.name}", Faults()
    try:
        _refuse_no_record(batch)
        _refuse_copies(batch)
        _refuse_slips(batch, base)
        fits = [fit for coupon in batch.coupons if (fit := faults.of(fit_coupon, batch, coupon)) is not None]
        faults.refuse()
        names = dict.fromkeys(name for fit in fits for name in fit.gives)
        samples = {name: sample([fit.gives[name] for fit in fits if name in fit.gives]) for name in names}
        _refuse_strangers(fits, samples)
        _refuse_poisson(samples)
    except InputError as error:
        raise error.inside(where) from None
    texts = [
        *filter(None, [batch.assumed]),
        *_odd(batch, base, samples),
        *_uneven(fits, samples),
        *_few(batch, samples),
        *_way_of_reading(batch),
    ]
    texts += [*_machine(batch, fits), *_remarks(fits)]
    cautions = tuple(Caution("coupons", f"Batch {batch.name}: {text}") for text in texts)
    return BatchFit(batch, tuple(fits), samples, cautions)


def expected(batch: Batch, base: CardState) -> tuple[float | None, float | None]:
    """Modulus and strength [MPa] that the card has for what a batch measures; None where it says nothing."""
    if batch.test in ("infill", "notched"):
        return None, None
    assert base.tension is not None and base.compression is not None and base.shear is not None
    if batch.direction == DIAGONAL:
        return modulus_at_45(base.E, base.nu[0], base.G[0]), 2 * base.shear[2]
    i = DIRECTIONS[batch.direction]
    return base.E[i], (base.compression if batch.test == "compression" else base.tension)[i]


def _refuse_no_record(batch: Batch) -> None:
    """Errors: InputError for a coupon without load, or with fewer readings than a line takes."""
    for coupon in batch.coupons:
        force, path = coupon.curve.force, coupon.curve.path
        if not np.any(force):
            raise InputError("its load is zero throughout.", where=coupon.name, advice="Name the right column.")
        if batch.strength_only or batch.test == "notched":
            continue
        if len(force) < FEWEST_POINTS:
            advice = "Record the whole loading, or say strength_only = true."
            raise InputError(f"has {len(force)} readings only.", where=coupon.name, advice=advice)
        if not np.ptp(path) > 0:
            raise InputError("its path never changes.", where=coupon.name, advice="Name the right column.")


def _refuse_copies(batch: Batch) -> None:
    """Errors: InputError for two coupons with the very same readings, which no two tests give; they hide scatter."""
    seen: dict[bytes, str] = {}
    for coupon in batch.coupons:
        twin = seen.setdefault(coupon.curve.force.tobytes() + coupon.curve.path.tobytes(), coupon.name)
        if twin != coupon.name and len(coupon.curve.force) > COPIED:
            raise InputError(f"has the very readings of {twin}.", where=coupon.name, advice="Leave the copy out.")


def _refuse_poisson(samples: dict[str, Sample]) -> None:
    """Errors: InputError for a Poisson's ratio that no print has; strain along or across was misread then."""
    if "nu" in samples and not MOST_POISSON >= samples["nu"].mean > 0.02:
        raise InputError(
            f"Poisson's ratio comes out as {samples['nu'].mean:.3g}.",
            advice="Check the gauge length or grips, and the unit of the strain across.",
        )


def _refuse_slips(batch: Batch, base: CardState) -> None:
    """Errors: InputError where the curves as a whole lie far off the card, with the likeliest slip."""
    E, strength = expected(batch, base)
    if E is None or strength is None:
        return
    found = [_off(batch, k, E, strength) for k in range(len(batch.coupons))]
    stiff, strong, swapped = (float(np.median([f[k] for f in found])) for k in range(3))
    if batch.strength_only:
        if not _far(strong):
            return
        stiff, swapped = strong, math.nan
    if not _far(stiff) and not _far(strong):
        return
    told = f"modulus and strength are about {_times(stiff)} and {_times(strong)} what the card has"
    told = f"the strength is about {_times(strong)} what the card has" if batch.strength_only else told
    if not batch.strength_only and _far(stiff) and not _far(swapped):
        raise InputError(
            "load and path look swapped: the other way round the modulus fits the card.",
            advice="Exchange the two names under [columns], or the heads of the table.",
        )
    raise InputError(
        f"{told}.", advice=f"{_likely(stiff, strong)} With --from another card is taken to compare with."
    )


def _off(batch: Batch, k: int, E: float, strength: float) -> tuple[float, float, float]:
    """Modulus between 30 and 60 % of the peak, and the greatest stress, of a coupon over the card's; the former with
    the columns exchanged too."""
    coupon = batch.coupons[k]
    force, path = np.abs(coupon.curve.force), np.abs(coupon.curve.path)
    stop = standstill(force, path)
    most = force.max() if stop is None else force[stop]
    i, j = (int(np.argmax(force >= share * most)) for share in (0.3, 0.6))
    b, h, L = coupon.width, coupon.thickness, batch.length
    per_path, per_force = (6 * h / L**2, 1.5 * L / (b * h**2)) if batch.test == "bending" else (1 / L, 1 / (b * h))
    load, way = (max(float(v[j] - v[i]), 1e-12) for v in (force, path))
    own = way if batch.machine is None else way - load / batch.machine
    own = own if own > (1 - MOST_MACHINE) * way else way  # what the machine takes is judged by the fit
    return (
        load * per_force / (own * per_path) / E,
        float(force.max()) * per_force / strength,
        way * per_force / (load * per_path) / E,
    )


def _far(ratio: float) -> bool:
    return not (1 / IMPOSSIBLE <= ratio <= IMPOSSIBLE)


def _times(ratio: float) -> str:
    return f"{ratio:.3g} times" if ratio >= 0.01 else f"one {1 / ratio:.2g}th of"


def _likely(stiff: float, strong: float) -> str:
    """What slip makes ratios such as these."""
    if not _far(strong) or abs(math.log10(stiff / strong)) > 0.7:
        return "Check the unit of the path (mm, inch, % for strain) and the gauge length or span."
    off = abs(math.log10(strong))
    if abs(off - 3) < 0.5:
        wrong, right = ("kN", "N") if strong > 1 else ("N", "kN")
        return f"Loads in {right} stand under a head that says {wrong}: correct the unit."
    return "Check width and thickness, and the unit of the load (N, kN, lbf, kgf)."


def _refuse_strangers(fits: list[CouponFit], samples: dict[str, Sample]) -> None:
    """Errors: InputError where coupons of one batch differ too much to be one."""
    for name in UNEVEN:
        found = samples.get(name)
        if found is not None and (found.cov or 0.0) > APART:
            varies = f"varies by {100 * (found.cov or 0):.0f} %"
            raise InputError(
                f"the {NAMES[name][0]} of its coupons {varies}: {_outlier(fits, name)}",
                advice="Leave out what failed in the grips, check its section, or make two batches of them.",
            )


def _outlier(fits: list[CouponFit], name: str) -> str:
    values = {fit.coupon.name: fit.gives[name] for fit in fits if name in fit.gives}
    middle = float(np.median(list(values.values())))
    worst = max(values, key=lambda key: abs(math.log(values[key] / middle)))
    return f"{worst} has {values[worst]:.4g}, their median is {middle:.4g}."


def _odd(batch: Batch, base: CardState, samples: dict[str, Sample]) -> list[str]:
    """Numbers that are possible, but far from the card's; sections that were not drawn so."""
    out = []
    for names, value in zip((("E", "E45"), ("strength",)), expected(batch, base), strict=True):
        found = next((samples[n] for n in names if n in samples), None)
        if batch.test == "bending" and "strength" in names:
            continue
        if found is not None and value and not (1 / ODD <= found.mean / value <= ODD):
            out.append(
                f"the {NAMES[names[0]][0]} is {found.mean / value:.2g} times that of the card: check section, gauge "
                "length and units, or take a nearer card with --from."
            )
    if batch.shape is not None:
        drawn = batch.shape.tested_width * batch.shape.thickness
        if all(abs(c.area - drawn) < 1e-9 for c in batch.coupons) and batch.test != "notched":
            out.append("the section is written as drawn: a print's differs by some per cent, measure it.")
        for coupon in batch.coupons:
            if abs(coupon.area / drawn - 1) > SECTION:
                out.append(
                    f"coupon {coupon.name} has a section of {coupon.area:.3g} mm², a {batch.shape.name} is drawn "
                    f"with {drawn:.3g} mm²."
                )
    return out


def _uneven(fits: list[CouponFit], samples: dict[str, Sample]) -> list[str]:
    return [
        f"the {NAMES[name][0]} varies by {100 * found.cov:.0f} % from coupon to coupon: {_outlier(fits, name)}"
        for name, found in samples.items()
        if found.cov is not None and found.cov > UNEVEN.get(name, math.inf)
    ]


def _few(batch: Batch, samples: dict[str, Sample]) -> list[str]:
    n = len(batch.coupons)
    return [f"{n} coupon{'s' * (n > 1)}, too few for a characteristic value; print five."] if n < 3 else []


def _machine(batch: Batch, fits: Sequence[CouponFit]) -> list[str]:
    share = max((fit.machine_share for fit in fits), default=0.0)
    if share <= MUCH_MACHINE:
        return []
    return [
        f"the machine took {100 * share:.0f} % of the path in the modulus window: the modulus rests on "
        "machine_stiffness, whose error it multiplies. Read the path at the coupon."
    ]


def _remarks(fits: Sequence[CouponFit]) -> list[str]:
    """What is to be known of single coupons, those alike told together."""
    by_text: dict[str, list[str]] = {}
    for fit in fits:
        for remark in fit.remarks:
            by_text.setdefault(remark, []).append(fit.coupon.name)
    return [
        f"{'all coupons' if len(names) == len(fits) > 1 else 'coupon ' + ', '.join(names)}: {remark}."
        for remark, names in by_text.items()
    ]


def _way_of_reading(batch: Batch) -> list[str]:
    if batch.by_crosshead and batch.machine is None and not batch.strength_only and batch.test != "notched":
        return [
            "the path was read at the machine, whose own give is not taken off: the modulus comes out too low. Press "
            "a steel block, and give the slope as machine_stiffness."
        ]
    return []
